"""Every number on a sheet can be traced."""

import re

import numpy as np
import pytest
from a_line import CAL, LEGS, SHOP, line
from hypothesis import given
from hypothesis import strategies as st

from bendcal.marks import mark_out
from bendcal.why import why

FEEDS = st.lists(st.sampled_from("AB"), min_size=LEGS.bends, max_size=LEGS.bends)
ORDERS = st.permutations(range(1, LEGS.bends + 1))


@given(feed=FEEDS, order=ORDERS, trim_at=st.sampled_from("AB"))
def test_every_sum_adds_up(feed, order, trim_at):
    """The terms of each mark, setting, turn and of the cut length add up to it, whichever end leads and whichever bend comes first."""
    sheet = mark_out(SHOP, CAL, line(trim_at=trim_at), feed=feed, order=order)
    sums = why(sheet)
    for each in sums:
        assert sum(value for _, value in each.terms) == pytest.approx(each.value, abs=1e-9)
    made = np.array(order) - 1
    told = {kind: [each for each in sums if each.what.startswith(kind)] for kind in ("mark", "dial", "turn", "line at", "cut")}
    assert sum(map(len, told.values())) == len(sums) == 3 * LEGS.bends
    assert [each.value for each in told["mark"]] == pytest.approx(sheet.mark_mm[made])
    assert [each.value for each in told["dial"]] == pytest.approx(sheet.dial_deg[made])
    assert [each.value for each in told["turn"]] == [step.turn_deg for step in sheet.steps if step.turn_deg is not None]
    assert [each.value for each in told["line at"]] == [step.line_deg for step in sheet.steps[1:] if step.turn_deg is None]
    assert sums[-1].value == pytest.approx(sheet.cut_length_mm)


def test_a_turn_is_that_of_the_twists_on_the_way():
    """From bend 1 to bend 3 the hands turn against both twists between; back from there to bend 2 along with the last of them."""
    said = [str(each) for each in why(mark_out(SHOP, CAL, line(), feed=list("AAABBB"), order=(1, 3, 2, 4, 6, 5))) if each.unit == "°" and "dial" not in each.what]
    assert said[:3] == [
        "turn before bend 3: − twist 2 (90.00) − twist 3 (−60.00) = −30.00°, anticlockwise",
        "turn before bend 2: twist 3 (−60.00) = −60.00°, anticlockwise",
        "line at bend 4 with end B leading: − twist 2 (90.00) − twist 3 (−60.00) − twist 4 (150.00) + whole turns 360.00 = 180.00°",
    ]


def test_printed_figures_add_up_to_the_printed_sum():
    """What a person reads adds up within the rounding of its terms."""
    for each in why(mark_out(SHOP, CAL, line())):
        left, right = each.sentence.split(": ")[1].split(" = ")
        terms = re.findall(r"([−+] )?[^−+(]*? (\d+\.\d\d|\(−?\d+\.\d\d\))", left)
        figures = [(-1 if sign == "− " else 1) * float(number.strip("()").replace("−", "-")) for sign, number in terms]
        total = float(re.match(r"[−\d.]+", right)[0].replace("−", "-"))
        assert np.sum(figures) == pytest.approx(total, abs=0.006 * len(figures))


def test_mark_is_leg_less_take_up():
    """The first mark is the first leg less the take-up of its bend."""
    sheet = mark_out(SHOP, CAL, line())
    first = why(sheet)[0]
    assert [words for words, _ in first.terms] == ["leg 1", "take-up 1"]
    assert -first.terms[1][1] == pytest.approx(sheet.law.take_up(90.0).value)
