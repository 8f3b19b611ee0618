"""A measured pattern seen: its readings judged, its tables, its pictures, and its page's own words."""

import json
import re
from pathlib import Path

import numpy as np
import pytest
from matplotlib.colors import to_hex
from matplotlib.lines import Line2D
from matplotlib.patches import FancyArrowPatch

import bendcal
from bendcal.figures import measuring, pattern_view
from bendcal.figures.paper import BLUE, ORANGE
from bendcal.files.patterns import read_pattern
from bendcal.path import Legs, nodes_from_legs
from bendcal.pattern import Angle, Datum, Distance, Leg, Pattern, Point, Twist, adjust_pattern, readings_of, short_name
from bendcal.pattern_report import fit_table, pattern_table, shape_table
from tests.conftest import SAMPLE
from tests.drawing import collisions, off_page, texts, words

ROOT = Path(__file__).resolve().parent.parent
NODES = nodes_from_legs(Legs([100, 80, 120, 60], [60, 45, 90], [0, 40, -100]))


def pattern_of(**wrong: float) -> Pattern:
    """All that can be measured of a line, without error but for what is named: the tape from A to apex 3, angle 2, x of B."""
    legs, angles, twists = [100, 80, 120, 60], [60, 45 + wrong.get("angle", 0.0), 90], [40, -100]
    places = ["A", "1", "2", "3", "B"]
    seen = [Leg(a, b, mm, 0.3) for a, b, mm in zip(places, places[1:], legs, strict=False)]
    seen += [Angle(k, deg, 0.4) for k, deg in enumerate(angles, start=1)] + [Twist(k, k + 1, deg, 1.0) for k, deg in enumerate(twists, start=1)]
    seen += [Distance("A", b, float(np.linalg.norm(NODES[k])) + (wrong.get("tape", 0.0) if k == 3 else 0.0), 1.0) for k, b in ((2, "2"), (3, "3"), (4, "B"))]
    seen += [Point("A", 0.0, 0.0, 0.0, 0.5), Point("B", NODES[4, 0] + wrong.get("x", 0.0), *NODES[4, 1:], 0.5)]
    seen += [Point("2", *NODES[2], 0.5), Datum("bolt", 20.0, 90.0, 10.0)]
    seen += [Distance("bolt", k, float(np.linalg.norm(NODES[k] - [20, 90, 10])), 1.0) for k in (1, 3)]
    return Pattern(seen)


@pytest.fixture(scope="module")
def sample() -> Pattern:
    """The sample's pattern."""
    return read_pattern(bendcal.read_shop(SAMPLE), "brake-near-side")


# --- readings ------------------------------------------------------------------------------------


def test_readings_without_error_are_off_by_nothing() -> None:
    """Every number of a faultless pattern agrees with the others, and there is one entry for each."""
    adjusted = adjust_pattern(pattern_of())
    found = readings_of(adjusted)
    assert len(found) == len(adjusted.network.row_words)
    assert max(abs(one.off) for one in found) < 1e-6 and not any(one.suspect for one in found)


@pytest.mark.parametrize(("wrong", "name", "size"), [("tape", "tape A to 3", 40.0), ("angle", "angle 2", 15.0), ("x", "x of B", -30.0)])
def test_a_blunder_is_told_by_its_size_and_spoils_no_other(wrong: str, name: str, size: float) -> None:
    """Off by what was put in, with its sign; the others, judged without it, stay at nothing."""
    found = readings_of(adjust_pattern(pattern_of(**{wrong: size})))
    (suspect,) = (one for one in found if one.suspect)
    assert suspect.name == name and suspect.off == pytest.approx(size, abs=0.05)
    assert np.sign(suspect.times) == np.sign(size) and abs(suspect.times) > 10
    assert max(abs(one.off) for one in found if not one.suspect) < 0.05


def test_what_no_other_checks_has_no_number() -> None:
    """Legs, angles and twists alone check nothing."""
    bare = Pattern([one for one in pattern_of().observations if isinstance(one, Leg | Angle | Twist)])
    assert all(np.isnan(one.times) for one in readings_of(adjust_pattern(bare)))
    assert fit_table(adjust_pattern(bare)).columns["off what the others say"] == ["not checked"] * 9


