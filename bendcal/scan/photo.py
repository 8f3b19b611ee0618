"""Read offcuts from a photo of them on a reference page: the page's marks tell plane, scale, perspective, camera and lens."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from bendcal.fiducials import ReferencePage
from bendcal.scan.camera import CORNER_PX, PRINT_U, Camera, fit_camera
from bendcal.scan.decode import NotAScan, Scan, open_photo
from bendcal.scan.heights import View, instead
from bendcal.scan.reading import ScanReadings, check_line, check_told, readings_on
from bendcal.scan.sighting import PageNotFound, find_page, image_library, spread_px

__all__ = ["LEAST_PX", "MOST_TILT_DEG", "PRINT_U", "LaidPage", "check_line", "laid_page", "one_page", "read_photo"]

_INSET_MM = 1.2  # inside of the frame's line
_COARSEST, _FINEST = 5.0, 16.0  # pixels a millimetre: 1500 across a page are 7
MOST_TILT_DEG = 30.0
LEAST_PX = 20.0  # across the tube
_CURLED = 8.0  # of what a corner is off by at least: of invented photos flat pages stay near 1
_BLURRED_PX = 4.5  # sharp photos have 2.5 to 4
_BURNT, _PAPER, _BURNT_MM2 = 0.995, 0.96, 8.0  # of full white, where the paper itself is not so light; a glint along a tube is smaller


def read_photo(path: str | os.PathLike[str], *, od_mm: float, end_a: str | None = None, line_mm: float = 100.0, print_u: float = PRINT_U) -> ScanReadings:
    """Read every offcut inside the frame of a reference page.

    The camera is fitted to the page's marks, and the page is drawn anew as if seen from straight above. What of the tube is seen
    beside where it stands, because it is above the page, is put right by its diameter.

    Parameters
    ----------
    path : JPEG, PNG, TIFF, BMP or WebP
    od_mm : the tube's outside diameter [mm]
    end_a : ``"left"``, ``"right"``, ``"top"``, ``"bottom"`` (of the page as it is printed) or None: the leg with the mark
    line_mm : what the page's 100 mm line measures [mm]
    print_u : standard uncertainty of that, as a share, in each direction

    Returns
    -------
    ScanReadings

    Raises
    ------
    NotAScan : where the file is no picture, the page is not found, or it is too coarse or too slanting; or OpenCV is missing
    ValueError : for a diameter, side or line that cannot be
    """
    check_told(od_mm, end_a)
    page = laid_page(path, od_mm=od_mm, line_mm=line_mm, print_u=print_u)
    return readings_on(page.scan, od_mm=od_mm, end_a=end_a, scale_u=page.scale_u, view=page.view, notes=page.notes)


@dataclass(frozen=True, eq=False)
class LaidPage:
    """A photo drawn anew as seen from straight above the page: the picture, its camera, what of its scale's uncertainty the view does not hold, what was found of the lens."""

    scan: Scan
    view: View
    scale_u: tuple[float, float]
    notes: tuple[str, ...]


def laid_page(path: str | os.PathLike[str], *, od_mm: float, line_mm: float = 100.0, print_u: float = PRINT_U) -> LaidPage:
    """A photo of a reference page as seen from straight above it.

    Parameters
    ----------
    path, od_mm, line_mm, print_u : as for :func:`read_photo`

    Raises
    ------
    NotAScan : as for :func:`read_photo`
    ValueError : for a line that cannot be
    """
    image_library()  # whoever lacks it is told so first
    return one_page(Path(path).name, *open_photo(path), od_mm=od_mm, line_mm=line_mm, print_u=print_u)


def one_page(name: str, rgb: np.ndarray, film: float | None, *, od_mm: float, line_mm: float = 100.0, print_u: float = PRINT_U) -> LaidPage:
    """An opened photo of a reference page as seen from straight above it.

    Parameters
    ----------
    name : the file's name
    rgb, film : its pixels and its focal length, as :func:`bendcal.scan.decode.open_photo` has them
    od_mm, line_mm, print_u : as for :func:`read_photo`

    Raises
    ------
    NotAScan, ValueError : as for :func:`laid_page`
    """
    check_line(line_mm)
    cv2 = image_library()
    try:
        grey = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)
        page, at, seen = find_page(grey)
        camera = fit_camera(at * line_mm / 100, seen, rgb.shape[1::-1], film_mm=film, print_u=print_u)
    except PageNotFound as error:
        raise PageNotFound(f'"{name}": {error}') from None
    if camera.tilt_deg > MOST_TILT_DEG:
        raise NotAScan(f'"{name}" was taken {camera.tilt_deg:.0f}° from the upright; at most {MOST_TILT_DEG:.0f}° are read. Hold the camera level above the page.')
    scan, start = _from_above(name, rgb, camera, page, line_mm / 100)
    if od_mm / max(scan.pixel_mm) < LEAST_PX:
        raise NotAScan(f'"{name}": the tube is only {od_mm / max(scan.pixel_mm):.0f} pixels wide; at least {LEAST_PX:.0f} are needed. Go nearer, so that the page fills the picture.')
    return LaidPage(scan, _view(camera, start, print_u / np.sqrt(2)), (0.0, 0.0), (_lens(camera, rgb.shape[1::-1]), *_doubts(camera.rms_px, spread_px(grey, seen), scan)))


