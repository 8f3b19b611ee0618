"""A scan of an invented flat line of three bends, for the tests that read and record one."""

from dataclasses import replace
from pathlib import Path

import numpy as np

from tests.invented.flat_line import ScannedLine, on_glass
from tests.invented.scan import Scanner, save_scan, scan_of

LINE = ScannedLine(
    legs_mm=(38.0, 46.0, 52.0, 34.0), turns_deg=(70.0, -50.0, -35.0), radii_mm=(12.0, 15.0, 18.0), od_mm=4.76, flattening=0.03, turned_deg=25.0
)


def scanned(path: Path, line: ScannedLine = LINE, *, scanner: Scanner | None = None, cut_mm: float = 0.0, others: tuple = (), flip: bool = False) -> Path:
    """The scan's file; `cut_mm` leaves so much of the glass out on the right, `flip` shows the other face of the line."""
    scanner = scanner or Scanner(backdrop="white", noise=0.008)
    line, size = on_glass(line)
    pixels = scan_of([line, *others], scanner, (size[0] - cut_mm, size[1]), np.random.default_rng(6), fine=1)
    return save_scan(path, pixels[:, ::-1] if flip else pixels, dpi=scanner.dpi)


def changed(**values) -> ScannedLine:
    """The line with something else about it."""
    return replace(LINE, **values)
