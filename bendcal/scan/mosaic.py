"""A table's pages drawn as one picture, each place from the photo that sees it best, evenly lit, with what is printed painted over.

The picture shows a plane level with the middle of the tube, so that a tube goes on without a step where one photo's places end and
another's begin. Places that show no plain paper (the table beside the pages, what no photo shows, marks and words that something
lies over) are blank: a piece that touches one is not read.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from bendcal.fiducials import SIDE_MM
from bendcal.scan.decode import NotAScan, Scan
from bendcal.scan.places import Places
from bendcal.scan.sighting import image_library
from bendcal.scan.table import PlacedPage, Table

__all__ = ["MOST_MOSAIC_PIXELS", "mosaic"]

MOST_MOSAIC_PIXELS = 36_000_000  # 0.4 GB as the reader holds them
_FINEST = 16.0  # pixels a millimetre
_STEP = 8  # pixels between those whose place in the photo is worked out; the others lie between
_WHITE = 235  # what paper is made to show, of 255
_BLOCK_MM = 4
_BAND = 256  # rows that are drawn at once
_EDGE_MM = 0.6  # inside of a page's edge
_SEAM_MM = 3.0  # so much of the table may show between two pages
_ROUND_MARK_MM, _RING_MM = 0.8, 1.0
_LIES_OVER, _DIFFERS = 0.3, 30  # of the tube's diameter, along the ring round what is printed; of 255
_BESIDE_MM = 0.8  # a page's edge throws a shadow on the page below


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
    drawn, plain = np.full((height, width, 3), _WHITE, np.uint8), np.zeros((height, width), bool)
    columns, rows = places.cell_of(width, 0, pixel), places.cell_of(height, 1, pixel)
    for k, photo in enumerate(photos):
        mine = np.argwhere(places.best == k)
        if not len(mine):
            continue
        light = _light(photo, table, places, k)
        (top, left), (bottom, right) = mine.min(axis=0), mine.max(axis=0)
        first, last = np.searchsorted(rows, (top, bottom + 1))
        across = slice(*np.searchsorted(columns, (left, right + 1)))
        page = _on_paper(table, places, k, (height, width), pixel)
        for begin in range(first, last, _BAND):
            down = slice(begin, min(begin + _BAND, last))
            here = (places.best[rows[down]][:, columns[across]] == k) & page[down, across]
            if here.any():
                part = cv2.multiply(_warped(photo, table, places, k, (across, down), pixel), _gain(light, places, (across, down), pixel), dtype=cv2.CV_8U)
                np.copyto(drawn[down, across], part, where=here[:, :, None])
                plain[down, across] |= here
    seam = _seams(plain, per_mm)
    _bridged(drawn, seam)
    said = _painted_over(drawn, plain, table, places, pixel, od_mm)
    blank = ~(plain | seam)
    drawn[blank] = _WHITE
    return Scan(name, drawn.astype(np.float32) / np.float32(255), (pixel, pixel), (25.4 * per_mm,) * 2, blank=blank), said


def _in_picture(points: np.ndarray, table: Table, places: Places, photo: int) -> np.ndarray:
    """(n, 2) where points of the table come to lie in the picture, as a photo sees them [mm]."""
    eye = table.cameras[photo].place_mm
    return eye[:2] + (points - eye[:2]) * (1 - places.plane_mm / eye[2]) - places.start_mm


def _on_paper(table: Table, places: Places, photo: int, size: tuple[int, int], pixel: float) -> np.ndarray:
    """Where a photo shows one of the pages."""
    cv2 = image_library()
    mask = np.zeros(size, np.uint8)
    for placed in table.pages.values():
        (a, b), e = placed.page.size_mm, _EDGE_MM
        corners = placed.on_table(np.array([(e, e), (a - e, e), (a - e, b - e), (e, b - e)]))
        _filled(cv2, mask, _in_picture(corners, table, places, photo), pixel)
    return mask > 0


def _filled(cv2, mask: np.ndarray, corners_mm: np.ndarray, pixel: float) -> None:
    """Fill a four-sided place of a mask."""
    cv2.fillConvexPoly(mask, np.round((corners_mm / pixel - 0.5) * 16).astype(np.int32), 1, shift=4)


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
    mine = (places.photo_at(grid) == k) & (_on_paper(table, places, k, (high, wide), 1.0).ravel() > 0)
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
    return _finely(_WHITE / np.maximum(_terms(*np.meshgrid(x, y), places) @ light, 25), size)


def _seams(plain: np.ndarray, per_mm: float) -> np.ndarray:
    """Narrow strips of table between pages."""
    cv2 = image_library()
    step = max(1, round(per_mm / 4))
    small = plain[::step, ::step].astype(np.uint8)
    reach = int(np.ceil((_SEAM_MM / 2 + _EDGE_MM) * per_mm / step))
    around = cv2.copyMakeBorder(small, reach, reach, reach, reach, cv2.BORDER_CONSTANT, value=0)
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1,) * 2)
    closed = cv2.morphologyEx(around, cv2.MORPH_CLOSE, disc)[reach:-reach, reach:-reach]
    whole = cv2.resize(closed, (plain.shape[1], plain.shape[0]), interpolation=cv2.INTER_NEAREST) > 0
    return whole & ~plain


def _bridged(drawn: np.ndarray, seam: np.ndarray) -> None:
    """Carry what lies on both sides of a seam on across it."""
    cv2 = image_library()
    count, _, boxes, _ = cv2.connectedComponentsWithStats(seam.astype(np.uint8))
    for left, top, wide, high, _ in boxes[1:count]:
        rows, cols = (slice(max(0, at - 8), at + n + 8) for at, n in ((top, high), (left, wide)))
        mask = seam[rows, cols].astype(np.uint8)
        filled = cv2.inpaint(np.ascontiguousarray(drawn[rows, cols]), mask, 3, cv2.INPAINT_NS)
        drawn[rows, cols][mask > 0] = filled[mask > 0]


def _printed(placed: PlacedPage) -> list[tuple[str, tuple[float, float, float, float]]]:
    """What is printed on a page, in words, and (left, top, right, bottom) of its place [mm]."""
    r = _ROUND_MARK_MM
    marks = [("a mark", (x - r, y - r, x + SIDE_MM + r, y + SIDE_MM + r)) for x, y in placed.page.marks_mm.values()]
    return marks + [("the words at its top" if box[1] < SIDE_MM else "the words at its foot", box) for box in placed.page.words_mm]


def _painted_over(drawn: np.ndarray, plain: np.ndarray, table: Table, places: Places, pixel: float, od_mm: float) -> tuple[str, ...]:
    """Make paper of what is printed, where nothing lies over it; where something does, it is not plain."""
    cv2 = image_library()
    said = []
    ring = max(1, round(_RING_MM / pixel))
    edges = np.zeros(plain.shape, np.uint8)
    for k in range(len(table.cameras)):
        for placed in table.pages.values():
            a, b = placed.page.size_mm
            outline = _in_picture(placed.on_table(np.array([(0, 0), (a, 0), (a, b), (0, b)])), table, places, k)
            cv2.polylines(edges, [np.round(outline / pixel).astype(np.int32)], True, 1, max(1, round(2 * _BESIDE_MM / pixel)))
    for name, placed in table.pages.items():
        for what, (left, top, right, bottom) in _printed(placed):
            corners = placed.on_table(np.array([(left, top), (right, top), (right, bottom), (left, bottom)]))
            by = np.unique(places.photo_at(np.vstack([corners, corners.mean(axis=0)]) - places.start_mm))
            seen = [_in_picture(corners, table, places, k) for k in by]
            low = np.maximum(np.floor(np.min(seen, axis=(0, 1)) / pixel).astype(int) - 2 * ring, 0)
            high = np.ceil(np.max(seen, axis=(0, 1)) / pixel).astype(int) + 2 * ring
            window = (slice(low[1], high[1]), slice(low[0], high[0]))
            inside = np.zeros(plain[window].shape, np.uint8)
            if not inside.size:
                continue
            for each in seen:
                _filled(cv2, inside, each - low * pixel, pixel)
            round_it = cv2.dilate(inside, np.ones((2 * ring + 1,) * 2, np.uint8)) - inside
            differs = np.sqrt(np.mean((drawn[window].astype(np.float32) - _WHITE) ** 2, axis=2)) > _DIFFERS
            over = (differs & (round_it > 0) & plain[window] & (edges[window] == 0)).sum() * pixel**2
            drawn[window][inside > 0] = _WHITE
            if over > _LIES_OVER * od_mm * _RING_MM:
                plain[window][inside > 0] = False
                said.append(f"Something lies over {what} of {name}, or touches it.")
    return tuple(dict.fromkeys(said))