def _from_above(name: str, rgb: np.ndarray, camera: Camera, page: ReferencePage, scale: float) -> tuple[Scan, np.ndarray]:
    """The inside of the frame as seen from straight above, and where it begins on the page [mm]."""
    left, top, right, bottom = np.array(page.frame_mm) * scale + np.array([1, 1, -1, -1]) * _INSET_MM
    corners = np.array([(left, top), (right, top), (right, bottom), (left, bottom), ((left + right) / 2, (top + bottom) / 2)])
    a, b = camera.pixels(corners), camera.pixels(corners + (1.0, 0.0))
    c = camera.pixels(corners + (0.0, 1.0))
    per_mm = np.minimum(np.hypot(*(b - a).T), np.hypot(*(c - a).T))
    if per_mm.min() < _COARSEST:
        raise NotAScan(f'"{name}" has {per_mm.min():.1f} pixels a millimetre of the page; at least {_COARSEST:g} are needed. Go nearer, or take the picture in full size.')
    if not ((a >= 0) & (a < np.array(rgb.shape[1::-1]))).all():
        raise PageNotFound(f'"{name}": a part of the page\'s frame is outside of the picture. Photograph the whole page.')
    size = 1 / min(float(per_mm.mean()), _FINEST)
    wide, high = (len(np.arange(low + size / 2, far, size)) for low, far in ((left, right), (top, bottom)))
    cv2 = image_library()
    flat = cv2.remap(rgb, *camera.pixels_of_grid((left + size / 2, top + size / 2), size, (wide, high)), cv2.INTER_CUBIC)
    dpi = 25.4 / size
    return Scan(name, flat.astype(np.float32) / 255, (size, size), (dpi, dpi)), np.array([left, top])


def _view(camera: Camera, start: np.ndarray, size_u: float) -> View:
    """The camera and those that might have been instead, on the page beginning at `start`.

    A print that is stretched more one way than the other is among those that might have been, in the camera's covariance; that it is as much
    larger both ways, which no picture tells, is one more of them, everything then being larger by `size_u`.
    """

    def seen(numbers: np.ndarray):
        eye = Camera(numbers, camera.covariance, camera.rms_px).place_mm - np.append(start, 0.0)
        return (lambda points: camera.on_page(camera.pixels(points + start), numbers) - start), eye

    eye = seen(camera.numbers)[1]
    larger = (lambda points: points * (1 + size_u), eye * (1 + size_u))
    return View(eye, (*instead(camera.numbers, camera.covariance, seen), larger))


def _doubts(off: float, spread: float, scan: Scan) -> list[str]:
    """What may be the matter with a photo as a whole, where something is: it is told before any piece, which it may be the reason to refuse."""
    said = []
    if off > _CURLED * CORNER_PX:
        said.append(f"The page does not lie quite flat, or is printed out of shape: its marks lie {off:.1f} pixels beside where a flat page has them. Tape it down all round.")
    if spread > _BLURRED_PX:
        said.append(f"The photo is not sharp: the sides of the page's marks are spread over {spread:.0f} pixels. Hold the camera still, in good light, and let it focus.")
    if np.median(scan.rgb) < _PAPER and (scan.rgb.min(axis=2) > _BURNT).sum() * np.prod(scan.pixel_mm) > _BURNT_MM2:
        said.append("Places in the frame are burnt out to white: a lamp shines back from there. Where they touch a tube its edges are lost. Take the picture in daylight, without flash.")
    return said


def _lens(camera: Camera, size_px: tuple[int, int]) -> str:
    """What was found of the camera, in words."""
    half = np.hypot(*size_px) / 2
    share = (half / np.exp(camera.numbers[0])) ** 2
    bent, u = camera.numbers[3] * share * 100, np.sqrt(camera.covariance[3, 3]) * share * 100
    x, y, height = camera.place_mm
    return (
        f"Camera about {height:.0f} mm above the page, {camera.tilt_deg:.0f}° from the upright; the lens draws the picture's corners {bent:+.1f} % "
        f"(± {u:.1f}) too far out; the page's marks lie within {camera.rms_px:.2f} pixels (rms) of where they should."
    )
