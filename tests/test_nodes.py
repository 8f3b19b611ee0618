"""Nodes to legs and back: against other people's converters, published shapes and itself."""

import numpy as np
import pytest
from ase.build import molecule
from ase.io.zmatrix import parse_zmatrix
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from bendcal.legs import Legs
from bendcal.nodes import (
    corner_rows,
    corners,
    legs_from_nodes,
    measure_nodes,
    nodes_from_legs,
    place_nodes,
    pose_like,
    pose_of,
)

SHAPE = Legs([100, 80, 120, 60, 90], [90, 45, 120, 60], [0, 90, -30, 135])

# The same shape as a z-matrix: an angle there is 180 − the bend, a dihedral is the twist.
Z_MATRIX = """C
C 1 100
C 2 80 1 90
C 3 120 2 135 1 90
C 4 60 3 60 2 -30
C 5 90 4 120 3 135"""

# Worked out beforehand with ASE and with a product of scipy rotations. Status: derived.
XYZ = np.array(
    [
        [0, 0, 0],
        [100, 0, 0],
        [100, 80, 0],
        [100, 164.852813742, 84.852813742],
        [74.019237886, 111.819805153, 95.459415460],
        [88.484994228, 69.434477127, 173.524938334],
    ]
)


@st.composite
def some_legs(draw: st.DrawFn) -> Legs:
    """Lines of up to ten bends, from nearly straight to nearly doubled back."""
    bends = draw(st.integers(0, 10))
    leg = draw(st.lists(st.floats(5, 500), min_size=bends + 1, max_size=bends + 1))
    angle = draw(st.lists(st.floats(0.5, 179.5), min_size=bends, max_size=bends))
    twist = draw(st.lists(st.floats(-180, 180, exclude_min=True), min_size=bends, max_size=bends))
    return Legs(leg, angle, [0.0, *twist[1:]][:bends])


def same_legs(have: Legs, want: Legs, *, mm: float, deg: float) -> None:
    """Both lines are the same; a twist may differ by whole turns."""
    np.testing.assert_allclose(have.leg_mm, want.leg_mm, atol=mm, rtol=0)
    np.testing.assert_allclose(have.angle_deg, want.angle_deg, atol=deg, rtol=0)
    apart = np.mod(have.twist_deg - want.twist_deg + 180.0, 360.0) - 180.0
    np.testing.assert_allclose(apart, 0.0, atol=deg)


def test_a_step_and_a_u_by_hand() -> None:
    """On squared paper: up and back is a U of twist 0, up and on is an offset of twist 180."""
    u = legs_from_nodes([[0, 0, 0], [30, 0, 0], [30, 40, 0], [0, 40, 0]])
    step = legs_from_nodes([[0, 0, 0], [30, 0, 0], [30, 40, 0], [60, 40, 0]])
    for legs in (u, step):
        assert legs.leg_mm.tolist() == [30.0, 40.0, 30.0]
        assert legs.angle_deg.tolist() == [90.0, 90.0]
    assert u.twist_deg.tolist() == [0.0, 0.0]
    assert step.twist_deg.tolist() == [0.0, 180.0]


def test_the_standard_frame() -> None:
    """End A at the origin, leg 1 along +x, bend 1 in the xy plane towards +y."""
    nodes = nodes_from_legs(SHAPE)
    assert nodes[0].tolist() == [0.0, 0.0, 0.0]
    assert nodes[1].tolist() == [100.0, 0.0, 0.0]
    assert nodes[2].tolist() == pytest.approx([100.0, 80.0, 0.0], abs=1e-12)


def test_a_z_matrix_made_by_another_program() -> None:
    """ASE's z-matrix reader, written by others for molecules, puts the nodes at the same places."""
    theirs = parse_zmatrix(Z_MATRIX.splitlines()).positions
    ours = nodes_from_legs(SHAPE)
    np.testing.assert_allclose(ours, theirs, atol=1e-9)
    np.testing.assert_allclose(ours, XYZ, atol=1e-9)
    same_legs(legs_from_nodes(XYZ), SHAPE, mm=1e-8, deg=1e-8)
    same_legs(legs_from_nodes(theirs), SHAPE, mm=1e-10, deg=1e-10)


