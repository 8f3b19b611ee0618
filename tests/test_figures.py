"""Pictures: what is drawn is what the numbers say, and nothing written hides anything else written."""

import subprocess
import sys
from dataclasses import replace
from math import cos, hypot, radians, sqrt

import matplotlib
import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.collections import PathCollection
from matplotlib.colors import to_rgb
from matplotlib.patches import Polygon, Rectangle

import bendcal
from bendcal import figures
from bendcal.arc import developed_length_mm, leg_to_centre_mm, leg_to_crossing_mm
from bendcal.compare import compare
from bendcal.figures import bent_line, straight_tube, style, twist_clock
from bendcal.figures.bench import bent_offcut, offcut_drawing
from bendcal.figures.paper import BLUE, GREY, INK, ORANGE, canvas, printable, text_width_mm, wrap, write
from bendcal.figures.shapes import Strokes
from bendcal.legs import LegTooShort
from bendcal.offcuts import Offcut
from bendcal.path import describe_tube_turn, tube_turn_deg, wrap_deg
from tests.conftest import SAMPLE
from tests.drawing import CAL, LONG_NAME, SHAPES, SHOP, boxes, collisions, off_page, sheet, smallest_type, strokes, texts, words

TUBE = SHOP.tubes["steel"]
RADIUS = 15.4


def offcut(angle: float, **facts) -> Offcut:
    """An offcut of 180 mm with its mark at 70, bent to an angle, its legs by an arc of RADIUS and nothing else."""
    back = RADIUS * np.tan(np.radians(angle) / 2)
    legs = {"leg_a_mm": 72.0 + back, "leg_b_mm": 108.0 - RADIUS * np.radians(angle) + back}
    return Offcut(**{"offcut": "7", "bender": "small", "tube": "steel", "length_mm": 180.0, "mark_mm": 70.0, "dial_deg": angle + 4, "angle_deg": angle} | legs | facts)


def tube_strokes(ax) -> Strokes:
    """The strokes of the one tube that is drawn on an axes."""
    (found,) = (child for child in ax.get_children() if isinstance(child, Strokes))
    return found


@pytest.fixture(scope="module")
def sample():
    """The sample shop and what its offcuts teach."""
    shop = bendcal.read_shop(SAMPLE)
    return shop, bendcal.calibrate(shop)


# --- an offcut -------------------------------------------------------------------------------


@pytest.mark.parametrize("angle", [10.0, 45.0, 90.0, 120.0, 150.0])
def test_a_bent_offcut_is_two_lines_and_an_arc(angle: float) -> None:
    """Every point of the arc is one radius from its middle, and both legs touch it; the outside edges cross where two lines do."""
    bent = bent_offcut(offcut(angle), TUBE, radius_mm=RADIUS)
    middle = bent.start + [0.0, RADIUS]
    assert np.hypot(*(bent.centreline[1:-1] - middle).T) == pytest.approx(RADIUS, abs=1e-9)
    assert bent.centreline[1] == pytest.approx(bent.start) and bent.centreline[-2] == pytest.approx(bent.stop)
    assert (bent.stop - middle) @ bent.along_b == pytest.approx(0.0, abs=1e-9)
    # The outside edges: below leg A, and to the right of leg B; solved as two equations.
    normal_b = np.array([bent.along_b[1], -bent.along_b[0]])
    crossing = np.linalg.solve([[0.0, 1.0], normal_b], [-TUBE.od_mm / 2, bent.apex @ normal_b + TUBE.od_mm / 2])
    assert bent.crossing("outside") == pytest.approx(crossing)
    assert bent.crossing("outside")[0] == pytest.approx(float(leg_to_crossing_mm(bent.leg_a_mm, angle, TUBE.od_mm, "outside")))
    assert bent.crossing("inside") - bent.apex == pytest.approx(bent.apex - bent.crossing("outside"))


