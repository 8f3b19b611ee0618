"""A line's shape from measurements: by hand, there and back, repeated, with blunders, and with too few of them."""

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bendcal.legs import Legs
from bendcal.nodes import measure_nodes, nodes_from_legs
from bendcal.pattern import (
    Angle,
    Datum,
    Direction,
    Distance,
    Leg,
    Pattern,
    PatternFault,
    Point,
    Twist,
    adjust_pattern,
)
from bendcal.pattern.gradients import direction_gradient, shape_gradient
from bendcal.pattern.network import Network
from bendcal.twists import wrap_deg

Array = np.ndarray

# A line with a bend of every kind, lying askew in the room.
SHAPE = Legs([100, 80, 120, 60], [90, 45, 60], [0, 40, -70])
NODES = nodes_from_legs(SHAPE, start=(400, -30, 200), direction=(1, 2, -0.5), normal=(0.2, 0.3, 1))


def places_of(nodes: Array) -> list[str]:
    """The names of a line's nodes."""
    return ["A", *(str(k) for k in range(1, len(nodes) - 1)), "B"]


def legs_of(nodes: Array, sd: float = 0.5) -> list[Leg]:
    """Every leg as it is."""
    names, leg = places_of(nodes), measure_nodes(nodes)[0]
    return [Leg(a, b, mm, sd) for a, b, mm in zip(names, names[1:], leg, strict=False)]


def angles_of(nodes: Array, sd: float = 0.5) -> list[Angle]:
    """Every angle as it is."""
    return [Angle(k, deg, sd) for k, deg in enumerate(measure_nodes(nodes)[1], 1)]


def twists_of(nodes: Array, sd: float = 2.0) -> list[Twist]:
    """Every twist as it is."""
    return [Twist(k, k + 1, deg, sd) for k, deg in enumerate(measure_nodes(nodes)[2][1:], 1)]


def distance(nodes: Array, a: str, b: str, sd: float = 1.0, wrong: float = 0.0) -> Distance:
    """The straight distance between two places of a line."""
    names = places_of(nodes)
    return Distance(a, b, float(np.linalg.norm(nodes[names.index(a)] - nodes[names.index(b)])) + wrong, sd)


def points_of(nodes: Array, names: str, sd: float = 0.5) -> list[Point]:
    """Points of some places, one letter or figure each."""
    return [Point(name, *nodes[places_of(nodes).index(name)], sd) for name in names]


def same_shape(adjusted, nodes: Array, *, mm: float = 1e-6, deg: float = 1e-6) -> None:
    """Legs, angles and twists are those of the nodes."""
    leg, angle, twist = measure_nodes(nodes)
    np.testing.assert_allclose(adjusted.legs.leg_mm, leg, atol=mm)
    np.testing.assert_allclose(adjusted.legs.angle_deg, angle, atol=deg)
    np.testing.assert_allclose(wrap_deg(adjusted.legs.twist_deg - twist), 0.0, atol=deg)


# --- by hand ------------------------------------------------------------------------------------


def test_two_measurements_of_a_straight_tube() -> None:
    """200.4 by the rule and 200.0 by the tape, four times as uncertain: the mean leans on the rule."""
    a = adjust_pattern(Pattern([Leg("A", "B", 200.4, 0.25), Distance("A", "B", 200.0, 1.0)]))
    assert a.legs.leg_mm == pytest.approx([(16 * 200.4 + 200.0) / 17])
    assert a.leg_mm.u == pytest.approx([0.25 * (16 / 17) ** 0.5])
    assert a.legs.bends == 0


def test_three_four_five() -> None:
    """Legs of 30 and 40 and a chord of 50 make a square bend; its u is that of the chord formula."""
    a = adjust_pattern(Pattern([Leg("A", 1, 30, 0.1), Leg(1, "B", 40, 0.2), Distance("A", "B", 50, 0.3)]))
    assert a.legs.angle_deg == pytest.approx([90.0])
    # dθ = (a da + b db − c dc) / (a b) where the corner is square (derived)
    u = np.degrees(np.sqrt((30 * 0.1) ** 2 + (40 * 0.2) ** 2 + (50 * 0.3) ** 2) / 1200)
    assert a.angle_deg.u == pytest.approx([u])
    assert a.adjustment.dof == 0


def test_points_alone_give_the_published_uncertainties() -> None:
    """Nodes known to s each way: u(angle)² = s²(2/a² + 2/b² + 2cosθ/ab); figures derived by two routes.

    100, 80 mm, 90°, s 0.1 → 0.129708838°; 80, 120 mm, 45° → 0.140193629°; the twist 0.188720°.
    """
    nodes = nodes_from_legs(Legs([100, 80, 120, 60, 90], [90, 45, 120, 60], [0, 90, -30, 135]))
    a = adjust_pattern(Pattern(points_of(nodes, "A1234B", 0.1)))
    assert a.angle_deg.u[:2] == pytest.approx([0.129708838, 0.140193629], abs=5e-10)
    assert a.twist_deg.u[1] == pytest.approx(0.188720, abs=5e-7)
    assert a.leg_mm.u == pytest.approx([0.1 * 2**0.5] * 5)
    assert a.frame_fixed


