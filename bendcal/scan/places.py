"""Which photo sees each place of a table best (finest, and least aslant), and the view that follows from it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bendcal.scan.camera import Camera
from bendcal.scan.decode import NotAScan
from bendcal.scan.heights import View, instead
from bendcal.scan.table import Table

__all__ = ["COARSEST", "Places", "places_of", "view_of"]

COARSEST = 5.0  # pixels a millimetre
_CELL_MM = 2.0
_BORDER_PX = 3.0
_AGAIN_MM = 0.5  # what a pixel shows lies so near to the place that it was asked for, unless the lens folds
_NOTHING_MM = 1e-3  # cameras that might have been instead are told from this on


@dataclass(frozen=True, eq=False)
class Places:
    """A picture's places in cells, each with the photo that sees it best.

    Attributes
    ----------
    start_mm : (2,) the picture's top left corner on the table [mm]
    size_mm : (2,) its width and height [mm]
    plane_mm : height of the picture's plane above the table
    best : (rows, columns) number of the photo, −1 where none shows it
    per_mm : (rows, columns) how many pixels of that photo make a millimetre there, the lesser way
    """

    start_mm: np.ndarray
    size_mm: np.ndarray
    plane_mm: float
    best: np.ndarray
    per_mm: np.ndarray

    def photo_at(self, points: np.ndarray) -> np.ndarray:
        """(n,) the photo that shows points of the picture; the nearest cell's, and 0 where none does.

        Parameters
        ----------
        points : (n, 2) from the picture's top left corner [mm]
        """
        cell = np.clip(np.floor(np.asarray(points, float) / _CELL_MM).astype(int), 0, np.array(self.best.shape)[::-1] - 1)
        return np.maximum(self.best[cell[:, 1], cell[:, 0]], 0)

    def cell_of(self, count: int, axis: int, pixel_mm: float) -> np.ndarray:
        """(count,) the cell of each pixel along an axis (0 across, 1 down)."""
        return np.minimum(((np.arange(count) + 0.5) * pixel_mm / _CELL_MM).astype(int), self.best.shape[1 - axis] - 1)


def places_of(table: Table, sizes_px: list[tuple[int, int]], *, plane_mm: float) -> Places:
    """The places that all pages cover.

    Parameters
    ----------
    table : pages and cameras
    sizes_px : (width, height) of each photo
    plane_mm : height of the picture's plane above the table

    Raises
    ------
    NotAScan : where no photo draws any of it finely enough
    """
    corners = np.concatenate([p.on_table(np.array([(0, 0), (p.page.size_mm[0], 0), p.page.size_mm, (0, p.page.size_mm[1])])) for p in table.pages.values()])
    start, size = corners.min(axis=0), np.ptp(corners, axis=0)
    across, down = (int(np.ceil(v / _CELL_MM)) for v in size)
    x, y = (np.arange(across) + 0.5) * _CELL_MM, (np.arange(down) + 0.5) * _CELL_MM
    grid = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2) + start
    fine = np.stack([_per_mm(c, s, grid, plane_mm) for c, s in zip(table.cameras, sizes_px, strict=True)])
    most = fine.max(axis=0)
    if most.max() < COARSEST:
        raise NotAScan(f"The photos have at most {most.max():.1f} pixels a millimetre of the pages; at least {COARSEST:g} are needed. Go nearer and take more photos, or take them in full size.")
    aslant = np.stack([_upright(c, grid, plane_mm) for c in table.cameras])
    seen = np.where(fine >= COARSEST, fine * aslant, 0.0)
    best = np.where(seen.max(axis=0) > 0, seen.argmax(axis=0), -1)
    per_mm = np.take_along_axis(fine, np.maximum(best, 0)[None], axis=0)[0]
    return Places(start, size, plane_mm, best.reshape(down, across), per_mm.reshape(down, across))


def view_of(table: Table, places: Places) -> View:
    """The eyes that saw each place, and those that might have been instead.

    Parameters
    ----------
    table : pages and cameras
    places : which of them saw what
    """
    start, plane = places.start_mm, places.plane_mm

    def eyes(numbers: np.ndarray) -> np.ndarray:
        return np.array([Camera(n, np.zeros((10, 10)), 0.0).place_mm for n in table.cameras_of(numbers)]) - np.append(start, 0.0)

    def warp(numbers: np.ndarray):
        other = table.cameras_of(numbers)

        def there(points: np.ndarray) -> np.ndarray:
            points, moved = np.asarray(points, float), np.empty((len(points), 2))
            by = places.photo_at(points)
            for k in np.unique(by):
                here, camera = by == k, table.cameras[k]
                moved[here] = camera.on_page(camera.pixels(points[here] + start, plane), other[k], plane) - start
            return moved

        return there

    rows, columns = np.nonzero(places.best >= 0)
    some = np.linspace(0, len(rows) - 1, 200).astype(int)
    spots = (np.stack([columns[some], rows[some]], axis=1) + 0.5) * _CELL_MM
    others = instead(table.numbers, table.covariance, lambda numbers: (warp(numbers), eyes(numbers)))
    telling = tuple((moved, eye) for moved, eye in others if np.abs(moved(spots) - spots).max() > _NOTHING_MM)
    return View(eyes(table.numbers), telling, plane, places.photo_at)


def _upright(camera: Camera, grid: np.ndarray, plane_mm: float) -> np.ndarray:
    """(n,) 1 for what a camera sees from straight above, less for what it sees aslant (the cosine)."""
    x, y, height = camera.place_mm
    return 1 / np.sqrt(1 + ((grid - (x, y)) ** 2).sum(axis=1) / (height - plane_mm) ** 2)


def _per_mm(camera: Camera, size_px: tuple[int, int], grid: np.ndarray, plane_mm: float) -> np.ndarray:
    """(n,) pixels a millimetre at places of the table, the lesser way; 0 where the photo does not show them."""
    at = camera.pixels(grid, plane_mm)
    a, b = camera.pixels(grid + (1.0, 0.0), plane_mm) - at, camera.pixels(grid + (0.0, 1.0), plane_mm) - at
    whole, turned = (a**2).sum(axis=1) + (b**2).sum(axis=1), np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])
    least = np.sqrt(np.maximum((whole - np.sqrt(np.maximum(whole**2 - 4 * turned**2, 0))) / 2, 0))
    border = (_BORDER_PX + _CELL_MM * least)[:, None]  # of a cell whose middle is in the picture no corner may be outside of it
    inside = ((at > border) & (at < np.array(size_px) - 1 - border)).all(axis=1)
    inside[inside] = np.abs(camera.on_page(at[inside], height_mm=plane_mm) - grid[inside]).max(axis=1) < _AGAIN_MM
    return np.where(inside, least, 0.0)