@pytest.mark.parametrize("angle", [10.0, 64.0, 90.0, 120.0, 150.0])
def test_the_offcut_is_drawn_true_to_proportion(angle: float) -> None:
    """On paper the straight piece and the distance between the bent piece's ends have the ratio that the cosine rule gives."""
    one = offcut(angle)
    ax = offcut_drawing(one, TUBE, radius_mm=RADIUS).axes[0]
    straight, bent = [patch.get_xy()[:-1] for patch in ax.patches if isinstance(patch, Polygon)][:2]
    scale = hypot(*(straight[1] - straight[0])) / one.length_mm
    half = len(bent) // 2
    end_a, end_b = (bent[0] + bent[-1]) / 2, (bent[half - 1] + bent[half]) / 2
    a, b = one.leg_a_mm, one.leg_b_mm
    assert hypot(*(end_b - end_a)) / scale == pytest.approx(sqrt(a * a + b * b + 2 * a * b * cos(radians(angle))), rel=1e-6)
    assert hypot(*(bent[0] - bent[-1])) / scale == pytest.approx(TUBE.od_mm, rel=1e-6)
    mark = strokes(ax, BLUE, 2.4)[0]
    assert (mark[0, 0] - straight[0, 0]) / scale == pytest.approx(one.mark_mm)


@pytest.mark.parametrize("angle", [10.0, 30.0, 87.5, 100.0, 120.0, 150.0])
@pytest.mark.parametrize("legs_to", ["centre", "outside", "inside"])
def test_the_offcut_s_words_keep_off_each_other(angle: float, legs_to: str) -> None:
    """At any angle, and to any crossing, no text touches another or leaves the page, and none is small."""
    picture = offcut_drawing(offcut(angle, legs_to=legs_to), TUBE, radius_mm=RADIUS)
    found = texts(picture.axes[0])
    assert collisions(picture, found) == []
    assert off_page(picture, found) == []
    assert smallest_type(picture) >= 8


def test_the_offcut_s_own_numbers_are_written() -> None:
    """Length, mark, legs, angle and dial stand in the drawing as they were read, and what a protractor in the corner shows."""
    one = offcut(116.5, leg_a_mm=103.5, leg_b_mm=104.0, legs_to="outside")
    said = words(offcut_drawing(one, TUBE, radius_mm=RADIUS))
    for number in ("180 mm", "mark 70 mm", "leg A 103.5 mm", "leg B 104 mm", "angle 116.5°", "dial 120.5°", "63.5°", "legs to here: outside"):
        assert number in said
    assert "apex: the centre lines cross" in said


def test_legs_that_were_not_read_follow_from_the_length() -> None:
    """Without legs the drawn piece is as long as the straight one: leg + arc + leg."""
    bent = bent_offcut(offcut(90.0, leg_a_mm=None, leg_b_mm=None), TUBE, radius_mm=RADIUS)
    straight = bent.leg_a_mm + bent.leg_b_mm - 2 * bent.setback_mm
    assert straight + float(developed_length_mm(90.0, RADIUS)) == pytest.approx(180.0)
    assert bent.start[0] == pytest.approx(70.0)
    assert "leg A, to the apex" in words(offcut_drawing(offcut(90.0, leg_a_mm=None, leg_b_mm=None), TUBE))


def test_a_leg_shorter_than_its_bend_is_refused_in_words() -> None:
    """A leg that has no room for its part of the arc names the leg and what to look at."""
    with pytest.raises(LegTooShort, match=r"Offcut '7': leg A is 5\.0 mm .* takes 15\.4 mm of it\. Check the angle"):
        offcut_drawing(offcut(90.0, leg_a_mm=5.0), TUBE, radius_mm=RADIUS)


# --- laws and their readings -----------------------------------------------------------------


def test_the_law_s_line_bands_and_readings_are_the_law_s(sample) -> None:
    """The drawn mean, the band of the next bend and the points are what the law and the log say."""
    shop, cal = sample
    law = cal.law("small", "cuni-3/16")
    ax = figures.fit.law_fit(law, shop).axes[0]
    (mean,) = (line for line in ax.lines if line.get_linewidth() == 1.8)
    dial, back = mean.get_data()
    a, b = law.parameters.iloc[:2]
    assert back == pytest.approx(dial - a - b * dial)
    low, high = law.finished_angle(dial).interval(0.95)
    sides = [line.get_ydata() for line in ax.lines if line.get_linestyle() == ":"]
    assert sides[0] == pytest.approx(dial - low) and sides[1] == pytest.approx(dial - high)
    pieces = shop.offcuts_for("small", "cuni-3/16")
    drawn = ax.containers[0].lines[0].get_xydata()
    assert drawn == pytest.approx(np.array([[o.dial_deg, o.dial_deg - o.angle_deg] for o in pieces]))
    bars = ax.containers[0].lines[2][0].get_segments()
    assert np.ptp(bars[0], axis=0)[1] / 2 == pytest.approx(shop.angle_tool(pieces[0]).u)