def test_legs_angles_and_twists_alone() -> None:
    """Nothing redundant: the shape as measured, each with its own uncertainty, in the standard frame."""
    a = adjust_pattern(Pattern([*legs_of(NODES, 0.4), *angles_of(NODES, 0.6), *twists_of(NODES, 3.0)]))
    same_shape(a, NODES)
    assert a.leg_mm.u == pytest.approx([0.4] * 4)
    assert a.angle_deg.u == pytest.approx([0.6] * 3)
    assert a.twist_deg.u == pytest.approx([0.0, 3.0, 3.0])
    off_diagonal = a.covariance - np.diag(np.diag(a.covariance))
    assert np.abs(off_diagonal).max() < 1e-9
    assert not a.frame_fixed
    np.testing.assert_allclose(a.nodes_mm, nodes_from_legs(SHAPE), atol=1e-6)
    assert "none checks another" in a.closing[-1]
    assert "Measure the straight distance from end A to end B" in a.notes[-1]


def test_a_check_is_foretold_as_finely_as_it_is_known() -> None:
    """The straight distance to measure is never told with ± 0: finely measured legs foretell it to tenths."""
    fine = adjust_pattern(Pattern([*legs_of(NODES, 0.05), *angles_of(NODES, 0.05), *twists_of(NODES, 0.1)], 3)).notes
    across = float(np.linalg.norm(NODES[-1] - NODES[0]))
    assert f"it should be {across:.1f} ± 0." in " ".join(fine) and "± 0.0" not in " ".join(fine)
    coarse = adjust_pattern(Pattern([*legs_of(NODES), *angles_of(NODES), *twists_of(NODES)], 3)).notes
    assert f"it should be {across:.0f} ± " in " ".join(coarse)


def test_a_straight_piece_measured_as_an_apex_is_no_bend() -> None:
    """A point that the line passes straight through stays a node but makes no bend and no twist."""
    nodes = np.array([[0, 0, 0], [50, 0, 0], [100, 0, 0], [100, 80, 0.0]])
    a = adjust_pattern(Pattern(points_of(nodes, "A12B")))
    assert a.legs.leg_mm == pytest.approx([100.0, 80.0])
    assert a.legs.angle_deg == pytest.approx([90.0])
    assert a.nodes_mm.shape == (4, 3)
    assert a.covariance.shape == (4, 4)


# --- derivatives --------------------------------------------------------------------------------


@given(st.integers(0, 7), st.integers(0, 2**32 - 1))
def test_derivatives_against_differences(bends: int, seed: int) -> None:
    """Legs, angles and twists change with every coordinate as the derivatives say."""
    nodes = 100 * np.random.default_rng(seed).normal(size=(bends + 2, 3))

    def shape(flat: Array) -> Array:
        return np.concatenate(measure_nodes(flat.reshape(-1, 3)))

    steps = 1e-4 * np.eye(nodes.size)
    by = np.array([wrap_deg(shape(nodes.ravel() + h) - shape(nodes.ravel() - h)) / 2e-4 for h in steps]).T
    np.testing.assert_allclose(shape_gradient(nodes), by, rtol=1e-4, atol=1e-5 * np.abs(by).max())


def test_how_far_a_nut_leans() -> None:
    """A lean of 10° is 10° but for half a percent, and at 90° it still grows."""
    aim, across, a = np.array([[0.0, 0, 1]]), np.array([[1.0, 0, 0]]), np.zeros((1, 3))
    turn = np.radians([1.0, 10.0, 90.0, 120.0])
    leans = [direction_gradient(a, np.array([[np.sin(t), 0, np.cos(t)]]), aim, across)[0][0] for t in turn]
    assert leans[:2] == pytest.approx([1.0, 10.0], rel=5e-3)
    assert leans[2] == pytest.approx(np.degrees(2.0))
    assert leans[3] > leans[2]


# --- there and back -----------------------------------------------------------------------------


@st.composite
def lines(draw: st.DrawFn) -> Array:
    """Nodes of a line of up to ten bends, none nearly straight nor doubled back, anywhere in the room."""
    bends = draw(st.integers(1, 10))
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    legs = Legs(rng.uniform(40, 300, bends + 1), rng.uniform(10, 150, bends), np.r_[0, rng.uniform(-179, 179, bends - 1)])
    return nodes_from_legs(legs, start=500 * rng.normal(size=3), direction=rng.normal(size=3), normal=rng.normal(size=3))


@given(lines())
def test_any_line_from_its_legs_and_back(nodes: Array) -> None:
    """Exact legs, angles and twists give the line back."""
    same_shape(adjust_pattern(Pattern([*legs_of(nodes), *angles_of(nodes), *twists_of(nodes)])), nodes)


@given(lines())
def test_any_line_from_points_with_checks(nodes: Array) -> None:
    """Exact points, legs and a straight distance leave no residual, and the nodes where they are."""
    pattern = Pattern([*[Point(p, *xyz, 1.0) for p, xyz in zip(places_of(nodes), nodes, strict=True)], *legs_of(nodes), distance(nodes, "A", "B")])
    a = adjust_pattern(pattern)
    np.testing.assert_allclose(a.nodes_mm, nodes, atol=1e-6)
    assert a.adjustment.vpv < 1e-10
    assert (a.suspects, a.missing) == ((), ())
    assert a.adjustment.redundancy.sum() == pytest.approx(a.adjustment.dof)


