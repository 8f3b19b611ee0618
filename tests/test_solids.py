"""Simple bodies: distances by hand, against a minimiser, and along pieces of tube."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar
from scipy.spatial.transform import Rotation

from bendcal.solids import SHAPES, Solid, segment_distance_mm


def some(shape: str, rng) -> Solid:
    """A body of this shape, anywhere."""
    start = rng.normal(0, 20, 3)
    stop = None if shape == "sphere" else start + rng.normal(0, 20, 3)
    sizes = {size: rng.uniform(3, 30) for size in SHAPES[shape]}
    return Solid(shape, start, stop, turn_deg=rng.uniform(-90, 90) if shape == "box" else 0.0, **sizes)


# --- by hand ------------------------------------------------------------------------------------


def test_a_box_by_hand() -> None:
    """A bar along x from 0 to 10, 4 wide (y), 2 high (z): beside, above, before the corner, inside."""
    bar = Solid("box", (0, 0, 0), (10, 0, 0), width_mm=4, height_mm=2)
    there = [(5, 7, 0), (5, 0, -6), (-3, 2, 5), (13, 6, 1), (1, 1, 0.5)]
    assert bar.distance_mm(there) == pytest.approx([5, 5, 5, 5, 0])


def test_a_turned_box_has_its_width_where_its_height_was() -> None:
    """A quarter turn swaps width and height; 45° clockwise seen along x brings the corner of y down from +z."""
    quarter = Solid("box", (0, 0, 0), (10, 0, 0), width_mm=4, height_mm=2, turn_deg=90)
    assert quarter.distance_mm([(5, 7, 0), (5, 0, 7)]) == pytest.approx([6, 5])
    blade = Solid("box", (0, 0, 0), (10, 0, 0), width_mm=20, height_mm=1e-6, turn_deg=45)
    # Clockwise seen along x turns y towards z.
    assert blade.distance_mm([(5, 3, 3), (5, 3, -3)]) == pytest.approx([0, 18**0.5], abs=1e-5)


def test_an_upright_box_has_its_width_along_x() -> None:
    """Where "level" does not say which way the width runs, it runs along x."""
    post = Solid("box", (0, 0, 0), (0, 0, 50), width_mm=4, height_mm=2)
    assert post.distance_mm([(5, 0, 10), (0, 5, 10)]) == pytest.approx([3, 4])


def test_round_bodies_by_hand() -> None:
    """A cylinder ends flat and a capsule round; a sphere is a point with a radius; a wall ends nowhere."""
    ends = {"from_mm": (0, 0, 0), "to_mm": (10, 0, 0), "diameter_mm": 4}
    there = [(5, 5, 0), (13, 0, 0), (13, 6, 0), (5, 1, 1)]
    assert Solid("cylinder", **ends).distance_mm(there) == pytest.approx([3, 3, 5, 0])
    assert Solid("capsule", **ends).distance_mm(there) == pytest.approx([3, 1, 45**0.5 - 2, 0])
    assert Solid("sphere", (1, 2, 3), diameter_mm=4).distance_mm([(1, 2, 13)]) == pytest.approx([8])
    assert Solid("wall", (0, 0, -5), (0, 3, -1)).distance_mm([(99, 3, -1), (0, -9, -9)]) == pytest.approx([5, 0])


def test_a_piece_of_tube_past_bodies_by_hand() -> None:
    """A piece along x at y 10: over a ball of radius 2 at (4, 0, 0), 8 from it at x = 4; past its end, its end."""
    ball = Solid("sphere", (4, 0, 0), diameter_mm=4)
    gap, share = ball.segment_mm([(0, 10, 0), (7, 10, 0)], [(10, 10, 0), (10, 10, 0)])
    assert gap == pytest.approx([8, (9 + 100) ** 0.5 - 2])
    assert share == pytest.approx([0.4, 0])
    wall = Solid("wall", (0, 0, 0), (0, 1, 0))
    assert wall.segment_mm([(0, 10, 0), (0, 3, 0)], [(10, 4, 0), (5, -1, 0)])[0] == pytest.approx([4, 0])


# --- against other routes -----------------------------------------------------------------------


@pytest.mark.parametrize("shape", SHAPES)
def test_the_distance_along_a_piece_is_what_a_minimiser_finds(shape: str) -> None:
    """The distance of points is convex along a line, so a bounded scalar minimiser finds its least."""
    rng = np.random.default_rng(4)
    for _ in range(15):
        solid = some(shape, rng)
        a, b = rng.normal(0, 40, (2, 6, 3))
        gap, share = solid.segment_mm(a, b)
        assert solid.distance_mm(a + share[:, None] * (b - a)) == pytest.approx(gap, abs=1e-9)
        for start, stop, found in zip(a, b, gap, strict=True):
            at = minimize_scalar(
                lambda t, p=start, q=stop, body=solid: body.distance_mm([p + t * (q - p)])[0], bounds=(0, 1), method="bounded",
                options={"xatol": 1e-10},
            )  # fmt: skip
            assert found <= at.fun + 1e-9
            ends = solid.distance_mm([start, stop]).min()
            assert found == pytest.approx(min(at.fun, ends), abs=1e-6)


@given(st.integers(0, 10**6), st.sampled_from(sorted(SHAPES)))
@settings(max_examples=60)
def test_a_body_and_a_piece_moved_together_stay_as_far_apart(seed: int, shape: str) -> None:
    """Turning both about z and shifting both changes no distance (about z alone, for a box's width stays level)."""
    rng = np.random.default_rng(seed)
    solid = some(shape, rng)
    turn, shift = Rotation.from_euler("z", rng.uniform(-180, 180), degrees=True), rng.normal(0, 30, 3)
    moved = {name: turn.apply(np.array(getattr(solid, name))) + shift for name in ("from_mm", "to_mm") if getattr(solid, name) is not None}
    sizes = {size: getattr(solid, size) for size in SHAPES[shape]}
    other = Solid(shape, **moved, **sizes, turn_deg=solid.turn_deg)
    a, b = rng.normal(0, 40, (2, 5, 3))
    there = other.segment_mm(turn.apply(a) + shift, turn.apply(b) + shift)[0]
    assert there == pytest.approx(solid.segment_mm(a, b)[0], abs=1e-9)


@given(st.integers(0, 10**6))
@settings(max_examples=60)
def test_a_bodys_distance_is_that_to_the_nearest_of_its_points(seed: int) -> None:
    """Points drawn in a box, cylinder or capsule are never nearer than its distance, and have none themselves."""
    rng = np.random.default_rng(seed)
    solid = some(rng.choice(["box", "cylinder", "capsule"]), rng)
    own = rng.uniform(-1, 1, (400, 3)) * np.maximum(solid.half_mm, solid.round_mm)
    if solid.shape == "cylinder":
        own = own[np.hypot(own[:, 1], own[:, 2]) <= solid.half_mm[1]]
    if solid.shape == "capsule":
        reach = np.abs(own) - [solid.half_mm[0], 0, 0]
        own = own[np.linalg.norm(np.maximum(reach, 0), axis=1) <= solid.round_mm]
    inside = solid.centre_mm + own @ solid.axes
    assert solid.distance_mm(inside) == pytest.approx(0, abs=1e-9)
    outside = rng.normal(0, 60, 3)
    assert np.linalg.norm(inside - outside, axis=1).min() >= solid.distance_mm([outside])[0] - 1e-9


def test_two_pieces_of_tube_by_hand() -> None:
    """Crossing at a height of 3; side by side; one beyond the other's end; one a mere point."""
    a = np.array([[0, 0, 0], [0, 0, 0], [0, 0, 0], [2, 5, 0]], float)
    b = np.array([[10, 0, 0], [10, 0, 0], [10, 0, 0], [2, 5, 0]], float)
    c = np.array([[5, -5, 3], [3, 4, 0], [13, 4, 0], [0, 0, 0]], float)
    d = np.array([[5, 5, 3], [20, 4, 0], [20, 4, 0], [10, 0, 0]], float)
    assert segment_distance_mm(a, b, c, d)[0] == pytest.approx([3, 4, 5, 5])


@given(st.integers(0, 10**6))
@settings(max_examples=40)
def test_two_pieces_are_as_near_as_their_nearest_points(seed: int) -> None:
    """Against a thousand points on each: never above them, at most a step below, and attained where it says."""
    rng = np.random.default_rng(seed)
    a, b, c, d = rng.normal(0, 20, (4, 1, 3))
    if seed % 3 == 0:
        d = c + rng.normal() * (b - a)  # side by side, where the lines' own formula fails
    gap, s, t = segment_distance_mm(a, b, c, d)
    t_ = np.linspace(0, 1, 1000)[:, None]
    sampled = np.linalg.norm((a + t_ * (b - a))[:, None] - (c + t_ * (d - c))[None], axis=2).min()
    assert gap[0] <= sampled + 1e-9
    assert sampled - gap[0] < (np.linalg.norm(b - a) + np.linalg.norm(d - c)) / 1000
    assert np.linalg.norm(a + s * (b - a) - c - t * (d - c)) == pytest.approx(gap[0], abs=1e-9)


# --- what is refused ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        ({"shape": "cone"}, "shape 'cone' is none of box"),
        ({"shape": "box", "width_mm": 3}, "height_mm of a box is missing; it must be more than 0"),
        ({"shape": "sphere", "diameter_mm": -1, "to_mm": None}, "diameter_mm of a sphere is -1"),
        ({"shape": "wall", "diameter_mm": 3}, "a wall has no diameter_mm"),
        ({"shape": "sphere", "diameter_mm": 3}, "a sphere has one point only"),
        ({"shape": "capsule", "diameter_mm": 3, "to_mm": None}, "a capsule needs two points"),
        ({"shape": "capsule", "diameter_mm": 3, "to_mm": (0, 0, 0)}, "lie at the same place"),
        ({"shape": "capsule", "diameter_mm": 3, "turn_deg": 9}, "a capsule has no turn_deg"),
        ({"shape": "capsule", "diameter_mm": 3, "to_mm": (0, np.nan, 0)}, "to_mm is not a point"),
    ],
)
def test_what_is_no_body_is_refused(values: dict, sentence: str) -> None:
    """Each missing, needless or senseless number is named."""
    with pytest.raises(ValueError, match=sentence):
        Solid(**({"from_mm": (0, 0, 0), "to_mm": (9, 0, 0)} | values))
