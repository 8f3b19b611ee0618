"""Printed pages laid side by side on an invented table, with bent pieces across them, as an invented camera sees them; everything in these pictures is made up."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from tests.invented.photo import TABLE, PhotoCamera, lay, on_ground, placed, shadow_of


@dataclass(frozen=True)
class LaidPaper:
    """A printed page on an invented table: `printed` as (rows, columns) from 0 to 1; its top left corner lies at `at_mm`, turned clockwise as seen from above."""

    printed: np.ndarray
    size_mm: tuple[float, float]
    at_mm: tuple[float, float] = (0.0, 0.0)
    turned_deg: float = 0.0
    stretch: tuple[float, float] = (1.0, 1.0)  # what the printer made of 1 mm
    bulge_mm: float = 0.0  # how far its middle stands up from the table
    uneven: tuple[float, float, float] = (0.0, 100.0, 0.0)  # fed unevenly: rows lie so far aside, over so long a wave [mm], from where in it [rad]

    def own(self, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Places of the table as places of the paper."""
        c, s = np.cos(np.radians(self.turned_deg)), np.sin(np.radians(self.turned_deg))
        dx, dy = x - self.at_mm[0], y - self.at_mm[1]
        return c * dx + s * dy, -s * dx + c * dy

    def on_table(self, points) -> np.ndarray:
        """Places of the paper as it is printed, on the table."""
        p = np.asarray(points, float) * self.stretch
        c, s = np.cos(np.radians(self.turned_deg)), np.sin(np.radians(self.turned_deg))
        return np.stack([c * p[:, 0] - s * p[:, 1], s * p[:, 0] + c * p[:, 1]], axis=1) + self.at_mm


def table_photo(pieces, camera: PhotoCamera, papers, rng: np.random.Generator, *, step: float = 0.1) -> np.ndarray:
    """The photo of a table as (height, width, 3) bytes; a later paper lies over an earlier one."""
    width, height = camera.size_px
    walks = [(piece, *piece.walk(step)) for piece in pieces]
    low = np.min([p.on_table([(0, 0), p.size_mm, (p.size_mm[0], 0), (0, p.size_mm[1])]).min(axis=0) for p in papers], axis=0) - 20
    high = np.max([p.on_table([(0, 0), p.size_mm, (p.size_mm[0], 0), (0, p.size_mm[1])]).max(axis=0) for p in papers], axis=0) + 20
    moved = [(piece, xy - low, *rest) for piece, xy, *rest in walks]
    shade = shadow_of(moved, camera, tuple(int(v * 4) for v in (high - low)[::-1]), tuple(high - low))
    out = np.zeros((height, width, 3), np.float32)
    band = max(1, 2_000_000 // width)
    for top in range(0, height, band):
        rows = np.arange(max(0, top - 1), min(height, top + band + 1))
        eye, way = camera.rays(*np.meshgrid(np.arange(width), rows))
        on_table = on_ground(eye, way)
        colour = np.empty_like(on_table)
        for few in (slice(k, k + 32) for k in range(0, len(rows), 32)):
            at = [(on_table[few, :, k] - low[k]) * 4 - 0.5 for k in (1, 0)]
            shaded = ndimage.map_coordinates(shade, at, order=1, mode="constant", cval=1.0)
            colour[few] = _table_colour(on_table[few], eye, way[few], papers, camera) * shaded[..., None]
        for piece, xy, _, _, lifted, s in walks:
            lay(colour, piece, xy, lifted, s, eye, way, on_table, camera)
        inner = (rows >= top) & (rows < top + band)
        out[rows[inner]] = colour[inner]
    out = ndimage.gaussian_filter(out, (camera.blur_px, camera.blur_px, 0))
    for few in (out[k : k + 32] for k in range(0, height, 32)):
        few += camera.noise * rng.standard_normal(few.shape, np.float32)
        few[:] = np.clip(few, 0, 1) * 255 + 0.5
    return out.astype(np.uint8)


def _table_colour(on_table, eye, way, papers, camera) -> np.ndarray:
    """What of table and papers each ray meets; beside the edge of a paper that lies over another there is a little shadow."""
    seen = [np.full(on_table.shape[:2], level) for level in TABLE]
    for paper in papers:
        u, v = paper.own(on_table[..., 0], on_table[..., 1])
        if paper.bulge_mm:
            for _ in range(4):  # where the ray meets the paper that stands up
                z = paper.bulge_mm * np.sin(np.pi * np.clip(u / paper.size_mm[0], 0, 1)) * np.sin(np.pi * np.clip(v / paper.size_mm[1], 0, 1))
                there = on_ground(eye, way, z)
                u, v = paper.own(there[..., 0], there[..., 1])
        inside = (u > 0) & (v > 0) & (u < paper.size_mm[0]) & (v < paper.size_mm[1])
        beside = (u > -0.3) & (v > -0.3) & (u < paper.size_mm[0] + 0.3) & (v < paper.size_mm[1] + 0.3) & ~inside
        for part in seen:
            part[beside] *= 0.8
        col = u[inside] / paper.stretch[0] / paper.size_mm[0] * paper.printed.shape[1] - 0.5
        far, wave, begun = paper.uneven
        fed = v[inside] - far * np.sin(2 * np.pi * v[inside] / wave + begun)
        row = fed / paper.stretch[1] / paper.size_mm[1] * paper.printed.shape[0] - 0.5
        level = ndimage.map_coordinates(paper.printed, [row, col], order=1, mode="nearest")
        for part, white in zip(seen, (1.0, 0.99, 0.97), strict=True):
            part[inside] = (0.03 + 0.9 * level) * white
    light = 1 - camera.uneven * np.clip((on_table[..., 0] - eye[0]) / 400 + 0.5, -0.5, 1.5)
    return placed([part * light for part in seen])
