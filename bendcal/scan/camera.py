"""Where a camera stood above a reference page, and how its lens draws: fitted to the page's marks.

Ten numbers: the focal length and the middle of the lens in pixels, one number of radial distortion, and the camera's
turn and place. What a single picture of a flat page does not tell of them (how long the lens is, where its middle lies)
is believed beforehand, with honest widths, so that their covariance holds it.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import ModuleType

import numpy as np
from scipy import optimize

from bendcal.fiducials import ReferencePage, reference_pages
from bendcal.scan.decode import NotAScan

__all__ = ["Camera", "PageNotFound", "find_page", "fit_camera", "image_library"]

_MISSING = (
    "Photos need a further package, opencv-python-headless, which is not installed. Install it with "
    "\"pip install opencv-python-headless\" into the kit's Python, or scan the pieces on a flatbed, which needs nothing more."
)
#: Believed beforehand: focal length as of a phone's main lens (26 mm on 36 × 24 film), by a factor; the lens's middle, as a share
#: of the diagonal; radial distortion.
_FILM_DIAGONAL, _USUAL, _USUAL_U, _TOLD_U = 43.27, 26.0, 0.3, 0.05
_MIDDLE_U, _BARREL_U = 0.01, 0.1
_CORNER_PX = 0.2  # at least so far off is a mark's corner
_MOST_RMS_PX = 2.0
_LEAST_MARKS = 6


class PageNotFound(NotAScan):
    """No reference page can be made out in the picture; the message says what was seen and what to do."""


@dataclass(frozen=True, eq=False)
class Camera:
    """A camera above a page.

    Attributes
    ----------
    numbers : (10,) log focal length [log px], middle (x, y) [px], distortion k₁, turn (Rodrigues' vector), shift [mm]
    covariance : (10, 10)
    rms_px : how far the marks' corners lie from where they should
    """

    numbers: np.ndarray
    covariance: np.ndarray
    rms_px: float

    @property
    def place_mm(self) -> np.ndarray:
        """(3,) the camera on the page: x to the right, y down, and its height above it [mm]."""
        turn, _ = image_library().Rodrigues(self.numbers[4:7])
        x, y, z = -turn.T @ self.numbers[7:]
        return np.array([x, y, -z])

    @property
    def tilt_deg(self) -> float:
        """How far the camera looks past the upright."""
        turn, _ = image_library().Rodrigues(self.numbers[4:7])
        return float(np.degrees(np.arccos(np.clip(turn[2, 2], -1, 1))))

    def pixels(self, points_mm: np.ndarray) -> np.ndarray:
        """(n, 2) where points of the page are seen [px].

        Parameters
        ----------
        points_mm : (n, 2)
        """
        return _projected(self.numbers, np.asarray(points_mm, float))

    def on_page(self, pixels: np.ndarray, numbers: np.ndarray | None = None) -> np.ndarray:
        """(n, 2) points of the page that are seen at these pixels [mm].

        Parameters
        ----------
        pixels : (n, 2)
        numbers : other numbers than the camera's own
        """
        cv2 = image_library()
        n = self.numbers if numbers is None else numbers
        turn, _ = cv2.Rodrigues(n[4:7])
        flat = cv2.undistortPoints(np.asarray(pixels, float)[:, None], _matrix(n), _lens(n))[:, 0]
        rays = np.column_stack([flat, np.ones(len(flat))]) @ turn
        start = -turn.T @ n[7:]
        return (start - rays * (start[2] / rays[:, 2])[:, None])[:, :2]


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


def find_page(grey: np.ndarray) -> tuple[ReferencePage, np.ndarray, np.ndarray]:
    """The reference page in a picture, and the corners of its marks.

    Parameters
    ----------
    grey : (height, width) bytes

    Returns
    -------
    page, (n, 2) corners on the page [mm], (n, 2) the same in the picture [px, the middle of the first pixel at 0, 0]

    Raises
    ------
    PageNotFound : where fewer than six of the eight marks are seen, or those of two pages
    """
    cv2 = image_library()
    how = cv2.aruco.DetectorParameters()
    how.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    how.cornerRefinementWinSize = 5
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_100), how)
    corners, numbers, _ = detector.detectMarkers(grey)
    seen = {} if numbers is None else dict(zip((int(n) for n in np.ravel(numbers)), corners, strict=True))
    pages = [page for page in reference_pages() if len(seen.keys() & page.marks_mm.keys()) >= 2]
    if len(pages) > 1:
        raise PageNotFound("Marks of two different reference pages are in the picture. Photograph one page at a time.")
    found = sorted(seen.keys() & pages[0].marks_mm.keys()) if pages else []
    if len(found) < _LEAST_MARKS:
        raise PageNotFound(
            f"Of the reference page's eight marks {len(found)} can be made out; at least {_LEAST_MARKS} are needed. Print the reference page, lay the pieces "
            "inside its frame, and photograph it from above, with all marks in the picture, sharp, and nothing over them."
        )
    return pages[0], np.concatenate([pages[0].corners_mm(n) for n in found]), np.concatenate([seen[n].reshape(4, 2) for n in found]).astype(float)


def fit_camera(page_mm: np.ndarray, seen_px: np.ndarray, size_px: tuple[int, int], *, film_mm: float | None = None) -> Camera:
    """The camera that sees these points of a page there.

    Parameters
    ----------
    page_mm : (n, 2) [mm]
    seen_px : (n, 2) [px]
    size_px : (width, height) of the picture
    film_mm : its focal length as for 36 × 24 mm film, as the file tells it [mm]

    Raises
    ------
    PageNotFound : where the marks do not lie on one plane as they should
    """
    cv2 = image_library()
    diagonal = float(np.hypot(*size_px))
    believed = np.array([np.log((film_mm or _USUAL) * diagonal / _FILM_DIAGONAL), (size_px[0] - 1) / 2, (size_px[1] - 1) / 2, 0.0])
    widths = np.array([_TOLD_U if film_mm else _USUAL_U, _MIDDLE_U * diagonal, _MIDDLE_U * diagonal, _BARREL_U])
    solid = np.column_stack([page_mm, np.zeros(len(page_mm))])
    start = np.append(believed, np.zeros(6))
    good, turn, shift = cv2.solvePnP(solid, seen_px, _matrix(start), None, flags=cv2.SOLVEPNP_IPPE)
    if not good:
        raise PageNotFound("The reference page's marks do not make a page. Flatten it and photograph it again.")
    start[4:] = np.append(turn.ravel(), shift.ravel())

    def away(numbers: np.ndarray) -> np.ndarray:
        return np.append(((_projected(numbers, page_mm) - seen_px) / _CORNER_PX).ravel(), (numbers[:4] - believed) / widths)

    scale = np.array([0.1, 10.0, 10.0, 0.05, 0.01, 0.01, 0.01, 1.0, 1.0, 1.0])
    found = optimize.least_squares(away, start, x_scale=scale, loss="soft_l1", f_scale=3.0, max_nfev=200)
    off = away(found.x)[: 2 * len(page_mm)] * _CORNER_PX
    rms = float(np.sqrt(np.mean(off**2)))
    if rms > _MOST_RMS_PX:
        raise PageNotFound(f"The reference page's marks lie {rms:.1f} pixels beside where a flat page has them: it is curled, or printed out of shape. Tape it down flat.")
    more = max(1.0, rms / _CORNER_PX) ** 2
    return Camera(found.x, np.linalg.inv(found.jac.T @ found.jac) * more, rms)


def _matrix(numbers: np.ndarray) -> np.ndarray:
    f = np.exp(numbers[0])
    return np.array([[f, 0, numbers[1]], [0, f, numbers[2]], [0, 0, 1.0]])


def _lens(numbers: np.ndarray) -> np.ndarray:
    return np.array([numbers[3], 0.0, 0.0, 0.0])


def _projected(numbers: np.ndarray, points_mm: np.ndarray) -> np.ndarray:
    cv2 = image_library()
    solid = np.column_stack([points_mm, np.zeros(len(points_mm))])
    return cv2.projectPoints(solid, numbers[4:7], numbers[7:], _matrix(numbers), _lens(numbers))[0][:, 0]