@given(some_legs())
def test_any_line_against_the_z_matrix_reader(legs: Legs) -> None:
    """Every line that can be drawn is placed as ASE places it."""
    assume(legs.bends >= 1)
    rows = ["C", f"C 1 {legs.leg_mm[0]!r}", f"C 2 {legs.leg_mm[1]!r} 1 {180 - legs.angle_deg[0]!r}"]
    for k in range(1, legs.bends):
        leg, angle, twist = legs.leg_mm[k + 1], 180 - legs.angle_deg[k], legs.twist_deg[k]
        rows.append(f"C {k + 2} {leg!r} {k + 1} {angle!r} {k} {twist!r}")
    rows = [row.replace("np.float64(", "").replace(")", "") for row in rows]
    np.testing.assert_allclose(nodes_from_legs(legs), parse_zmatrix(rows).positions, atol=1e-8)


@given(some_legs())
def test_any_line_against_a_product_of_rotations(legs: Legs) -> None:
    """A frame turned by scipy, about its own x by the twist and its own z by the bend."""
    frame, node = Rotation.identity(), np.array([legs.leg_mm[0], 0.0, 0.0])
    nodes = [np.zeros(3), node]
    for k in range(legs.bends):
        turn = Rotation.from_euler("XZ", [legs.twist_deg[k], legs.angle_deg[k]], degrees=True)
        frame = frame * turn
        node = node + frame.apply([legs.leg_mm[k + 1], 0.0, 0.0])
        nodes.append(node)
    np.testing.assert_allclose(nodes_from_legs(legs), nodes, atol=1e-9)


@pytest.mark.parametrize(
    ("name", "chain", "lengths", "inner_angle", "twist"),
    [
        # Shapes of the G2 set as ASE ships them. Status: read (installed data).
        ("H2O2", [2, 0, 1, 3], [0.975575, 1.468116, 0.975575], 98.648177, 121.025008),
        ("trans-butane", [0, 1, 2, 3], [1.524548, 1.525029, 1.524548], 112.868379, 180.0),
        ("butadiene", [0, 1, 2, 3], [1.342467, 1.456254, 1.342467], 123.708116, 180.0),
    ],
)
def test_molecules_as_if_they_were_tubes(
    name: str, chain: list[int], lengths: list[float], inner_angle: float, twist: float
) -> None:
    """Bond lengths, angles and torsions of known molecules come out at the digits given."""
    atoms = molecule(name)
    legs = legs_from_nodes(atoms.positions[chain])
    np.testing.assert_allclose(legs.leg_mm, lengths, atol=5e-7)
    np.testing.assert_allclose(180 - legs.angle_deg, inner_angle, atol=5e-7)
    assert legs.twist_deg[1] == pytest.approx(twist, abs=5e-7)
    # And ASE's own measuring of the same four atoms, which counts from 0 to 360.
    assert legs.twist_deg[1] == pytest.approx(atoms.get_dihedral(*chain), abs=1e-6)


def test_a_plumbers_offset_of_45_degrees() -> None:
    """Travel = set × 1.4142, advance = set × 1.00, set = travel × 0.7071.

    Chicago Plumbing Code, single pipe offsets. Status: read.
    """
    for amount in (100.0, 37.5):
        nodes = [[0, 0, 0], [200, 0, 0], [200 + amount, amount, 0], [500, amount, 0]]
        legs = legs_from_nodes(nodes)
        travel = legs.leg_mm[1]
        assert travel / amount == pytest.approx(1.4142, abs=5e-5)
        assert amount / travel == pytest.approx(0.7071, abs=5e-5)
        np.testing.assert_allclose(legs.angle_deg, 45, atol=1e-12)
        assert legs.twist_deg.tolist() == [0.0, 180.0]
    # The other way about: legs by the printed factors end up at set and advance.
    nodes = nodes_from_legs(Legs([200, 100 * 1.4142, 150], [45, 45], [0, 180]))
    advance, amount, _ = nodes[2] - nodes[1]
    assert (advance, amount) == pytest.approx((100.0, 100.0), abs=0.005)
    assert nodes[3] - nodes[2] == pytest.approx([150, 0, 0], abs=1e-12)


