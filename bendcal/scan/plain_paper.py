"""Where a picture of a table shows plain paper: inside of the pages, not where something lies over what is printed; what is printed is painted over.

Nothing can be told of the other places. A tube that was cut off by paint would look like one that ends there.
"""

from __future__ import annotations

import numpy as np

from bendcal.fiducials import SIDE_MM
from bendcal.scan.places import Places
from bendcal.scan.sighting import image_library
from bendcal.scan.table import PlacedPage, Table

__all__ = ["WHITE", "bridged", "on_paper", "painted_over", "printed_on", "seams"]

WHITE = 235  # what paper is made to show, of 255
_EDGE_MM = 2.0  # inside of a page's edge: printers put the print that much aside on the paper
_SEAM_MM = 6.0  # so much may lie between what is surely paper of one page and of the next
_ROUND_MARK_MM, _RING_MM = 0.8, 1.0
_LIES_OVER, _DIFFERS = 0.3, 30  # of the tube's diameter, along the ring round what is printed; of 255
_LINE_MM = 0.6
_BESIDE_MM = 0.8  # a page's edge throws a shadow on the page below


def printed_on(table: Table, places: Places, photo: int, size: tuple[int, int], pixel: float) -> np.ndarray:
    """Where a photo shows what is printed on pages.

    Parameters
    ----------
    table, places, photo, size, pixel : as for :func:`on_paper`
    """
    cv2 = image_library()
    mask = np.zeros(size, np.uint8)
    for placed in table.pages.values():
        for _, (left, top, right, bottom) in _printed(placed):
            corners = placed.on_table(np.array([(left, top), (right, top), (right, bottom), (left, bottom)]))
            _filled(cv2, mask, _in_picture(corners, table, places, photo), pixel)
    return mask > 0


def _in_picture(points: np.ndarray, table: Table, places: Places, photo: int) -> np.ndarray:
    """(n, 2) where points of the table come to lie in the picture, as a photo sees them [mm]."""
    eye = table.cameras[photo].place_mm
    return eye[:2] + (points - eye[:2]) * (1 - places.plane_mm / eye[2]) - places.start_mm


def on_paper(table: Table, places: Places, photo: int, size: tuple[int, int], pixel: float) -> np.ndarray:
    """Where a photo shows one of the pages, their edges left out.

    Parameters
    ----------
    table, places : pages and cameras, and which of them saw what
    photo : its number
    size : (rows, columns) of the picture
    pixel : size of one of its pixels [mm]
    """
    cv2 = image_library()
    mask = np.zeros(size, np.uint8)
    for placed in table.pages.values():
        _filled(cv2, mask, _in_picture(_outline(placed, _EDGE_MM), table, places, photo), pixel)
    return mask > 0


def _filled(cv2, mask: np.ndarray, corners_mm: np.ndarray, pixel: float) -> None:
    """Fill a four-sided place of a mask."""
    cv2.fillConvexPoly(mask, np.round((corners_mm / pixel - 0.5) * 16).astype(np.int32), 1, shift=4)


def seams(plain: np.ndarray, per_mm: float) -> np.ndarray:
    """Narrow strips between pages that are not surely paper.

    Parameters
    ----------
    plain : (rows, columns) where paper is
    per_mm : pixels a millimetre
    """
    cv2 = image_library()
    step = max(1, round(per_mm / 4))
    small = plain[::step, ::step].astype(np.uint8)
    reach = int(np.ceil(_SEAM_MM / 2 * per_mm / step))
    around = cv2.copyMakeBorder(small, reach, reach, reach, reach, cv2.BORDER_CONSTANT, value=0)
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1,) * 2)
    closed = cv2.morphologyEx(around, cv2.MORPH_CLOSE, disc)[reach:-reach, reach:-reach]
    whole = cv2.resize(closed, (plain.shape[1], plain.shape[0]), interpolation=cv2.INTER_NEAREST) > 0
    return whole & ~plain