def test_the_miss_is_what_the_first_sentence_says(sample: Pattern) -> None:
    """As long as it is told, and along what was put in where one end alone is wrong."""
    adjusted = adjust_pattern(sample)
    end, miss = adjusted.miss
    assert f"miss end {end} by {np.linalg.norm(miss):.1f} mm" in adjusted.closing[0]
    end, miss = adjust_pattern(pattern_of(x=-3.0)).miss
    assert end == "B" and miss == pytest.approx([3.0, 0.0, 0.0], abs=0.1)
    assert adjust_pattern(Pattern([Leg("A", 1, 30, 1), Leg(1, "B", 30, 1), Angle(1, 90, 1)])).miss is None


def test_counting_all_again_finds_what_was_set_aside(sample: Pattern) -> None:
    """The sample's slip of 100 mm is a suspect once it counts, and the shape without it is the one that was had."""
    again = adjust_pattern(sample.all_counted)
    assert [short_name(one.observation) for one in again.found] == ["tape A to 3"]
    assert again.without_suspects().nodes_mm == pytest.approx(adjust_pattern(sample).nodes_mm, abs=1e-6)


# --- tables --------------------------------------------------------------------------------------


def test_the_tables_hold_what_was_measured_and_what_came_out(sample: Pattern) -> None:
    """A row for each row of the file; the shape's own numbers with half their 95 % range."""
    table = pattern_table(sample)
    assert len(table.columns["measured"]) == len(sample.observations)
    assert [bool(reason) for reason in table.columns["set aside"]] == [bool(one.set_aside) for one in sample.observations]
    adjusted = adjust_pattern(sample)
    shape = shape_table(adjusted).columns
    half = 1.96 * adjusted.leg_mm.u
    assert shape["leg mm"] == [f"{mm:.1f} ± {h:.1f}" for mm, h in zip(adjusted.legs.leg_mm, half, strict=True)]
    assert shape["to"] == ["1", "2", "3", "B"] and shape["twist before °"][0] == "" and shape["angle °"][-1] == ""
    for one in (table, shape_table(adjusted), fit_table(adjusted)):
        assert max(map(len, repr(one).splitlines())) <= 80


# --- pictures ------------------------------------------------------------------------------------


@pytest.mark.parametrize("wrong", [{}, {"tape": 40.0}, {"angle": 15.0}, {"x": -30.0}])
def test_the_views_are_true_to_scale_and_nothing_hides_what_is_written(wrong: dict[str, float]) -> None:
    """From corner to corner each view shows the line's own coordinates, all at one scale."""
    adjusted = adjust_pattern(pattern_of(**wrong))
    picture = pattern_view.measured(adjusted, name="a line")
    (ax,) = picture.axes
    assert not off_page(picture, texts(ax)) and not collisions(picture, texts(ax))
    drawn = [line.get_xydata() for line in ax.findobj(Line2D) if len(line.get_xydata()) == 5 and line.get_linewidth() == pytest.approx(2.8)]
    assert len(drawn) == 3
    nodes = adjusted.without_suspects().nodes_mm
    scales = [np.linalg.norm(np.diff(seen, axis=0)) / np.linalg.norm(np.diff(nodes[:, axes], axis=0)) for seen, axes in zip(drawn, ([0, 1], [0, 2], [1, 2]), strict=True)]
    assert scales == pytest.approx([scales[0]] * 3)
    for seen, axes in zip(drawn, ([0, 1], [0, 2], [1, 2]), strict=True):
        assert seen - seen[0] == pytest.approx((nodes - nodes[0])[:, axes] * scales[0], abs=1e-9)


