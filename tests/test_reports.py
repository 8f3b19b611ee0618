"""The tables that go to the vice: what they print is what the law and the sheet say."""

import re
from pathlib import Path

import numpy as np
import pytest

import bendcal
from bendcal.calibration import Calibration
from bendcal.law import Law
from bendcal.replan import Made, replan
from bendcal.reports import (
    cut_sentence,
    difference_table,
    law_table,
    laws_table,
    marks_table,
    readings_table,
    replanned_table,
    springback_table,
)  # fmt: skip
from bendcal.shop import Shop

SAMPLE = Path(__file__).resolve().parent.parent / "sample_measurements"
SMALL = Law.of("small", "brake", [-1.0, 0.97, 15.4, 15.0, 2.0], np.diag([0.3, 0.01, 0.2, 0.2, 0.3]) ** 2, dof=8.0, angle_range_deg=(20.0, 100.0))


@pytest.fixture(scope="module")
def shop() -> Shop:
    """The sample, as it is shipped."""
    return bendcal.read_shop(SAMPLE)


@pytest.fixture(scope="module")
def cal(shop: Shop) -> Calibration:
    """What its offcuts teach."""
    return bendcal.calibrate(shop)


def test_a_row_of_the_law_by_hand() -> None:
    """At 90° with a = 0, b = 1, R = 15, λ = 15, m = 2: dial 90, take-up 17, gain 30 − 7.5π = 6.4."""
    table = law_table(Law.of("small", "brake", [0.0, 1.0, 15.0, 15.0, 2.0], angle_range_deg=(20.0, 100.0)), [90.0, 120.0])
    assert [cells[0].split()[0] for cells in table.columns.values()] == ["90", "90.0", "17.0", "6.4"]
    assert table.columns["finished °"] == ["90", "120 *"], "a star where no offcut was bent"


def test_the_ranges_are_the_95_percent_intervals_of_the_law() -> None:
    """Each text holds the value and both ends of the interval, rounded once."""
    table = law_table(SMALL)
    for name, estimate in (("set the dial to °", SMALL.dial_for), ("take-up mm", SMALL.take_up), ("gain mm", SMALL.gain)):
        for text, angle in zip(table.columns[name], range(15, 121, 15), strict=True):
            low, high = estimate(angle).interval(0.95)
            wanted = [float(f"{v:.1f}") for v in (estimate(angle).value, low, high)]
            assert [float(v.replace("−", "-")) for v in re.findall(r"−?[\d.]+", text)] == wanted


def test_all_laws_stand_in_one_table(cal: Calibration) -> None:
    """One row a bender with a tube, within 80 columns."""
    table = laws_table(cal)
    assert list(zip(table.columns["bender"], table.columns["tube"], strict=True)) == list(cal.laws)
    assert max(map(len, str(table).splitlines())) <= 80


def test_readings_stand_as_they_were_written_down(shop: Shop) -> None:
    """Every piece of the pair is there, the one set aside with its reason, a leg that was not measured left blank."""
    columns = readings_table(shop, "small", "steel-3/16").columns
    assert columns["offcut"] == [f"S{k}" for k in range(1, 10)]
    assert columns["finished °"][5] == "75" and columns["set aside, because"][5].startswith("digits swapped")
    assert columns["leg A mm"][7] == "" and columns["legs to"][7] == ""
    assert columns["legs to"][4] == "outside"
    assert [float(text) for text in columns["dial °"]] == [o.dial_deg for o in shop.offcuts if o.tube == "steel-3/16"]


def test_differences_carry_their_sign_and_change_it_with_the_order(cal: Calibration) -> None:
    """The first less the second is the second less the first with the other sign."""
    pairs = ("small", "cuni-3/16"), ("small", "steel-3/16")
    there = difference_table(bendcal.compare(cal, *pairs)).columns["dial °"]
    back = difference_table(bendcal.compare(cal, *pairs[::-1])).columns["dial °"]
    assert there[3].startswith("+0.") and back[3].startswith("−0.")
    assert there[3].split()[0].strip("+") == back[3].split()[0].strip("−")


def test_springback_is_the_dial_less_the_finished_angle(cal: Calibration) -> None:
    """At 90° the copper-nickel of the sample springs back by what its dial setting is above 90°."""
    text = springback_table(cal, "small", ("cuni-3/16",), [90.0]).columns["cuni-3/16 springs back °"][0]
    dial = cal.law("small", "cuni-3/16").dial_for(90.0)
    low, high = dial.interval(0.95)
    assert text == f"{dial.value - 90:.1f} ({low - 90:.1f} to {high - 90:.1f})"


