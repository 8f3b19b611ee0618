"""What a camera sees of a tube above the page: its outline, ends and marks are put back to where they stand."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize

from bendcal.scan.heights import View, standing, under_outline
from bendcal.scan.tube_model import Shape


@settings(max_examples=50)
@given(st.floats(-150, 150), st.floats(150, 600), st.floats(1.5, 6.0), st.sampled_from([1.0, -1.0]), st.sampled_from([0.0, 1.0, 0.4]))
def test_an_outline_comes_back_to_the_side_of_the_tube(across: float, height: float, radius: float, side: float, share: float) -> None:
    """A ray that grazes a tube meets the page, or a plane some radii above it; from there the side is found again to 0.001 mm."""
    shape = Shape(0.0, 0.0, 0.0, np.pi / 2, 15.0, radius, radius)  # leg 1 along x; its outside lies at negative y
    eye = np.array([40.0, across, height])
    centre = np.array([0.0, radius])  # the leg's middle: y, z
    away = np.arctan2(centre[0] - across, height - radius)
    slip = np.arcsin(radius / np.hypot(centre[0] - across, height - radius))
    meets = across + (height - share * radius) * np.tan(away - side * slip)
    back = under_outline(np.array([[40.0, meets]]), np.array([side]), shape, radius, eye, plane_mm=share * radius)
    assert back[0] == pytest.approx([40.0, -side * radius], abs=1e-3)


@settings(max_examples=50)
@given(st.floats(2.2, 5.0), st.floats(20, 120), st.floats(-200, 200), st.floats(-200, 200), st.sampled_from([1.0, -1.0]), st.sampled_from([0.0, 1.0]))
def test_the_outline_of_an_arc_that_is_seen_aslant_comes_back(bent: float, turn: float, x: float, y: float, side: float, share: float) -> None:
    """A ray touches a ring where it is at right angles to the ring's normal; from where it meets the plane the ring's side is found again to 0.005 mm,
    even where the ray runs along the tube, and touches it a millimetre further on, where the arc has turned (that alone was 0.09 mm here)."""
    radius, ring, height, eye = 2.4, 2.4 * 2 * bent, 300.0, np.array([x, y, 300.0])
    half, plane = np.radians(turn) / 2, share * radius
    swept = np.linspace(-0.95, 0.95, 21) * half
    out = np.column_stack([np.sin(swept), -np.cos(swept)])

    def touched(lean: float, out: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        normal = np.array([*(side * np.cos(lean) * out), np.sin(lean)])
        return np.array([*(ring * out), radius]) + radius * normal, normal

    def against(lean: float, out: np.ndarray) -> float:
        at, normal = touched(lean, out)
        return float((at - eye) @ normal)

    met = []
    for each in out:
        at, _ = touched(optimize.brentq(against, -1.4, 1.4, args=(each,)), each)
        met.append((at + (eye - at) * (at[2] - plane) / (at[2] - height))[:2])
    # The same arc as the camera draws it on the plane, by its axis.
    near = (height - plane) / (height - radius)
    apex = eye[:2] + (np.array([0.0, -ring / np.cos(half)]) - eye[:2]) * near
    seen = Shape(*apex, np.arctan2(np.sin(half), -np.cos(half)), np.arctan2(np.sin(half), np.cos(half)), ring * near, radius, radius)
    back = under_outline(np.array(met), np.full(len(met), side), seen, radius, eye, plane_mm=plane)
    assert np.hypot(*back.T) == pytest.approx(ring + side * radius, abs=5e-3)


def test_each_place_has_the_eye_that_saw_it() -> None:
    """Two eyes, left and right of x = 150: each point is put right by its own, as by a view of that eye alone; a pen mark too."""
    eyes = np.array([[0.0, 30.0, 400.0], [300.0, -50.0, 500.0]])
    both = View(eyes, plane_mm=2.0, seen_by=lambda points: (points[:, 0] > 150).astype(int))
    shape = Shape(0.0, 0.0, 0.0, np.pi / 2, 15.0, 2.5, 2.5)
    points, side = np.array([[40.0, -3.0], [260.0, 3.0]]), np.array([1.0, -1.0])
    for k in (0, 1):
        alone = View(eyes[k], plane_mm=2.0)
        assert both.under_outline(points, side, shape, 2.5)[k].tolist() == alone.under_outline(points, side, shape, 2.5)[k].tolist()
        assert both.place_seen_at(points[k], np.array([1.0, 0.0]), "mark", 2.5)[0].tolist() == alone.place_seen_at(points[k], np.array([1.0, 0.0]), "mark", 2.5)[0].tolist()
    assert both.place_seen_at(np.array([260.0, 0.0]), np.array([1.0, 0.0]), "mark", 2.5)[0] == pytest.approx([260 + 40 * (4.85 - 2) / 498, -50 * (4.85 - 2) / 498])


def test_what_stands_higher_is_nearer_to_the_foot_of_the_camera() -> None:
    """The ray from the camera to a place of the page passes 3 mm above the page where the place would be if it stood so high; each photo has its own."""
    eyes, points = np.array([[10.0, 20.0, 300.0], [400.0, 0.0, 400.0]]), np.array([[110.0, 70.0], [300.0, 40.0]])
    found = View(eyes, seen_by=lambda at: (at[:, 0] > 200).astype(int)).higher(points, np.array([3.0, 4.0]))
    assert found == pytest.approx(np.array([[109.0, 69.5], [301.0, 39.6]]))
    assert View(eyes[0]).higher(points[:1], np.zeros(1)) == pytest.approx(points[:1])


@given(st.floats(10, 140), st.floats(40, 90), st.floats(40, 90))
def test_places_between_nodes_stand_as_high_as_a_straight_line_between_them(turn: float, first: float, second: float) -> None:
    """Ends and apex alone stand as high as they are said to; halves of legs half, and along the arc nothing jumps; shares make up one."""
    half = np.radians(turn) / 2
    shape = Shape(5.0, -3.0, 0.3, 0.3 + np.pi - 2 * half, 12.0, 2.4, 2.4)
    reach = tuple(shape.setback_mm + v for v in (first, second))
    ends = shape.apex + np.array(reach)[:, None] * shape.directions
    swept = np.linspace(0, 2 * half, 60)
    way = np.sign(np.cross(np.append(shape.outward[0], 0), np.append(shape.outward[1], 0))[2])
    begun = np.arctan2(*shape.outward[0][::-1])
    arc = shape.centre + shape.radius_mm * np.column_stack([np.cos(begun + way * swept), np.sin(begun + way * swept)])
    shares = standing(shape, np.concatenate([ends, (shape.apex + ends) / 2 if 2 * shape.setback_mm < min(reach) else ends, arc]), reach)
    assert shares.sum(axis=0) == pytest.approx(1) and (shares >= 0).all()
    assert shares[:, 0] == pytest.approx([1, 0, 0]) and shares[:, 1] == pytest.approx([0, 0, 1])
    if 2 * shape.setback_mm < min(reach):
        assert shares[:, 2] == pytest.approx([0.5, 0.5, 0]) and shares[:, 3] == pytest.approx([0, 0.5, 0.5])
    assert np.abs(np.diff(shares[:, 4:], axis=1)).max() < 0.06 and shares[0, 4] == pytest.approx(shape.setback_mm / reach[0], abs=1e-6)
