"""From a line and a law to marks: by hand, there and back, against simulated bending, and every warning."""

from dataclasses import replace
from math import ceil, pi, radians, sqrt, tan

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from bendcal.benders import Bender
from bendcal.calibration import Calibration, calibrate
from bendcal.ends import End
from bendcal.files.folder import read_shop
from bendcal.law import Law
from bendcal.lines import Line, line_from_legs, line_from_nodes
from bendcal.marks import MARK_COLUMNS, MarkSheet, mark_out
from bendcal.materials import ALLOYS
from bendcal.path import LegTooShort, legs_from_nodes, nodes_from_legs, place_nodes, pose_of
from bendcal.shop import Shop, UnknownName
from bendcal.tubes import Tube

NUMBERS = np.array([-1.5, 0.965, 15.4, 15.05, 2.2])
ROOT = np.diag([0.5, 0.005, 0.25, 0.3, 0.35]) @ np.array([
    [1, 0, 0, 0, 0], [-0.8, 0.6, 0, 0, 0], [0.1, -0.2, 0.9, 0, 0], [0, 0.1, 0.7, 0.7, 0], [0.2, 0, -0.5, 0.1, 0.8],
])  # fmt: skip
COVARIANCE = ROOT @ ROOT.T
TAUGHT = {"scatter_deg": 0.4, "marking_mm": 0.3, "n_offcuts": 6, "angle_range_deg": (10.0, 120.0), "dial_range_deg": (12.0, 126.0)}
LAW = Law.of("small", "brake", NUMBERS, COVARIANCE, **TAUGHT)
EXACT = Law.of("small", "brake", NUMBERS, n_offcuts=6, angle_range_deg=(1.0, 179.0))
SHOP = Shop(
    benders={"small": Bender("small", 15.0)},
    tubes={"brake": Tube("brake", ALLOYS["low-carbon steel"], 4.76, 0.71)},
    ends={
        "flare": End("flare", "double flare", 6.5, uses_sd_mm=0.4, straight_mm=30.0),
        "olive": End("olive", "olive", 8.0),
    },
)  # fmt: skip


def calibration(*laws: Law) -> Calibration:
    """A calibration that holds these laws."""
    found = {(law.bender, law.tube): law for law in laws}
    return Calibration(laws=found, residuals=pd.DataFrame(), blunders=(), set_aside=(), digest="", version="")


def a_line(leg_mm, angle_deg, twist_deg=None, **more) -> Line:
    """A line of the shop above, in legs."""
    twist = np.zeros(len(angle_deg)) if twist_deg is None else twist_deg
    return line_from_legs("rear", leg_mm, angle_deg, twist, **({"tube": "brake", "bender": "small"} | more))


def marked(line: Line, law: Law = LAW, shop: Shop = SHOP, **more) -> MarkSheet:
    """Its mark sheet."""
    return mark_out(shop, calibration(law), line, **more)


THREE = ([120, 90, 140, 160], [90, 45, 110], [0, 65, -150])

# --- by hand ------------------------------------------------------------------------------------


def test_one_square_bend_by_hand() -> None:
    """R 15, λ 14.5, m 2, legs 100 and 80: mark 100 − 17, bend from 85 to 85 + 14.5·π/2, cut 180 − 30 + 14.5·π/2."""
    law = Law.of("small", "brake", [-1.5, 0.965, 15.0, 14.5, 2.0], n_offcuts=6, angle_range_deg=(1, 179))
    sheet = marked(a_line([100, 80], [90]), law)
    row = sheet.marks.iloc[0]
    assert tuple(sheet.marks.columns) == MARK_COLUMNS
    assert row["mark_mm"] == pytest.approx(83.0)
    assert row["dial_deg"] == pytest.approx(91.5 / 0.965)
    assert (row["start_mm"], row["end_mm"]) == pytest.approx((85.0, 85 + 14.5 * pi / 2))
    assert (row["bend"], row["twist_deg"], row["angle_deg"], row["feed"], row["note"]) == (1, 0, 90, "A", "")
    assert sheet.cut_length_mm == pytest.approx(180 - 30 + 14.5 * pi / 2)
    assert sheet.trim_mm == 0.0 and sheet.warnings == ()