def test_take_up_and_gain_stand_beside_their_readings(sample) -> None:
    """The two lower panels hold m + R tan(θ/2) and 2R tan(θ/2) − λθ, and the readings brought to the centre lines."""
    shop, cal = sample
    law = cal.law("small", "steel-3/16")
    _, radius, developed, offset = law.parameters.iloc[1:]
    take_up, gain = figures.fit.law_fit(law, shop).axes[1:]
    pieces = [o for o in shop.offcuts_for("small", "steel-3/16") if o.has_legs]
    od = shop.tubes["steel-3/16"].od_mm
    for ax, expected, read in (
        (take_up, lambda t: offset + radius * np.tan(t / 2), lambda o, a, b: a - o.mark_mm),
        (gain, lambda t: 2 * radius * np.tan(t / 2) - developed * t, lambda o, a, b: a + b - o.length_mm),
    ):
        (line,) = (line for line in ax.lines if line.get_linewidth() == 1.8)
        angle, value = line.get_data()
        assert value == pytest.approx(expected(np.radians(angle)))
        legs = [[float(leg_to_centre_mm(leg, o.angle_deg, od, o.legs_to)) for leg in (o.leg_a_mm, o.leg_b_mm)] for o in pieces]
        assert ax.containers[0].lines[0].get_ydata() == pytest.approx([read(o, a, b) for o, (a, b) in zip(pieces, legs, strict=True)])
    assert any(o.legs_to == "outside" for o in pieces)


def test_a_piece_set_aside_is_shown_hollow_even_where_it_lies_off_the_picture(sample) -> None:
    """The sample's blunder is named with its value at the edge; one within the picture is crossed."""
    shop, cal = sample
    aside = next(o for o in shop.offcuts if not o.counts)
    picture = figures.fit.law_fit(cal.law(aside.bender, aside.tube), shop)
    assert f"{aside.offcut}, set aside: {style.signed(aside.dial_deg - aside.angle_deg, '°')}, off the picture" in words(picture)
    near = replace(aside, angle_deg=aside.dial_deg - 5.0)
    mended = replace(shop, offcuts=tuple(near if o is aside else o for o in shop.offcuts))
    picture = figures.fit.law_fit(cal.law(aside.bender, aside.tube), mended)
    assert "off the picture" not in words(picture)
    crossed = [line for line in picture.axes[0].lines if line.get_marker() == "x"]
    assert crossed[0].get_xydata() == pytest.approx(np.array([[near.dial_deg, 5.0]]))


def test_where_no_reading_is_it_says_so(sample) -> None:
    """Beyond the highest reading the picture is hatched and named; a law without readings is hatched throughout."""
    shop, cal = sample
    law = cal.law("small", "cuni-3/16")
    ax = figures.fit.law_fit(law, shop, lengths=False).axes[0]
    hatched = [patch for patch in ax.patches if patch.get_hatch()]
    assert [round(patch.get_x()) for patch in hatched] == [0, round(law.dial_range_deg[1])]
    assert "no readings beyond here" in words(ax.figure)
    untaught = replace(law, dial_range_deg=None, angle_range_deg=None, tube="another", n_offcuts=0)
    assert "no readings yet" in words(figures.fit.law_fit(untaught, shop))


def test_the_names_of_readings_do_not_overlap(sample) -> None:
    """Each reading's name is written once, and none upon another, though two pieces were bent at one dial setting."""
    shop, cal = sample
    for bender, tube in (("small", "cuni-3/16"), ("small", "steel-3/16"), ("large-8mm", "steel-8mm")):
        law = cal.law(bender, tube)
        picture = figures.fit.law_fit(law, shop)
        names = {o.offcut for o in shop.offcuts_for(bender, tube)}
        found = [text for text in picture.axes[0].texts if text.get_text() in names]
        assert sorted(text.get_text() for text in found) == sorted(names)
        assert collisions(picture, found, touch_mm=0.5) == []
        assert off_page(picture, texts(picture.axes[0])) == []


