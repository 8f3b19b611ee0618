"""What an end uses up, learned from practice flares."""

from dataclasses import replace
from math import inf

import numpy as np
import pytest
from a_shop import write_shop
from scipy import stats

from bendcal.ends import End
from bendcal.faults import ShopFaults
from bendcal.files.folder import read_shop
from bendcal.flares import Flare, learned_end, tube_used
from bendcal.tools import Tool

END = End("M10", "double flare", 6.0)
EXACT = Tool("caliper", "length", 0.0, 1e-9)


def _flares(used):
    return [Flare("M10", 100.0, float(100.0 - each)) for each in used]


def test_without_a_flare_the_stated_length_stands():
    """No practice flare leaves the end as it is, with 2 mm of doubt where none was stated."""
    assert learned_end(END, []) is END
    said = tube_used([], END)
    assert (said.value, said.u, said.dof) == (6.0, 2.0, inf)


def test_a_stated_uncertainty_is_believed():
    """Where ends.csv says how well it knows the length, that is taken."""
    assert tube_used([], replace(END, uses_sd_mm=0.4)).u == pytest.approx(0.4)


def test_many_flares_give_their_mean_and_scatter():
    """With 400 flares the estimate is their mean, and its u the scatter of one flare."""
    used = np.random.default_rng(1).normal(5.5, 0.3, 400)
    said = tube_used(_flares(used), END, tool=EXACT)
    assert said.value == pytest.approx(used.mean(), abs=0.005)
    assert said.u == pytest.approx(used.std(ddof=1), rel=0.03)


def test_the_interval_tends_to_the_classical_prediction_interval():
    """With 30 flares the 95 % interval for the next one is the classical one within a tenth."""
    used = np.random.default_rng(2).normal(5.5, 0.5, 30)
    low, high = tube_used(_flares(used), END, tool=EXACT).interval(0.95)
    half = stats.t.ppf(0.975, 29) * used.std(ddof=1) * np.sqrt(1 + 1 / 30)
    assert high - low == pytest.approx(2 * half, rel=0.1)


def test_the_next_flare_lies_within_in_95_of_100():
    """Over 3,000 invented ends with 4 flares each, the 95 % interval holds the next flare in 93 to 98 of 100."""
    rng = np.random.default_rng(3)
    held = 0
    for _ in range(3000):
        scatter = np.sqrt(0.5**2 * 3 / rng.chisquare(3))
        truth = rng.normal(6.0, 1.5)
        used = np.maximum(rng.normal(truth, scatter, 5), -0.9)
        low, high = tube_used(_flares(used[:4]), END, tool=EXACT).interval(0.95)
        held += low <= used[4] <= high
    assert 0.93 <= held / 3000 <= 0.98


def test_set_aside_and_other_ends_do_not_count():
    """A spoilt flare and one of another end change nothing."""
    flares = _flares([5.4, 5.6])
    more = [*flares, replace(flares[0], after_mm=80.0, set_aside="split"), Flare("M12", 100.0, 90.0)]
    assert tube_used(more, END).value == tube_used(flares, END).value


@pytest.mark.parametrize(
    ("before", "after", "rule"),
    [(0.0, 5.0, "must be more than 0"), (95.0, 100.0, "Were the two exchanged"), (100.0, -1.0, "must be more than 0")],
)
def test_impossible_flares_are_refused(before, after, rule):
    """Lengths that cannot be are refused with what is wrong."""
    with pytest.raises(ValueError, match=rule):
        Flare("M10", before, after)


def test_flares_of_a_shop_folder_teach_its_ends(tmp_path):
    """flares.csv beside ends.csv changes what the shop's ends use, and leaves ends.csv alone."""
    folder = write_shop(tmp_path)
    (folder / "ends.csv").write_text("end,form,uses_mm\nM10,double flare,6\n")
    (folder / "flares.csv").write_text("end;before_mm;after_mm;set_aside\nm10;100,0;94,5;\nM10;100;94,4;\nM10;100;80;split\n")
    shop = read_shop(folder)
    assert [flare.used_mm for flare in shop.flares] == pytest.approx([5.5, 5.6, 20.0])
    assert shop.ends["M10"].uses_mm == 6.0
    assert 5.5 < shop.end("M10").uses_mm < 5.8
    assert shop.end("M10").uses_sd_mm > 0.4


def test_faults_in_flares_are_told_with_the_others(tmp_path):
    """An unknown end and exchanged lengths are faults with their rows."""
    folder = write_shop(tmp_path)
    (folder / "ends.csv").write_text("end,form,uses_mm\nM10,double flare,6\n")
    (folder / "flares.csv").write_text("end,before_mm,after_mm\nM12,100,94\nM10,94,100\n")
    with pytest.raises(ShopFaults) as told:
        read_shop(folder)
    assert [(fault.file, fault.row, fault.column) for fault in told.value.faults] == [
        ("flares.csv", 2, "end"), ("flares.csv", 3, "after_mm"),
    ]  # fmt: skip
