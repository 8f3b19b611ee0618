"""A reference page on a flatbed's glass beside the pieces: its marks tell what the scanner really makes of a millimetre, across and down.

A printed page is only as true as its printer, so what its 100 mm line measures by a rule goes in. Without that a print is believed to
half a per cent (an assumption: printers that were told to print at 100 %), which finds a wrong dpi and a page printed to fit, and no more.
"""

from __future__ import annotations

from dataclasses import replace
from math import hypot

import numpy as np
from scipy import optimize

from bendcal.fiducials import SIDE_MM, ReferencePage
from bendcal.scan.decode import NotAScan, Scan
from bendcal.scan.sighting import image_library, marks_in, page_of

__all__ = ["checked_scale"]

MEASURED_U, UNMEASURED_U = 0.002, 0.005  # of the print's scale in each direction: the line measured by a rule, or not
_CORNER_PX, _FLAT_PX = 0.2, 1.5  # how far a corner is off, and how far corners of a page that lies flat may be
_BEYOND = 3.0  # standard uncertainties of the difference
_MARGIN_MM = 2.0
_NEAR_MM = 40.0  # words belong to marks so near
_NO_LIBRARY = "Its scale is the file's: a reference page on the glass would be compared with it, but that needs opencv-python-headless, which is not installed."


def checked_scale(scan: Scan, *, scale_u: float, line_mm: float | None = None) -> tuple[Scan, tuple[float, float]]:
    """The scan with its scale compared with a reference page on it, what is printed painted over, and the scale's uncertainty (across, down).

    Where the two agree, the file's dpi stay. Where they differ by more than is unsure of both, a page whose line was measured is believed,
    and one whose line was not stands against the file: nothing is read then. Without a page on it the scan stays as it is.

    Parameters
    ----------
    scan : the scan, as its file tells its dpi
    scale_u : standard uncertainty of the dpi, as a share, in each direction
    line_mm : what the page's 100 mm line measures by a rule [mm], or None

    Raises
    ------
    NotAScan : where the page and the dpi differ, and nobody has measured the page's line
    """
    nominal = (scale_u, scale_u)
    try:
        cv2 = image_library()
    except NotAScan:
        return replace(scan, notes=(_NO_LIBRARY,)), nominal
    marks, twice = marks_in((cv2.cvtColor(scan.rgb, cv2.COLOR_RGB2GRAY) * 255).astype(np.uint8))
    marks = {n: at for n, at in marks.items() if n not in twice}
    pages = sorted({page_of(n) for n in marks}, key=lambda page: -len(page.marks_mm.keys() & marks.keys()))
    if not pages:
        return (scan if line_mm is None else replace(scan, notes=("No reference page is on the glass, so its line tells nothing: the scale is the file's.",))), nominal
    page, seen = pages[0], {n: at for n, at in marks.items() if n in pages[0].marks_mm}
    if len(seen) < 2:
        return replace(_painted_over(scan, marks, None), notes=("Only one of the reference page's marks is seen: the scale is the file's.",)), nominal
    factor, u, rms, where = _fitted(page, seen, scan.pixel_mm, (line_mm or 100.0) / 100)
    scan = _painted_over(scan, marks, (page, where))
    if rms > _FLAT_PX:
        return replace(scan, notes=(f"The reference page's marks lie {rms:.1f} pixels beside where a flat page has them, so it tells no scale: lay it flat on the glass.",)), nominal
    print_u = MEASURED_U if line_mm is not None else UNMEASURED_U
    of_page = [hypot(print_u, each) for each in u]
    told = "; ".join(f"{name} {100 * (k - 1):+.2f} % (± {200 * v:.2f})" for name, k, v in zip(("across", "down"), factor, of_page, strict=True))
    if all(abs(k - 1) <= _BEYOND * hypot(scale_u, v) for k, v in zip(factor, of_page, strict=True)):
        return replace(scan, notes=(f"The reference page on the glass agrees with the file's dpi: {told}. {_measure(line_mm)}".rstrip(),)), nominal
    real = " × ".join(f"{dpi * k:.1f}" for dpi, k in zip(scan.dpi, factor, strict=True))
    said = " × ".join(f"{dpi:.1f}" for dpi in scan.dpi)
    if line_mm is None:
        raise NotAScan(
            f'"{scan.name}": by the reference page on the glass it has {real} dpi, and its file says {said}. Either the page was not printed at 100 %, or '
            "the dpi are wrong. Measure the page's 100 mm line with a rule and say what it measures."
        )
    note = f"By the reference page on the glass the scan has {real} dpi, and its file says {said}: the page was believed, with its line of {line_mm:g} mm."
    pixel = tuple(size / k for size, k in zip(scan.pixel_mm, factor, strict=True))
    return replace(scan, pixel_mm=pixel, notes=(note,)), tuple(of_page)


