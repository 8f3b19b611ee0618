"""A table's pages drawn as one picture, each place from the photo that sees it best, evenly lit, with what is printed painted over.

The picture shows a plane level with the middle of the tube, so that a tube goes on without a step where one photo's places end and
another's begin. Places that show no plain paper (the table beside the pages, what no photo shows, marks and words that something
lies over) are blank: a piece that touches one is not read.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from bendcal.scan.decode import NotAScan, Scan
from bendcal.scan.places import Places
from bendcal.scan.plain_paper import WHITE, bridged, on_paper, painted_over, printed_on, seams
from bendcal.scan.sighting import image_library
from bendcal.scan.table import Table

__all__ = ["MOST_MOSAIC_PIXELS", "mosaic"]

MOST_MOSAIC_PIXELS = 36_000_000  # 0.4 GB as the reader holds them
_FINEST = 16.0  # pixels a millimetre
_STEP = 8  # pixels between those whose place in the photo is worked out; the others lie between
_BLOCK_MM = 4
_BAND = 256  # rows that are drawn at once


def mosaic(photos: Sequence[np.ndarray], table: Table, places: Places, *, name: str, od_mm: float, least_px: float) -> tuple[Scan, tuple[str, ...]]:
    """The picture, and sentences about what lies over something printed.

    Parameters
    ----------
    photos : (height, width, 3) bytes each
    table, places : pages and cameras, and which of them saw what best
    name : what the picture is called
    od_mm : the tube's outside diameter [mm]
    least_px : at least so many pixels has the tube across

    Raises
    ------
    NotAScan : where the picture would be too large
    """
    cv2 = image_library()
    usual = float(np.median(places.per_mm[places.best >= 0]))
    room = np.sqrt(MOST_MOSAIC_PIXELS / np.prod(places.size_mm))
    per_mm = min(usual, _FINEST, room)
    if per_mm * od_mm < least_px:
        wide, high = places.size_mm
        many = f"a picture of {wide:.0f} × {high:.0f} mm may have {room:.1f} of them, or it is too large" if per_mm == room else "the photos show no more"
        raise NotAScan(
            f"{name}: a tube of {od_mm:g} mm is only {per_mm * od_mm:.0f} pixels wide at {per_mm:.1f} pixels a millimetre ({many}); at least {least_px:.0f} are needed. "
            f"{'Lay fewer pages, or closer together.' if per_mm == room else 'Go nearer, and take more photos.'}"
        )
    pixel = 1 / per_mm
    width, height = (max(1, int(v / pixel)) for v in places.size_mm)
    drawn, plain = np.full((height, width, 3), WHITE, np.uint8), np.zeros((height, width), bool)
    columns, rows = places.cell_of(width, 0, pixel), places.cell_of(height, 1, pixel)
    for k, photo in enumerate(photos):
        mine = np.argwhere(places.best == k)
        if not len(mine):
            continue
        light = _light(photo, table, places, k)
        (top, left), (bottom, right) = mine.min(axis=0), mine.max(axis=0)
        first, last = np.searchsorted(rows, (top, bottom + 1))
        across = slice(*np.searchsorted(columns, (left, right + 1)))
        page = on_paper(table, places, k, (height, width), pixel)
        for begin in range(first, last, _BAND):
            down = slice(begin, min(begin + _BAND, last))
            here = (places.best[rows[down]][:, columns[across]] == k) & page[down, across]
            if here.any():
                part = cv2.multiply(_warped(photo, table, places, k, (across, down), pixel), _gain(light, places, (across, down), pixel), dtype=cv2.CV_8U)
                np.copyto(drawn[down, across], part, where=here[:, :, None])
                plain[down, across] |= here
    seam = seams(plain, per_mm)
    bridged(drawn, plain, seam, table, places, pixel, od_mm)
    said = painted_over(drawn, plain, table, places, pixel, od_mm)
    blank = ~(plain | seam)
    drawn[blank] = WHITE
    return Scan(name, drawn.astype(np.float32) / np.float32(255), (pixel, pixel), (25.4 * per_mm,) * 2, blank=blank), said


def _between(size: tuple[int, int], window: tuple[slice, slice], pixel: float) -> tuple[np.ndarray, np.ndarray]:
    """Every eighth pixel's place along both axes [mm], a little beyond the window: what is worked out there is right between them."""
    coarse = (np.arange(-1, n // _STEP + 3) * _STEP + _STEP / 2 - 0.5 for n in size)
    x, y = ((c + at.start + 0.5) * pixel for c, at in zip(coarse, window, strict=True))
    return x, y


def _finely(coarse: np.ndarray, size: tuple[int, int]) -> np.ndarray:
    """Values of :func:`_between` at every pixel of the window."""
    cv2 = image_library()
    high, wide = coarse.shape[:2]
    fine = cv2.resize(coarse.astype(np.float32), (wide * _STEP, high * _STEP), interpolation=cv2.INTER_LINEAR)
    return fine[_STEP : _STEP + size[1], _STEP : _STEP + size[0]]


def _warped(photo: np.ndarray, table: Table, places: Places, k: int, window: tuple[slice, slice], pixel: float) -> np.ndarray:
    """A photo as seen from straight above, where the window lies: (height, width, 3) bytes."""
    cv2 = image_library()
    size = tuple(at.stop - at.start for at in window)
    x, y = _between(size, window, pixel)
    grid = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2) + places.start_mm
    where = table.cameras[k].pixels(grid, places.plane_mm).reshape(len(y), len(x), 2)
    return cv2.remap(photo, _finely(where, size), None, cv2.INTER_CUBIC)


def _terms(x: np.ndarray, y: np.ndarray, places: Places) -> np.ndarray:
    """(…, 10) what the light over the pages is made of: slopes, bows and their like."""
    x, y = x / places.size_mm[0] * 2 - 1, y / places.size_mm[1] * 2 - 1
    return np.stack([x**i * y**j for i in range(4) for j in range(4 - i)], axis=-1)


def _light(photo: np.ndarray, table: Table, places: Places, k: int) -> np.ndarray | None:
    """(10, 3) how light a photo shows paper, as a smooth surface: light falls off, and every photo is exposed by itself. None where too little is seen."""
    cv2 = image_library()
    wide, high = (int(v / _BLOCK_MM) * _BLOCK_MM for v in places.size_mm)
    x, y = np.arange(wide) + 0.5, np.arange(high) + 0.5
    grid = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    seen = places.best[np.ix_(places.cell_of(high, 1, 1.0), places.cell_of(wide, 0, 1.0))] == k  # what no photo shows is black, and no paper
    mine = seen & on_paper(table, places, k, (high, wide), 1.0) & ~printed_on(table, places, k, (high, wide), 1.0)
    where = table.cameras[k].pixels(grid + places.start_mm, places.plane_mm).reshape(high, wide, 2).astype(np.float32)
    blocks = (high // _BLOCK_MM, _BLOCK_MM, wide // _BLOCK_MM, _BLOCK_MM)
    level = np.median(cv2.remap(photo, where, None, cv2.INTER_LINEAR).reshape(*blocks, 3), axis=(1, 3)).astype(float)
    whole = mine.reshape(blocks).all(axis=(1, 3))
    terms = _terms(*np.meshgrid(x[::_BLOCK_MM] + _BLOCK_MM / 2, y[::_BLOCK_MM] + _BLOCK_MM / 2), places)
    kept, surface = whole, None
    for tolerance in (75, 50, 30, 20, 20):
        if kept.sum() < 4 * terms.shape[-1]:
            return surface
        surface = np.linalg.lstsq(terms[kept], level[kept], rcond=None)[0]
        off = (level - terms @ surface).mean(axis=2)
        kept = whole & (np.abs(off - np.median(off[kept])) < tolerance)
    return surface


def _gain(light: np.ndarray | None, places: Places, window: tuple[slice, slice], pixel: float) -> np.ndarray:
    """(height, width, 3) what brings a window's paper to one level."""
    size = tuple(at.stop - at.start for at in window)
    x, y = _between(size, window, pixel)
    if light is None:
        return np.ones((size[1], size[0], 3), np.float32)
    return _finely(WHITE / np.maximum(_terms(*np.meshgrid(x, y), places) @ light, 25), size)
