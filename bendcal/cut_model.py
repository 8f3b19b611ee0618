"""Which bar each cut is best taken from: the whole-number programme behind a cut list."""

from __future__ import annotations

import time
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

__all__ = ["best_bars", "rest_mm", "waste_mm"]

_SAME_MM = 1e-6  # of sums of lengths
_SLACK_MM = 1e-3  # so much may a stage give up of what the stages before it gained


def rest_mm(stock_mm: float, length_mm: Sequence[float], kerf_mm: float) -> float:
    """What is left of a bar [mm]; 0 where the last cut falls away, or takes all that was left.

    >>> rest_mm(100.0, [40.0, 30.0], 2.0), rest_mm(100.0, [69.0, 30.0], 2.0)
    (26.0, 0.0)
    """
    rest = stock_mm - sum(length + kerf_mm for length in length_mm)
    return float(rest) if rest > _SAME_MM else 0.0


def waste_mm(rest: float, usable_mm: float) -> float:
    """What of a rest is thrown away [mm]: all of it if it is shorter than `usable_mm`.

    >>> waste_mm(26.0, 200.0), waste_mm(200.0, 200.0)
    (26.0, 0.0)
    """
    return 0.0 if rest >= usable_mm - _SAME_MM else float(rest)


def best_bars(
    length_mm: np.ndarray, stock_mm: np.ndarray, practice: np.ndarray, *, kerf_mm: float, usable_mm: float, time_limit_s: float
) -> tuple[np.ndarray, bool]:
    """The bar of each cut (-1: none), and whether that is proven to be the best.

    The aims are met one after the other: least length of lines uncut, of practice pieces uncut,
    least waste, fewest bars opened, the shorter bars opened. What is reached of one is a
    condition for the next. Where a rule of thumb does as well as the best, its way is taken, so
    that the answer does not hang on which of several equally good ones a solver comes upon.

    Parameters
    ----------
    length_mm, practice : (n,) cuts [mm], and which are for practice only
    stock_mm : (m,) bars [mm]
    kerf_mm, usable_mm : what a cut of the saw takes, the least rest that is kept [mm]
    time_limit_s : for all aims together [s]

    Examples
    --------
    >>> best_bars(np.array([60.0, 40.0]), np.array([100.0, 70.0]), np.array([False, False]),
    ...           kerf_mm=0.0, usable_mm=50.0, time_limit_s=10.0)
    (array([0, 0]), True)
    """
    model = _Model(length_mm, stock_mm, kerf_mm, usable_mm)
    aims = (
        (model.uncut, length_mm * ~practice), (model.uncut, length_mm * practice), (model.waste, 1.0), (model.opened, 1.0),
        (model.opened, stock_mm),
    )  # fmt: skip
    costs = np.zeros((len(aims), model.size))
    for cost, (where, weights) in zip(costs, aims, strict=True):
        cost[where] = weights
    of, proven, until = _first_fit(length_mm, stock_mm, kerf_mm), True, time.monotonic() + time_limit_s
    for k, cost in enumerate(costs):
        if not cost.any():
            continue
        reached = costs @ model.exact(of)
        if reached[k] <= 0:  # no aim can be met better than wholly
            continue
        found = model.solve(cost, costs[:k], reached[:k] + _SLACK_MM, until - time.monotonic())
        proven &= found.status == 0
        # Whole numbers are read off, and all lengths found anew from them: a solver's rounding stays out.
        if found.x is not None:
            other = model.bars_of(found.x)
            gains = reached - costs @ model.exact(other)
            told = gains[np.abs(gains) > _SLACK_MM]  # the first aim that differs decides
            of = other if told.size and told[0] > 0 else of
    reached = costs @ model.exact(of)
    for keep_mm in (usable_mm, 0.0):
        for bars in (np.arange(len(stock_mm)), np.argsort(stock_mm, kind="stable"), np.unique(of[of >= 0])):
            simple = _first_fit(length_mm, stock_mm, kerf_mm, keep_mm, bars)
            if np.all(costs @ model.exact(simple) <= reached + _SLACK_MM):
                return simple, proven
    return of, proven


