"""Can it be bent: the search beside trying every order the plain way, and how its cost grows with the bends.

Lines are invented: random legs, angles and twists, in a bender with a plate, a handle, a lever and a bench.
The plain way steps through every stroke (a point each 2 mm of tube, 60 places of the lever) and tries all n!·2ⁿ
orders with either end leading at each bend. Printed, as ratios that travel between machines: how often both give
the same answer, how many times longer the plain way takes when it samples each distinct trial once (measured) and
when it steps through every order anew (reckoned from that), and how the search's time grows, without nuts on the tube and with one.

    python tests/benchmarks/feasible.py [lines of each size, 12]
"""

from __future__ import annotations

import sys
from dataclasses import replace
from math import factorial
from pathlib import Path
from time import perf_counter

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from bendcal.bodies import BenderBody  # noqa: E402
from bendcal.feasible.nuts import Nut  # noqa: E402
from bendcal.feasible.orders import Way, trials_of  # noqa: E402
from bendcal.feasible.planning import KEEP_MM, PLENTY_MM  # noqa: E402
from bendcal.feasible.searching import easiest  # noqa: E402
from bendcal.feasible.trials import Trials  # noqa: E402
from bendcal.solids import Solid  # noqa: E402
from tests.dense import all_orders, body_clearance_mm, random_piece, self_clearance_mm  # noqa: E402

GRIP_MM = 10.0
BENCH = [
    BenderBody("small", "die plate", Solid("box", (-12, 4, -9), (30, 4, -9), width_mm=30, height_mm=6)),
    BenderBody("small", "handle", Solid("capsule", (-20, 25, -20), (-220, 60, -20), diameter_mm=20)),
    BenderBody("small", "bench", Solid("wall", (0, 0, -70), (0, 0, 0))),
    BenderBody("small", "lever", Solid("capsule", (20, -32, -12), (220, -45, -12), diameter_mm=16), moves="lever"),
]


def search(piece):
    """The search: (what it found, seconds, trials)."""
    start = perf_counter()
    trials = Trials(piece, BENCH, GRIP_MM, KEEP_MM, PLENTY_MM)
    found = easiest(piece.bends, ["AB"] * piece.bends, trials.ask, trials.passes, plenty_mm=PLENTY_MM)
    return found, perf_counter() - start, trials.asked


def plain_way(piece):
    """Every order, each distinct trial sampled once: (least trouble or None, seconds, whether a trial is too close to call)."""
    start = perf_counter()
    clear = {}
    for made in range(1 << piece.bends):
        for bend in range(piece.bends):
            for feed in "AB" if not made >> bend & 1 else "":
                sides = [
                    body_clearance_mm(piece, bend, feed, made, held, BENCH, GRIP_MM, steps=60, step_mm=2.0, beside_mm=KEEP_MM)
                    for held in (True, False)
                ]
                clear[bend, feed, made] = min(*sides, self_clearance_mm(piece, bend, feed, made, steps=60, step_mm=2.0))
    ways = [
        Way(order, feed, 0.0).trouble for order, feed in all_orders(piece.bends)
        if all(clear[tuple(trial)] >= KEEP_MM for trial in trials_of(order, feed))
    ]  # fmt: skip
    return min(ways, default=None), perf_counter() - start, any(abs(value - KEEP_MM) < 0.4 for value in clear.values())


def against_all_orders(lines: int) -> None:
    """Small lines, both ways."""
    print("bends  orders   same answer  too close to call  each trial sampled once  every order anew")
    for bends in (1, 2, 3, 4):
        rng = np.random.default_rng(bends)
        same, close, quick, slow = 0, 0, 0.0, 0.0
        for _ in range(lines):
            piece = random_piece(rng, bends, straight=(30, 130))
            found, seconds, _ = search(piece)
            trouble, plain_seconds, unsure = plain_way(piece)
            best = found.ways[0].trouble if found.ways else None
            close += unsure and best != trouble
            same += best == trouble
            quick, slow = quick + seconds, slow + plain_seconds
        orders = factorial(bends) * 2**bends
        distinct = bends * 2**bends
        anew = slow / quick * orders * bends / distinct
        print(f"{bends:5d}  {orders:6d}  {same:6d} of {lines:<3d}  {close:17d}  {slow / quick:22.0f}×  {anew:15.0f}×")


def growth(lines: int) -> None:
    """The search alone, up to twelve bends."""
    piece = random_piece(np.random.default_rng(0), 4, straight=(30, 130))
    start = perf_counter()
    for held in (True, False):
        body_clearance_mm(piece, 1, "A", 0b1101, held, BENCH, GRIP_MM, steps=60, step_mm=2.0)
    self_clearance_mm(piece, 1, "A", 0b1101, steps=60, step_mm=2.0)
    one = perf_counter() - start
    print("\nTime as a multiple of one trial of four bends sampled the plain way:")
    print("bends (n: a nut on end A)\n       can be bent  plain order  turned  trials: median, most  of       time: median, most       seconds here: median, most")
    for bends, nutted in ((2, False), (4, False), (6, False), (8, False), (10, False), (10, True), (12, False)):
        rng = np.random.default_rng(bends)
        pieces = [random_piece(rng, bends, straight=(30, 130)) for _ in range(lines)]
        if nutted:  # an 11 mm hexagon, 15 mm long, on end A
            pieces = [replace(piece, nuts=(Nut("A", 15.0, 12.7, 5.0, float(piece.straight_mm[0]) - 5.0),), in_bender_mm=(GRIP_MM, GRIP_MM)) for piece in pieces]
        told = [search(piece) for piece in pieces]
        seconds, asked = np.array([t for _, t, _ in told]), np.array([n for _, _, n in told])
        ways = [found.ways[0] for found, _, _ in told if found.ways]
        print(
            f"{bends:5d}{'n' if nutted else ' '} {len(ways):5d} of {lines:<3d}  {sum(w.trouble == 0 for w in ways):11d}  {sum(w.turns > 0 for w in ways):6d}  "
            f"{np.median(asked):8.0f}  {asked.max():8d}    {bends * 2**bends:6d}  {np.median(seconds) / one:8.1f}×  {seconds.max() / one:8.1f}×      "
            f"{np.median(seconds):8.2f}  {seconds.max():8.2f}"
        )


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 12
    against_all_orders(count)
    growth(count)
