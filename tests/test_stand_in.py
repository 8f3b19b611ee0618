"""A line marked by one law and bent by another."""

import numpy as np
import pytest
from a_line import CAL, LAW, LEGS, SHOP, line

from bendcal.law import Law
from bendcal.marks import mark_out
from bendcal.path import Legs, nodes_from_legs
from bendcal.stand_in import stand_in


def test_the_same_law_misses_nothing():
    """Bent by the law it was marked with, a line is what it should be."""
    sheet = mark_out(SHOP, CAL, line())
    same = stand_in(sheet, LAW)
    assert same.end_off_mm == pytest.approx(0.0, abs=1e-9)
    assert "nothing changes" in same.sentence


def test_one_degree_by_hand():
    """One square bend that comes out 1° short swings an end 100 mm beyond it by about 1.5 mm."""
    legs = Legs([100, 100], [90], [0])
    sheet = mark_out(SHOP, CAL, line(legs))
    other = Law.of("small", "soft", [-2.5, 0.97, 16.0, 15.6, 2.5])
    off = stand_in(sheet, other)
    assert off.angle_off_deg == pytest.approx([-1.0])
    # 100 mm swing by 1°, less the setback that moves with it; along the leg the shorter arc gives R − λ.
    expected = np.radians(1) * np.hypot(100 - 16.0, 16.0 - 15.6)
    assert off.end_off_mm == pytest.approx(expected, rel=0.01)
    assert "would miss the fitting at end B by 1 mm" in off.sentence


def test_laid_on_as_well_as_it_goes_the_miss_is_smaller():
    """The best fit of the whole line is never worse than holding end A alone, node for node squared."""
    sheet = mark_out(SHOP, CAL, line())
    other = Law.of("small", "soft", [-2.5, 0.98, 16.5, 16.0, 3.0])
    off = stand_in(sheet, other)
    held = np.linalg.norm(nodes_from_legs(sheet.as_bent(other)) - nodes_from_legs(LEGS), axis=1)
    assert off.node_off_mm < held.max()