def bridged(drawn: np.ndarray, plain: np.ndarray, seam: np.ndarray, table: Table, places: Places, pixel: float, od_mm: float) -> None:
    """Carry what lies on both sides of a seam on across it; a seam on one side of which something ends is taken off, so that it is blank.

    Parameters
    ----------
    drawn : (rows, columns, 3) bytes; altered
    plain, seam : where paper and where seams are; the latter is altered
    table, places : pages and cameras, and which of them saw what
    pixel, od_mm : size of a pixel, and the tube's outside diameter [mm]
    """
    cv2 = image_library()
    ring = max(1, round(_RING_MM / pixel))
    count, labels, boxes, _ = cv2.connectedComponentsWithStats(seam.astype(np.uint8))
    for k, (left, top, wide, high, _) in enumerate(boxes[1:count], start=1):
        window = tuple(slice(max(0, at - 2 * ring), at + n + 2 * ring) for at, n in ((top, high), (left, wide)))
        low = np.array([window[1].start, window[0].start])
        strip = (labels[window] == k).astype(np.uint8)
        beside = (cv2.dilate(strip, np.ones((2 * ring + 1,) * 2, np.uint8)) > 0) & plain[window]
        # Thin lines are shadows of edges; and a highlight as light as the paper must not part a tube in two.
        lies = cv2.morphologyEx(_differs(drawn[window]).astype(np.uint8) * beside, cv2.MORPH_OPEN, np.ones((max(2, round(_LINE_MM / pixel)),) * 2, np.uint8))
        lies = cv2.morphologyEx(lies, cv2.MORPH_CLOSE, np.ones((max(3, round(0.7 * od_mm / pixel)),) * 2, np.uint8))
        ends = set()
        for name in table.pages:
            page = np.zeros(strip.shape, np.uint8)
            for j in np.unique(places.photo_at((np.array([[left, top], [left + wide, top + high]]) + 0.5) * pixel)):
                _filled(cv2, page, _in_picture(_outline(table.pages[name], _EDGE_MM), table, places, j) - low * pixel, pixel)
            if (beside & (page > 0)).sum() * pixel**2 > 1.0:
                many, _, sizes, _ = cv2.connectedComponentsWithStats(lies * page * beside)
                ends.add(int((sizes[1:many, cv2.CC_STAT_AREA] * pixel**2 > _LIES_OVER * od_mm * _RING_MM).sum()))
        if len(ends) > 1:
            seam[window][strip > 0] = False
            continue
        filled = cv2.inpaint(np.ascontiguousarray(drawn[window]), strip, 3, cv2.INPAINT_NS)
        drawn[window][strip > 0] = filled[strip > 0]


def _outline(placed: PlacedPage, inset: float = 0.0) -> np.ndarray:
    """(4, 2) a page's corners on the table, or corners so far inside of its edges [mm]."""
    a, b = placed.page.size_mm
    return placed.on_table(np.array([(inset, inset), (a - inset, inset), (a - inset, b - inset), (inset, b - inset)]))


def _differs(part: np.ndarray) -> np.ndarray:
    """Where something else than paper is seen."""
    return np.sqrt(np.mean((part.astype(np.float32) - WHITE) ** 2, axis=2)) > _DIFFERS


def _printed(placed: PlacedPage) -> list[tuple[str, tuple[float, float, float, float]]]:
    """What is printed on a page, in words, and (left, top, right, bottom) of its place [mm]."""
    r = _ROUND_MARK_MM
    marks = [("a mark", (x - r, y - r, x + SIDE_MM + r, y + SIDE_MM + r)) for x, y in placed.page.marks_mm.values()]
    return marks + [("the words at its top" if box[1] < SIDE_MM else "the words at its foot", box) for box in placed.page.words_mm]


def painted_over(drawn: np.ndarray, plain: np.ndarray, table: Table, places: Places, pixel: float, od_mm: float) -> tuple[str, ...]:
    """Make paper of what is printed, where nothing lies over it; where something does, it is not plain. What lies where, in sentences.

    Parameters
    ----------
    drawn : (rows, columns, 3) bytes; altered
    plain : where paper is; altered
    table, places : pages and cameras, and which of them saw what
    pixel, od_mm : size of a pixel, and the tube's outside diameter [mm]
    """
    cv2 = image_library()
    said = []
    ring = max(1, round(_RING_MM / pixel))
    edges = np.zeros(plain.shape, np.uint8)
    for k in range(len(table.cameras)):
        for placed in table.pages.values():
            outline = _in_picture(_outline(placed), table, places, k)
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
            over = (_differs(drawn[window]) & (round_it > 0) & plain[window] & (edges[window] == 0)).sum() * pixel**2
            drawn[window][inside > 0] = WHITE
            if over > _LIES_OVER * od_mm * _RING_MM:
                plain[window][inside > 0] = False
                said.append(f"Something lies over {what} of {name}, or touches it.")
    return tuple(dict.fromkeys(said))
