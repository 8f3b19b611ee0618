"""The order of work: turns from the bend made before, and the finished shape whatever order is worked."""

import numpy as np
import pytest
from a_line import CAL, LEGS, SHOP, line
from hypothesis import given
from hypothesis import strategies as st
from vice import worked

from bendcal.marks import mark_out
from bendcal.path import Legs, nodes_from_legs
from bendcal.working import order_words, work_steps
from tests.invented.line import fit_onto

N = LEGS.bends


def miss_mm(sheet) -> float:
    """How far the worked tube lies from the line, moved and turned onto it but never mirrored."""
    return fit_onto(worked(sheet), nodes_from_legs(sheet.legs))[1]


def test_a_line_in_its_row_turns_by_minus_each_twist() -> None:
    """The hands turn the tube the other way than the bend planes turn."""
    steps = mark_out(SHOP, CAL, line()).steps
    assert [step.bend for step in steps] == list(range(1, N + 1))
    assert steps[0].turn_deg is None and steps[0].is_first and steps[0].words == "line on the inside"
    assert [step.turn_deg for step in steps[1:]] == pytest.approx([-90.0, 60.0, -150.0, 180.0, 35.0])


def test_a_quarter_turn_by_hand() -> None:
    """The next bend lies 90° clockwise, so the tube goes 90° anticlockwise; made first, the line has to be at the left."""
    assert [step.words for step in work_steps([0, 90], (1, 2), "AA")] == ["line on the inside", "90.0° anticlockwise"]
    assert [step.words for step in work_steps([0, 90], (2, 1), "AA")] == ["line at 90.0° anticlockwise", "90.0° clockwise"]


def test_a_turn_is_told_from_the_bend_made_before_not_from_the_neighbour() -> None:
    """Bends 1, 3, 2: from 1 to 3 both twists at once, from 3 back to 2 the second one the other way."""
    steps = work_steps([0, 30, 40], (1, 3, 2), "AAA")
    assert [step.turn_deg for step in steps] == pytest.approx([None, -70.0, 40.0])


def test_end_for_end_the_line_s_own_place_is_told() -> None:
    """After the tube is turned end for end no turn from the last bend holds: the line's place does, seen from end A as ever."""
    steps = work_steps([0, 90, 90], (1, 2, 3), "AAB")
    assert steps[2].turn_deg is None and steps[2].words == "end for end; line at 180.0° clockwise"


@pytest.mark.parametrize(("turn", "words"), [(179.96, "half a turn"), (-179.98, "half a turn"), (0.04, "no turn"), (12.34, "12.3° anticlockwise")])
def test_words_are_rounded_before_they_are_chosen(turn: float, words: str) -> None:
    """A turn of −179.98° is half a turn, not 180° anticlockwise."""
    assert work_steps([0, turn], (1, 2), "AA")[1].words == words


@pytest.mark.parametrize("order", [(1, 2), (1, 2, 2), (0, 1, 2), (1, 2, 4)])
def test_an_order_that_is_none_is_refused(order: tuple[int, ...]) -> None:
    """Each bend once, by its number from end A."""
    with pytest.raises(ValueError, match="must name each of the 3 bends once, by its number from end A"):
        work_steps([0, 90, 90], order, "AAA")
    with pytest.raises(ValueError, match="must name each of the 6 bends once"):
        mark_out(SHOP, CAL, line(), order=order)


@pytest.mark.parametrize(
    ("order", "feed", "words"),
    [
        ((1,), "A", "bend 1 with end A leading"), ((1, 2), "AA", "bends 1 and 2 in this order with end A leading"),
        ((1, 2, 3, 4), "AAAA", "bends 1 to 4 in this order with end A leading"),
        ((1, 3, 2, 4), "AAAA", "bends 1, 3, 2 and 4 in this order with end A leading"),
        ((2, 1, 4, 3), "AABB", "bends 2 and 1 in this order with end A leading; turn the tube end for end, then bends 4 and 3 in this order with end B leading"),
    ],
)  # fmt: skip
def test_orders_are_said_as_a_person_would(order, feed: str, words: str) -> None:
    """One breath for each end that leads."""
    assert order_words(work_steps([0] + [10] * (len(order) - 1), order, feed)) == words


# --- whatever is worked, the shape is the line's ------------------------------------------------


@given(st.permutations(range(1, N + 1)), st.lists(st.sampled_from("AB"), min_size=N, max_size=N))
def test_any_order_with_any_end_leading_gives_the_line(order: list[int], feed: list[str]) -> None:
    """Hands that do what the steps say, in a bender that stands still: the line's own ends and apexes to 1e-9, not its mirror image."""
    sheet = mark_out(SHOP, CAL, line(), feed=feed, order=order)
    assert miss_mm(sheet) < 1e-9
    assert list(sheet.marks["step"]) == [order.index(k) + 1 for k in range(1, N + 1)]


@given(st.integers(1, 6), st.randoms(use_true_random=False))
def test_lines_of_any_shape_come_out_too(bends: int, random) -> None:
    """Legs, angles and twists at random, an order at random."""
    legs = Legs(
        [random.uniform(90, 200) for _ in range(bends + 1)], [random.uniform(5, 110) for _ in range(bends)],
        [0.0, *[random.uniform(-180, 180) for _ in range(bends - 1)]],
    )  # fmt: skip
    order = random.sample(range(1, bends + 1), bends)
    assert miss_mm(mark_out(SHOP, CAL, line(legs), feed=[random.choice("AB") for _ in range(bends)], order=order)) < 1e-9


def test_turned_the_wrong_way_it_would_be_another_line() -> None:
    """The check can fail: the same steps with the turns of the row give another shape once the order is another."""
    sheet = mark_out(SHOP, CAL, line(), order=(1, 3, 2, 6, 5, 4))
    row = mark_out(SHOP, CAL, line())
    mixed = {step.bend: step.turn_deg for step in row.steps}
    wrong = [type(step)(step.bend, step.feed, step.line_deg, mixed[step.bend], step.is_first) for step in sheet.steps]
    object.__setattr__(sheet, "steps", tuple(wrong))
    assert miss_mm(sheet) > 50


def test_the_table_of_marks_tells_step_and_turn_behind_the_agreed_columns() -> None:
    """By the bends along the tube; no turn before the first one made."""
    marks = mark_out(SHOP, CAL, line(), order=(6, 5, 4, 3, 2, 1)).marks
    assert list(marks.columns[-3:]) == ["note", "step", "turn_deg"]
    assert marks["step"].tolist() == [6, 5, 4, 3, 2, 1]
    assert np.isnan(marks["turn_deg"].iloc[5]) and marks["turn_deg"].iloc[4] == pytest.approx(-35.0)