@given(some_legs())
def test_legs_to_nodes_to_legs(legs: Legs) -> None:
    """Lengths to 1e-9 mm; angles as well as nodes of 1e-13 relative accuracy can tell them."""
    same_legs(legs_from_nodes(nodes_from_legs(legs)), legs, mm=1e-9, deg=1e-7)


@given(st.lists(st.tuples(*[st.floats(-500, 500)] * 3), min_size=2, max_size=12))
def test_nodes_to_legs_to_nodes(points: list[tuple[float, float, float]]) -> None:
    """Nodes anywhere come back to 1e-9 mm: in their own pose, and as a best fit."""
    nodes = np.array(points)
    leg, angle, _ = measure_nodes(nodes)
    assume(leg.min() > 1.0 and np.all((angle > 0.01) & (angle < 179.99)))
    legs = legs_from_nodes(nodes)
    np.testing.assert_allclose(nodes_from_legs(legs, **pose_of(nodes)), nodes, atol=1e-9)
    np.testing.assert_allclose(pose_like(nodes_from_legs(legs), nodes), nodes, atol=1e-9)


def test_a_line_can_be_laid_anywhere() -> None:
    """Start, direction and normal place the line; a slanted normal counts by its square part."""
    legs = Legs([10, 20], [90], [0])
    laid = nodes_from_legs(legs, start=[1, 2, 3], direction=[0, 0, 5], normal=[1, 0, 7])
    np.testing.assert_allclose(laid, [[1, 2, 3], [1, 2, 13], [1, -18, 13]], atol=1e-12)
    up = nodes_from_legs(legs, direction=[0, 0, 1])
    assert up[1].tolist() == [0.0, 0.0, 10.0]
    same_legs(legs_from_nodes(up), legs, mm=1e-12, deg=1e-12)
    with pytest.raises(ValueError, match="the direction of leg 1 has no length"):
        nodes_from_legs(legs, direction=[0, 0, 0])
    with pytest.raises(ValueError, match="the normal of bend 1 runs along leg 1"):
        nodes_from_legs(legs, normal=[-3, 0, 0])


def test_a_straight_line_has_a_pose_too() -> None:
    """One leg and no bend: the pose still puts it back."""
    nodes = [[1, 2, 3], [4, 6, 3]]
    legs = legs_from_nodes(nodes)
    assert legs.leg_mm.tolist() == [5.0]
    np.testing.assert_allclose(nodes_from_legs(legs, **pose_of(nodes)), nodes, atol=1e-12)


@given(st.integers(4, 12), st.integers(0, 2**32 - 1))
def test_the_best_fit_against_another_solver(count: int, seed: int) -> None:
    """Noisy nodes are laid on their template as scipy's align_vectors lays them."""
    rng = np.random.default_rng(seed)
    nodes = rng.normal(0, 100, (count, 3))
    template = Rotation.random(rng=rng).apply(nodes + rng.normal(0, 0.5, nodes.shape)) + 77.0
    centre, target = nodes.mean(axis=0), template.mean(axis=0)
    rotation, _ = Rotation.align_vectors(template - target, nodes - centre)
    theirs = target + rotation.apply(nodes - centre)
    np.testing.assert_allclose(pose_like(nodes, template), theirs, atol=1e-6)