def test_residuals_are_the_calibration_s_and_a_far_one_stands_out(sample) -> None:
    """Dots lie at the standardised residuals with their values written; one beyond 3 is an orange square with a bold name."""
    _, cal = sample
    table = cal.residuals.copy()
    k = table.index[(table["tube"] == "cuni-3/16") & (table["dial_deg"] == 70)][0]
    table.loc[k, ["z_angle", "resid_angle_deg"]] = [5.5, 7.25]
    picture = figures.fit.residuals(replace(cal, residuals=table), "small", "cuni-3/16")
    mine = table[table["tube"] == "cuni-3/16"].sort_values("dial_deg", kind="stable")
    dots = [line for line in picture.axes[0].lines if line.get_marker() in ("o", "s")]
    assert [line.get_xdata()[0] for line in dots] == pytest.approx(mine["z_angle"].to_numpy())
    assert [line.get_color() for line in dots if line.get_marker() == "s"] == [ORANGE]
    written = [text.get_text() for text in picture.axes[0].texts]
    assert written == [style.signed(value, "°") for value in mine["resid_angle_deg"]]
    bold = [label.get_text() for label in picture.axes[0].get_yticklabels() if label.get_fontweight() == "bold"]
    assert bold == [f"{table.loc[k, 'offcut']}, dial 70°"]
    assert [text.get_text() for text in picture.axes[1].texts].count("not read") == mine["z_leg_a"].isna().sum() > 0
    assert smallest_type(picture) >= 8


def test_two_tubes_are_told_apart_without_colour(sample) -> None:
    """The two laws differ in line style and hatch, carry their names, and the differences are the comparison's."""
    _, cal = sample
    comparison = compare(cal, ("small", "cuni-3/16"), ("small", "steel-3/16"))
    picture = figures.comparison.two_tubes(comparison)
    top, bottom = picture.axes
    thick = [line for line in top.lines if line.get_linewidth() == 2.2]
    assert len({line.get_linestyle() for line in thick}) == 2
    assert [bool(band.get_hatch()) for band in top.collections if not isinstance(band, PathCollection)] == [False, True]
    assert {"cuni-3/16", "steel-3/16", "solid line", "broken line, dots"} <= {text.get_text() for text in top.texts}
    dots, _, (bars,) = bottom.containers[0].lines
    assert dots.get_ydata() == pytest.approx(comparison.dial.value)
    low, high = comparison.dial.interval(0.95)
    drawn = np.array(bars.get_segments())
    assert drawn[:, 0, 1] == pytest.approx(low) and drawn[:, 1, 1] == pytest.approx(high)
    assert picture.alt == comparison.sentence
    assert collisions(picture, texts(top)) == []


# --- the straight tube -----------------------------------------------------------------------


@pytest.mark.parametrize("shape", ["one", "two", "six", "ten"])
@pytest.mark.parametrize("trim_at", ["A", "B"])
def test_marks_bends_and_spare_tube_stand_in_proportion(shape: str, trim_at: str) -> None:
    """From the tube's drawn ends each mark, each bend's start and end, and the spare piece are where the sheet has them."""
    one = sheet(shape, trim_at=trim_at)
    ax = straight_tube.marks(one).axes[0]
    blocks = [patch for patch in ax.patches if isinstance(patch, Rectangle)]
    spare = next(patch for patch in blocks if patch.get_hatch())
    zones = [patch for patch in blocks if not patch.get_hatch()]
    tube = max(zones, key=lambda patch: patch.get_width())
    zones.remove(tube)
    scale = tube.get_width() / one.cut_length_mm
    mm = lambda x: (x - tube.get_x()) / scale  # noqa: E731
    marks = [points[0, 0] for points in strokes(ax, BLUE, 2.2)]
    assert [mm(x) for x in marks] == pytest.approx(one.mark_mm)
    assert [mm(zone.get_x()) for zone in zones] == pytest.approx(one.start_mm)
    assert [mm(zone.get_x() + zone.get_width()) for zone in zones] == pytest.approx(one.end_mm)
    assert mm(spare.get_x()) == pytest.approx(0.0 if trim_at == "A" else one.cut_length_mm - one.trim_mm, abs=1e-6)
    assert spare.get_width() / scale == pytest.approx(one.trim_mm)
    seats = [points[0, 0] for points in strokes(ax, INK, 1.0)]
    assert [mm(x) for x in seats] == pytest.approx([one.seat_a_mm, one.seat_b_mm])


@pytest.mark.parametrize("shape", sorted(SHAPES))
@pytest.mark.parametrize("inches", [False, True])
def test_the_tube_s_labels_do_not_overlap(shape: str, inches: bool) -> None:
    """However near the marks lie, no label touches another or leaves the page, in mm and in inches."""
    picture = straight_tube.marks(sheet(shape, name=LONG_NAME), inches=inches)
    found = texts(picture.axes[0])
    assert collisions(picture, found) == []
    assert off_page(picture, found) == []
    assert smallest_type(picture) >= 8