def _measure(line_mm: float | None) -> str:
    return "" if line_mm is not None else "Its line was not measured; with that it would tell more."


def _fitted(page: ReferencePage, seen: dict[int, np.ndarray], pixel_mm: tuple[float, float], scale: float) -> tuple:
    """How many times longer than they are lengths seem (across, down), how surely, the corners' rms [px], and the fit's five numbers: two factors, a turn, a shift."""
    size = np.array(pixel_mm)
    on_page = np.concatenate([page.corners_mm(n) for n in seen]) * scale
    on_glass = (np.concatenate(list(seen.values())) + 0.5) * size
    middle = on_page.mean(axis=0)
    a, b = (on_page - middle) @ [1, 1j], (on_glass - on_glass.mean(axis=0)) @ [1, 1j]
    turn = float(np.angle(np.vdot(a, b)))
    start = np.array([1.0, 1.0, turn, *on_glass.mean(axis=0)])

    def away(numbers: np.ndarray) -> np.ndarray:
        return ((_on_glass(numbers, on_page - middle) - on_glass) / size / _CORNER_PX).ravel()

    found = optimize.least_squares(away, start, x_scale=[0.01, 0.01, 0.01, 1.0, 1.0])
    rms = float(np.sqrt(np.mean(found.fun**2))) * _CORNER_PX
    cov = np.linalg.inv(found.jac.T @ found.jac) * max(1.0, rms / _CORNER_PX) ** 2
    return found.x[:2], np.sqrt(np.diag(cov)[:2]), rms, (found.x, middle, scale)


def _on_glass(numbers: np.ndarray, points: np.ndarray) -> np.ndarray:
    c, s = np.cos(numbers[2]), np.sin(numbers[2])
    return points @ np.array([[c, s], [-s, c]]) * numbers[:2] + numbers[3:]


def _painted_over(scan: Scan, marks: dict[int, np.ndarray], laid: tuple | None) -> Scan:
    """The scan with its marks, and the words near them, painted in the shade of the paper round them: they are no pieces."""
    cv2 = image_library()
    rgb, blank = scan.rgb.copy(), np.zeros(scan.rgb.shape[:2], np.uint8)
    size = np.array(scan.pixel_mm)
    areas = [(at + 0.5) * size for at in marks.values()]
    if laid is not None:
        page, (numbers, middle, scale) = laid
        high = np.array([y + SIDE_MM / 2 for n, (_, y) in page.marks_mm.items() if n in marks])
        for left, top, right, bottom in page.words_mm:
            if (np.abs(high - (top + bottom) / 2) < _NEAR_MM).sum() >= 2:
                corners = np.array([(left, top), (right, top), (right, bottom), (left, bottom)])
                areas.append(_on_glass(numbers, corners * scale - middle))
    for corners in areas:
        out = corners - corners.mean(axis=0)
        wider = corners + out / np.linalg.norm(out, axis=1, keepdims=True) * _MARGIN_MM * 2**0.5
        one = np.zeros_like(blank)
        cv2.fillConvexPoly(one, np.round(wider / size - 0.5).astype(np.int32), 1)
        ring = cv2.dilate(one, np.ones((9, 9), np.uint8)) - one
        if ring.any():
            rgb[one > 0] = np.median(rgb[ring > 0], axis=0)
        blank |= one
    return replace(scan, rgb=rgb, blank=blank.astype(bool) if scan.blank is None else scan.blank | (blank > 0))