def test_the_best_fit_never_mirrors() -> None:
    """The other hand of a line cannot be laid on it, though a mirror image would fit exactly."""
    nodes = nodes_from_legs(SHAPE)
    laid = pose_like(nodes * [1, 1, -1], nodes)
    assert np.abs(laid - nodes).max() > 10
    np.testing.assert_allclose(measure_nodes(laid)[2][1:], [-90, 30, -135], atol=1e-9)
    with pytest.raises(ValueError, match="the same number of rows"):
        pose_like(nodes, nodes[1:])


@pytest.mark.parametrize("small", [1e-3, 1e-5, 1e-7])
def test_angles_keep_their_digits_near_straight_and_near_doubled_back(small: float) -> None:
    """Where an arc cosine loses half its digits, or all, the angle keeps twelve."""
    t = np.radians(small)
    near_0 = measure_nodes([[-1, 0, 0], [0, 0, 0], [np.cos(t), np.sin(t), 0]])[1][0]
    near_180 = measure_nodes([[-1, 0, 0], [0, 0, 0], [-np.cos(t), np.sin(t), 0]])[1][0]
    assert near_0 == pytest.approx(small, rel=1e-12)
    assert 180 - near_180 == pytest.approx(small, abs=1e-13)
    # The same for a twist near a U and near an offset.
    for far, sign in ((1, 1), (-1, -1)):
        nodes = [[0, 1, 0], [0, 0, 0], [1, 0, 0], [1, far * np.cos(t), np.sin(t)]]
        twist = measure_nodes(nodes)[2][1]
        want = small if sign > 0 else 180 - small
        assert twist == pytest.approx(want, rel=1e-12 if sign > 0 else 1e-15, abs=3e-14)


def test_a_flat_offset_is_180_and_never_minus_180() -> None:
    """Offsets drawn in any plane come out as +180, whichever way the last digit falls."""
    rng = np.random.default_rng(3)
    flat = np.array([[0, 0, 0], [50, 0, 0], [81.3, 27.7, 0], [130, 27.7, 0]])
    twists = [
        measure_nodes(Rotation.random(rng=rng).apply(flat) + rng.normal(0, 50, 3))[2][1]
        for _ in range(300)
    ]
    assert min(twists) > 179.999999
    assert max(twists) <= 180.0


def test_many_lines_at_once() -> None:
    """A stack of lines gives what the lines give one by one."""
    rng = np.random.default_rng(8)
    stack = rng.normal(0, 100, (4, 3, 6, 3))
    leg, angle, twist = measure_nodes(stack)
    assert (leg.shape, angle.shape, twist.shape) == ((4, 3, 5), (4, 3, 4), (4, 3, 4))
    placed = place_nodes(leg, angle, twist)
    one = legs_from_nodes(stack[2, 1])
    np.testing.assert_allclose(twist[2, 1], one.twist_deg, atol=1e-12)
    np.testing.assert_allclose(placed[2, 1], nodes_from_legs(one), atol=1e-10)


@pytest.mark.parametrize(
    ("which", "column", "legs", "angles", "published"),
    [
        # sd of a bend's angle, from 0.1 mm in every coordinate: derived,
        # u² = s² [2/a² + 2/b² + 2 cos θ / (ab)], θ the finished angle.
        (1, 0, [100, 80], [90], 0.129708838),
        (1, 0, [80, 120], [45], 0.140193629),
        # sd of the first twist of the line above; derived (linear; Monte Carlo gave 0.18932).
        (2, 1, [100, 80, 120, 60, 90], [90, 45, 120, 60], 0.188720),
    ],
)
def test_what_a_careless_node_does_to_angle_and_twist(
    which: int, column: int, legs: list[float], angles: list[float], published: float
) -> None:
    """Difference quotients of the measuring carry 0.1 mm over as the formulas say."""
    twist = SHAPE.twist_deg[: len(angles)]
    nodes = nodes_from_legs(Legs(legs, angles, twist))
    h, total = 1e-4, 0.0
    for i in range(nodes.size):
        shift = np.zeros(nodes.size)
        shift[i] = h
        shift = shift.reshape(nodes.shape)
        high, low = (measure_nodes(nodes + s * shift)[which][column] for s in (1, -1))
        total += ((high - low) / (2 * h) * 0.1) ** 2
    assert np.sqrt(total) == pytest.approx(published, abs=6e-7)


