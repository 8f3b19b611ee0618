"""The angle from two marks and the chord between them."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bendcal.chord import angle_from_chord, chord_mm


def test_triangles_known_by_heart() -> None:
    """3-4-5 is square; three equal sides are a bend of 120°; the diagonal of a square is a bend of 90°."""
    assert angle_from_chord(30, 40, 50, 0.0).value == pytest.approx(90.0, abs=1e-12)
    assert angle_from_chord(70, 70, 70, 0.0).value == pytest.approx(120.0, abs=1e-12)
    assert angle_from_chord(100, 100, 100 * 2**0.5, 0.0).value == pytest.approx(90.0, abs=1e-12)


def test_square_bend_by_hand() -> None:
    """Equal marks at a square bend: the chord's error counts √2/a per mm, each mark's 1/a (derived)."""
    of_chord = angle_from_chord(100, 100, 100 * 2**0.5, (0.0, 0.0, 0.1)).u
    of_mark = angle_from_chord(100, 100, 100 * 2**0.5, (0.1, 0.0, 0.0)).u
    assert of_chord == pytest.approx(np.degrees(2**0.5 * 0.1 / 100))
    assert of_mark == pytest.approx(np.degrees(0.1 / 100))


@given(st.floats(5, 500), st.floats(5, 500), st.floats(0.5, 179.5))
def test_there_and_back(a: float, b: float, angle: float) -> None:
    """The chord of an angle gives the angle back, and the points in space have that chord."""
    chord = float(chord_mm(a, b, angle))
    turn = np.radians(angle)
    points = np.array([-a, 0.0]), b * np.array([np.cos(turn), np.sin(turn)])
    assert chord == pytest.approx(np.linalg.norm(points[1] - points[0]), rel=1e-12)
    assert angle_from_chord(a, b, chord, 0.0).value == pytest.approx(angle, abs=1e-7 * (1 + max(a, b) / min(a, b)))


@given(st.floats(20, 200), st.floats(20, 200), st.floats(10, 170), st.tuples(*[st.floats(0, 0.3)] * 3))
def test_uncertainty_by_differences(a: float, b: float, angle: float, sds: tuple[float, float, float]) -> None:
    """The u printed is what moving each length by its own sd does, combined (JCGM 100:2008, 5.1.2)."""
    sides = np.array([a, b, float(chord_mm(a, b, angle))])
    parts = []
    for i, sd in enumerate(sds):
        step = 1e-5 * np.eye(3)[i]
        ends = [float(angle_from_chord(*(sides + sign * step), 0.0).value) for sign in (1, -1)]
        parts.append(sd * (ends[0] - ends[1]) / 2e-5)
    try:
        u = float(angle_from_chord(*sides, sds).u)
    except ValueError as told:
        assert "straight tube" in str(told)
        return
    assert u == pytest.approx(np.sqrt(np.sum(np.square(parts))), rel=1e-4, abs=1e-9)


def test_uncertainty_by_simulation() -> None:
    """20000 simulated calipers at 30°, 90° and 150° scatter as said (within 3 %)."""
    rng = np.random.default_rng(5)
    angles = np.array([30.0, 90.0, 150.0])
    sides = np.stack([np.full(3, 90.0), np.full(3, 110.0), chord_mm(90.0, 110.0, angles)])
    sds = np.array([0.2, 0.2, 0.05])
    shaken = sides[:, :, None] + sds[:, None, None] * rng.normal(size=(3, 3, 20000))
    seen = angle_from_chord(shaken[0].ravel(), shaken[1].ravel(), shaken[2].ravel(), 0.0).value.reshape(3, -1)
    claimed = angle_from_chord(*sides, sds)
    assert np.std(seen, axis=1) / claimed.u == pytest.approx(np.ones(3), rel=0.03)
    assert claimed.unit == "°"


def test_lengths_that_make_no_bend_are_refused() -> None:
    """Each with what is wrong: no triangle, a straight tube, a length of nothing, a negative sd; which bend of several."""
    with pytest.raises(ValueError, match="at least 40 mm apart"):
        angle_from_chord(100, 60, 39, 0.1)
    with pytest.raises(ValueError, match="cannot be told from a straight tube"):
        angle_from_chord(100, 60, 159.95, 0.1)
    with pytest.raises(ValueError, match=r"bend 2: the lengths 0, 60 and 80 mm: each is more than 0"):
        angle_from_chord([50, 0], 60, 80, 0.1)
    with pytest.raises(ValueError, match="0 or more"):
        angle_from_chord(100, 60, 120, -0.1)
    with pytest.raises(ValueError, match="0 or more"):
        angle_from_chord(100, 60, 120, np.nan)
