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


@given(feed=FEEDS, trim_at=st.sampled_from("AB"))
def test_every_sum_adds_up(feed, trim_at):
    """The terms of each mark, setting and of the cut length add up to it, whichever end leads."""
    sheet = mark_out(SHOP, CAL, line(trim_at=trim_at), feed=feed)
    sums = why(sheet)
    assert len(sums) == 2 * LEGS.bends + 1
    for each in sums:
        assert sum(value for _, value in each.terms) == pytest.approx(each.value, abs=1e-9)
    assert [each.value for each in sums[:-1:2]] == pytest.approx(sheet.mark_mm)
    assert [each.value for each in sums[1:-1:2]] == pytest.approx(sheet.dial_deg)
    assert sums[-1].value == pytest.approx(sheet.cut_length_mm)


def test_printed_figures_add_up_to_the_printed_sum():
    """What a person reads adds up within the rounding of its terms."""
    for each in why(mark_out(SHOP, CAL, line())):
        left, right = each.sentence.split(": ")[1].split(" = ")
        figures = [float(sign.replace("− ", "-").replace("+ ", "") + number) for sign, number in re.findall(r"([−+] )?[^−+]*? (\d+\.\d\d)", left)]
        total = float(re.match(r"[−\d.]+", right)[0].replace("−", "-"))
        assert np.sum(figures) == pytest.approx(total, abs=0.006 * len(figures))


def test_mark_is_leg_less_take_up():
    """The first mark is the first leg less the take-up of its bend."""
    sheet = mark_out(SHOP, CAL, line())
    first = why(sheet)[0]
    assert [words for words, _ in first.terms] == ["leg 1", "take-up 1"]
    assert -first.terms[1][1] == pytest.approx(sheet.law.take_up(90.0).value)
