"""How flat bends come out: by hand, invented pieces recovered, and where a person reads it."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from bendcal.benders import Bender
from bendcal.entries import append_offcut
from bendcal.faults import ShopFaults
from bendcal.feasible.rules import findings
from bendcal.files import read_shop
from bendcal.flattening import ovality
from bendcal.marks import mark_out
from bendcal.materials import ALLOYS
from bendcal.offcuts import Offcut
from bendcal.order import cautions
from bendcal.oval import CALIPER_U_MM, LEAST_ANGLE_DEG, oval_of
from bendcal.plausible import check_offcut
from bendcal.tubes import Tube
from bendcal.why import why
from tests.a_shop import write_shop
from tests.drawing import CAL, SHOP, line

TUBE = Tube("steel", ALLOYS["low-carbon steel"], 4.76, 0.71)


def pieces(*smallest: float, largest=(), angle: float = 90.0) -> list[Offcut]:
    """Bends with these smallest diameters, and largest ones where they are given."""
    largest = [*largest, *[None] * (len(smallest) - len(largest))]
    return [
        Offcut(str(k), "small", "steel", 200.0, 90.0, angle + 2, angle, smallest_mm=small, largest_mm=large)
        for k, (small, large) in enumerate(zip(smallest, largest, strict=True))
    ]  # fmt: skip


# --- by hand -------------------------------------------------------------------------------------


def test_the_next_bend_is_expected_at_the_mean_within_students_reach() -> None:
    """Four pieces of 4.4, 4.5, 4.5 and 4.6: mean 4.5, s = 0.0816, and t(3) = 3.182 times s·√(1 + 1/4) either way."""
    oval = oval_of(pieces(4.4, 4.5, 4.5, 4.6), TUBE)
    half = 3.1824 * 0.081650 * np.sqrt(1.25)
    assert (oval.count, round(oval.spread_mm, 4)) == (4, 0.0816)
    assert oval.smallest_mm.interval(0.95) == pytest.approx((4.5 - half, 4.5 + half), abs=1e-4)


def test_one_piece_tells_where_and_not_how_far() -> None:
    """No interval from one piece, and that is said; two have one, of one degree of freedom: t = 12.7."""
    one = oval_of(pieces(4.5), TUBE)
    assert np.isnan(one.smallest_mm.u) and "how far bends differ is not known from one piece" in one.sentences[0] and one.warning == ""
    two = oval_of(pieces(4.45, 4.55), TUBE)
    assert two.smallest_mm.interval(0.95)[1] - 4.5 == pytest.approx(12.706 * 0.070711 * np.sqrt(1.5), rel=1e-3)


def test_pieces_that_read_alike_are_not_taken_for_alike() -> None:
    """Three times the same figure of a caliper scatters by what a caliper is good for, not by nothing."""
    low, high = oval_of(pieces(4.5, 4.5, 4.5), TUBE).smallest_mm.interval(0.95)
    assert (high - low) / 2 == pytest.approx(stats.t.ppf(0.975, 2) * CALIPER_U_MM * np.sqrt(4 / 3))


def test_what_does_not_count_is_left_out() -> None:
    """Short arcs, pieces set aside and pieces that nobody measured; nothing at all where no other is left."""
    short = pieces(4.7, angle=LEAST_ANGLE_DEG - 1)
    assert oval_of([*short, *(replace(p, set_aside="kinked") for p in pieces(3.0)), *pieces(None)], TUBE) is None
    assert oval_of([*short, *pieces(4.5)], TUBE).smallest_mm.value == 4.5


def test_out_of_round_is_told_from_both_diameters() -> None:
    """(4.9 − 4.5)/4.76 = 8.4 %, which piping may not have; from the smallest alone it is at least (4.76 − 4.5)/4.76 = 5.5 %."""
    both = oval_of(pieces(4.5, 4.5, 4.5, largest=(4.9, 4.9, 4.9)), TUBE)
    assert float(both.ovality.value) == pytest.approx(ovality(4.9, 4.5, 4.76)) == pytest.approx(0.0840, abs=1e-4)
    assert both.warning.startswith("Bends of this tube come out") and "ASME B31.3" in both.warning
    alone = oval_of(pieces(4.5, 4.5, 4.5), TUBE)
    assert alone.ovality is None and "by at least 5.5 %" in alone.sentences[1] and alone.warning == ""


def test_a_limit_within_reach_is_warned_of_and_one_that_is_passed_stops_the_line() -> None:
    """75 % of 4.76 is 3.57: pieces about 3.7 with a spread of 0.1 reach it, pieces about 3.4 are scrap."""
    near, flat = oval_of(pieces(3.6, 3.7, 3.8), TUBE), oval_of(pieces(3.35, 3.4, 3.45), TUBE)
    assert near.warning.startswith("A bend of this tube may be flattened to 3.2") and not near.scrap
    assert flat.scrap and "come out flattened to 3.40 mm: less than 75 % of its diameter (3.57 mm) is scrap (FAA)" in flat.warning
    clear = oval_of(pieces(4.50, 4.52, 4.54, 4.52, largest=(4.7, 4.7, 4.7, 4.7)), TUBE)
    assert clear.warning == "" and not clear.scrap


def test_bends_that_go_further_than_those_measured_are_pointed_out() -> None:
    """Measured up to 90°: 95° passes, 120° is said."""
    oval = oval_of(pieces(4.5, 4.6), TUBE)
    assert oval.beyond([30, 95]) == "" and "one of 120° may be flatter" in oval.beyond([30, 120]) and oval.beyond([]) == ""


# --- invented pieces ------------------------------------------------------------------------------


@pytest.mark.parametrize("count", [2, 3, 6])
def test_the_next_bend_lies_within_its_interval_19_times_in_20(count: int) -> None:
    """Bends that scatter by 0.5 mm about 4.5 (so that the least that a caliper is good for hardly counts), 3000 times over."""
    rng = np.random.default_rng(count)
    held = 0
    for _ in range(3000):
        *known, then = 4.5 + 0.5 * rng.normal(size=count + 1)
        low, high = oval_of(pieces(*known), TUBE).smallest_mm.interval(0.95)
        held += low <= then <= high
    assert held / 3000 == pytest.approx(0.95, abs=0.013)  # three standard deviations of so many


# --- where a person meets it -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("smallest", "largest", "wrong"),
    [(4.5, 4.9, ""), (None, 4.9, ""), (4.9, 4.5, "smallest_mm"), (1.2, None, "smallest_mm"), (45.0, None, "smallest_mm"), (4.5, 7.0, "largest_mm"), (4.8, 4.7, "smallest_mm")],
)
def test_diameters_that_cannot_be_are_refused(smallest, largest, wrong: str) -> None:
    """Swapped, a slipped digit, wider than a tube pressed flat; what is only too flat is asked about."""
    piece = replace(pieces(smallest)[0], largest_mm=largest)
    faults, _ = check_offcut(piece, bender=Bender("small"), tube=TUBE, length_u_mm=0.05)
    assert {fault.column for fault in faults} == ({wrong} if wrong else set()), [fault.sentence for fault in faults]
    _, asked = check_offcut(pieces(3.4)[0], bender=Bender("small"), tube=TUBE)
    assert "is scrap (FAA)" in asked[0].rule


def test_a_reading_goes_through_the_log_into_the_sheet(tmp_path) -> None:
    """Appended to a log that has no such column, read again, and told by rules, cautions and sums; without it the rule asks for it."""
    folder = write_shop(tmp_path)
    for name in ("7", "8"):
        append_offcut(folder, bender="small", tube="brake 3/16", length_mm=200, mark_mm=90, dial_deg=92, angle_deg=90, smallest_mm="4,5", largest_mm=4.85, offcut=name)
    shop = read_shop(folder)
    assert [piece.smallest_mm for piece in shop.offcuts] == [None, None, 4.5, 4.5] and shop.offcuts[-1].largest_mm == 4.85
    with pytest.raises(ShopFaults, match="column smallest_mm: found 6.0 mm of a tube of 4.8 mm"):
        append_offcut(folder, bender="small", tube="brake 3/16", length_mm=200, mark_mm=90, dial_deg=92, angle_deg=90, smallest_mm=6.0)
    known = replace(SHOP, offcuts=tuple(pieces(4.5, 4.52, 4.48, largest=(4.8, 4.8, 4.8))))
    sheet = mark_out(known, CAL, line("two"))
    told = next(one for one in findings(sheet) if one.rule == "flattening")
    assert sheet.oval.sentences[0] in told.sentence and not told.stops
    assert sheet.oval.sentences[0] in [str(one) for one in cautions(sheet)]
    assert "smallest diameter of a bend: tube 4.76 − flattened by the mean of 3 pieces 0.26 = 4.50 mm" in [str(one) for one in why(sheet)]
    assert "measure some with a caliper" in next(one for one in findings(mark_out(SHOP, CAL, line("two"))) if one.rule == "flattening").sentence
    flat = mark_out(replace(SHOP, offcuts=tuple(pieces(3.4, 3.42, 3.38))), CAL, line("two"))
    assert next(one for one in findings(flat) if one.rule == "flattening").stops and flat.oval.warning in flat.warnings


def test_how_flat_a_bend_is_does_not_call_for_another_calibration() -> None:
    """The law does not hang on it."""
    without = replace(SHOP, offcuts=tuple(pieces(None, None)))
    assert replace(SHOP, offcuts=tuple(pieces(4.5, 4.6))).readings_digest == without.readings_digest
