"""Make the sample's scan of a flat line anew: ``python tests/invented/make_flat_scan.py`` from the project's folder.

The line and the scanner are invented; the truth stands in `LINE`. Pillow's JPEG encoder has the last word, so the file is the same
to a few grey levels only.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from PIL import Image

if __name__ == "__main__":  # started as a file: the project lies two folders up
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.invented.flat_line import ScannedLine, on_glass
from tests.invented.scan import Scanner, scan_of

COMMAND = "python tests/invented/make_flat_scan.py"
FILE = Path(__file__).resolve().parents[2] / "sample_measurements" / "scans" / "invented-flat-line.jpg"
DPI = 200.0
LINE = ScannedLine(
    legs_mm=(48.0, 62.0, 71.0, 40.0), turns_deg=(54.0, -78.0, 41.0), radii_mm=(15.0, 15.5, 14.5), od_mm=4.76, flattening=0.025, finish="copper", turned_deg=-18.0
)


def pixels() -> np.ndarray:
    """The scan as (height, width, 3) bytes."""
    line, size = on_glass(LINE)
    return scan_of([line], Scanner(dpi=DPI, noise=0.004, shadow=0.2), size, np.random.default_rng(11), fine=1)


if __name__ == "__main__":
    FILE.parent.mkdir(exist_ok=True)
    Image.fromarray(pixels()).save(FILE, dpi=(DPI, DPI), quality=80, comment="invented; made by tests/invented/make_flat_scan.py")
    print(f"Made {FILE}, {FILE.stat().st_size} bytes")
