"""A line to be made: its nodes, its legs, its words."""

from dataclasses import replace

import numpy as np
import pytest

from bendcal.lines import SERVICES, Line, line_from_legs, line_from_nodes

NODES = [[0, 0, 0], [60, 0, 0], [120, 0, 0], [120, 80, 0], [120, 80, 50]]
LABELS = ("seat A", "clip", "corner", "", "seat B")


def a_line(**changes: object) -> Line:
    """An invented line of two bends with a clip on its first straight."""
    given = {"tube": "t", "bender": "b", "service": "brake", "labels": LABELS, **changes}
    return line_from_nodes("rear axle", NODES, **given)


def test_a_line_from_nodes_keeps_them_as_given() -> None:
    """All nodes are kept, the clip too, while legs and corners leave it out."""
    line = a_line(end_a="flare", note="invented")
    assert line.bends == 2
    assert line.nodes_mm.tolist() == NODES
    assert line.corner_nodes_mm.tolist() == [NODES[0], *NODES[2:]]
    assert line.bend_labels == ("corner", "")
    assert line.legs.leg_mm.tolist() == [120.0, 80.0, 50.0]
    assert (line.service, line.end_a, line.trim_at) == ("brake", "flare", "B")


def test_a_line_from_legs_builds_its_nodes() -> None:
    """Legs alone are laid in the standard frame and have no labels."""
    line = line_from_legs("x", [120, 80, 50], [90, 90], [0, 90], tube="t", bender="b")
    want = [NODES[0], *NODES[2:]]
    np.testing.assert_allclose(line.nodes_mm, want, atol=1e-12)
    np.testing.assert_allclose(line.corner_nodes_mm, want, atol=1e-12)
    assert line.bend_labels == ("", "")
    assert line.service == "other"


def test_both_ways_make_the_same_line() -> None:
    """Nodes and legs of one shape agree in every number."""
    line = a_line()
    again = line_from_legs(
        "x",
        *(vars(line.legs)[n] for n in ("leg_mm", "angle_deg", "twist_deg")),
        tube="t",
        bender="b",
    )
    np.testing.assert_allclose(again.nodes_mm, line.corner_nodes_mm, atol=1e-9)


def test_a_line_cannot_be_changed_but_can_be_copied_with_a_change() -> None:
    """A copy with another note keeps the shape; one with other legs must bring its nodes."""
    line = a_line()
    with pytest.raises(ValueError, match="read-only"):
        line.nodes_mm[0, 0] = 1.0
    assert replace(line, note="n").nodes_mm.tolist() == NODES
    other = line_from_legs("x", [120, 80, 50], [90, 45], [0, 90], tube="t", bender="b").legs
    with pytest.raises(ValueError, match="line rear axle: .*not the same line"):
        replace(line, legs=other)
    assert replace(line, legs=other, nodes_mm=None, labels=()).legs is other


@pytest.mark.parametrize("service", SERVICES)
def test_every_service_is_known(service: str) -> None:
    """The four services are accepted as they are written."""
    assert a_line(service=service).service == service


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"service": "Brake"}, "service is 'Brake', it must be one of brake, clutch, fuel, other"),
        ({"trim_at": "a"}, "trim_at is 'a', it must be A or B"),
        ({"labels": ("one",)}, "line rear axle: 1 labels for 5 nodes"),
    ],
)
def test_what_a_line_may_not_say(changes: dict, words: str) -> None:
    """A refusal names the line, what was found and what may stand there."""
    with pytest.raises(ValueError, match=words):
        a_line(**changes)


@pytest.mark.parametrize(
    "name", ["", "  ", ".hidden", "rear/axle", "a\\b", "c:", "rear ", "x?", "x."]
)
def test_a_name_that_no_file_can_carry(name: str) -> None:
    """The line's file is named after it, so such names are refused, also those that leave the folder."""
    with pytest.raises(ValueError, match="line name .* Choose another name."):
        line_from_nodes(name, NODES, tube="t", bender="b")


def test_a_bad_node_is_named_with_its_line() -> None:
    """The line, the node as a person counts it and its label stand in the message."""
    nodes = [*NODES[:3], NODES[2], *NODES[3:]]
    with pytest.raises(ValueError, match=r"line rear: nodes 3 \(c\) and 4 \(d\) lie at the same"):
        line_from_nodes("rear", nodes, tube="t", bender="b", labels=("a", "b", "c", "d", "e", "f"))
    with pytest.raises(ValueError, match="line rear: bend 1 is 200 degrees"):
        line_from_legs("rear", [10, 10], [200], [0], tube="t", bender="b")
    with pytest.raises(ValueError, match="line rear: 3 labels for 4 nodes"):
        legs = line_from_legs("x", [9, 9, 9], [90, 90], [0, 0], tube="t", bender="b").legs
        Line("rear", "t", "b", "fuel", "", "", "A", "", legs, None, ("a", "b", "c"))
