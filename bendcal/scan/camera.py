"""Where a camera stood above a reference page, and how its lens draws: fitted to the page's marks.

Ten numbers: the focal length and the middle of the lens in pixels, one number of radial distortion, and the camera's
turn and place. What a single picture of a flat page does not tell of them (how long the lens is, where its middle lies)
is believed beforehand, with honest widths, so that their covariance holds it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import optimize

from bendcal.scan.sighting import PageNotFound, image_library

__all__ = ["CORNER_PX", "Camera", "believed_lens", "camera_through", "fit_camera", "lens_arrays"]

#: Believed beforehand: focal length as of a phone's main lens (26 mm on 36 × 24 film), by a factor; the lens's middle, as a share
#: of the diagonal; radial distortion.
_FILM_DIAGONAL, _USUAL, _USUAL_U, _TOLD_U = 43.27, 26.0, 0.3, 0.05
_MIDDLE_U, _BARREL_U = 0.01, 0.1
CORNER_PX = 0.2  # at least so far off is a mark's corner
_MOST_RMS_PX = 2.0


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

    def pixels(self, points_mm: np.ndarray, height_mm: float = 0.0) -> np.ndarray:
        """(n, 2) where points of the page, or of a plane above it, are seen [px].

        Parameters
        ----------
        points_mm : (n, 2)
        height_mm : of the plane above the page
        """
        return _projected(self.numbers, np.asarray(points_mm, float), height_mm)

    def on_page(self, pixels: np.ndarray, numbers: np.ndarray | None = None, height_mm: float = 0.0) -> np.ndarray:
        """(n, 2) points of the page, or of a plane above it, that are seen at these pixels [mm].

        Parameters
        ----------
        pixels : (n, 2)
        numbers : other numbers than the camera's own
        height_mm : of the plane above the page
        """
        cv2 = image_library()
        n = self.numbers if numbers is None else numbers
        turn, _ = cv2.Rodrigues(n[4:7])
        flat = cv2.undistortPoints(np.asarray(pixels, float)[:, None], *lens_arrays(n))[:, 0]
        rays = np.column_stack([flat, np.ones(len(flat))]) @ turn
        start = -turn.T @ n[7:]
        return (start - rays * ((start[2] + height_mm) / rays[:, 2])[:, None])[:, :2]


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
    numbers, jacobian, rms = camera_through(page_mm, seen_px, size_px, film_mm=film_mm)
    if rms > _MOST_RMS_PX:
        raise PageNotFound(f"The reference page's marks lie {rms:.1f} pixels beside where a flat page has them: it is curled, or printed out of shape. Tape it down flat.")
    more = max(1.0, rms / CORNER_PX) ** 2
    return Camera(numbers, np.linalg.inv(jacobian.T @ jacobian) * more, rms)


def believed_lens(size_px: tuple[int, int], film_mm: float | None) -> tuple[np.ndarray, np.ndarray]:
    """(4,) what is believed of a lens beforehand, and (4,) how surely: the first four of a camera's numbers.

    Parameters
    ----------
    size_px : (width, height) of the picture
    film_mm : its focal length as for 36 × 24 mm film [mm], or None
    """
    diagonal = float(np.hypot(*size_px))
    believed = np.array([np.log((film_mm or _USUAL) * diagonal / _FILM_DIAGONAL), (size_px[0] - 1) / 2, (size_px[1] - 1) / 2, 0.0])
    return believed, np.array([_TOLD_U if film_mm else _USUAL_U, _MIDDLE_U * diagonal, _MIDDLE_U * diagonal, _BARREL_U])


def camera_through(page_mm: np.ndarray, seen_px: np.ndarray, size_px: tuple[int, int], *, film_mm: float | None = None) -> tuple[np.ndarray, np.ndarray, float]:
    """The camera's ten numbers, the Jacobian of the fit, and how far the points lie from where they should (rms) [px], however far that is.

    Parameters
    ----------
    page_mm, seen_px, size_px, film_mm : as for :func:`fit_camera`

    Raises
    ------
    PageNotFound : where the points make no page at all
    """
    cv2 = image_library()
    believed, widths = believed_lens(size_px, film_mm)
    solid = np.column_stack([page_mm, np.zeros(len(page_mm))])
    start = np.append(believed, np.zeros(6))
    good, turn, shift = cv2.solvePnP(solid, seen_px, lens_arrays(start)[0], None, flags=cv2.SOLVEPNP_IPPE)
    if not good:
        raise PageNotFound("The reference page's marks do not make a page. Flatten it and photograph it again.")
    start[4:] = np.append(turn.ravel(), shift.ravel())

    def away(numbers: np.ndarray) -> np.ndarray:
        return np.append(((_projected(numbers, page_mm) - seen_px) / CORNER_PX).ravel(), (numbers[:4] - believed) / widths)

    def slopes(numbers: np.ndarray) -> np.ndarray:
        _, by = cv2.projectPoints(solid, numbers[4:7], numbers[7:], *lens_arrays(numbers))
        by_lens = np.column_stack([(by[:, 6] + by[:, 7]) * np.exp(numbers[0]), by[:, 8:11]])
        return np.vstack([np.hstack([by_lens, by[:, :6]]) / CORNER_PX, np.eye(4, 10) / widths[:, None]])

    scale = np.array([0.1, 10.0, 10.0, 0.05, 0.01, 0.01, 0.01, 1.0, 1.0, 1.0])
    found = optimize.least_squares(away, start, jac=slopes, x_scale=scale, loss="soft_l1", f_scale=3.0, max_nfev=200)
    off = away(found.x)[: 2 * len(page_mm)] * CORNER_PX
    return found.x, found.jac, float(np.sqrt(np.mean(off**2)))


def lens_arrays(numbers: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(3, 3) the lens as OpenCV has it, and (4,) its distortion.

    Parameters
    ----------
    numbers : (10,) of a camera, or its first four
    """
    f = np.exp(numbers[0])
    return np.array([[f, 0, numbers[1]], [0, f, numbers[2]], [0, 0, 1.0]]), np.array([numbers[3], 0.0, 0.0, 0.0])


def _projected(numbers: np.ndarray, points_mm: np.ndarray, height_mm: float = 0.0) -> np.ndarray:
    """What OpenCV's projectPoints gives (a test holds it to that), which works out slopes by every number too, whether they are asked for or not."""
    turn, _ = image_library().Rodrigues(numbers[4:7])
    seen = points_mm @ turn[:, :2].T + (numbers[7:] - height_mm * turn[:, 2])
    flat = seen[:, :2] / seen[:, 2:]
    bent = np.exp(numbers[0]) * (1 + numbers[3] * (flat**2).sum(axis=1, keepdims=True))
    return flat * bent + numbers[1:3]
