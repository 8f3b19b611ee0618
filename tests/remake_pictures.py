"""Make the pictures that README.md shows, from the sample.

    python tests/remake_pictures.py
"""

from __future__ import annotations

import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PICTURES = ROOT / "notebooks" / "pictures"


def pictures() -> dict[str, bytes]:
    """File name → PNG."""
    import bendcal
    from bendcal import figures
    from bendcal.scan import read_flat_scan

    shop = bendcal.read_shop(ROOT / "sample_measurements")
    cal = bendcal.calibrate(shop)
    sheet = bendcal.mark_out(shop, cal, "brake-far-side")
    radius = float(sheet.law.parameters["radius_mm"])
    return {
        "marks.png": figures.straight_tube.marks(sheet, inches=True).png(),
        "law.png": figures.fit.law_fit(cal.law("small", "steel-3/16"), shop, lengths=False).png(),
        "line.png": figures.bent_line.views(sheet.line, sheet.tube, radius_mm=radius).png(),
        "flat-line.png": read_flat_scan(ROOT / "sample_measurements" / "scans" / "invented-flat-line.jpg", od_mm=4.76, end_a="left").overlay(largest=640),
        "pages.png": figures.laying_pages.how_to_lay_pages().png(),
        "turns.png": figures.twist_clock.clocks(sheet).png(),
    }


def main() -> int:
    """Write them; the exit code."""
    PICTURES.mkdir(exist_ok=True)
    for name, data in pictures().items():
        (PICTURES / name).write_bytes(data)
        print(f"{name}: {len(data) / 1000:.0f} kB")
    return 0


if __name__ == "__main__":
    sys.path.insert(0, str(ROOT))
    sys.exit(main())