def test_mark_is_leg_less_take_up_behind_what_the_end_uses() -> None:
    """mark = uses + leg − take-up (definition), the law's own words."""
    sheet = marked(a_line([100, 80], [75], end_a="flare"), trim_mm=0)
    assert sheet.mark_mm[0] == pytest.approx(6.5 + 100 - LAW.take_up(75.0).value)
    assert sheet.mark_mm[0] == pytest.approx(6.5 + 100 - 2.2 - 15.4 * tan(radians(37.5)))


def test_cut_length_is_legs_less_gains_and_what_the_ends_use_and_the_trim() -> None:
    """Σ legs − Σ gains + uses + trim, gains by the formula 2R·tan(θ/2) − λθ."""
    legs, angles, twists = THREE
    sheet = marked(a_line(legs, angles, twists, end_a="flare", end_b="olive"), trim_mm=12.0)
    gains = sum(2 * 15.4 * tan(radians(v) / 2) - 15.05 * radians(v) for v in angles)
    assert sheet.cut_length_mm == pytest.approx(sum(legs) - gains + 6.5 + 8.0 + 12.0)
    assert sheet.cut_length_mm == pytest.approx(sum(legs) - LAW.gain(angles).value.sum() + 26.5)


def test_a_forty_five_degree_offset_advances_as_much_as_it_rises() -> None:
    """Travel = set × 1.4142 and advance = set × 1.00 (Chicago Plumbing Code, single pipe offsets, read)."""
    rise = 50.0
    nodes = [[0, 0, 0], [100, 0, 0], [100 + rise, rise, 0], [300, rise, 0]]
    line = line_from_nodes("offset", nodes, tube="brake", bender="small")
    assert line.legs.leg_mm[1] / rise == pytest.approx(1.4142, abs=5e-5)
    sheet = marked(line, trim_mm=0)
    assert sheet.legs.angle_deg == pytest.approx([45, 45]) and sheet.legs.twist_deg == pytest.approx([0, 180])
    # From mark to mark: the travel less one bend's gain.
    assert np.diff(sheet.mark_mm)[0] == pytest.approx(rise * sqrt(2) - LAW.gain(45.0).value)


def test_a_stub_up_of_the_wiring_books() -> None:
    """Height 10 in, bender radius 5 in → mark at 5 in from the end.

    Modern Residential Wiring (Goodheart-Willcox, 2021), page 144, read; m = 0 and the height to the centreline.
    """
    law = Law.of("small", "brake", [0, 1, 127.0, 127.0, 0], n_offcuts=6, angle_range_deg=(1, 179))
    assert marked(a_line([254.0, 400.0], [90]), law).mark_mm[0] / 25.4 == pytest.approx(5.0)


def test_a_square_corner_of_sheet_metal_setback() -> None:
    """Setback K·R with K 0.41421, 0.57735, 1, 1.7320 at 45, 60, 90, 120° (FAA K-chart: memory; tan(θ/2))."""
    law = Law.of("small", "brake", [0, 1, 10.0, 10.0, 0], n_offcuts=6, angle_range_deg=(1, 179))
    for angle, k in ((45, 0.41421), (60, 0.57735), (90, 1.0), (120, 1.73205)):
        sheet = marked(a_line([100, 80], [angle]), law)
        assert 100 - sheet.start_mm[0] == pytest.approx(10 * k, abs=1e-4)


def test_turned_end_for_end_the_mark_is_at_the_end_of_the_bend_plus_the_offset() -> None:
    """Only the mark moves: dial, start, end and cut length are as before, and the note says it."""
    line = a_line(*THREE)
    a, b = marked(line, trim_mm=0), marked(line, trim_mm=0, feed="B")
    assert a.mark_mm == pytest.approx(a.start_mm - 2.2)
    assert b.mark_mm == pytest.approx(b.end_mm + 2.2)
    for name in ("dial_deg", "start_mm", "end_mm", "cut_length_mm"):
        assert getattr(a, name) == pytest.approx(getattr(b, name))
    mixed = marked(line, trim_mm=0, feed=["A", "B", "A"])
    assert mixed.marks["feed"].tolist() == ["A", "B", "A"]
    assert mixed.mark_mm == pytest.approx([a.mark_mm[0], b.mark_mm[1], a.mark_mm[2]])
    assert mixed.notes == ("", "tube turned end for end", "")


