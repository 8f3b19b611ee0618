"""How near a scan tells a bend's radius, and that it says where it does not."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from bendcal.scan import read_scan
from tests.benchmarks.scan import draw, even, misses, render
from tests.test_scan_reading import PIECE, one


def test_a_radius_that_is_told_badly_says_so(tmp_path: Path) -> None:
    """A bend of 90° tells its radius to within 0.3 mm, one of 25° does not, and says what to do."""
    for angle, said in ((90.0, False), (25.0, True)):
        read = one(tmp_path, replace(PIECE, angle_deg=angle, leg_a_mm=32.0, leg_b_mm=28.0, mark_mm=12.0, flattening=0.02))
        assert (1.96 * read.radius.u > 0.3) == said == any("Its radius is told to ±" in note and "bent by 60° or more" in note for note in read.notes)


def test_two_straight_legs_and_one_arc_are_told_to_a_fifth_of_a_degree_and_0_3_mm(tmp_path: Path) -> None:
    """Twelve scans at 300 dpi of pieces of that shape as chance draws them, bends from 20° on, any finish, light paper and dark: all angles, and all radii but one at most."""
    angles, radii = [], []
    for seed in range(40, 52):
        rng = np.random.default_rng(seed)
        case = even(draw(rng, dpi=300.0))
        for read in read_scan(render(case, tmp_path, rng), od_mm=case.piece.od_mm).read:
            far = misses(read, case.piece)
            angles.append(abs(far["angle"][0]))
            radii.append(abs(far["radius"][0]))
    assert len(radii) >= 11 and max(angles) < 0.2 and np.sort(radii)[-2] < 0.3, (angles, radii)
