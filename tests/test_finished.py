"""Finished lines as readings for the log."""

import numpy as np
import pytest
from a_line import CAL, LAW, LEGS, SHOP, line

from bendcal.calibration import calibrate
from bendcal.finished import offcuts_of_line
from bendcal.half_made import Made
from bendcal.marks import mark_out
from bendcal.path import Legs
from bendcal.shop import Shop

SHEET = mark_out(SHOP, CAL, line())


def assert_taught(offcuts, *, take_up_mm: float, gain_mm: float) -> None:
    """What these readings alone teach is the law by which they were bent."""
    found = calibrate(Shop(benders=SHOP.benders, tubes=SHOP.tubes, offcuts=tuple(offcuts))).law("small", "steel")
    u = np.sqrt(np.diag(found.covariance))
    assert np.all(np.abs(found.parameters - LAW.parameters) < 2 * u)
    assert found.take_up(90.0).value == pytest.approx(LAW.take_up(90.0).value, abs=take_up_mm)
    assert found.gain(90.0).value == pytest.approx(LAW.gain(90.0).value, abs=gain_mm)


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
    assert_taught(offcuts, take_up_mm=0.1, gain_mm=0.2)


def test_the_first_leg_counts_from_the_cut_end():
    """The leg to the first apex is measured from the seat, and noted from the cut end."""
    trimmed = mark_out(SHOP, CAL, line(trim_at="A"))
    (only,) = offcuts_of_line(trimmed, [Made(angle_deg=90.0, leg_mm=80.0)])
    assert only.leg_a_mm == pytest.approx(80.0 + trimmed.trim_mm)


def test_a_line_fed_from_end_b_teaches_its_own_law():
    """Lines of two bends, made from end B on exactly by a law and read from there, lead the fit to that law."""
    offcuts = []
    for i, angle in enumerate(np.linspace(20, 115, 12)):
        legs = Legs([90, 200, 120], [angle, 135 - angle], [0, 90])
        sheet = mark_out(SHOP, CAL, line(legs, trim_at="A"), feed="B")
        made = {2: Made(angle_deg=float(135 - angle), leg_after_mm=120.0), 1: Made(angle_deg=float(angle), leg_mm=90.0)}
        offcuts += offcuts_of_line(sheet, made, piece=f"p{i}")
    assert offcuts[0].leg_a_mm is None
    assert offcuts[1].leg_b_mm is None
    assert_taught(offcuts, take_up_mm=0.2, gain_mm=0.3)


def test_with_end_b_leading_mark_and_legs_count_from_there():
    """Held against the three equations of an offcut: what the log gets is an offcut whose end A was the line's end B."""
    legs = Legs([90, 120], [70], [0])
    sheet = mark_out(SHOP, CAL, line(legs), feed="B")
    (one,) = offcuts_of_line(sheet, {1: Made(angle_deg=70.0, leg_mm=90.0, leg_after_mm=120.0)})
    _, _, radius, developed, offset = LAW.parameters
    setback = radius * np.tan(np.radians(35.0))
    assert one.leg_a_mm - one.mark_mm == pytest.approx(offset + setback, abs=1e-9)
    assert one.leg_a_mm + one.leg_b_mm - one.length_mm == pytest.approx(2 * setback - developed * np.radians(70.0), abs=1e-9)
    assert one.leg_a_mm == pytest.approx(120.0 + sheet.trim_mm)
    assert one.note == "bend 1 of line long, fed from its end B: mark and leg A count from there"


def test_the_last_bend_tells_what_tube_it_left():
    """The leg behind the last bend reaches to the cut end, so it is a reading of that bend alone."""
    (sixth,) = offcuts_of_line(SHEET, {6: Made(angle_deg=70.0)}, last_leg_mm=110.0)
    assert sixth.leg_b_mm == pytest.approx(110.0 + SHEET.trim_mm)
    assert sixth.leg_a_mm is None


def test_a_last_leg_is_given_once():
    """Two different last legs cannot both be right."""
    with pytest.raises(ValueError, match="The last leg is given twice, as leg_after_mm of bend 6"):
        offcuts_of_line(SHEET, {6: Made(angle_deg=70.0, leg_after_mm=110.0)}, last_leg_mm=111.0)


def test_too_many_bends_are_refused():
    """More bends than the line has cannot be its own."""
    with pytest.raises(ValueError, match="7 bends are said to be made, but line 'long' has 6"):
        offcuts_of_line(SHEET, [Made(angle_deg=10.0)] * (LEGS.bends + 1))