@pytest.mark.parametrize("feed", ["A", "B", ["A", "A", "B", "B", "A", "B"]])
def test_the_turns_in_words_are_those_of_the_clocks(shop: Shop, cal: Calibration, feed: str | list[str]) -> None:
    """The table and the drawing tell one turn, whichever end leads."""
    sheet = bendcal.mark_out(shop, cal, "brake-far-side", feed=feed)
    assert marks_table(sheet).columns["turn the tube"] == [step.words for step in sheet.steps]
    assert ("leads" in marks_table(sheet).columns) == (feed != "A")


def test_the_marks_stand_in_the_order_in_which_they_are_bent(shop: Shop, cal: Calibration) -> None:
    """Bends keep the number that they have along the tube; their rows follow the work."""
    order = (1, 3, 2, 6, 5, 4)
    sheet = bendcal.mark_out(shop, cal, "brake-far-side", order=order)
    columns = marks_table(sheet).columns
    assert columns["bend"] == [str(bend) for bend in order]
    assert columns["mark mm"] == [f"{sheet.mark_mm[bend - 1]:.1f}" for bend in order]
    assert columns["dial °"] == [f"{sheet.dial_deg[bend - 1]:.1f}" for bend in order]


def test_marks_in_mm_and_in_inches_are_the_same_places(shop: Shop, cal: Calibration) -> None:
    """A thirty-second is 0.79 mm, so the two texts differ by less than half of that and the rounding."""
    sheet = bendcal.mark_out(shop, cal, "fuel-feed")
    mm = [float(text) for text in marks_table(sheet).columns["mark mm"]]
    inches = [bendcal.measures.length_mm(text) for text in marks_table(sheet, inches=True).columns["mark in"]]
    assert np.abs(np.subtract(mm, inches)).max() < 25.4 / 64 + 0.051
    assert mm == [round(float(v), 1) for v in sheet.mark_mm]


def test_the_finished_angle_says_how_far_bends_stray(shop: Shop, cal: Calibration) -> None:
    """What stands behind ± is half the 95 % interval of the next bend at that setting."""
    sheet = bendcal.mark_out(shop, cal, "clutch")
    for text, dial in zip(marks_table(sheet).columns["finished °"], sheet.dial_deg, strict=True):
        low, high = sheet.law.finished_angle(dial).interval(0.95)
        assert text.split(" ± ")[1] == f"{(high - low) / 2:.1f}"


def test_the_cut_says_what_is_spare_and_where(shop: Shop, cal: Calibration) -> None:
    """Cut length and trim in both units; without trim it says that nothing is spare."""
    sheet = bendcal.mark_out(shop, cal, "clutch")
    assert f"{sheet.cut_length_mm:.1f} mm long" in cut_sentence(sheet)
    assert f"{sheet.trim_mm:.1f} mm of it is spare at end B" in cut_sentence(sheet)
    assert '"' in cut_sentence(sheet, inches=True) and " mm" not in cut_sentence(sheet, inches=True)
    assert cut_sentence(bendcal.mark_out(shop, cal, "clutch", trim_mm=0)).endswith("Nothing of it is spare.")


@pytest.mark.parametrize("inches", [False, True])
def test_a_bend_that_is_made_is_not_told_to_be_made_again(shop: Shop, cal: Calibration, inches: bool) -> None:
    """Its row has the mark and what came out, and neither a dial nor a turn; the rows of the others are those of the new sheet."""
    sheet = bendcal.mark_out(shop, cal, "brake-near-side")
    mended = replan(shop, cal, sheet, {1: Made(angle_deg=55.53), 2: Made()})
    table, new = replanned_table(mended, inches=inches).columns, marks_table(mended.sheet, inches=inches).columns
    assert table["finished °"][:2] == ["made, measured 55.5", "made"]
    assert table["dial °"] == ["", "", new["dial °"][2]] and table["turn the tube"] == ["", "", new["turn the tube"][2]]
    assert [cells[2] for cells in table.values()] == [cells[2] for cells in new.values()]
    unit = "mark in" if inches else "mark mm"
    assert table[unit] == new[unit]
