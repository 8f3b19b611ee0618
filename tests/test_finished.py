"""Finished lines as readings for the log."""

import numpy as np
import pytest
from a_line import CAL, LAW, LEGS, SHOP, line

from bendcal.calibration import calibrate
from bendcal.finished import offcuts_of_line
from bendcal.marks import mark_out
from bendcal.path import Legs
from bendcal.replan import Made
from bendcal.shop import Shop

SHEET = mark_out(SHOP, CAL, line())


def test_each_measured_bend_is_a_reading_with_its_mark_and_dial():
    """A bend that was not measured is left out; the others keep their numbers."""
    made = [Made(angle_deg=90.5), Made(), Made(angle_deg=61.0)]
    first, third = offcuts_of_line(SHEET, made, piece="L1", date="2025-04-01")
    assert (first.offcut, third.offcut) == ("L1/1", "L1/3")
    assert (third.mark_mm, third.dial_deg, third.angle_deg) == (SHEET.mark_mm[2], SHEET.dial_deg[2], 61.0)
    assert first.leg_a_mm is None
    assert first.note == "bend 1 of line long"


def test_a_line_bent_exactly_teaches_its_own_law():
    """Twenty lines of one bend, bent exactly by a law, lead the fit to that law."""
    offcuts = []
    for i, angle in enumerate(np.linspace(20, 115, 20)):
        sheet = mark_out(SHOP, CAL, line(Legs([90, 120], [angle], [0])))
        offcuts += offcuts_of_line(sheet, [Made(angle_deg=float(angle), leg_mm=90.0)], piece=f"p{i}", last_leg_mm=120.0)
    found = calibrate(Shop(benders=SHOP.benders, tubes=SHOP.tubes, offcuts=tuple(offcuts))).law("small", "steel")
    u = np.sqrt(np.diag(found.covariance))
    assert np.all(np.abs(found.parameters - LAW.parameters) < 2 * u)
    assert found.take_up(90.0).value == pytest.approx(LAW.take_up(90.0).value, abs=0.1)
    assert found.gain(90.0).value == pytest.approx(LAW.gain(90.0).value, abs=0.2)


def test_the_first_leg_counts_from_the_cut_end():
    """The leg to the first apex is measured from the seat, and noted from the cut end."""
    trimmed = mark_out(SHOP, CAL, line(trim_at="A"))
    (only,) = offcuts_of_line(trimmed, [Made(angle_deg=90.0, leg_mm=80.0)])
    assert only.leg_a_mm == pytest.approx(80.0 + trimmed.trim_mm)


def test_too_many_bends_are_refused():
    """More bends than the line has cannot be its own."""
    with pytest.raises(ValueError, match="7 bends are given, but line 'long' has 6"):
        offcuts_of_line(SHEET, [Made(angle_deg=10.0)] * (LEGS.bends + 1))


def test_turned_tubes_are_refused():
    """A line made with the tube turned has its marks on the other side of its bends."""
    with pytest.raises(ValueError, match="turns the tube end for end"):
        offcuts_of_line(mark_out(SHOP, CAL, line(), feed="B"), [Made(angle_deg=90.0)])
