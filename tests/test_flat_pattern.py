"""Flat lines of several bends read from a picture: known truth found, each way of going wrong refused."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from bendcal.estimate import Estimate
from bendcal.legs import Legs
from bendcal.nodes import nodes_from_legs
from bendcal.pattern import Angle, Leg, Pattern, Twist, adjust_pattern
from bendcal.scan import NotAScan, PatternReading, read_flat_scan, read_scan
from bendcal.scan.course import Course, EdgePoints, fit_course
from bendcal.scan.course_numbers import course_results
from bendcal.scan.tracing import first_course, straights_and_arcs
from tests.a_flat_line import LINE, changed, scanned
from tests.invented.flat_line import ScannedLine
from tests.invented.scan import ScannedPiece, Scanner

STEP = Course(np.array([[0.0, 0], [0, 80], [60, 110]]), np.pi, 0.4, np.array([15.0, 12.0, 20.0]), 2.4, np.array([2.4, 2.4, 2.4]))


@pytest.fixture(scope="module")
def picture(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The scan of the line."""
    return scanned(tmp_path_factory.mktemp("flat") / "line.png")


@pytest.fixture(scope="module")
def read(picture: Path) -> PatternReading:
    """The line as it is read from its scan, end A on the left."""
    return read_flat_scan(picture, od_mm=4.76, end_a="left")


def turned_end_for_end(read: PatternReading) -> bool:
    """Whether the reading begins at the end where the invented line stops."""
    return abs(read.leg.value[0] - LINE.legs_mm[0]) > 2


def edge_points(course: Course, ends: tuple[float, float] = (60.0, 60.0)) -> EdgePoints:
    """Exact points of both edges of a course, by its legs and circles."""
    at, side, bend = [], [], []
    for k, (shape, (back, on)) in enumerate(zip(course.bends, course.halfway_mm(ends), strict=True)):
        for s in (1, -1):
            for leg, far in ((0, back), (1, on)):
                t = np.linspace(shape.setback_mm, far, 40)
                at.append(shape.apex + t[:, None] * shape.directions[leg] + s * shape.half_mm * shape.outward[leg])
            a, b = shape.outward
            turn = np.arctan2(a[0] * b[1] - a[1] * b[0], a @ b)
            angle = np.arctan2(a[1], a[0]) + turn * np.linspace(0.02, 0.98, 30)
            at.append(shape.centre + (shape.radius_mm + s * shape.half_arc_mm) * np.stack([np.cos(angle), np.sin(angle)], axis=1))
            side.append(np.full(110, s))
            bend.append(np.full(110, k))
    return EdgePoints(np.concatenate(at), np.concatenate(side), np.concatenate(bend))


def test_a_course_is_a_chain_of_bends_that_share_their_legs() -> None:
    """Square to the right, then to the left: angles, straights and senses by hand."""
    step = Course(np.array([[0.0, 0], [0, 80]]), np.pi, 0.0, np.array([15.0, 15.0]), 2.4, np.array([2.4, 2.4]))
    assert [np.degrees(b.turn) for b in step.bends] == pytest.approx([90, 90]) and step.straight_mm == pytest.approx([50.0])
    assert np.array(step.halfway_mm((60.0, 50.0))) == pytest.approx(np.array([(60.0, 40.0), (40.0, 50.0)]))
    assert step.sense.tolist() == [1, -1] and Course.of(step.array()).apex_mm.tolist() == step.apex_mm.tolist()


def test_how_each_bend_hangs_on_the_course_is_its_derivative() -> None:
    """by_bends against differences."""
    by = STEP.by_bends()
    for j, h in enumerate(np.eye(15) * 1e-6):
        up, down = STEP.moved(h), STEP.moved(-h)
        for k in range(3):
            assert by[k, :, j] == pytest.approx((up.bends[k].array() - down.bends[k].array()) / 2e-6, abs=1e-6)


