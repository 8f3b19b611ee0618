"""Where a camera stood above a reference page, and how its lens draws: fitted to the page's marks.

Ten numbers: the focal length and the middle of the lens in pixels, one number of radial distortion, and the camera's
turn and place. What a single picture of a flat page does not tell of them (how long the lens is, where its middle lies)
is believed beforehand, with honest widths, so that their covariance holds it. A printer that stretches a page more one
way than the other makes it look as if it were seen aslant: by how much it does so is an eleventh number of the fit. All marks of a photo
are seen a little too large or too small, by light and blur: by how much is a twelfth.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import optimize

from bendcal.scan.sighting import PageNotFound, image_library

__all__ = ["CORNER_PX", "GROWN_PX", "PRINT_U", "Camera", "believed_lens", "camera_near", "camera_through", "fit_camera", "lens_arrays", "outward_of_marks", "scatter_px", "usual_px"]

#: Believed beforehand: focal length as of a phone's main lens (26 mm on 36 × 24 film), by a factor; the lens's middle, as a share
#: of the diagonal; radial distortion.
_FILM_DIAGONAL, _USUAL, _USUAL_U, _TOLD_U = 43.27, 26.0, 0.3, 0.05
_MIDDLE_U, _BARREL_U = 0.01, 0.1
CORNER_PX = 0.1  # at least so far off is a mark's corner, once all marks of its photo may be seen too large or too small
GROWN_PX = 0.5  # so far out, or in, may all corners of a photo's marks be seen
_CLIPPED = 3.0  # in what most corners scatter by: what is further off is covered or misread, and tells nothing of the others
_MOST_RMS_PX = 2.0
PRINT_U = 0.002  # of what a printer makes of 100 mm, or of what a rule tells of them, in each direction
_BELIEFS = 6
_ROBUST = 3.0  # so many times as far off as they usually are, corners begin to count for less


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

    @property
    def height_u(self) -> float:
        """Standard uncertainty of the camera's height above the page [mm]."""
        by = [(replace(self, numbers=self.numbers + h).place_mm[2] - replace(self, numbers=self.numbers - h).place_mm[2]) / 2e-4 for h in np.eye(len(self.numbers)) * 1e-4]
        return float(np.sqrt(by @ self.covariance @ np.array(by)))

    def pixels(self, points_mm: np.ndarray, height_mm: float = 0.0) -> np.ndarray:
        """(n, 2) where points of the page, or of a plane above it, are seen [px].

        Parameters
        ----------
        points_mm : (n, 2)
        height_mm : of the plane above the page
        """
        return _projected(self.numbers, np.asarray(points_mm, float), height_mm)

    def pixels_of_grid(self, start_mm: tuple[float, float], step_mm: float, size: tuple[int, int]) -> tuple[np.ndarray, np.ndarray]:
        """Where the points of a grid on the page are seen: (rows, columns) across and the same down [px], as single floats.

        Parameters
        ----------
        start_mm : the grid's first point
        step_mm : between its points, each way
        size : (columns, rows)
        """
        cv2 = image_library()
        turn, _ = cv2.Rodrigues(self.numbers[4:7])
        # From a grid's numbers to the page, and from the page to a ray of the camera; only the lens does not go straight.
        ray = np.column_stack([turn[:, :2], self.numbers[7:]]) @ np.array([[step_mm, 0, start_mm[0]], [0, step_mm, start_mm[1]], [0, 0, 1.0]])
        return cv2.initUndistortRectifyMap(*lens_arrays(self.numbers), None, np.linalg.inv(ray), size, cv2.CV_32FC1)

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


def fit_camera(page_mm: np.ndarray, seen_px: np.ndarray, size_px: tuple[int, int], *, film_mm: float | None = None, print_u: float = PRINT_U) -> Camera:
    """The camera that sees these points of a page there.

    Parameters
    ----------
    page_mm : (n, 2) corners of marks, four a mark, one after the other round it [mm]
    seen_px : (n, 2) the same in the picture [px]
    size_px : (width, height) of the picture
    film_mm : its focal length as for 36 × 24 mm film, as the file tells it [mm]
    print_u : standard uncertainty of the print's size, as a share, in each direction by itself

    Raises
    ------
    PageNotFound : where the marks do not lie on one plane as they should
    """
    numbers, jacobian, off = camera_through(page_mm, seen_px, size_px, film_mm=film_mm, print_u=print_u)
    rms = float(np.sqrt(np.mean(off**2)))
    if rms > _MOST_RMS_PX:
        raise PageNotFound(f"The reference page's marks lie {rms:.1f} pixels beside where a flat page has them: it is curled, or printed out of shape. Tape it down flat.")
    # A page that curls a little shifts many corners alike: all is so much less sure.
    more = max(1.0, rms / CORNER_PX) ** 2
    return Camera(numbers, np.linalg.inv(jacobian.T @ jacobian)[:10, :10] * more, rms)


def scatter_px(off_px: np.ndarray) -> float:
    """What corners scatter by, those that are covered or misread clipped.

    Parameters
    ----------
    off_px : (n,) how far they are seen from where they should be, across and down [px]

    Examples
    --------
    >>> round(scatter_px(np.append(np.tile([-0.1, 0.1], 30), [9.0, 9.0])), 2)
    0.13
    """
    most = _CLIPPED * usual_px(off_px)
    return float(np.sqrt(np.mean(np.clip(off_px, -most, most) ** 2)))


def usual_px(off_px: np.ndarray) -> float:
    """What most corners scatter by, whatever a few do, and at least what any does.

    Parameters
    ----------
    off_px : as for :func:`scatter_px`
    """
    return max(CORNER_PX, 1.4826 * float(np.median(np.abs(off_px))))


