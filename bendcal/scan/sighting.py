"""What a photo shows of reference pages: which marks, and where their corners are seen."""

from __future__ import annotations

from dataclasses import dataclass
from types import ModuleType

import numpy as np

from bendcal.fiducials import ReferencePage, reference_pages
from bendcal.scan.decode import NotAScan
from bendcal.scan.edges import sample, steepest

__all__ = ["PageNotFound", "Sighting", "find_page", "image_library", "marks_in", "page_of", "spread_px"]

_MISSING = (
    "Photos need a further package, opencv-python-headless, which is not installed. Install it with "
    "\"pip install opencv-python-headless\" into the kit's Python, or scan the pieces on a flatbed, which needs nothing more."
)
_LEAST_MARKS, _OF_ANOTHER = 6, 4
_LOOK_PX = 10.0
_PAGE_OF = {mark: page for page in reference_pages() for mark in page.marks_mm}


class PageNotFound(NotAScan):
    """No reference page can be made out in the picture; the message says what was seen and what to do."""


def image_library() -> ModuleType:
    """OpenCV, loaded when it is used.

    Raises
    ------
    NotAScan : where it is not installed; the message says how to get it
    """
    try:
        import cv2
    except ImportError:
        raise NotAScan(_MISSING) from None
    return cv2


def page_of(mark: int) -> ReferencePage:
    """The page that a mark is printed on.

    Parameters
    ----------
    mark : its number

    Examples
    --------
    >>> str(page_of(17))
    'page 2 (A4)'
    """
    return _PAGE_OF[mark]


@dataclass(frozen=True, eq=False)
class Sighting:
    """The marks that one photo shows.

    Attributes
    ----------
    name : the photo's file name
    size_px : (width, height)
    film_mm : its focal length as for 36 × 24 mm film [mm], or None
    corners_px : number of a mark → (4, 2) its corners [px, the middle of the first pixel at 0, 0]
    twice : marks that are seen at more than one place
    """

    name: str
    size_px: tuple[int, int]
    film_mm: float | None
    corners_px: dict[int, np.ndarray]
    twice: tuple[int, ...] = ()

    def marks(self) -> dict[str, list[int]]:
        """Each page's name and the marks of it that are seen.

        Examples
        --------
        >>> seen = np.zeros((4, 2))
        >>> Sighting("a.jpg", (9, 9), None, {17: seen, 2: seen, 16: seen}).marks()
        {'page 1 (A4)': [2], 'page 2 (A4)': [16, 17]}
        """
        by: dict[str, list[int]] = {}
        for mark in sorted(self.corners_px):
            by.setdefault(str(page_of(mark)), []).append(mark)
        return by


def marks_in(grey: np.ndarray) -> tuple[dict[int, np.ndarray], tuple[int, ...]]:
    """The marks of reference pages in a picture, and those that are seen at more than one place.

    Parameters
    ----------
    grey : (height, width) bytes

    Returns
    -------
    number → (4, 2) corners [px, the middle of the first pixel at 0, 0]; numbers

    Raises
    ------
    NotAScan : where OpenCV is not installed
    """
    cv2 = image_library()
    how = cv2.aruco.DetectorParameters()
    how.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    how.cornerRefinementWinSize = 5
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_100), how)
    corners, numbers, _ = detector.detectMarkers(grey)
    seen: dict[int, np.ndarray] = {}
    twice = set()
    for number, four in zip(np.ravel(numbers).tolist() if numbers is not None else [], corners, strict=True):
        if number not in _PAGE_OF:
            continue
        if number in seen:
            twice.add(number)
        seen[number] = four.reshape(4, 2).astype(float)
    return seen, tuple(sorted(twice))


def find_page(grey: np.ndarray) -> tuple[ReferencePage, np.ndarray, np.ndarray]:
    """The one reference page in a picture, and the corners of its marks.

    Parameters
    ----------
    grey : (height, width) bytes

    Returns
    -------
    page, (n, 2) corners on the page [mm], (n, 2) the same in the picture [px, the middle of the first pixel at 0, 0]

    Raises
    ------
    PageNotFound : where fewer than six of the eight marks are seen, or those of two pages clearly
    """
    seen, _ = marks_in(grey)
    pages = sorted(reference_pages(), key=lambda page: -len(seen.keys() & page.marks_mm.keys()))
    if len(seen.keys() & pages[1].marks_mm.keys()) >= _OF_ANOTHER:
        raise PageNotFound(f"Marks of {pages[0]} and of {pages[1]} are in the picture. Photograph one page at a time, or read it as a table of several pages.")
    found = sorted(seen.keys() & pages[0].marks_mm.keys())
    if len(found) < _LEAST_MARKS:
        raise PageNotFound(
            f"Of the reference page's eight marks {len(found)} can be made out; at least {_LEAST_MARKS} are needed. Print the reference page, lay the pieces "
            "inside its frame, and photograph it from above, with all marks in the picture, sharp, and nothing over them."
        )
    return pages[0], np.concatenate([pages[0].corners_mm(n) for n in found]), np.concatenate([seen[n] for n in found])


def spread_px(grey: np.ndarray, corners_px: np.ndarray) -> float:
    """Over how many pixels the sides of a page's marks go from black to white: the greater of what is usual of sides that lie one way and the other.

    Parameters
    ----------
    grey : (height, width) bytes
    corners_px : (n, 2) the marks' corners, four a mark, one after the other round it [px, the middle of the first pixel at 0, 0]

    Returns
    -------
    the full width at half height of the slope; a camera that moved, or is out of focus, makes it large

    Examples
    --------
    >>> from scipy import ndimage
    >>> page = np.full((90, 90), 255.0)
    >>> page[30:60, 30:60] = 0
    >>> square = np.array([[29.5, 29.5], [59.5, 29.5], [59.5, 59.5], [29.5, 59.5]])
    >>> sharp, moved = spread_px(page, square), spread_px(ndimage.uniform_filter1d(page, 9, axis=0), square)
    >>> sharp < 4 < 8 < moved
    True
    """
    offset = np.arange(-_LOOK_PX, _LOOK_PX + 0.1, 0.25)
    widths: list[list[np.ndarray]] = [[], []]
    for four in corners_px.reshape(-1, 4, 2):
        for k in range(4):
            start, side = four[k], four[(k + 1) % 4] - four[k]
            out = np.array([side[1], -side[0]]) / max(float(np.hypot(*side)), 1e-9)
            out = out if out @ (start - four.mean(axis=0)) > 0 else -out
            along = start + np.linspace(0.2, 0.8, 7)[:, None] * side
            values = sample(grey.astype(np.float32), along[:, None, :] + offset[None, :, None] * out + 0.5, (1.0, 1.0))
            widths[k % 2].append(steepest(values, offset, 0.5 * _LOOK_PX, 1.0)[1])
    return max(float(np.median(np.concatenate(way))) for way in widths)