def test_a_line_from_either_end_is_the_same_tube() -> None:
    """Counted from B and fed from B, every mark is the cut length less the mark from A."""
    legs, angles, twists = THREE
    one = marked(a_line(legs, angles, twists, end_a="flare", end_b="olive"), trim_mm=5.0)
    back = a_line(legs[::-1], angles[::-1], [0, *twists[:0:-1]], end_a="olive", end_b="flare", trim_at="A")
    other = marked(back, trim_mm=5.0, feed="B")
    assert other.cut_length_mm == pytest.approx(one.cut_length_mm)
    assert other.cut_length_mm - other.mark_mm[::-1] == pytest.approx(one.mark_mm)


def test_trim_at_a_shifts_every_mark_and_trim_at_b_none() -> None:
    """20 mm more at A moves all marks by 20 mm; both ways the tube is 20 mm longer."""
    for at, shift in (("A", 20.0), ("B", 0.0)):
        line = a_line(*THREE, trim_at=at)
        bare, spare = marked(line, trim_mm=0), marked(line, trim_mm=20.0)
        assert spare.mark_mm - bare.mark_mm == pytest.approx([shift] * 3)
        assert spare.start_mm - bare.start_mm == pytest.approx([shift] * 3)
        assert spare.cut_length_mm - bare.cut_length_mm == pytest.approx(20.0)
        assert spare.seat_a_mm == pytest.approx(shift)
        assert spare.seat_b_mm == pytest.approx(spare.cut_length_mm - (20.0 - shift))


# --- there and back -----------------------------------------------------------------------------

shapes = st.lists(st.tuples(st.floats(85, 300), st.floats(3, 135), st.floats(-179.9, 180)), min_size=1, max_size=6)


@given(shapes, st.floats(85, 300), st.sampled_from(["A", "B"]), st.integers(0, 63), st.floats(0, 30))
def test_the_marks_bend_to_the_line_that_was_asked_for(shape, last: float, trim_at: str, feeds: int, trim: float) -> None:
    """Any line, either trim, any mix of feeds: bent by its own law it is the line again, to 1e-9 of its size."""
    leg, angle, twist = (np.array(v) for v in zip(*shape, strict=True))
    twist[0] = 0.0
    line = a_line(np.append(leg, last), angle, twist, end_a="flare", end_b="olive", trim_at=trim_at)
    feed = ["B" if feeds >> k & 1 else "A" for k in range(len(angle))]
    sheet = marked(line, trim_mm=trim, feed=feed)
    assert nodes_from_legs(sheet.as_bent()) == pytest.approx(nodes_from_legs(line.legs), abs=1e-9 * 2000)
    assert sheet.as_bent().twist_deg.tolist() == line.legs.twist_deg.tolist()


@given(st.integers(0, 10_000))
def test_nodes_in_the_room_come_back_where_they_lie(seed: int) -> None:
    """Nodes anywhere in space, with one that the line passes straight through: the bent line passes through them."""
    rng = np.random.default_rng(seed)
    step = rng.normal(size=(5, 3))
    step *= (rng.uniform(150, 400, 5) / np.linalg.norm(step, axis=1))[:, None]
    turn = np.degrees(np.arccos(np.sum(step[1:] * step[:-1], 1) / np.linalg.norm(step[1:], axis=1) / np.linalg.norm(step[:-1], axis=1)))
    if turn.max() > 125:
        return
    nodes = rng.normal(size=3) * 100 + np.concatenate([np.zeros((1, 3)), np.cumsum(step, 0)])
    with_clip = np.insert(nodes, 2, nodes[1] + 0.3 * step[1], axis=0)
    line = line_from_nodes("loom", with_clip, tube="brake", bender="small")
    assert line.bends == 4
    sheet = marked(line, feed="B")
    assert nodes_from_legs(sheet.as_bent(), **pose_of(nodes)) == pytest.approx(nodes, abs=1e-6)
    assert nodes_from_legs(sheet.as_bent(EXACT), **pose_of(nodes)) == pytest.approx(nodes, abs=1e-6)


def test_twists_keep_their_signs() -> None:
    """A right-handed and a left-handed line differ in the twists' signs and in no mark."""
    legs, angles, twists = THREE
    right, left = marked(a_line(legs, angles, twists)), marked(a_line(legs, angles, [0, -65, 150]))
    assert right.marks["twist_deg"].tolist() == [0, 65, -150]
    assert left.marks["twist_deg"].tolist() == [0, -65, 150]
    assert right.mark_mm == pytest.approx(left.mark_mm)
    assert legs_from_nodes(nodes_from_legs(right.as_bent())).twist_deg == pytest.approx([0, 65, -150])