def test_each_mark_has_its_number_position_dial_and_angle_above_each_other() -> None:
    """What is written in one column belongs to one bend, in the order of the bends."""
    one = sheet("ten")
    picture = straight_tube.marks(one, inches=True)
    found = texts(picture.axes[0])
    where = boxes(picture, found)
    centre = (where[:, 0] + where[:, 2]) / 2
    columns = {}
    for text, x in zip(found, centre, strict=True):
        near = [key for key in columns if abs(key - x) < 0.4]
        columns.setdefault(near[0] if near else x, []).append(text.get_text())
    marked = {cells[0]: cells[1:] for _, cells in sorted(columns.items()) if len(cells) == 5}
    assert list(marked) == [str(k + 1) for k in range(10)]
    for k, cells in enumerate(marked.values()):
        assert cells == [
            f"{one.mark_mm[k]:.1f}", bendcal.measures.inch_text(one.mark_mm[k]), f"{one.dial_deg[k]:.1f}°", f"{one.legs.angle_deg[k]:.1f}°",
        ]  # fmt: skip


def test_many_marks_go_on_several_strips_at_one_scale() -> None:
    """A line of 24 bends is cut into strips that together show the whole tube, every mark once."""
    angle, twist = np.tile([45.0, 90.0, 30.0], 8), np.r_[0.0, np.tile([180.0, -35.0, 90.0], 8)[:23]]
    many = bendcal.lines.line_from_legs("many", np.full(25, 62.0), angle, twist, tube="steel", bender="small")
    one = bendcal.mark_out(SHOP, CAL, many)
    picture = straight_tube.marks(one)
    ax = picture.axes[0]
    tubes = [patch for patch in ax.patches if isinstance(patch, Rectangle) and patch.get_width() > 60]
    assert len(tubes) > 1
    assert len(strokes(ax, BLUE, 2.2)) == 24
    scale = sum(tube.get_width() for tube in tubes) / one.cut_length_mm
    gaps = np.diff([points[0, 0] for points in strokes(ax, BLUE, 2.2)])
    inside = gaps > 0  # a new strip begins further left
    assert gaps[inside] / scale == pytest.approx(np.diff(one.mark_mm)[inside])
    assert collisions(picture, texts(ax)) == []


def test_a_tube_turned_end_for_end_has_a_row_that_says_which_end_leads() -> None:
    """The row is there where a bend is made with end B leading, and only there."""
    assert "end leading" in words(straight_tube.marks(sheet("six", "AAABBB")))
    assert "end leading" not in words(straight_tube.marks(sheet("six")))


# --- turning the tube ------------------------------------------------------------------------


@pytest.mark.parametrize("shape", ["two", "six", "ten"])
def test_the_clock_s_line_turns_as_the_tube_does(shape: str) -> None:
    """From bend to bend the line moves by the tube's own turn, and the words are those of the room of twists."""
    one = sheet(shape)
    at = [step.line_deg for step in one.steps]
    assert at[0] == 0
    for k in range(1, one.legs.bends):
        twist = float(one.legs.twist_deg[k])
        assert wrap_deg(at[k] - at[k - 1] - float(tube_turn_deg(twist))) == pytest.approx(0.0, abs=1e-6)
        said, longer = one.steps[k].words, describe_tube_turn(twist)
        if said not in ("no turn", "half a turn"):
            figure, way = said.split(" ")
            assert f"{float(figure.rstrip('°')):g}° {way}, seen from end A" in longer
        else:
            assert {"no turn": "do not turn", "half a turn": "half a turn"}[said] in longer


def test_a_bend_plane_turned_clockwise_is_reached_by_turning_the_tube_anticlockwise() -> None:
    """Worked by hand: the next bend lies 90° clockwise, so the line moves from the top to the left."""
    line = bendcal.lines.line_from_legs("q", [80, 80, 80], [90, 90], [0, 90], tube="steel", bender="small")
    one = bendcal.mark_out(SHOP, CAL, line)
    assert [step.line_deg for step in one.steps] == [0.0, -90.0]
    assert one.steps[1].words == "90.0° anticlockwise"
    hands = strokes(twist_clock.clocks(one).axes[0], BLUE, 3.6)
    along = [hand[1] - hand[0] for hand in hands]
    assert along[0] / np.hypot(*along[0]) == pytest.approx([0, 1])
    assert along[1] / np.hypot(*along[1]) == pytest.approx([-1, 0], abs=1e-9)