def outward_of_marks(corners_px: np.ndarray) -> np.ndarray:
    """(n, 2) unit vectors from the middle of each mark to its corners.

    Parameters
    ----------
    corners_px : (n, 2) four a mark, one after the other round it [px]

    Examples
    --------
    >>> outward_of_marks(np.array([[0.0, 0], [6, 0], [6, 6], [0, 6]])).round(2).tolist()
    [[-0.71, -0.71], [0.71, -0.71], [0.71, 0.71], [-0.71, 0.71]]
    """
    four = corners_px.reshape(-1, 4, 2)
    away = four - four.mean(axis=1, keepdims=True)
    return (away / np.maximum(np.linalg.norm(away, axis=2, keepdims=True), 1e-9)).reshape(-1, 2)


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


def camera_through(
    page_mm: np.ndarray, seen_px: np.ndarray, size_px: tuple[int, int], *, film_mm: float | None = None, print_u: float = PRINT_U
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The camera's ten numbers, the (2n + 6, 12) Jacobian of the fit, beliefs last, and (2n,) how far the points lie from where they should [px].

    The eleventh number is by how much more the page was stretched across than down, the twelfth by how much too large its marks are seen.

    Parameters
    ----------
    page_mm, seen_px, size_px, film_mm, print_u : as for :func:`fit_camera`

    Raises
    ------
    PageNotFound : where the points make no page at all
    """
    cv2 = image_library()
    believed, widths = believed_lens(size_px, film_mm)
    start = _posed(page_mm, seen_px, believed)
    aspect_u, outward = max(np.sqrt(2) * print_u, 1e-6), outward_of_marks(seen_px)

    def away(x: np.ndarray) -> np.ndarray:
        printed = page_mm * (1 + x[10] / 2, 1 - x[10] / 2)
        off = _projected(x[:10], printed) + x[11] * outward - seen_px
        return np.concatenate([(off / CORNER_PX).ravel(), (x[:4] - believed) / widths, [x[10] / aspect_u, x[11] / GROWN_PX]])

    def slopes(x: np.ndarray) -> np.ndarray:
        printed = np.column_stack([page_mm * (1 + x[10] / 2, 1 - x[10] / 2), np.zeros(len(page_mm))])
        _, by = cv2.projectPoints(printed, x[4:7], x[7:10], *lens_arrays(x))
        by_lens = np.column_stack([(by[:, 6] + by[:, 7]) * np.exp(x[0]), by[:, 8:11]])
        by_page = (by[:, 3:6] @ cv2.Rodrigues(x[4:7])[0][:, :2]).reshape(-1, 2, 2)  # what a pixel moves by when a point of the page does
        by_aspect = (by_page @ (page_mm * (0.5, -0.5))[:, :, None]).reshape(-1, 1)
        beliefs = np.zeros((_BELIEFS, 12))
        beliefs[np.arange(_BELIEFS), [0, 1, 2, 3, 10, 11]] = 1 / np.append(widths, [aspect_u, GROWN_PX])
        return np.vstack([np.hstack([by_lens, by[:, :6], by_aspect, outward.reshape(-1, 1)]) / CORNER_PX, beliefs])

    scale = np.array([0.1, 10.0, 10.0, 0.05, 0.01, 0.01, 0.01, 1.0, 1.0, 1.0, 0.001, 0.1])
    found = optimize.least_squares(away, np.append(start, [0.0, 0.0]), jac=slopes, x_scale=scale, loss=_corners_robustly, f_scale=_ROBUST, max_nfev=200)
    return found.x[:10], found.jac, away(found.x)[:-_BELIEFS] * CORNER_PX


def camera_near(page_mm: np.ndarray, seen_px: np.ndarray, size_px: tuple[int, int], *, film_mm: float | None = None) -> np.ndarray:
    """(10,) numbers of a camera that sees these points about there, though they may be off by millimetres, as when a page was moved.

    Parameters
    ----------
    page_mm, seen_px, size_px, film_mm : as for :func:`fit_camera`

    Raises
    ------
    PageNotFound : where the points make no page at all
    """
    fitted = camera_through(page_mm, seen_px, size_px, film_mm=film_mm)[0]
    posed = _posed(page_mm, seen_px, believed_lens(size_px, film_mm)[0])
    # The fit takes what does not agree for a page out of shape, if need be; a camera with its lens as believed and no more to give is nearer then.
    return min((fitted, posed), key=lambda numbers: np.square(_projected(numbers, page_mm) - seen_px).sum())


def _posed(page_mm: np.ndarray, seen_px: np.ndarray, lens: np.ndarray) -> np.ndarray:
    """(10,) the camera with this lens, where it sees the points with the least squares."""
    cv2 = image_library()
    solid, matrix, bent = np.column_stack([page_mm, np.zeros(len(page_mm))]), *lens_arrays(lens)
    good, turn, shift = cv2.solvePnP(solid, seen_px, matrix, bent, flags=cv2.SOLVEPNP_IPPE)
    if not good:
        raise PageNotFound("The reference page's marks do not make a page. Flatten it and photograph it again.")
    turn, shift = cv2.solvePnPRefineLM(solid, seen_px, matrix, bent, turn, shift)
    return np.concatenate([lens, turn.ravel(), shift.ravel()])


def _corners_robustly(squares: np.ndarray) -> np.ndarray:
    """(3, n) a robust loss and its derivatives for corners, plain squares for beliefs: a lens whose middle lay far outside of what can be would else cost little."""
    more = 1 + squares
    loss = np.stack([2 * (np.sqrt(more) - 1), more**-0.5, -0.5 * more**-1.5])
    loss[:, -_BELIEFS:] = np.stack([squares[-_BELIEFS:], np.ones(_BELIEFS), np.zeros(_BELIEFS)])
    return loss


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