@given(lines(), st.data())
def test_fittings_and_the_ways_of_the_nuts(nodes: Array, data) -> None:
    """Legs, angles and twists between two fittings with directions: the line lies in the room again."""
    exact = [Direction("A", *(nodes[0] - nodes[1]), 1.0), Direction("B", *(nodes[-1] - nodes[-2]), 1.0)]
    shape = [*legs_of(nodes), *angles_of(nodes), *twists_of(nodes)]
    a = adjust_pattern(Pattern(data.draw(st.permutations([*shape, *exact, *points_of(nodes, "AB")]))))
    same_shape(a, nodes, mm=1e-4, deg=1e-4)
    assert a.adjustment.vpv < 1e-6


@given(lines())
def test_a_line_does_not_care_how_it_lies(nodes: Array) -> None:
    """Moved and turned as a whole, its measurements give the same shape and the same uncertainties."""
    noise = np.random.default_rng(3)
    shape = [
        replace(one, mm=one.mm + 0.3 * noise.normal()) for one in (*legs_of(nodes), distance(nodes, "A", "B"))
    ] + [*angles_of(nodes), *twists_of(nodes)]
    free = adjust_pattern(Pattern(shape))
    held = adjust_pattern(Pattern([*shape, Point("A", 0, 0, 0, 0.1), Direction("A", -1, 0, 0, 1.0)]))
    np.testing.assert_allclose(held.legs.leg_mm, free.legs.leg_mm, atol=1e-4)
    np.testing.assert_allclose(held.covariance, free.covariance, rtol=1e-3, atol=1e-3 * np.abs(free.covariance).max())


def test_tape_from_three_bolts() -> None:
    """Every place taped from three datum points, which lie below: with one rough twist the line is found."""
    bolts = [Datum("left", 350, -100, 0), Datum("right", 520, -80, 10), Datum("back", 420, 200, -5)]
    tapes = [
        Distance(p, bolt.place, float(np.linalg.norm(xyz - bolt.xyz_mm)), 1.0)
        for p, xyz in zip(places_of(NODES), NODES, strict=True)
        for bolt in bolts
    ]
    a = adjust_pattern(Pattern([*bolts, *tapes]))
    assert not a.settled  # as deep below the bolts as above them
    rough = [Twist(1, 2, 60, 20), Twist(2, 3, -90, 20)]
    above = [Point(p, None, None, z, 30.0) for p, z in zip(places_of(NODES), NODES[:, 2], strict=True)]
    a = adjust_pattern(Pattern([*bolts, *tapes, *rough, *above]))
    assert a.settled
    np.testing.assert_allclose(a.nodes_mm, NODES, atol=2.0)  # it leans a little on what is rough


def test_a_published_trilateration_as_a_pattern() -> None:
    """C. D. Ghilani, Adjustment Computations, example 14.2, with end A for its station U (see test_adjust).

    Inputs and answers secondary; metres there, the unit does not matter here.
    """
    known = [Datum("a", 865.40, 4527.15, 0), Datum("b", 2432.55, 2047.25, 0), Datum("c", 2865.22, 27.15, 0)]
    seen = [Distance("A", name, length, 1.0) for name, length in (("a", 6049.00), ("b", 4736.83), ("c", 5446.49))]
    flat = [Point("A", None, None, 0.0, 1e-3), Point("B", 6800, 3700, 0, 1.0)]
    a = adjust_pattern(Pattern([*known, *seen, *flat]))
    assert a.settled
    assert a.nodes_mm[0, :2] == pytest.approx([6861.316788, 3727.818566], abs=5e-6)
    assert a.adjustment.v[:3] == pytest.approx([-0.037373, 0.076793, -0.047366], abs=5e-6)
    assert a.adjustment.s0 == pytest.approx(0.097659, abs=5e-7)


def test_a_datum_point_that_is_not_exact() -> None:
    """One bolt known to 3 mm only is moved with the rest, and weakens what hangs on it."""
    tapes = [Distance("1", "bolt", float(np.linalg.norm(NODES[1] - (350, -100, 0))), 0.5)]
    shape = [*points_of(NODES, "A12", 1.0), *legs_of(NODES), *angles_of(NODES), *twists_of(NODES)]
    u = []
    for sd in (0.0, 3.0):
        a = adjust_pattern(Pattern([*shape, *tapes, Datum("bolt", 350, -100, 0, sd)]))
        np.testing.assert_allclose(a.nodes_mm, NODES, atol=1e-6)
        u.append(a.adjustment.covariance[3:6, 3:6].trace())
    assert u[0] < u[1]


def test_the_far_end_from_known_angles_by_another_route() -> None:
    """u of end B from u of legs, angles and twists, as `end_shifts` carries them over (JCGM 100:2008, 5.1)."""
    from bendcal.path import end_shifts

    exact = [Point("A", *NODES[0], 1e-6), Point("1", *NODES[1], 1e-6), Point("2", *NODES[2], 1e-6)]
    a = adjust_pattern(Pattern([*exact, *legs_of(NODES), *angles_of(NODES), *twists_of(NODES)]))
    leg, angle, twist = end_shifts(SHAPE)
    # The first two legs and the first angle are held by the points.
    parts = np.concatenate([0.5 * leg[2:], 0.5 * angle[1:], 2.0 * twist[1:]])
    assert a.adjustment.covariance[12:, 12:].trace() == pytest.approx((parts**2).sum(), rel=1e-4)


# --- repeated measuring -------------------------------------------------------------------------