def test_exact_edges_give_the_exact_course() -> None:
    """From a start that is off by up to 0.4 mm and 1°, the fit comes back to a ten-thousandth."""
    off = 0.02 * np.random.default_rng(0).normal(size=15) * np.array([20.0] * 6 + [1, 1] + [20] * 3 + [1] * 4)
    fitted = fit_course(STEP.moved(off), edge_points(STEP), spread_mm=0.05, od_mm=4.8)
    assert fitted.course.apex_mm == pytest.approx(STEP.apex_mm, abs=1e-3) and fitted.course.radius_mm == pytest.approx(STEP.radius_mm, abs=5e-3)
    ends = np.array([[-60.0, 0], STEP.bends[2].apex + 60 * STEP.bends[2].directions[1]])
    assert course_results(fitted.course, ends) == pytest.approx(course_results(STEP, ends), abs=5e-3)


def test_a_traced_line_falls_into_its_straights_and_arcs() -> None:
    """Exact points of a line of three bends: four straights, and a course within 0.05 mm and 0.05° of it."""
    xy, _, _, _, s = LINE.walk(0.02)
    points = xy[np.searchsorted(s, np.arange(0.5, s[-1], 1.2))]
    assert len(straights_and_arcs(points, 4)) == 4
    course, bend = first_course(points, 4.76)
    assert [np.degrees(b.turn) for b in course.bends] == pytest.approx([70, 50, 35], abs=0.05) and course.radius_mm == pytest.approx([12, 15, 18], abs=0.3)
    assert bend[0] == 0 and bend[-1] == 2 and (np.diff(bend) >= 0).all()


def test_a_straight_wire_makes_no_course() -> None:
    """Points on a straight, and on one that is bowed by 0.05 mm in 100."""
    t = np.linspace(0, 100, 80)
    assert first_course(np.column_stack([t, 0 * t]), 4.76) is None
    assert first_course(np.column_stack([t, 0.05 * np.sin(np.pi * t / 100)]), 4.76) is None


def test_the_truth_of_a_scan_is_found(read: PatternReading) -> None:
    """Angles within 0.1°, legs within 0.2 mm, radii within 1 mm, and each within four standard uncertainties; twists by their sides."""
    assert not read.refused and not turned_end_for_end(read)
    assert read.angle.value == pytest.approx(np.abs(LINE.turns_deg), abs=0.1) and read.leg.value == pytest.approx(LINE.legs_mm, abs=0.2)
    assert read.radius.value == pytest.approx(LINE.radii_mm, abs=1.0)
    assert read.twist_deg.tolist() == [0, 180, 0]
    truth = np.concatenate([LINE.legs_mm, np.abs(LINE.turns_deg), LINE.radii_mm])
    assert (np.abs(read.values - truth) < 4 * np.sqrt(np.diag(read.covariance))).all()
    assert "the other way (twist 180)" in str(read) and "Check by tape: straight from end to end" in str(read)
    assert read.overlay().startswith(b"\x89PNG")


def test_the_span_is_that_of_the_walked_line(read: PatternReading) -> None:
    """The straight distance from end to end within 0.3 mm of the invented line's own."""
    xy = LINE.walk()[0]
    assert read.span.value == pytest.approx(float(np.linalg.norm(xy[-1] - xy[0])), abs=0.3) and 0.05 < read.span.u < 0.5


def test_a_flat_line_turned_over_is_the_same_line(read: PatternReading, tmp_path: Path) -> None:
    """Its other face on the glass: the same legs, angles and twists; and in the room the mirrored places are the same ones, turned by half a turn."""
    other = read_flat_scan(scanned(tmp_path / "over.png", flip=True), od_mm=4.76, end_a="right")
    assert other.leg.value == pytest.approx(read.leg.value, abs=0.05) and other.angle.value == pytest.approx(read.angle.value, abs=0.05)
    assert other.twist_deg.tolist() == read.twist_deg.tolist()
    nodes = nodes_from_legs(Legs(LINE.legs_mm, np.abs(LINE.turns_deg), [0, 180, 0]))
    seen_from_below = nodes * [1, -1, 1]  # a mirror image in the plane ...
    half_a_turn = nodes @ np.diag([1.0, -1.0, -1.0])  # ... is a turn about the first leg
    assert np.linalg.det(np.diag([1.0, -1.0, -1.0])) == pytest.approx(1) and seen_from_below == pytest.approx(half_a_turn, abs=1e-9)