def test_turned_end_for_end_the_line_s_own_place_is_given() -> None:
    """No turn from the last bend holds any more once the tube is swapped; the line's place does."""
    one = sheet("six", "AAABBB")
    at = one.steps[3].line_deg
    assert one.steps[3].words == f"end for end; line at {abs(at):.1f}° {'clockwise' if at > 0 else 'anticlockwise'}"
    picture = twist_clock.clocks(one)
    assert collisions(picture, texts(picture.axes[0])) == []
    assert off_page(picture, texts(picture.axes[0])) == []


def test_clocks_stand_in_the_order_in_which_the_bends_are_made() -> None:
    """Bends 1, 3, 2: the badges in that order, and each hand where the worked tube's line is."""
    line = bendcal.lines.line_from_legs("q", [80] * 4, [90] * 3, [0, 30, 40], tube="steel", bender="small")
    one = bendcal.mark_out(SHOP, CAL, line, order=(1, 3, 2))
    picture = twist_clock.clocks(one)
    assert [text.get_text() for text in texts(picture.axes[0]) if text.get_text().isdigit()] == ["1", "3", "2"]
    along = [hand[1] - hand[0] for hand in strokes(picture.axes[0], BLUE, 3.6)]
    clock = [np.degrees(np.arctan2(way[0], way[1])) for way in along]
    assert clock == pytest.approx([0.0, -70.0, -30.0])
    assert "bend 3: 70.0° anticlockwise; bend 2: 40.0° clockwise" in picture.alt


# --- the bent line ---------------------------------------------------------------------------


@pytest.mark.parametrize("shape", ["one", "six", "ten"])
def test_all_four_views_have_one_scale_and_fit_the_page(shape: str) -> None:
    """In each view the drawn ends are as far apart as the seats are in that projection, times one scale."""
    one = sheet(shape)
    layout = bent_line.lay_out_views(one.line, one.tube, radius_mm=RADIUS, width_mm=200.0, height_mm=180.0)
    seat = one.line.corner_nodes_mm[-1] - one.line.corner_nodes_mm[0]
    for name, (right, up, out) in layout.frames.items():
        right, up, out = (np.asarray(way, float) for way in (right, up, out))
        assert np.cross(right, up) == pytest.approx(out)  # seen, not mirrored
        picture, ax = canvas(200, 200)
        bent_line._draw_shape(ax, layout.shape, (right, up, out), layout.scale, origin=np.zeros(2))
        flat = layout.shape.seen((right, up, out))[:, :2] * layout.scale
        assert flat[-1] - flat[0] == pytest.approx(np.array([right @ seat, up @ seat]) * layout.scale, abs=1e-9)
        every = tube_strokes(ax).steps.reshape(-1, 2)
        assert max(np.min(np.hypot(*(every - end).T)) for end in flat[[0, -1]]) < 1e-9, name
    assert max(sum(layout.cell_width_mm(name) for name in row) for row in layout.rows) <= 200.0 + 1e-6 or layout.scale == 1.0
    assert layout.height_mm <= 180.0 + 1e-6
    picture = bent_line.views(one.line, one.tube, radius_mm=RADIUS)
    found = texts(picture.axes[0])
    assert collisions(picture, found) == []
    assert off_page(picture, found) == []
    numbers = [text.get_text() for text in found if text.get_text().isdigit()]
    assert sorted(numbers) == sorted([str(k + 1) for k in range(one.legs.bends)] * 4)


def test_a_flat_line_seen_from_above_has_its_true_length() -> None:
    """The steps of a plane line add up to straights and arcs."""
    line = bendcal.lines.line_from_legs("flat", *SHAPES["two"], tube="steel", bender="small")
    layout = bent_line.lay_out_views(line, TUBE, radius_mm=RADIUS, width_mm=200.0, height_mm=180.0)
    seen = layout.shape.seen(layout.frames["from above: x →, y ↑"])[:, :2]
    length = np.sum(np.hypot(*np.diff(seen, axis=0).T))
    setbacks = 4 * RADIUS * np.tan(np.pi / 4)
    assert length == pytest.approx(sum(SHAPES["two"][0]) - setbacks + RADIUS * np.pi, rel=1e-3)