def measured(nodes: Array, rng, *, noise: float = 1.0) -> list:
    """A full pattern as a careful person would take it, with the errors of its tools."""

    def about(one):
        fields = {"mm": "sd_mm", "deg": "sd_deg"}
        for value, sd in fields.items():
            if hasattr(one, value):
                off = noise * getattr(one, sd) * rng.normal()
                return replace(one, **{value: float(wrap_deg(one.deg + off)) if isinstance(one, Twist) else getattr(one, value) + off})
        return replace(one, **{f"{axis}_mm": getattr(one, f"{axis}_mm") + noise * one.sd_mm * rng.normal() for axis in "xyz"})

    names = places_of(nodes)
    across = [distance(nodes, names[i], names[i + 3]) for i in range(len(names) - 3)] + [distance(nodes, "A", "B")]
    seen = [about(one) for one in (*legs_of(nodes), *angles_of(nodes), *twists_of(nodes), *across, *points_of(nodes, "A2B"))]
    for end, way in (("A", nodes[0] - nodes[1]), ("B", nodes[-1] - nodes[-2])):
        unit = way / np.linalg.norm(way)
        lean = noise * np.radians(2.0) * rng.normal(size=3)
        seen.append(Direction(end, *(unit + lean - (lean @ unit) * unit), 2.0))
    return seen


def invented_line(rng, bends: int) -> Array:
    """A line of a size that goes into a car."""
    legs = Legs(rng.uniform(50, 200, bends + 1), rng.uniform(20, 100, bends), np.r_[0, rng.uniform(-180, 180, bends - 1)])
    return nodes_from_legs(legs, start=300 * rng.normal(size=3), direction=rng.normal(size=3), normal=rng.normal(size=3))


def test_covariance_and_tests_over_many_patterns() -> None:
    """250 patterns measured anew: legs, angles and twists scatter as said, v'Pv as chi-squared, few false alarms."""
    rng = np.random.default_rng(7)
    scores, squares, vpv, alarms = [], [], [], 0
    for _ in range(250):
        nodes = invented_line(rng, 4)
        a = adjust_pattern(Pattern(measured(nodes, rng)))
        assert a.settled
        off = np.concatenate([a.legs.leg_mm, a.legs.angle_deg, a.legs.twist_deg]) - np.concatenate(measure_nodes(nodes))
        off[-4:] = wrap_deg(off[-4:])
        kept = np.r_[0:9, 10:13]  # the first twist is none
        covariance = a.covariance[np.ix_(kept, kept)] / a.scale**2
        scores.append(off[kept] / np.sqrt(np.diag(covariance)))
        squares.append(off[kept] @ np.linalg.solve(covariance, off[kept]))
        vpv.append(a.adjustment.vpv)
        alarms += bool(a.suspects)
    dof = a.adjustment.dof
    # 4 standard deviations of each simulated mean
    assert np.std(scores) == pytest.approx(1.0, abs=4 / (2 * 250 * 12) ** 0.5 + 0.02)
    assert np.mean(squares) == pytest.approx(12, abs=4 * (2 * 12 / 250) ** 0.5)
    assert np.mean(vpv) == pytest.approx(dof, abs=4 * (2 * dof / 250) ** 0.5)
    assert alarms < 0.1 * 250


@pytest.mark.parametrize(("size", "at_least"), [(1.0, 0.70), (1.6, 0.95)])
def test_a_blunder_in_any_measurement_is_named(size: float, at_least: float) -> None:
    """One blunder of `size` times the smallest detectable one, in 100 patterns: named first, or as its rival.

    At that smallest error itself the test finds 80 % by its making (power 0.8).
    """
    rng = np.random.default_rng(11)
    told, named, tried = 0, 0, 0
    while tried < 100:
        nodes = invented_line(rng, 4)
        seen = measured(nodes, rng)
        network = Network.of(Pattern(seen))
        sound = network.adjust(nodes, max_steps=0)
        limit, redundancy = sound.detectable(), sound.redundancy
        i = int(rng.integers(len(seen)))
        row = network.rows[i][0]
        off = size * limit[row] * rng.choice([-1.0, 1.0])
        one = seen[i]
        if isinstance(one, Direction) or redundancy[row] < 0.15:
            continue
        if isinstance(one, Point):
            wrong = replace(one, x_mm=one.x_mm + off)
        elif isinstance(one, Twist):
            wrong = replace(one, deg=float(wrap_deg(one.deg + off)))
        elif isinstance(one, Angle):
            wrong = replace(one, deg=one.deg + (off if 0 < one.deg + off < 180 else -off))
        else:
            wrong = replace(one, mm=one.mm + off if one.mm + off > 5 else one.mm - off)
        tried += 1
        a = adjust_pattern(Pattern([wrong if other is one else other for other in seen]))
        if not a.found:
            continue
        first = a.found[0]
        place = wrong.words.rpartition(" of ")[2]
        named += first.observation is wrong
        told += first.observation is wrong or any(rival == wrong.words or (isinstance(wrong, Point) and rival.endswith(place)) for rival in first.rivals)
    assert told >= at_least * tried
    assert named >= (at_least - 0.2) * tried


# --- suspects in plain words --------------------------------------------------------------------

GOOD = measured(NODES, np.random.default_rng(2), noise=0.5)


def with_blunder(kind: type, which: int, **wrong) -> Pattern:
    """The good pattern with one measurement changed."""
    one = [seen for seen in GOOD if type(seen) is kind][which]
    return Pattern([replace(one, row=9, **wrong) if seen is one else seen for seen in GOOD])


