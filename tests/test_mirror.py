"""A mirrored copy of a line: the same tube turned the other way, and twice mirrored the same again."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bendcal.lines import line_from_legs, line_from_nodes
from bendcal.marks import mark_out
from bendcal.mirror import mirrored
from bendcal.path import legs_from_nodes
from tests.drawing import CAL, SHAPES, SHOP, line


@pytest.mark.parametrize("plane", ["x", "y", "z"])
@pytest.mark.parametrize("shape", list(SHAPES))
def test_the_mirrored_nodes_have_the_mirrored_legs(shape: str, plane: str) -> None:
    """Legs and angles measured anew on the mirrored nodes are the same; every twist has changed its sign, a half turn stays one."""
    one = line(shape)
    other = mirrored(one, "other", plane, at_mm=12.5)
    legs = legs_from_nodes(other.nodes_mm)
    assert legs.leg_mm == pytest.approx(one.legs.leg_mm)
    assert legs.angle_deg == pytest.approx(one.legs.angle_deg)
    turned = np.where(np.abs(one.legs.twist_deg) == 180, 180, -one.legs.twist_deg)
    assert other.legs.twist_deg == pytest.approx(turned)
    assert np.cos(np.radians(legs.twist_deg - turned)) == pytest.approx(np.ones(len(turned)))
    axis = "xyz".index(plane)
    middle = (one.nodes_mm + other.nodes_mm) / 2
    assert middle[:, axis] == pytest.approx(np.full(len(middle), 12.5))
    assert np.delete(other.nodes_mm, axis, 1) == pytest.approx(np.delete(one.nodes_mm, axis, 1))


def test_a_mirrored_line_is_made_from_the_same_tube() -> None:
    """Cut length, marks and dial settings are the same to the last figure; only the turns differ."""
    one = line("six")
    left, right = (mark_out(SHOP, CAL, each) for each in (one, mirrored(one, "right")))
    assert right.cut_length_mm == pytest.approx(left.cut_length_mm, abs=1e-9)
    assert right.trim_mm == left.trim_mm
    for column in ("mark_mm", "dial_deg", "angle_deg", "start_mm"):
        assert right.marks[column].to_numpy() == pytest.approx(left.marks[column].to_numpy(), abs=1e-9)
    assert right.marks["twist_deg"].to_numpy() == pytest.approx(-left.marks["twist_deg"].to_numpy())


@given(st.sampled_from("xyz"), st.floats(-500, 500), st.sampled_from(list(SHAPES)))
def test_twice_mirrored_is_the_same_line(plane: str, at_mm: float, shape: str) -> None:
    """The mirror image of the mirror image lies where the line lay."""
    one = line(shape)
    again = mirrored(mirrored(one, "other", plane, at_mm=at_mm), shape, plane, at_mm=at_mm)
    assert again.nodes_mm == pytest.approx(one.nodes_mm, abs=1e-9)
    assert again.legs.twist_deg.tolist() == one.legs.twist_deg.tolist()


def test_everything_else_goes_along() -> None:
    """Tube, bender, service, ends, trim, labels and nodes that the line passes straight through stay; the note names the original."""
    one = line_from_nodes(
        "left", [[0, 5, 0], [20, 5, 0], [50, 5, 0], [50, 40, 0]], tube="steel", bender="small", service="brake", end_a="double",
        end_b="bubble", trim_at="A", note="first", labels=["union", "clip", "", "hose"],
    )  # fmt: skip
    other = mirrored(one, "right")
    for name in ("tube", "bender", "service", "end_a", "end_b", "trim_at", "labels"):
        assert getattr(other, name) == getattr(one, name)
    assert (other.line, other.note) == ("right", "mirror image of left; first")
    assert other.nodes_mm.tolist() == [[0, -5, 0], [20, -5, 0], [50, -5, 0], [50, -40, 0]]
    assert one.line == "left"


@pytest.mark.parametrize(
    ("words", "said"),
    [(("r", "w"), "plane is 'w'; it is the axis"), (("a/b", "y"), "none of < > : "), (("", "y"), "at least one letter")],
)
def test_what_cannot_be_mirrored_is_told(words: tuple, said: str) -> None:
    """Another plane, or a name that no file can carry."""
    with pytest.raises(ValueError, match=said):
        mirrored(line_from_legs("l", [9, 9], [90], [0], tube="t", bender="b"), *words)


def test_a_mirror_stands_somewhere() -> None:
    """Its place on the axis is a number."""
    with pytest.raises(ValueError, match="at_mm is nan"):
        mirrored(line("one"), "r", at_mm=float("nan"))