def test_what_is_nearer_is_drawn_over_what_is_further() -> None:
    """Where a line crosses itself the part nearer to the viewer comes later."""
    one = sheet("ten")
    layout = bent_line.lay_out_views(one.line, one.tube, radius_mm=RADIUS, width_mm=200.0, height_mm=180.0)
    frame = layout.frames["three-quarter view"]  # in which no two steps fall on each other
    _, ax = canvas(200, 200)
    bent_line._draw_shape(ax, layout.shape, frame, layout.scale, origin=np.zeros(2))
    seen = layout.shape.seen(frame)
    drawn = tube_strokes(ax)
    tops = [step for step, color in zip(drawn.steps, drawn.colors, strict=True) if color != INK]
    flat, depth = seen[:, :2] * layout.scale, (seen[:-1, 2] + seen[1:, 2]) / 2
    first, last = (np.array([int(np.argmin(np.abs(flat - step[i]).max(axis=1))) for step in tops]) for i in (0, 1))
    assert sorted(k for a, b in zip(first, last, strict=True) for k in range(a, b)) == list(range(len(depth)))
    assert np.all(np.diff(depth[first]) >= 0)
    # What is drawn in one stroke is no deeper than the tube is thick.
    assert all(np.ptp(seen[a : b + 1, 2]) < TUBE.od_mm for a, b in zip(first, last, strict=True) if b > a + 1)


@pytest.mark.parametrize(("azim", "elev"), [(-90.0, 0.0), (0.0, 90.0), (135.0, -20.0)])
def test_one_view_keeps_its_size_and_stays_on_the_page(azim: float, elev: float) -> None:
    """However it is turned, the picture has the same size and everything is on it."""
    one = sheet("six")
    picture = bent_line.one_view(one.line, one.tube, radius_mm=RADIUS, azim_deg=azim, elev_deg=elev)
    assert (picture.get_size_inches() * 25.4).tolist() == pytest.approx([180.0, 140.0])
    assert off_page(picture, texts(picture.axes[0])) == []
    drawn = np.vstack([tube_strokes(picture.axes[0]).steps.reshape(-1, 2), *(line.get_xydata() for line in picture.axes[0].lines)])
    assert drawn.min() >= 0 and np.all(drawn.max(axis=0) <= [180.0, 140.0])


def test_the_scale_bar_is_as_long_as_it_says() -> None:
    """The bar's length on paper is its number times the scale."""
    one = sheet("six")
    layout = bent_line.lay_out_views(one.line, one.tube, radius_mm=RADIUS, width_mm=208.0, height_mm=190.0)
    ax = bent_line.views(one.line, one.tube, radius_mm=RADIUS).axes[0]
    bar = strokes(ax, INK, 1.2)[-3]
    words_beside = next(text.get_text() for text in ax.texts if text.get_text().endswith(" mm"))
    said = float(words_beside.removesuffix(" mm").split(" ")[-1])
    assert bar[1, 0] - bar[0, 0] == pytest.approx(said * layout.scale)


# --- paper, labels and pictures in general ---------------------------------------------------


@given(st.lists(st.floats(0, 200), min_size=1, max_size=12), st.floats(0.5, 12))
def test_spread_keeps_order_and_room_and_moves_nothing_that_need_not(wanted: list[float], apart: float) -> None:
    """Labels stay in order and apart; where they are apart already, they stay where they are."""
    wanted = sorted(wanted)
    places = style.spread(wanted, apart, 0.0, 200.0)
    assert np.all(np.diff(places) >= apart - 1e-9)
    if np.all(np.diff(wanted) >= apart):
        assert places == pytest.approx(wanted)
    assert places[0] >= -1e-9
    if apart * (len(wanted) - 1) <= 200:
        assert places[-1] <= 200 + 1e-9


@given(st.lists(st.tuples(st.floats(0, 100), st.floats(0, 100)), min_size=1, max_size=8))
def test_labels_find_clear_places(points: list[tuple[float, float]]) -> None:
    """Up to eight labels anywhere on a sheet neither touch each other nor sit on the points they keep off."""
    at = np.array(points)
    places = style.clear_places(at, np.full_like(at, 4.0), at, gaps=(1.5, 4.0, 8.0, 14.0, 20.0, 30.0))
    for i in range(len(at)):
        assert not np.any(np.all(np.abs(places - places[i]) < 4.0, axis=1) & (np.arange(len(at)) != i))
        assert not np.any(np.all(np.abs(at - places[i]) < 2.0, axis=1))