def test_bent_by_another_law_it_is_another_line() -> None:
    """One degree more on every bend, by hand on one bend: 91° and a longer first leg."""
    other = Law.of("small", "brake", NUMBERS + [1, 0, 0, 0, 0])
    bent = marked(a_line([100, 80], [90])).as_bent(other)
    assert bent.angle_deg == pytest.approx([91.0])
    assert bent.leg_mm[0] == pytest.approx(100 + 15.4 * (tan(radians(45.5)) - 1))


# --- uncertainties ------------------------------------------------------------------------------


@pytest.mark.parametrize("feed", ["A", "B", ["B", "A", "B"]])
def test_a_marks_uncertainty_is_that_of_marks_by_five_thousand_laws(feed) -> None:
    """Laws drawn from the covariance, a flare that uses 6.5 ± 0.4 mm, marks drawn ± 0.3 mm: within 3 %."""
    line = a_line(*THREE, end_a="flare")
    sheet = marked(line, trim_mm=0, feed=feed)
    rng = np.random.default_rng(11)
    # The two independent parts are added by formula: 5 000 laws settle the rest.
    drawn = quick_marks(line, rng.multivariate_normal(NUMBERS, COVARIANCE, 5_000), sheet.feed)
    assert sheet.mark_u_mm == pytest.approx(np.sqrt(drawn.var(axis=0) + 0.3**2 + 0.4**2), rel=0.03)
    assert quick_marks(line, NUMBERS[None], sheet.feed)[0] + 6.5 == pytest.approx(sheet.mark_mm)


def quick_marks(line: Line, numbers: np.ndarray, side: np.ndarray) -> np.ndarray:
    """Marks from the seat of A by many laws (draws, 5), apex by apex: the legs so far less the gains so far."""
    radius, developed, offset = numbers[:, 2:].T[:, :, None]
    theta = np.radians(line.legs.angle_deg)
    gains = 2 * radius * np.tan(theta / 2) - developed * theta
    apex = np.cumsum(line.legs.leg_mm[:-1]) - np.cumsum(gains, axis=1) + gains
    take_up = offset + radius * np.tan(theta / 2)
    # Turned end for end: the apex is the take-up before the mark, and the gain shortens the tube between.
    return np.where(side > 0, apex - take_up, apex - gains + take_up)


def test_an_angles_uncertainty_is_that_of_the_next_bend() -> None:
    """It holds the law's and the scatter of one bend."""
    sheet = marked(a_line(*THREE))
    assert sheet.angle_u_deg == pytest.approx(LAW.finished_angle(sheet.dial_deg).u)
    assert np.all(sheet.angle_u_deg > 0.4)


def bent_many(sheet: MarkSheet, draws: int, seed: int):
    """Spare tube at the end to be trimmed, once it is bent, flared and fitted, so many times (draws,).

    The fixed end is flared first and uses what it uses; the tube is bent; the other end is held against
    where its seat should be and cut there.
    """
    rng = np.random.default_rng(seed)
    n = sheet.legs.bends
    p = rng.multivariate_normal(NUMBERS, COVARIANCE, draws)[:, :, None]
    angle = p[:, 0] + p[:, 1] * sheet.dial_deg + LAW.scatter_deg * rng.normal(size=(draws, n))
    mark = sheet.mark_mm + LAW.marking_mm * rng.normal(size=(draws, n))
    arc = p[:, 3] * np.radians(angle)
    start = np.where(sheet.feed > 0, mark + p[:, 4], mark - p[:, 4] - arc)
    setback = p[:, 2] * np.tan(np.radians(angle) / 2)
    uses_a = sheet.end_a.uses_mm + sheet.end_a.uses_sd_mm * rng.normal(size=(draws, 1))
    uses_b = sheet.end_b.uses_mm + sheet.end_b.uses_sd_mm * rng.normal(size=(draws, 1))
    at_a = sheet.line.trim_at == "A"
    first = np.zeros((draws, 1)) if at_a else uses_a
    last = sheet.cut_length_mm - (uses_b if at_a else np.zeros((draws, 1)))
    none = np.zeros((draws, 1))
    leg = np.concatenate([start, last + none], 1) - np.concatenate([first + none, start + arc], 1)
    leg = leg + np.concatenate([none, setback], 1) + np.concatenate([setback, none], 1)
    twist = sheet.legs.twist_deg + rng.normal(size=(draws, n))
    twist[:, 0] = 0.0
    meant = sheet.legs.leg_mm, sheet.legs.angle_deg, sheet.legs.twist_deg
    if at_a:
        leg, angle, twist = leg[:, ::-1], angle[:, ::-1], np.concatenate([twist[:, :1], twist[:, 1:][:, ::-1]], 1)
        meant = meant[0][::-1], meant[1][::-1], np.concatenate([meant[2][:1], meant[2][1:][::-1]])
    target = place_nodes(*meant)
    along = (target[-1] - target[-2]) / np.linalg.norm(target[-1] - target[-2])
    spare = (place_nodes(leg, angle, twist)[:, -1] - target[-1]) @ along
    return spare - (uses_a if at_a else uses_b)[:, 0]