def test_the_good_pattern_is_good() -> None:
    """Without a blunder nothing is suspected, nothing is missing, and all closes."""
    a = adjust_pattern(Pattern(GOOD))
    assert (a.suspects, a.missing) == ((), ())
    assert a.scale == 1.0
    assert "as it should be" in a.closing[-1]


def test_a_twist_the_other_way_round() -> None:
    """A sign left out is found, with the row, the value that it should be, and the question to ask."""
    twist = next(seen for seen in GOOD if isinstance(seen, Twist))
    (sentence,) = adjust_pattern(with_blunder(Twist, 0, deg=-twist.deg)).suspects
    assert sentence.startswith(f"The twist from bend 1 to bend 2 (row 9) was written {-twist.deg:.1f}°; the others say 4")
    assert "Is the twist the other way round" in sentence


def test_digits_swapped_in_a_leg() -> None:
    """120 mm written as 210 would be: here 121 as 112."""
    a = adjust_pattern(with_blunder(Leg, 2, mm=102.0))
    assert a.found[0].observation.words == "the leg from apex 2 to apex 3"
    assert a.found[0].expected == pytest.approx(120.0, abs=1.5)
    assert a.found[0].error == pytest.approx(-18.0, abs=1.5)
    assert a.finding.explained


def test_a_rule_read_a_centimetre_short() -> None:
    """10 mm off in a straight distance: named with the slip."""
    one = next(seen for seen in GOOD if type(seen) is Distance)
    (sentence,) = adjust_pattern(with_blunder(Distance, 0, mm=one.mm - 10.0)).suspects
    assert "Was the rule read 10 mm too short?" in sentence


def test_the_angle_between_the_legs() -> None:
    """120° for a bend of 60°: the angle between the legs was read."""
    (sentence,) = adjust_pattern(with_blunder(Angle, 2, deg=120.0)).suspects
    assert "Was the angle between the legs read" in sentence


def test_one_coordinate_typed_wrong() -> None:
    """The z of an apex: the coordinate is named, not the whole point."""
    one = next(seen for seen in GOOD if isinstance(seen, Point) and seen.place == "2")
    a = adjust_pattern(with_blunder(Point, 1, z_mm=one.z_mm + 40.0))
    assert a.found[0].words == "the z of apex 2"
    assert a.found[0].error == pytest.approx(40.0, abs=4.0)


def test_a_whole_point_in_the_wrong_place() -> None:
    """All three coordinates off (another bolt was measured): the point is named as a whole."""
    one = next(seen for seen in GOOD if isinstance(seen, Point) and seen.place == "2")
    a = adjust_pattern(with_blunder(Point, 1, x_mm=one.x_mm + 30, y_mm=one.y_mm - 30, z_mm=one.z_mm + 30))
    assert a.suspects[0].startswith("The point of apex 2 (row 9) is 5")
    assert "away from where the others say" in a.suspects[0]


def test_two_blunders_at_once() -> None:
    """Both are named, the larger first, and without them all is well."""
    pattern = with_blunder(Leg, 2, mm=102.0)
    angle = next(seen for seen in pattern.observations if isinstance(seen, Angle) and seen.bend == "1")
    a = adjust_pattern(Pattern([replace(seen, deg=80.0) if seen is angle else seen for seen in pattern.observations]))
    assert {suspect.observation.words for suspect in a.found} == {"the leg from apex 2 to apex 3", "the angle of bend 1"}
    assert a.finding.explained


def test_tools_that_are_worse_than_told() -> None:
    """Readings that scatter four times as much as told: no one is accused alone, and the uncertainties grow."""
    a = adjust_pattern(Pattern(measured(NODES, np.random.default_rng(8), noise=4.0)))
    assert not a.finding.explained
    assert "worse than" in a.suspects[-1]
    assert a.scale == pytest.approx(4.0, abs=1.5)


def test_one_check_cannot_tell_which_is_wrong() -> None:
    """Legs, an angle and one chord: something is wrong, and all four are named as possible."""
    seen = [Leg("A", 1, 30, 0.1), Leg(1, "B", 40, 0.1), Angle(1, 90, 0.2), Distance("A", "B", 53, 0.1)]
    a = adjust_pattern(Pattern(seen))
    (suspect,) = a.found
    assert len(suspect.rivals) == 3
    assert "nothing tells which of them is wrong" in suspect.sentence


def test_set_aside_it_stays_with_its_reason() -> None:
    """Set aside, the blunder no longer counts but is still there; without it the shape is as without the blunder."""
    pattern = with_blunder(Leg, 2, mm=102.0)
    wrong = adjust_pattern(pattern).found[0].observation
    mended = pattern.set_aside(wrong, "read off the wrong end of the rule")
    same_shape(adjust_pattern(pattern).without_suspects(), adjust_pattern(mended).nodes_mm)
    assert len(mended.observations) == len(pattern.observations)
    a = adjust_pattern(mended)
    assert a.suspects == ()
    same_shape(a, NODES, mm=2.0, deg=4.0)
    with pytest.raises(ValueError, match="set aside for a reason"):
        pattern.set_aside(wrong, " ")
    with pytest.raises(ValueError, match="not in this pattern"):
        mended.set_aside(wrong, "again")


# --- the closing error --------------------------------------------------------------------------