def test_a_wrong_distance_is_orange_and_the_miss_an_arrow() -> None:
    """In each view one thick orange line for the suspect; the arrow points the way the rest misses."""
    adjusted = adjust_pattern(pattern_of(tape=40.0))
    picture = pattern_view.measured(adjusted)
    (ax,) = picture.axes
    orange = [line for line in ax.findobj(Line2D) if to_hex(line.get_color()) == ORANGE]
    assert len(orange) == 3
    arrows = [patch for patch in ax.findobj(FancyArrowPatch) if to_hex(patch.get_edgecolor()) == BLUE]
    (start, stop), miss = arrows[0]._posA_posB, adjusted.miss[1]
    way = np.subtract(stop, start) / np.hypot(*np.subtract(stop, start))
    assert way == pytest.approx(miss[:2] / np.hypot(*miss[:2]), abs=1e-6)
    assert "Thick or ringed, orange: tape A to 3 is +40.0 mm off" in words(picture)
    assert "ringed" not in pattern_view.measured(adjust_pattern(pattern_of())).alt


def test_an_open_shape_is_called_one_of_many() -> None:
    """A picture of what was measured so far does not pass for the line."""
    bare = Pattern([one for one in pattern_of().observations if isinstance(one, Leg | Angle)])
    assert "one of many" in pattern_view.measured(adjust_pattern(bare)).alt


def test_the_dots_are_the_readings_and_a_far_one_stays_on_the_picture() -> None:
    """A dot for each checked reading at its own number; the suspect at the edge, with its size in words."""
    adjusted = adjust_pattern(pattern_of(tape=40.0))
    picture = pattern_view.residuals(adjusted, name="a line")
    (ax,) = picture.axes
    dots = [line.get_xydata()[0] for line in ax.lines if len(line.get_xydata()) == 1]
    rows = readings_of(adjusted)
    assert len(dots) == len(rows)
    assert [x for x, _ in dots] == pytest.approx(np.clip([row.times for row in rows], -3.85, 3.85))
    assert "does not fit: tape A to 3" in picture.alt and "+40 mm" in words(picture)


def test_the_clock_of_the_twist_turns_as_the_twist_does() -> None:
    """Seen along the leg from A towards B, the leg to A at 12, a twist of 60° puts the leg to B at 2 o'clock."""
    nodes = nodes_from_legs(Legs([50, 60, 50], [90, 90], [0, 60]))
    along = (nodes[2] - nodes[1]) / np.linalg.norm(nodes[2] - nodes[1])
    up = (nodes[0] - nodes[1]) / np.linalg.norm(nodes[0] - nodes[1])
    right = np.cross(along, up)  # for an eye that looks along the leg
    to_b = nodes[3] - nodes[2]
    assert np.degrees(np.arctan2(to_b @ right, to_b @ up)) == pytest.approx(60.0)
    picture = measuring.what_to_measure()
    assert "here 60°: 2 o'clock" in words(picture) and "clockwise is +" in words(picture)
    (ax,) = picture.axes
    assert not off_page(picture, texts(ax)) and not collisions(picture, texts(ax))


# --- the page ------------------------------------------------------------------------------------


def test_the_truth_told_on_the_page_is_the_sample_line_s_own() -> None:
    """The legs, angles and twists that page 5 calls true are those of lines/brake-near-side.csv; the ranges hold them."""
    cells = json.loads((ROOT / "notebooks" / "5_measure_a_pattern.ipynb").read_text(encoding="utf-8"))["cells"]
    told = "".join(cells[-1]["source"]).partition("**About the sample.**")[2]
    numbers = [float(text.replace("−", "-")) for text in re.findall(r"−?\d+\.\d", told)]
    shop = bendcal.read_shop(SAMPLE)
    legs = shop.line("brake-near-side").legs
    assert numbers == np.round([*legs.leg_mm, *legs.angle_deg, *legs.twist_deg[1:]], 1).tolist()
    adjusted = adjust_pattern(read_pattern(shop, "brake-near-side"))
    for truth, estimate in ((legs.leg_mm, adjusted.leg_mm), (legs.angle_deg, adjusted.angle_deg), (legs.twist_deg, adjusted.twist_deg)):
        low, high = estimate.interval(0.95)
        assert np.all((low <= truth) & (truth <= high))