@pytest.mark.parametrize("trim_at", ["A", "B"])
@pytest.mark.parametrize("feed", ["A", "B", ["A", "B", "A"]])
def test_the_trim_makes_the_line_long_enough_as_often_as_it_says(trim_at: str, feed) -> None:
    """20 000 lines bent and fitted: with the trim before it is rounded up, 90 % of them are long enough."""
    line = a_line(*THREE, end_a="olive", end_b="olive", trim_at=trim_at)
    sheet = marked(line, feed=feed, chance=0.9)
    exact = norm.ppf(0.9) * sheet.length_u_mm
    assert sheet.trim_mm == ceil(exact) > exact
    spare = bent_many(sheet, 20_000, seed=3)
    assert spare.std() == pytest.approx(sheet.length_u_mm, rel=0.03)
    # Twists off either way shorten the reach a little (some 0.05 mm here): of second order, and the rounding up covers it.
    assert sheet.trim_mm - spare.mean() == pytest.approx(0.05, abs=0.05)
    assert np.mean(spare > sheet.trim_mm - exact) == pytest.approx(0.895, abs=0.01)
    assert np.mean(spare > 0) > 0.9


@pytest.mark.parametrize("trim_at", ["A", "B"])
def test_what_the_ends_use_is_trimmed_for_too(trim_at: str) -> None:
    """Flares that use 6.5 ± 1.5 mm: the trim holds, a little to the safe side (the far flare counts as if it lay along the leg)."""
    ends = {"flare": replace(SHOP.ends["flare"], uses_sd_mm=1.5)}
    line = a_line(*THREE, end_a="flare", end_b="flare", trim_at=trim_at)
    sheet = marked(line, shop=replace(SHOP, ends=ends), chance=0.9)
    assert sheet.length_u_mm > sqrt(2) * 1.5
    spare = bent_many(sheet, 20_000, seed=4)
    short = np.mean(spare < sheet.trim_mm - norm.ppf(0.9) * sheet.length_u_mm)
    assert 0.03 < short < 0.1 + 0.006


def test_more_certainty_wants_more_trim() -> None:
    """99 % leaves more on than 95 %, and half and half leaves none."""
    line = a_line(*THREE)
    trims = [marked(line, chance=c).trim_mm for c in (0.5, 0.95, 0.99, 0.999)]
    assert trims[0] == 0.0 and trims[1] < trims[2] < trims[3]


def test_a_law_known_exactly_leaves_no_trim_on_a_straight_fit() -> None:
    """Nothing uncertain along the last leg, nothing to trim; the twists' own error stays sideways."""
    sheet = marked(a_line([100, 80], [90]), EXACT)
    assert sheet.length_u_mm == pytest.approx(0.0, abs=1e-12)
    assert sheet.trim_mm == 0.0


# --- refused ------------------------------------------------------------------------------------


def test_a_leg_too_short_is_named_with_what_is_missing() -> None:
    """Between two square bends of R 15.4 a leg needs 30.8 mm; 25 lacks 5.8."""
    with pytest.raises(LegTooShort, match=r"Line 'rear' cannot be bent: leg 2 \(bend 1 to bend 2\) is 25.0 mm.* 5.8 mm are missing") as caught:
        marked(a_line([100, 25, 80], [90, 90]))
    assert caught.value.leg == (2,)
    assert caught.value.missing_mm == pytest.approx((5.8,))


def test_every_short_leg_is_named_at_once() -> None:
    """Both end legs of a square bend need 15.4 mm."""
    with pytest.raises(LegTooShort, match=r"leg 1 \(end A to bend 1\).* 5.4 mm are missing; leg 2 \(bend 1 to end B\).*0.4 mm") as caught:
        marked(a_line([10, 15], [90]))
    assert caught.value.leg == (1, 2)


