"""The backdrop of a scan, and how unlike it each pixel is: light or dark, grey or coloured."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

__all__ = ["Unlike", "unlike_backdrop"]

_BAND = 64  # rows that are worked on at once
_BLOCKS = 96  # blocks along the longer side, on which the backdrop is found
_TOLERANCE = 0.08  # how far a block of the backdrop may differ from it, of full white, until its spread is known


@dataclass(frozen=True, eq=False)
class Unlike:
    """How far each pixel's colour lies from the backdrop's.

    Attributes
    ----------
    map : (height, width) distance in RGB over √3: 0 the backdrop, 1 black against white
    noise : standard deviation of the backdrop's pixels about it, per channel
    plain : share of the picture that is backdrop
    light : its mean level, 0 black to 1 white
    """

    map: np.ndarray
    noise: float
    plain: float
    light: float


def unlike_backdrop(rgb: np.ndarray) -> Unlike:
    """Find the backdrop as a smooth surface, and every pixel's distance from it.

    A tube that is mixed with the backdrop inside one pixel lies between the two in proportion, so
    that the map rises through a tube's edge as the covered share of the pixel does, whatever the colours.

    Parameters
    ----------
    rgb : (height, width, 3), 0 to 1

    Returns
    -------
    Unlike

    Examples
    --------
    >>> page = np.full((60, 80, 3), 0.9)
    >>> page[20:40, 30:50] = 0.3
    >>> round(float(unlike_backdrop(page).map[30, 40]), 2)
    0.6
    """
    height, width = rgb.shape[:2]
    block = max(1, max(height, width) // _BLOCKS)
    rows, cols = max(1, height // block), max(1, width // block)
    if height < block or width < block:
        rows = cols = block = 1
    blocks = rgb[: rows * block, : cols * block].reshape(rows, block, cols, block, 3)
    colour = np.median(blocks, axis=(1, 3)).reshape(-1, 3)
    y, x = np.mgrid[0:rows, 0:cols].reshape(2, -1)
    terms = _terms((x + 0.5) * block / width, (y + 0.5) * block / height)
    surface = np.zeros((terms.shape[1], 3))
    surface[0] = _commonest(colour)
    tolerance = _TOLERANCE
    kept = np.ones(len(colour), bool)
    for k in range(6):
        away = np.linalg.norm(colour - terms @ surface, axis=1) / np.sqrt(3)
        kept = away < tolerance
        # A flat backdrop first; its slopes and bows only when enough of it has been found.
        columns = (1, 1, 3, 3, 6, 6)[k]
        if kept.sum() < 4 * columns:
            break
        surface = np.zeros_like(surface)
        surface[:columns] = np.linalg.lstsq(terms[kept][:, :columns], colour[kept], rcond=None)[0]
        spread = 1.4826 * np.median(away[kept])
        tolerance = min(_TOLERANCE, max(5 * spread, 0.012))
    gx, gy = (np.arange(width) + 0.5) / width, (np.arange(height) + 0.5) / height
    away = np.zeros((height, width), np.float32)
    for top in range(0, height, _BAND):
        band = slice(top, top + _BAND)
        y = gy[band]
        for c in range(3):
            s = surface[:, c]
            level = (s[0] + s[1] * gx + s[3] * gx**2)[None, :] + (s[2] * y + s[5] * y**2)[:, None] + s[4] * y[:, None] * gx[None, :]
            away[band] += (rgb[band, :, c] - level.astype(np.float32)) ** 2
        away[band] = np.sqrt(away[band] / 3)
    down, across = (ndimage.zoom(np.arange(n), block, order=0) for n in (rows, cols))  # of each pixel its block
    where = kept.reshape(rows, cols)[down][:, across]
    inside = away[: where.shape[0], : where.shape[1]][where[: away.shape[0], : away.shape[1]]]
    noise = float(np.median(inside)) if inside.size else 1.0
    return Unlike(away, max(noise, 1e-3), float(kept.mean()), float(colour[kept].mean()) if kept.any() else 0.5)


def _commonest(colour: np.ndarray) -> np.ndarray:
    """The colour that most blocks are near to: a tube covers less than its backdrop does."""
    level = colour.mean(axis=1)
    counts, edges = np.histogram(level, bins=32, range=(0, 1))
    top = int(np.argmax(counts))
    near = (level >= edges[max(top - 1, 0)]) & (level <= edges[min(top + 2, 32)])
    return np.median(colour[near], axis=0)


def _terms(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=1)