@given(st.text(min_size=1, max_size=80), st.floats(20, 80))
def test_any_text_can_be_wrapped_and_written(text: str, width: float) -> None:
    """Whatever is typed as a name, its lines fit the room, and nothing of it is taken for a formula."""
    lines = wrap(text, width, 9.0)
    assert all(text_width_mm(part, 9.0) <= width or len(part) == 1 for part in lines)
    assert "".join(lines).replace(" ", "") == printable(text).replace(" ", "")


def test_a_name_with_dollars_and_strange_signs_is_drawn_as_it_is() -> None:
    """Dollar signs make no formula, and a sign that the font lacks becomes a question mark without a warning."""
    picture, ax = canvas(80, 20)
    text = write(ax, 5, 5, "cost $5_x^2$ \\frac 管")
    picture.png()
    assert text.get_text() == "cost $5_x^2$ \\frac ?"


def test_a_picture_is_the_same_each_time_and_whatever_the_notebook_s_settings() -> None:
    """Two drawings have the same bytes, also where somebody has changed matplotlib's settings."""
    plain = straight_tube.marks(sheet("six")).png()
    with matplotlib.rc_context({"font.size": 30.0, "axes.grid": True, "lines.linewidth": 9.0, "savefig.dpi": 300, "figure.facecolor": "red"}):
        assert straight_tube.marks(sheet("six")).png() == plain
    assert plain[:8] == b"\x89PNG\r\n\x1a\n"


def test_a_picture_shows_itself_in_a_notebook_and_says_what_is_on_it() -> None:
    """IPython's hook gives the PNG at 80 dots an inch, and the text beside it is the alt text."""
    picture = straight_tube.marks(sheet("one"))
    width = int.from_bytes(picture._repr_png_()[16:20], "big")
    assert width == pytest.approx(216 / 25.4 * 80, abs=1)
    assert repr(picture) == f"<Picture: one: cut {sheet('one').cut_length_mm:.1f} mm; marks from end A: 1 at {sheet('one').mark_mm[0]:.1f} mm.>"


def test_every_kind_of_picture_has_words_for_those_who_cannot_see_it(sample) -> None:
    """No picture is without its alt text."""
    shop, cal = sample
    one = sheet("two")
    pictures = [
        offcut_drawing(offcut(90.0), TUBE), figures.fit.law_fit(cal.law("small", "cuni-3/16"), shop, lengths=False),
        figures.fit.residuals(cal, "small", "cuni-3/16"), straight_tube.marks(one), twist_clock.clocks(one),
        bent_line.views(one.line, one.tube, radius_mm=RADIUS), bent_line.one_view(one.line, one.tube, radius_mm=RADIUS),
    ]  # fmt: skip
    assert all(len(picture.alt) > 20 for picture in pictures)


def test_the_colours_differ_in_lightness() -> None:
    """On a greyscale print ink, blue, orange and grey are told apart from white, and blue from orange (ITU-R BT.709 luma)."""
    luma = {color: float(np.dot(to_rgb(color), [0.2126, 0.7152, 0.0722])) for color in (INK, BLUE, ORANGE, GREY)}
    assert max(luma.values()) < 0.65
    assert luma[ORANGE] - luma[BLUE] > 0.25


def test_figures_open_no_window() -> None:
    """Importing and drawing loads no pyplot, so no window system is looked for."""
    code = (
        "import sys; from bendcal import figures; from tests.drawing import sheet; figures.straight_tube.marks(sheet('one')).png();"
        "print('matplotlib.pyplot' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=SAMPLE.parent, capture_output=True, text=True)
    assert done.stdout.strip() == "False", done.stderr


def test_an_empty_calibration_table_is_no_reason_to_fail() -> None:
    """A law known from elsewhere, without one residual, still has its (empty) picture of residuals."""
    columns = ["offcut", "bender", "tube", "dial_deg", *(f"{kind}_{name}" for kind, name in (
        ("resid", "angle_deg"), ("resid", "leg_a_mm"), ("resid", "leg_b_mm"), ("z", "angle"), ("z", "leg_a"), ("z", "leg_b")))]
    cal = replace(CAL, residuals=pd.DataFrame(columns=columns))
    assert "0 with a reading" in figures.fit.residuals(cal, "small", "steel").alt