def test_a_short_leg_is_told_with_all_that_it_lacks() -> None:
    """Beside the bends' own 30.8 mm (or 15.4 at an end) the bender's 10 mm between them, and what end A cannot do without: one length, not two."""
    shop = replace(SHOP, benders={"small": Bender("small", min_leg_mm=40.0, min_between_mm=10.0, min_last_mm=12.0)})
    said = r"leg 2 \(bend 1 to bend 2\) is 25.0 mm, but its bends take up 30.8 mm of it and bender small needs 10 mm between them: 15.8 mm are missing"
    with pytest.raises(LegTooShort, match=said) as caught:
        marked(a_line([100, 25, 80], [90, 90]), shop=shop)
    assert caught.value.missing_mm == pytest.approx((15.8,))
    said = r"leg 1 .* its bend takes up 15.4 mm of it and 30 mm are needed beside it for the bender, the nut or the flaring tool: 35.4 mm are missing"
    with pytest.raises(LegTooShort, match=said):
        marked(a_line([10, 80], [90], end_a="flare"), shop=shop)
    with pytest.raises(LegTooShort, match="and 12 mm are needed beside it .* 17.4 mm are missing"):  # end B leading, 12 mm are enough at A
        marked(a_line([10, 80], [90]), shop=shop)


def test_a_leg_just_long_enough_is_taken() -> None:
    """Two bends may touch."""
    sheet = marked(a_line([100, 2 * 15.4 * tan(radians(45)), 80], [90, 90]), trim_mm=0)
    assert sheet.start_mm[1] == pytest.approx(sheet.end_mm[0])


def test_names_that_the_shop_or_the_calibration_lacks_are_told() -> None:
    """Line, tube, bender, end and law each have their sentence."""
    cal = calibration(LAW)
    with pytest.raises(UnknownName, match="no line called 'rear' in this shop"):
        mark_out(SHOP, cal, "rear")
    with pytest.raises(UnknownName, match="no tube called 'fuel'"):
        mark_out(SHOP, cal, a_line([100, 80], [90], tube="fuel"))
    with pytest.raises(UnknownName, match="no bender called 'big'"):
        mark_out(SHOP, cal, a_line([100, 80], [90], bender="big"))
    with pytest.raises(UnknownName, match="no end called 'flair' in this shop. Did you mean 'flare'"):
        mark_out(SHOP, cal, a_line([100, 80], [90], end_b="flair"))
    with pytest.raises(UnknownName, match="no law of bender 'small' with tube 'brake' yet.*Bend one marked offcut"):
        mark_out(SHOP, calibration(), a_line([100, 80], [90]))


@pytest.mark.parametrize("trim", [-1.0, float("nan"), float("inf")])
def test_a_trim_that_is_no_length_is_refused(trim: float) -> None:
    """Spare tube is 0 mm or more."""
    with pytest.raises(ValueError, match="spare tube is 0 mm or more"):
        marked(a_line([100, 80], [90]), trim_mm=trim)


@pytest.mark.parametrize("chance", [0.0, 0.49, 1.0, 95, float("nan")])
def test_a_chance_that_cannot_be_had_is_refused(chance: float) -> None:
    """Certainty and less than even are no margins."""
    with pytest.raises(ValueError, match="at least 0.5 and less than 1"):
        marked(a_line([100, 80], [90]), chance=chance)


def test_a_feed_for_another_number_of_bends_is_refused() -> None:
    """Two letters for one bend."""
    with pytest.raises(ValueError, match="one such letter for each of the 1 bends"):
        marked(a_line([100, 80], [90]), feed=["A", "B"])


def test_a_line_by_name_is_the_line_itself() -> None:
    """Both ways of asking give the same sheet."""
    line = a_line(*THREE)
    shop = replace(SHOP, lines={"rear": line})
    by_name, by_line = marked("rear", shop=shop), marked(line)
    pd.testing.assert_frame_equal(by_name.marks, by_line.marks)
    assert by_name.line is line and by_name.bender.bender == "small" and by_name.tube.tube == "brake"


# --- warnings -----------------------------------------------------------------------------------


def warnings(line: Line, law: Law = EXACT, bender: Bender | None = None, **more) -> tuple[str, ...]:
    """What is said before cutting."""
    shop = replace(SHOP, benders={"small": bender}) if bender else SHOP
    return marked(line, law, shop, **more).warnings


def test_a_good_line_has_nothing_to_say() -> None:
    """No warning without a cause."""
    assert warnings(a_line(*THREE, end_a="flare")) == ()