HELD = [*points_of(NODES, "A12", 0.2), *legs_of(NODES, 0.5), *angles_of(NODES, 0.5), *twists_of(NODES, 1.0)]


def test_legs_and_angles_miss_an_end() -> None:
    """End B measured 7 mm higher than the legs, angles and twists lead to: they miss it, mostly downwards."""
    end = Point("B", *(NODES[-1] + [0, 0, 7.0]), 0.2)
    shape = [seen for seen in HELD if not isinstance(seen, Point)]
    start = [Point("A", *NODES[0], 0.2), Direction("A", *(NODES[0] - NODES[1]), 0.2)]
    held = adjust_pattern(Pattern([*HELD, end]))
    assert held.closing[0].startswith("The other measurements miss end B by 7.0 mm (95 %: ± ")
    assert "mostly downwards, which is more than the tools' uncertainties explain." in held.closing[0]
    # Held at A alone the line may turn about the nut's way, which takes up part of it.
    free = adjust_pattern(Pattern([*shape, *start, end]))
    assert free.closing[0].startswith("The legs, angles and twists miss end B by")


def test_two_fittings_and_nothing_to_turn_by() -> None:
    """Where only both ends are known, what can miss is how far apart they are: too near or too far."""
    shape = [*legs_of(NODES), *angles_of(NODES), *twists_of(NODES)]
    way = NODES[-1] - NODES[0]
    for stretch, words in ((1.04, "too near end A"), (0.96, "too far from end A")):
        ends = [Point("A", *NODES[0], 0.3), Point("B", *(NODES[0] + stretch * way), 0.3)]
        sentence = adjust_pattern(Pattern([*shape, *ends])).closing[0]
        assert f"miss end B by {0.04 * np.linalg.norm(way):.1f} mm" in sentence
        assert words in sentence


def test_a_nut_that_stands_askew() -> None:
    """A nut whose way is turned by 3° from the last leg is told; one that is turned by 15° is suspected."""
    last = (NODES[-1] - NODES[-2]) / np.linalg.norm(NODES[-1] - NODES[-2])
    aside = np.cross(last, [0, 0, 1]) / np.linalg.norm(np.cross(last, [0, 0, 1]))
    said = []
    for turn in np.radians([3.0, 15.0]):
        way = Direction("B", *(np.cos(turn) * last + np.sin(turn) * aside), 2.0)
        said.append(adjust_pattern(Pattern([*HELD, *points_of(NODES, "B", 0.2), way])))
    assert "The nut at end B stands 3.0° askew (95 %: ± 4." in " ".join(said[0].closing)
    assert said[1].suspects[0].startswith("The way the nut goes in at end B is 15.")


def test_a_straight_distance_taken_as_a_check() -> None:
    """What the tape says, what the rest says, and whether the difference is too much."""
    a = adjust_pattern(Pattern([*legs_of(NODES), *angles_of(NODES), *twists_of(NODES), distance(NODES, "A", "3", 1.0, 2.0)]))
    length = distance(NODES, "A", "3").mm
    assert a.closing[0].startswith(
        f"The straight distance from end A to apex 3 was measured {length + 2:.1f} mm; by the rest it is {length:.1f} mm"
    )
    assert "which the tools' uncertainties explain" in a.closing[0]


# --- what is missing ----------------------------------------------------------------------------


def test_the_missing_twist_is_asked_for() -> None:
    """Without one twist: the twist, or a straight distance that spans it."""
    a = adjust_pattern(Pattern([*legs_of(NODES), *angles_of(NODES), *twists_of(NODES)[:1]]))
    (sentence,) = a.missing
    assert "One more measurement settles it: the twist from bend 2 to bend 3, or the straight distance from " in sentence
    assert "does not tell which way" in sentence
    with pytest.raises(ValueError, match="line rear: its shape is not settled"):
        a.line("rear", tube="t", bender="b")


@pytest.mark.parametrize("gone", range(9))
def test_whatever_is_missing_is_asked_for_and_settles_it(gone: int) -> None:
    """Any one of legs, angles and twists left out is the first that is asked for; with it the shape is settled."""
    shape = [*legs_of(NODES), *angles_of(NODES), *twists_of(NODES)]
    a = adjust_pattern(Pattern([seen for i, seen in enumerate(shape) if i != gone]))
    assert f"One more measurement settles it: {shape[gone].words}" in a.missing[0]
    assert adjust_pattern(Pattern(shape)).settled


def test_the_distance_asked_for_settles_it_too() -> None:
    """The other measurement that is offered for a missing angle does as well."""
    shape = [*legs_of(NODES), *angles_of(NODES)[::2], *twists_of(NODES)]
    (sentence,) = adjust_pattern(Pattern(shape)).missing
    assert "the angle of bend 2, or the straight distance from end A to end B" in sentence
    a = adjust_pattern(Pattern([*shape, distance(NODES, "A", "B")]))
    assert a.settled
    same_shape(a, NODES, mm=1e-4, deg=1e-4)


def test_several_are_missing() -> None:
    """Two left out: both are asked for, and how many there are."""
    a = adjust_pattern(Pattern([*legs_of(NODES)[1:], *angles_of(NODES), *twists_of(NODES)[1:], distance(NODES, "A", "2")]))
    assert a.missing[0] == "Too little is measured for one shape. One more measurement settles it: the twist from bend 1 to bend 2" + (
        a.missing[0].partition("bend 1 to bend 2")[2]
    )
    b = adjust_pattern(Pattern([*legs_of(NODES)[1:], *angles_of(NODES), *twists_of(NODES)[1:], Point("A", 0, 0, 0, 1.0)]))
    assert "2 things are open" in b.missing[0]
    assert "the leg from end A to apex 1" in b.missing[0]
    assert "the twist from bend 1 to bend 2" in b.missing[0]


