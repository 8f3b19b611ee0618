"""The order of the bends: the search against every order there is, on tables of made-up trials."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bendcal.feasible.orders import Way, plain_orders, trials_of
from bendcal.feasible.searching import easiest
from bendcal.feasible.trials import Clear, Trial
from tests.dense import all_orders

PLENTY = 25.0


class Table:
    """Made-up answers: each trial has a clearance of its own, by chance and the same each time it is asked."""

    def __init__(self, bends: int, seed: int, share: float) -> None:
        rng = np.random.default_rng(seed)
        self.clear = {
            Trial(k, feed, made): float(rng.uniform(1, 40) if rng.uniform() < share else -1.0)
            for made in range(1 << bends) for k in range(bends) if not made >> k & 1 for feed in "AB"
        }  # fmt: skip
        self.asked: set[Trial] = set()

    def ask(self, trials: list[Trial]) -> list[Clear]:
        self.asked |= set(trials)
        return [Clear(self.clear[t], self.clear[t], "", 0.0) for t in trials]

    @staticmethod
    def passes(clear: Clear) -> bool:
        return clear.low_mm >= 1.0

    def best_of_all(self, bends: int, allowed) -> tuple[int, float] | None:
        """The least trouble of any order that can be made and, among those, the largest least clearance that counts."""
        found = []
        for order, feed in all_orders(bends):
            clears = [self.clear[t] for t in trials_of(order, feed)]
            if min(clears) >= 1.0 and all(letter in allowed[bend] for bend, letter in zip(order, feed, strict=True)):
                found.append((Way(order, feed, 0.0).trouble, -min(*clears, PLENTY) if len(clears) > 1 else -min(clears[0], PLENTY)))
        return (min(found)[0], -min(found)[1]) if found else None


def test_the_plain_orders_of_three_bends() -> None:
    """Either way, with either end leading all the time."""
    orders = plain_orders(3)
    assert sorted(orders) == sorted([((0, 1, 2), tuple("AAA")), ((0, 1, 2), tuple("BBB")), ((2, 1, 0), tuple("AAA")), ((2, 1, 0), tuple("BBB"))])
    assert orders[0] == ((0, 1, 2), tuple("AAA"))
    assert [feed for _, feed in plain_orders(1)] == [("A",), ("B",)]


def test_trouble_counts_turns_twice_and_jumps_once() -> None:
    """1, 2, 4, 3 with one change of end: one jump (2 to 4), one turn."""
    way = Way((0, 1, 3, 2), ("A", "A", "B", "B"), 5.0)
    assert (way.turns, way.jumps, way.trouble) == (1, 1, 3)


def test_each_trial_of_an_order_knows_what_is_made_before() -> None:
    """Bits of the bends made so far."""
    assert [trial.made for trial in trials_of((1, 2, 0), "ABA")] == [0, 0b010, 0b110]


@pytest.mark.parametrize("bends", [1, 2, 3, 4])
@pytest.mark.parametrize("share", [0.3, 0.5, 0.7, 0.95])
@given(st.integers(0, 10**6))
@settings(max_examples=8)
def test_the_search_finds_what_trying_every_order_finds(bends: int, share: float, seed: int) -> None:
    """The same least trouble and the same clearance, or both find none."""
    table = Table(bends, seed, share)
    allowed = ["AB"] * bends
    expected = table.best_of_all(bends, allowed)
    found = easiest(bends, allowed, table.ask, table.passes, plenty_mm=PLENTY)
    assert found.complete
    if expected is None:
        assert found.ways == ()
        return
    best = found.ways[0]
    assert (best.trouble, min(best.least_mm, PLENTY)) == (expected[0], pytest.approx(expected[1]))
    for way in found.ways:
        assert sorted(way.order) == list(range(bends))
        assert all(table.clear[trial] >= 1.0 for trial in trials_of(way.order, way.feed))


@given(st.integers(0, 10**6))
@settings(max_examples=20)
def test_an_end_that_may_not_lead_never_leads(seed: int) -> None:
    """Letters that are barred at a bend are left out, and what is left is searched as thoroughly."""
    rng = np.random.default_rng(seed)
    allowed = ["A" if x < 0.25 else "B" if x < 0.5 else "AB" for x in rng.uniform(size=4)]
    table = Table(4, seed, 0.8)
    found = easiest(4, allowed, table.ask, table.passes, plenty_mm=PLENTY)
    expected = table.best_of_all(4, allowed)
    assert bool(found.ways) == (expected is not None)
    if found.ways:
        best = found.ways[0]
        assert best.trouble == expected[0]
        assert all(letter in allowed[bend] for bend, letter in zip(best.order, best.feed, strict=True))


def test_a_bend_that_may_be_made_with_no_end_leading_ends_the_search() -> None:
    """Nothing is found, and that is certain."""
    table = Table(3, 0, 1.0)
    found = easiest(3, ["AB", "", "AB"], table.ask, table.passes)
    assert found == found.__class__((), True)


def test_where_a_plain_order_works_nothing_else_is_tried() -> None:
    """Ten bends: the forty trials of the plain orders, of ten thousand."""
    table = Table(10, 1, 1.0)
    found = easiest(10, ["AB"] * 10, table.ask, table.passes)
    assert len(table.asked) == 40
    assert len(found.ways) == 4 and found.ways[0].trouble == 0


def test_a_line_whose_last_bend_always_hits_is_given_up_early() -> None:
    """Nine bends of ten can be made in any order, the finished line in none: seen from its end, not after all orders."""
    table = Table(10, 2, 1.0)
    full = (1 << 10) - 1
    for trial in table.clear:
        if trial.made | 1 << trial.bend == full:
            table.clear[trial] = -1.0
    found = easiest(10, ["AB"] * 10, table.ask, table.passes)
    assert found.ways == () and found.complete
    assert len(table.asked) < 1500


@pytest.mark.parametrize("seed", range(6))
def test_among_ways_of_equal_trouble_the_clearest_is_found(seed: int) -> None:
    """Every trial passes but the last of the plain orders: many ways of trouble 1, and the one with the largest least clearance."""
    table = Table(4, seed, 1.0)
    for order, feed in plain_orders(4):
        table.clear[trials_of(order, feed)[-1]] = -1.0
    best = easiest(4, ["AB"] * 4, table.ask, table.passes, plenty_mm=PLENTY).ways[0]
    assert (best.trouble, best.least_mm) == table.best_of_all(4, ["AB"] * 4)


def test_sets_that_lead_nowhere_are_looked_at_once() -> None:
    """Only the very first bend can never be made: 7!·2⁷ ways all fail at their end, and 127 sets of bends are enough to know it."""
    table, calls = Table(7, 5, 1.0), []
    for trial in table.clear:
        if trial.made == 0:
            table.clear[trial] = -1.0

    def counting(trials):
        calls.append(len(trials))
        return table.ask(trials)

    found = easiest(7, ["AB"] * 7, counting, table.passes)
    assert found.ways == () and found.complete
    assert len(calls) <= 128


def test_a_needle_in_the_haystack_is_found() -> None:
    """Eight bends, one order that works and no other: 8!·2⁸ = ten million orders."""
    table = Table(8, 3, 0.0)
    order, feed = (4, 1, 0, 7, 5, 2, 6, 3), tuple("ABBABAAB")
    for trial in trials_of(order, feed):
        table.clear[trial] = 7.0
    found = easiest(8, ["AB"] * 8, table.ask, table.passes)
    assert [(way.order, way.feed, way.least_mm) for way in found.ways] == [(order, feed, 7.0)]


def test_a_search_that_is_broken_off_says_so() -> None:
    """With too few trials allowed nothing is found, and nothing is ruled out."""
    table = Table(8, 4, 0.75)
    for trial in [t for row in (trials_of(*one) for one in plain_orders(8)) for t in row[-1:]]:
        table.clear[trial] = -1.0
    found = easiest(8, ["AB"] * 8, table.ask, table.passes, most=50)
    assert found.ways == () and not found.complete