def test_end_a_on_the_other_side_tells_the_line_the_other_way_round(read: PatternReading, picture: Path) -> None:
    """Legs, angles and twists come in the opposite order."""
    back = read_flat_scan(picture, od_mm=4.76, end_a="right")
    assert back.leg.value == pytest.approx(read.leg.value[::-1], abs=0.02) and back.angle.value == pytest.approx(read.angle.value[::-1], abs=0.02)
    assert back.twist_deg.tolist() == [0, 0, 180] and back.end_a == "right"


def test_where_nothing_tells_end_a_no_measurements_are_made(picture: Path) -> None:
    """Without a side it is read, and the rows are refused with what to say."""
    read = read_flat_scan(picture, od_mm=4.76)
    assert not read.refused and read.end_a == "" and "which end is A is not known" in str(read)
    with pytest.raises(NotAScan, match="nothing tells which end is A"):
        read.observations()


def test_one_bend_is_read_as_an_offcut_is(tmp_path: Path) -> None:
    """A line of one bend gives what read_scan gives, within a hundredth, and is no surer of it: an offcut's fit weighs what its edges share."""
    line = ScannedLine(legs_mm=(40.0, 45.0), turns_deg=(60.0,), radii_mm=(15.0,), turned_deg=10.0)
    path = scanned(tmp_path / "one.png", line)
    flat, piece = read_flat_scan(path, od_mm=4.76, end_a="left"), read_scan(path, od_mm=4.76, end_a="left").only
    assert flat.angle.value[0] == pytest.approx(piece.angle.value, abs=0.01) and flat.leg.value == pytest.approx([piece.leg_a.value, piece.leg_b.value], abs=0.01)
    assert 0.8 * piece.angle.u < flat.angle.u[0] < 2.5 * piece.angle.u and flat.radius.value[0] == pytest.approx(piece.radius.value, abs=0.05)


def test_a_wire_is_read_by_its_own_diameter(tmp_path: Path) -> None:
    """2.5 mm, bent sharper: angles within 0.2°, legs within 0.2 mm."""
    wire = replace(LINE, od_mm=2.5, radii_mm=(6.0, 8.0, 7.0), finish="copper")
    read = read_flat_scan(scanned(tmp_path / "wire.png", wire), od_mm=2.5, end_a="left")
    assert read.angle.value == pytest.approx(np.abs(LINE.turns_deg), abs=0.2) and read.leg.value == pytest.approx(LINE.legs_mm, abs=0.2)


CROSSING = ScannedLine(legs_mm=(75.0, 60.0, 50.0, 75.0), turns_deg=(95.0, 95.0, 95.0), radii_mm=(14.0, 14.0, 14.0))


@pytest.mark.parametrize(
    ("made", "why"),
    [
        ({"line": CROSSING}, "closes a loop"),
        ({"cut_mm": 15.0}, "reaches the border of what is read"),
        ({"line": changed(gap=(60.0, 75.0))}, "2 things lie on it"),
        ({"others": (ScannedPiece(leg_a_mm=32, leg_b_mm=30, at_mm=(100.0, 20.0)),)}, "things lie on it|closes a loop|two pieces touch"),
        ({"line": changed(slight=(0.62, 6.0))}, "bend 2|bend 3|slight|between 8"),
        ({"line": changed(uneven=(0.8, 0.0, 0.0))}, "At bend 1: It is not one round bend"),
        ({"line": changed(bows_mm=(0.0, 0.0, 1.5, 0.0))}, "shorter than one and a half|It is not one round bend"),
        ({"line": changed(squashed=(1, 0.35))}, "At bend 2: In the bend it is"),
        ({"line": changed(legs_mm=(38.0, 18.0, 52.0, 34.0))}, "shorter than one and a half|not one round bend"),
        ({"line": changed(lifted_from=0.45, tilt_deg=15.0)}, "does not lie flat|not one round bend"),
        ({"scanner": Scanner(glare=((40.0, 30.0, 9.0),), backdrop="grey")}, "."),
    ],
)
def test_what_is_not_clearly_a_flat_line_is_refused(tmp_path: Path, made: dict, why: str) -> None:
    """Crossing, cut off, a stretch unseen, two things, a slight bend, a bend not round, a bow, a kink, two bends close, lifted, glare: a sentence, no number."""
    read = read_flat_scan(scanned(tmp_path / "bad.png", **made), od_mm=4.76, end_a="left")
    assert read.refused and read.values is None
    assert re.search(why, " ".join(read.refused)), read.refused
    assert read.overlay().startswith(b"\x89PNG") and "was not read" in str(read)
    with pytest.raises(NotAScan, match="was not read"):
        read.observations()