def test_nodes_that_the_line_passes_straight_through_are_no_bends() -> None:
    """Clips on a straight run, also two in a row and next to an end, add no leg and no bend."""
    nodes = [[0, 0, 0], [10, 0, 0], [20, 0, 0], [50, 0, 0], [50, 30, 0], [50, 60, 0], [50, 60, 9]]
    assert corners(nodes).tolist() == [0, 3, 5, 6]
    legs = legs_from_nodes(nodes)
    assert legs.leg_mm.tolist() == [50.0, 60.0, 9.0]
    assert legs.twist_deg.tolist() == [0.0, 90.0]
    assert legs_from_nodes([[0, 0, 0], [1, 0, 0], [5, 0, 0]]).bends == 0


def test_many_small_turns_make_a_bend() -> None:
    """Ten turns of 0.4 degrees are not smoothed away by a limit of 0.5 degrees for each."""
    turn = np.radians(0.4 * np.arange(11))
    steps = 20 * np.column_stack([np.cos(turn), np.sin(turn), 0 * turn])
    nodes = np.vstack([np.zeros(3), np.cumsum(steps, axis=0)])
    kept = legs_from_nodes(nodes, collinear_deg=0.5)
    assert 0 < kept.bends < 10
    assert kept.angle_deg.sum() > 3.0
    assert legs_from_nodes(nodes).bends == 10


@pytest.mark.parametrize(
    ("nodes", "labels", "words"),
    [
        ([[0, 0, 0]], (), "two or more nodes"),
        ([[0, 0], [1, 1]], (), "each with x, y and z"),
        ([[0, 0, 0], [1, 0, 0]], ("only one",), "1 labels for 2 nodes"),
        ([[0, 0, 0], [1, np.nan, 0]], (), "node 2 has a coordinate that is not a number"),
        ([[0, 0, 0], [np.inf, 1, 0]], ("", "clip"), r"node 2 \(clip\) has a coordinate"),
        ([[0, 0, 0], [5, 0, 0], [5, 0, 0]], (), "nodes 2 and 3 lie at the same place"),
        (
            [[0, 0, 0], [0, 0, 0], [5, 0, 0]],
            ("seat", "", "clip"),
            r"nodes 1 \(seat\) and 2 lie at the same place",
        ),
        ([[0, 0, 0], [5, 0, 0], [2, 0, 0]], (), "doubles straight back at node 2:"),
        (
            [[0, 0, 0], [1, 0, 0], [5, 0, 0], [2, 0, 0], [2, 9, 0]],
            ("a", "b", "hook", "d", "e"),
            r"doubles straight back at node 3 \(hook\)",
        ),
    ],
)
def test_nodes_that_are_no_line_are_refused(nodes: list, labels: tuple, words: str) -> None:
    """Each refusal names the nodes as a person counts them, with their labels."""
    with pytest.raises(ValueError, match=words):
        legs_from_nodes(nodes, labels=labels)


def test_nodes_have_to_be_those_of_the_legs() -> None:
    """Rows of the corners are found, and nodes of some other line are refused."""
    nodes = nodes_from_legs(SHAPE)
    with_clip = np.insert(nodes, 3, (nodes[2] + nodes[3]) / 2, axis=0)
    assert corner_rows(SHAPE, with_clip).tolist() == [0, 1, 2, 4, 5, 6]
    with pytest.raises(ValueError, match="the nodes have 3 bends and the legs have 4"):
        corner_rows(SHAPE, nodes[:-1])
    moved = nodes.copy()
    moved[4, 2] += 0.5
    with pytest.raises(ValueError, match="node 5 lies .* mm from where the legs put it"):
        corner_rows(SHAPE, moved)