def test_bends_beyond_the_offcuts_are_warned_of() -> None:
    """Covered 10° to 120°: 5° and 130° are beyond, on the sheet and in the bend's own note."""
    sheet = marked(a_line([120, 90, 140, 160], [5, 45, 130], [0, 65, -150]))
    assert sheet.warnings[0].startswith("Bends 1 and 3 lie beyond what the offcuts covered (10° to 120°)")
    assert sheet.notes == ("beyond the offcuts", "", "beyond the offcuts")
    assert marked(a_line([120, 160], [130])).warnings[0].startswith("Bend 1 lies beyond what the offcuts covered")


def test_few_offcuts_are_warned_of() -> None:
    """One, two and none; three are enough."""
    for n, words in ((0, "Only 0 offcuts taught"), (1, "Only one offcut taught"), (2, "Only 2 offcuts taught")):
        assert warnings(a_line([100, 80], [90]), replace(EXACT, n_offcuts=n))[0].startswith(words)
    assert warnings(a_line([100, 80], [90]), replace(EXACT, n_offcuts=3)) == ()


def test_bends_that_start_nobody_knows_where_are_warned_of() -> None:
    """A mark offset of 0 ± 15 mm (pieces without legs) makes every mark ± 29 mm; 2.2 ± 0.35 mm, of pieces with legs, is fit to use."""
    unknown = COVARIANCE.copy()
    unknown[4, :] = unknown[:, 4] = 0.0
    unknown[4, 4] = 15.0**2
    said = warnings(a_line([120, 160], [90]), Law.of("small", "brake", NUMBERS, unknown, **TAUGHT))
    assert said[0].startswith("Where a bend starts from its mark is known to ± 29 mm only, and so is every mark")
    assert warnings(a_line([120, 160], [90])) == ()
    assert not any("starts" in s for s in warnings(a_line([120], []), Law.of("small", "brake", NUMBERS, unknown, **TAUGHT)))


def test_a_range_of_one_angle_is_said_once() -> None:
    """Six pieces, all bent to 86.5°: not "86° to 86°"."""
    said = warnings(a_line([120, 160], [45]), replace(LAW, angle_range_deg=(86.5, 86.5)))
    assert "beyond what the offcuts covered (86.5°):" in said[0]


def test_beyond_the_dial_is_warned_of() -> None:
    """110° wants 115.5 on a dial that ends at 115, and a bend of 1° under a dial that starts at 3°."""
    assert "Bend 3 needs 115.5° on the dial of small, which ends at 115°." in warnings(a_line(*THREE), bender=Bender("small", dial_max_deg=115.0))[0]
    assert warnings(a_line(*THREE), bender=Bender("small", dial_max_deg=116.0)) == ()
    low = Law.of("small", "brake", [3.0, 1, 15, 15, 2], n_offcuts=6, angle_range_deg=(1, 179))
    assert "Bend 1 would need -1.0° on the dial, below its zero" in warnings(a_line([100, 80], [2.0]), low)[0]


def test_straights_too_short_for_bender_nut_or_flaring_tool_are_warned_of() -> None:
    """R 15.4: straights 34.6, 9.2, 24.6 mm of legs 50, 40, 40 at square bends against needs of 35, 10, 25."""
    line = a_line([50, 40, 40], [90, 90])
    said = warnings(line, bender=Bender("small", min_leg_mm=35.0, min_between_mm=10.0, min_last_mm=25.0))
    assert [s.split(" mm of straight")[0] for s in said] == [
        "Leg 2 leaves 9.2", "Leg 1 (end A to bend 1) has 34.6", "Leg 3 (bend 2 to end B) has 24.6",
    ]  # fmt: skip
    assert "between bend 1 and bend 2; bender small needs 10 mm. Move the corners 0.8 mm further apart" in said[0]
    assert all("are needed for the bender, the nut or the flaring tool" in s for s in said[1:])
    assert warnings(line, bender=Bender("small", min_leg_mm=34.0, min_between_mm=9.0, min_last_mm=24.0)) == ()
    flared = a_line([45, 80], [90], end_a="flare")
    assert "has 29.6 mm of straight tube, but 30.0 mm are needed" in warnings(flared)[0]


def test_a_mark_off_the_tube_is_warned_of() -> None:
    """The bend starts 1 mm from end A but the mark would be 2.2 mm before it."""
    said = warnings(a_line([16.4, 80], [90]))
    assert any("mark of bend 1 falls off the tube: make it with the other end of the tube leading" in s for s in said)
    assert warnings(a_line([16.4, 80], [90]), feed="B") == ()