@pytest.mark.parametrize("od_mm", [3.6, 6.2])
def test_another_diameter_is_refused(picture: Path, od_mm: float) -> None:
    """A tube that is said to be thinner or thicker than it is."""
    assert read_flat_scan(picture, od_mm=od_mm).refused


def test_too_coarse_a_scan_and_a_height_that_cannot_be_are_refused(picture: Path) -> None:
    """A wire of 1 mm has 12 pixels across at 300 dpi, and not at 200; a flat line may stand off by 10 mm at most."""
    with pytest.raises(NotAScan, match="pixels wide; at least 12"):
        read_flat_scan(picture, od_mm=1.0, dpi=200)
    with pytest.raises(ValueError, match="flat_u_mm is 0"):
        read_flat_scan(picture, od_mm=4.76, flat_u_mm=0)


def made_up(covariance: np.ndarray | None = None) -> PatternReading:
    """A reading with round numbers: 60, 80 and 50 mm, two square bends to either side."""
    values = np.array([60.0, 80, 50, 90, 90, 15, 15])
    cov = np.diag([0.1, 0.1, 0.1, 0.1, 0.1, 0.3, 0.3]) ** 2 if covariance is None else covariance
    return PatternReading("made up", None, (), values, cov, np.array([0.0, 180.0]), end_a="left")


def test_a_step_told_by_hand() -> None:
    """Two square bends: 110 mm across and 80 down, each place 0.5 mm off its plane makes the twist unsure by the root of 2·(0.5/60)² + ..."""
    read = made_up()
    assert read.span.value == pytest.approx(np.hypot(110, 80))
    # About the 80 mm leg, leg 1 leans by z/60 at its end and its apex, leg 3 by z/50.
    assert read.twist.u[1] == pytest.approx(np.degrees(0.5 * np.sqrt(2 / 60**2 + 2 / 50**2)), rel=1e-6) and read.twist.u[0] == 0


def test_rows_that_stand_by_themselves_are_never_surer_than_the_picture() -> None:
    """For covariances drawn at random, that of the rows less that of the reading has no negative direction, and independent errors are told as they are."""
    assert made_up().unlinked == pytest.approx(1.0)
    rng = np.random.default_rng(3)
    for _ in range(50):
        half = rng.normal(size=(7, 7)) * rng.uniform(0.01, 1, size=(7, 1))
        read = made_up(half @ half.T)
        rows = read.observations()
        told = np.diag([r.sd_mm if isinstance(r, Leg) else r.sd_deg for r in rows if isinstance(r, Leg | Angle)]) ** 2
        assert np.linalg.eigvalsh(told - read.covariance[:5, :5])[0] > -1e-9


def test_what_was_cut_off_is_added_to_the_end_legs() -> None:
    """12 mm at A, none at B: leg 1 is longer by that and less sure, the others are as they were."""
    plain, cut = made_up().observations(), made_up().observations(beyond_mm=(12.0, 0.0), note="n")
    assert cut[0].mm == plain[0].mm + 12 and cut[0].sd_mm == pytest.approx(0.51, abs=0.001) and cut[2] == replace(plain[2], note="n")
    assert [type(row) for row in cut] == [Leg] * 3 + [Angle] * 2 + [Twist]


def test_the_rows_make_the_line_that_was_read(read: PatternReading) -> None:
    """Adjusted as a pattern: settled, the same legs and angles, and no surer than the picture."""
    adjusted = adjust_pattern(Pattern(read.observations()))
    assert adjusted.settled and adjusted.legs.leg_mm == pytest.approx(read.leg.value, abs=0.006)
    assert adjusted.legs.angle_deg == pytest.approx(read.angle.value, abs=0.006) and (adjusted.leg_mm.u >= read.leg.u - 1e-9).all()
    assert isinstance(adjusted.angle_deg, Estimate) and (adjusted.angle_deg.u >= read.angle.u - 1e-9).all()