def _first_fit(length: np.ndarray, stock: np.ndarray, kerf: float, keep_mm: float = 0.0, bars: np.ndarray | None = None) -> np.ndarray:
    """A way by a rule of thumb: the longest first, each from the first of `bars` that has room for it, with nothing or `keep_mm` over."""
    of, room = np.full(len(length), -1), stock + kerf
    order = np.arange(len(stock)) if bars is None else bars
    for i in np.argsort(-length, kind="stable"):
        over = room[order] - length[i] - kerf
        fits = order[(over >= 0) & ((over <= kerf + _SAME_MM) | (over >= keep_mm + kerf - _SAME_MM))]  # the last cut may fall away
        if fits.size:
            of[i] = fits[0]
            room[fits[0]] -= length[i] + kerf
    return of


class _Model:
    """Variables x (cut i from bar j), uncut i, bar j opened, rest j kept, waste j [mm]; and what binds them."""

    def __init__(self, length: np.ndarray, stock: np.ndarray, kerf: float, usable: float) -> None:
        n, m = len(length), len(stock)
        self.length, self.stock, self.kerf, self.usable = length, stock, kerf, usable
        self.size = n * m + n + 3 * m
        edges = np.cumsum([n * m, n, m, m, m])
        self.uncut, self.opened, self.kept, self.waste = (slice(a, b) for a, b in pairwise(edges))
        x = np.arange(n * m).reshape(n, m)
        y, u, w = (np.arange(s.start, s.stop) for s in (self.opened, self.kept, self.waste))
        rows: list[dict[int, float]] = []
        low, high = [], []

        def bind(row: dict[int, float], at_least: float, at_most: float) -> None:
            rows.append(row)
            low.append(at_least)
            high.append(at_most)

        for i in range(n):  # each cut comes from one bar, or stays uncut
            bind({**{int(k): 1.0 for k in x[i]}, self.uncut.start + i: 1.0}, 1.0, 1.0)
        for j in range(m):
            used = {int(x[i, j]): length[i] + kerf for i in range(n)}
            bind({**used, int(y[j]): -(stock[j] + kerf)}, -np.inf, 0.0)  # the last cut may fall away
            less = {k: -v for k, v in used.items()}  # rest = length − used
            bind({**less, int(y[j]): stock[j], int(u[j]): -(usable + kerf)}, -kerf, np.inf)  # kept: rest ≥ usable
            bind({**less, int(y[j]): stock[j], int(u[j]): -stock[j], int(w[j]): -1.0}, -np.inf, 0.0)  # else it is waste
            bind({int(u[j]): 1.0, int(y[j]): -1.0}, -np.inf, 0.0)
            if j and stock[j] == stock[j - 1]:  # of pieces alike the first is opened first
                bind({int(y[j - 1]): 1.0, int(y[j]): -1.0}, 0.0, np.inf)
        at = [(r, k, v) for r, row in enumerate(rows) for k, v in row.items()]
        r, k, v = (np.array(column) for column in zip(*at, strict=True))
        self.always = LinearConstraint(coo_array((v, (r, k)), shape=(len(rows), self.size)).tocsr(), low, high)
        self.whole = np.ones(self.size)
        self.whole[self.waste] = 0
        self.bounds = Bounds(np.zeros(self.size), np.where(self.whole > 0, 1.0, np.inf))

    def solve(self, cost: np.ndarray, rows: np.ndarray, bounds: np.ndarray, seconds: float):
        """The least of `cost` with each of `rows` at most its bound."""
        held = [LinearConstraint(rows, -np.inf, bounds)] if len(rows) else []
        options = {"time_limit": max(seconds, 0.01), "mip_rel_gap": 0.0}
        return milp(cost, integrality=self.whole, bounds=self.bounds, constraints=[self.always, *held], options=options)

    def bars_of(self, solution: np.ndarray) -> np.ndarray:
        """(n,) the bar of each cut; −1 for none."""
        n, m = len(self.length), len(self.stock)
        x = solution[: n * m].reshape(n, m)
        return np.where(x.max(axis=1) > 0.5, x.argmax(axis=1), -1)

    def exact(self, of: np.ndarray) -> np.ndarray:
        """All variables as they follow from which bar each cut comes from."""
        m = len(self.stock)
        full = np.zeros(self.size)
        for i in np.flatnonzero(of >= 0):
            full[i * m + of[i]] = 1.0
        full[self.uncut] = of < 0
        for j in range(m):
            mine = self.length[of == j]
            if not mine.size:
                continue
            rest = rest_mm(float(self.stock[j]), mine, self.kerf)
            full[self.opened.start + j] = 1.0
            full[self.kept.start + j] = rest >= self.usable - _SAME_MM
            full[self.waste.start + j] = waste_mm(rest, self.usable)
        return full