def test_a_straight_line_is_cut_to_length_with_a_warning() -> None:
    """At least one bend between two rigid ends (MIL-H-8891A, 3.11.4.5, and FAA AC 43.13-1B: read)."""
    sheet = marked(a_line([100], [], end_a="flare", end_b="olive"))
    assert sheet.cut_length_mm == pytest.approx(100 + 6.5 + 8.0 + sheet.trim_mm)
    assert sheet.trim_mm == ceil(norm.ppf(0.95) * 0.4)
    assert len(sheet.marks) == 0 and tuple(sheet.marks.columns) == MARK_COLUMNS
    assert "This line has no bend" in sheet.warnings[0]
    assert sheet.as_bent().leg_mm == pytest.approx([100.0])


def test_a_straight_line_needs_room_for_both_its_nuts() -> None:
    """30 mm behind each of two flares do not fit into 50 mm."""
    said = warnings(a_line([50], [], end_a="flare", end_b="flare"))
    assert "has 50.0 mm of straight tube, but 60.0 mm are needed" in said[0]


@pytest.mark.parametrize(
    ("shape", "rows"),
    [
        ("x_mm,y_mm,z_mm\n0,0,0\n60,0,0\n60,10,0\n120,10,0\n", "rows 3 to 4"),
        ("x_mm,y_mm,z_mm\n0,0,0\n30,0,0\n60,0,0\n60,10,0\n120,10,0\n", "rows 4 to 5"),
        ("leg_mm,angle_deg,twist_deg\n60,90,\n10,90,180\n60,,\n", "row 3"),
    ],
)
def test_a_leg_that_is_too_short_is_told_with_its_rows(tmp_path, shape, rows):
    """A line that was read from a file is refused with the rows that say the leg, whichever kind of file it is."""
    from tests.a_shop import write_shop

    shop = read_shop(write_shop(tmp_path, lines__front=shape))
    with pytest.raises(LegTooShort, match=rf"leg 2 .* mm are missing \(lines/front\.csv, {rows}\)\. Move the apexes"):
        mark_out(shop, calibrate(shop), "front")


def test_a_short_leg_that_is_drawn_or_cleared_is_told_with_its_rows(tmp_path):
    """Who draws a line, or asks what it comes near to, before it is marked is told the file and the row as well."""
    from bendcal.clearance import line_chain
    from bendcal.figures.view_layout import Shape
    from tests.a_shop import write_shop

    shop = read_shop(write_shop(tmp_path, lines__front="leg_mm,angle_deg,twist_deg\n60,90,\n10,90,180\n60,,\n"))
    line = shop.line("front")
    for ask in (lambda: line_chain(line, 15.0), lambda: Shape.of(line, shop.tubes[line.tube], 15.0)):
        with pytest.raises(LegTooShort, match=r"leg 2 \(bend 1 to bend 2\) is 10.00 mm .* 20.00 mm is missing \(lines/front\.csv, row 3\)\. Move the corners"):
            ask()


@pytest.mark.parametrize(
    ("nodes", "row", "said"),
    [
        ("0,0,0\n50,0,0\n50,0,0.0000000001\n50,50,0\n", 4, "[Nn]odes 2 and 3 lie at the same place"),
        ("0,0,0,\n50,0,0,\n50,0,0.0000000001,clip\n50,50,0,\n", 4, r"[Nn]odes 2 and 3 \(clip\) lie at the same place"),
        ("0,0,0,\n50,0,0,hook\n50,0,0.0000000001,\n50,50,0,\n", 4, r"[Nn]odes 2 \(hook\) and 3 lie at the same place"),
        ("0,0,0\n50,0,0\n20,0,0\n20,50,0\n", 3, "doubles straight back at node 2"),
    ],
)
def test_what_no_tube_can_be_is_told_with_its_row(tmp_path, nodes, row, said):
    """Nodes that lie at one place but for rounding, or double back: the row of the file stands beside the node's number."""
    from bendcal.faults import ShopFaults
    from tests.a_shop import write_shop

    head = "x_mm,y_mm,z_mm" + ",label" * (nodes.count(",\n") > 0)
    with pytest.raises(ShopFaults, match=rf"lines/front\.csv, row {row}: .*{said}"):
        read_shop(write_shop(tmp_path, lines__front=f"{head}\n{nodes}"))