def test_a_line_and_its_mirror_image() -> None:
    """All distances but no twist: both hands fit, and it says so instead of choosing one."""
    names = places_of(NODES)
    across = [distance(NODES, a, b) for i, a in enumerate(names) for b in names[i + 1 :]]
    a = adjust_pattern(Pattern(across))
    assert "may turn either way" in a.missing[0]
    rough = adjust_pattern(Pattern([*across, Twist(1, 2, 60, 20)]))
    assert rough.settled
    same_shape(rough, NODES, mm=0.5, deg=3.0)  # it leans a little on the rough twist


def test_a_distance_across_one_twist_leaves_its_sign_open() -> None:
    """One twist replaced by a distance: exactly that twist is named, and a rough look settles it."""
    seen = [*legs_of(NODES), *angles_of(NODES), *twists_of(NODES)[:1], distance(NODES, "1", "B")]
    a = adjust_pattern(Pattern(seen))
    assert "the twist from bend 2 to bend 3 may turn either way" in a.missing[0]
    assert "from bend 1" not in a.missing[0]
    assert adjust_pattern(Pattern([*seen, Twist(2, 3, -50, 20)])).settled


def test_no_twists_but_distances_and_fittings() -> None:
    """30 patterns without a twist: the right shape is found, or it is said that another fits as well."""
    rng = np.random.default_rng(4)
    outcome = Counter()
    for _ in range(30):
        nodes = invented_line(rng, 4)
        a = adjust_pattern(Pattern([seen for seen in measured(nodes, rng) if not isinstance(seen, Twist)]))
        if not a.settled:
            outcome["open"] += 1
            continue
        off = np.abs(a.legs.leg_mm - measure_nodes(nodes)[0]).max()
        twist_off = np.abs(wrap_deg(a.legs.twist_deg - measure_nodes(nodes)[2])) / np.maximum(a.twist_deg.u, 0.1)
        outcome["right" if off < 5 and twist_off.max() < 5 else "wrong"] += 1
        assert any("was not measured" in note for note in a.notes)
    assert outcome["wrong"] == 0
    assert outcome["right"] >= 20


def test_a_leg_that_may_come_out_in_two_ways() -> None:
    """Both fittings, the nut's way at A and the second leg: the sphere about B meets the way from A twice."""
    a, b = np.zeros(3), np.array([100.0, 60.0, 0.0])
    seen = [Point("A", *a, 0.3), Point("B", *b, 0.3), Direction("A", -1, 0, 0, 0.5), Leg(1, "B", 70, 0.5)]
    open_ = adjust_pattern(Pattern(seen))
    assert open_.missing == (
        "More than one shape fits the measurements: the leg from end A to apex 1 and the angle of bend 1 may come out in "
        "more than one way. Measure one of them as well.",
    )
    # 100 − √(70² − 60²) by Pythagoras
    near = 100 - (70**2 - 60**2) ** 0.5
    settled = adjust_pattern(Pattern([*seen, Leg("A", 1, 60, 10)]))
    assert settled.settled
    assert settled.legs.leg_mm[0] == pytest.approx(near, abs=1.0)


def test_part_of_a_pattern_is_right_or_says_what_is_missing() -> None:
    """80 patterns with a quarter of their rows lost: a shape that is called settled is the true one (6 u)."""
    rng = np.random.default_rng(12)
    outcome = Counter()
    for _ in range(80):
        nodes = invented_line(rng, 3)
        kept = [seen for seen in measured(nodes, rng) if rng.random() < 0.75]
        a = adjust_pattern(Pattern(kept, bends=3))
        if not a.settled:
            outcome["open"] += 1
            continue
        off = np.concatenate([a.legs.leg_mm, a.legs.angle_deg, a.legs.twist_deg]) - np.concatenate(measure_nodes(nodes))
        off[-3:] = wrap_deg(off[-3:])
        right = (np.abs(off) <= 6 * np.sqrt(np.diag(a.covariance)) + 1e-6).all()
        outcome["right" if right else "wrong"] += 1
    assert outcome["wrong"] == 0
    assert outcome["right"] >= 40
    assert outcome["open"] >= 5


def test_a_nearly_straight_bend_is_told() -> None:
    """A bend of 0.8° is told as perhaps none, and its vague twists do not stop the line."""
    nodes = nodes_from_legs(Legs([100, 80, 120, 60], [90, 0.8, 60], [0, 40, -70]))
    a = adjust_pattern(Pattern(points_of(nodes, "A123B", 0.5)))
    assert a.notes[0].startswith("Bend 2 turns by 0.8°")
    assert a.settled
    assert a.twist_deg.u[1] > 20


def test_what_is_hardly_known_is_asked_for() -> None:
    """A twist known to ± 50° stops the line: measure it."""
    a = adjust_pattern(Pattern([*legs_of(NODES), *angles_of(NODES), twists_of(NODES)[0], twists_of(NODES, 25.0)[1]]))
    assert a.missing == ("The twist from bend 2 to bend 3 is known to ± 50° only: measure it.",)


