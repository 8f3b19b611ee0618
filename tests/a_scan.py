"""A scan of two invented offcuts, 60° and 90°, for the tests that record what is read from one."""

from pathlib import Path

import numpy as np

from tests.invented.scan import ScannedPiece, Scanner, save_scan, scan_of

PIECES = [
    ScannedPiece(angle_deg=angle, leg_a_mm=42.0, leg_b_mm=38.0, mark_mm=mark, at_mm=(45.0 + 52.0 * k, 32.0), turned_deg=20.0)
    for k, (angle, mark) in enumerate([(60.0, 20.0), (90.0, 22.0)])
]


def two_pieces(path: Path, *, width_mm: float = 120.0) -> Path:
    """The scan's file; a narrow glass cuts the second piece off."""
    return save_scan(path, scan_of(PIECES, Scanner(), (width_mm, 75.0), np.random.default_rng(4), fine=1))