# --- the pattern itself, and the line -----------------------------------------------------------


@pytest.mark.parametrize(
    ("seen", "told"),
    [
        ([Leg("A", 2, 50, 1), Angle(1, 90, 1)], "a leg joins two neighbours; from end A it goes to apex 1"),
        ([Leg("A", 1, 50, 1), Angle("A", 90, 1)], "an end does not bend"),
        ([Twist(1, 3, 50, 1), Angle(2, 90, 1)], "two neighbouring bends"),
        ([Twist("A", 1, 50, 1)], "between two bends"),
        ([Leg("A", 1, 50, 1), Leg(1, 2, 50, 1), Angle(4, 90, 1)], "nothing is measured of apex 3"),
        ([Leg("A", "bolt", 50, 1)], "'bolt' is no place of the line"),
        ([Distance("A", "bolk", 50, 1), Datum("bolt", 0, 0, 0)], "perhaps bolt is meant"),
        ([Datum("a1", 0, 0, 0), Datum("a2", 0, 9, 0), Distance("a1", "a2", 9, 1)], "both are datum points"),
        ([Datum("a1", 0, 0, 0), Datum("a1", 0, 9, 0), Leg("A", "B", 9, 1)], "is there twice"),
        ([Datum("a1", 0, 0, 0, set_aside="moved"), Leg("A", "B", 9, 1)], "set aside the distances to it"),
    ],
)
def test_measurements_that_do_not_fit_into_a_line(seen: list, told: str) -> None:
    """Each is refused with what is wrong and which measurement it is."""
    with pytest.raises(PatternFault, match=told):
        Pattern(seen)
    with pytest.raises(PatternFault, match="there is no apex 4; the line has 2 bends"):
        Pattern([Angle(4, 90, 1)], bends=2)


@pytest.mark.parametrize(
    ("make", "told"),
    [
        (lambda: Leg("A", 1, 0.0, 1), "is 0 mm: a length is more than 0"),
        (lambda: Leg("A", 1, np.nan, 1), "length is not a number"),
        (lambda: Leg("A", 1, 5.0, 0.0), "must be more than 0"),
        (lambda: Distance("A", "A", 5.0, 1), "begins and ends at the same place"),
        (lambda: Angle(1, 180.0, 1), "more than 0 and less than 180"),
        (lambda: Twist(1, 2, 190.0, 1), "between -180 and 180"),
        (lambda: Point("A", None, None, None, 1), "none of x, y and z"),
        (lambda: Datum("bolt", 0, None, 0), "needs x, y and z"),
        (lambda: Datum("3", 0, 0, 0), "belong to the line"),
        (lambda: Datum("bolt", 0, 0, 0, -1.0), "must be more than 0"),
        (lambda: Direction("C", 1, 0, 0, 1), "the ends are A and B"),
        (lambda: Direction("A", 0, 0, 0, 1), "has no length"),
    ],
)
def test_measurements_that_cannot_be(make, told: str) -> None:
    """A value that no tool can give is refused at once."""
    with pytest.raises(ValueError, match=told):
        make()


def test_nothing_measured() -> None:
    """A pattern whose measurements are all set aside has no shape."""
    with pytest.raises(ValueError, match="nothing is measured"):
        adjust_pattern(Pattern([Leg("A", "B", 9, 1, set_aside="bent")]))


def test_the_line_to_be_made() -> None:
    """It lies where its points are, can be marked out, and carries what is suspected in its note."""
    a = adjust_pattern(Pattern(GOOD))
    line = a.line("rear", tube="t", bender="b", service="brake", note="off the old one")
    np.testing.assert_allclose(line.nodes_mm, a.nodes_mm)
    assert line.note == "off the old one"
    assert np.abs(line.nodes_mm - NODES).max() < 3.0
    wrong = adjust_pattern(with_blunder(Leg, 2, mm=102.0)).line("rear", tube="t", bender="b", note="old")
    assert wrong.note.startswith("old The leg from apex 2 to apex 3 (row 9) was written 102.0 mm")


def test_the_table_of_residuals() -> None:
    """A row for each reading, with its units' residual and its tests; redundancies sum to the checks."""
    table = adjust_pattern(Pattern(GOOD)).residuals
    assert table["redundancy"].sum() == pytest.approx(table.shape[0] - 15)
    np.testing.assert_allclose(table["adjusted"] - table["observed"], table["residual"])
    assert {"the leg from end A to apex 1", "the z of apex 2", "the way the nut goes in at end B"} <= set(table["what"])


def test_the_report_has_everything() -> None:
    """Printed, it says how it closes and what to know, a line each."""
    said = str(adjust_pattern(Pattern([*legs_of(NODES), *angles_of(NODES), *twists_of(NODES)[:1]]))).splitlines()
    assert [line.partition(":")[0] for line in said] == ["Closing", "Missing"]


def test_places_that_fall_together_are_named() -> None:
    """Two apexes measured to lie at one point make no line, and it is told which two."""
    points = [Point("A", 0, 0, 0, 1), Point(1, 50, 0, 0, 1), Point(2, 50, 0, 0, 1), Point("B", 50, 50, 0, 1)]
    with pytest.raises(ValueError, match=r"the measurements make no line: nodes 2 \(apex 1\) and 3 \(apex 2\) lie at the same place"):
        adjust_pattern(Pattern(points))
