"""The bends of one line in the order in which they are made: which end leads, and how the hands turn the tube.

Marks stand in the order of the tube, from end A to end B. What is done at the vice stands in
the order of work, which may be another one; every turn is told from the bend *made* before.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise

import numpy as np

from bendcal.twists import clock_deg, wrap_deg

__all__ = ["WorkStep", "order_words", "side_words", "turn_words", "work_steps"]


@dataclass(frozen=True)
class WorkStep:
    """One bend, at its turn.

    Attributes
    ----------
    bend : its number, from end A
    feed : the end that leads into the bender, ``A`` or ``B``
    line_deg : where the line drawn along the tube (on the inside of bend 1) has to be, from the side to which
        the tube bends, positive clockwise seen from end A looking towards B
    turn_deg : how far to turn the tube after the bend made before, same sign; None for the first bend, and where
        the tube is turned end for end first
    is_first : whether no bend was made before
    """

    bend: int
    feed: str
    line_deg: float
    turn_deg: float | None
    is_first: bool

    @property
    def clock_deg(self) -> float:
        """Where round the tube the bend's inside faces, from that of bend 1."""
        return float(wrap_deg(-self.line_deg))

    @property
    def words(self) -> str:
        """What the hands do to the tube before this bend, in few words, seen from end A looking towards B."""
        return turn_words(self)


def work_steps(twist_deg: Sequence[float], order: Sequence[int], feed: Sequence[str]) -> tuple[WorkStep, ...]:
    """The bends of a line one after another.

    Parameters
    ----------
    twist_deg : (n,) twists of the finished line, from end A to end B [deg]
    order : the bends' numbers, from 1, in the order in which they are made
    feed : (n,) for each bend *from end A to end B* the end that leads, ``A`` or ``B``

    Raises
    ------
    ValueError : where `order` does not name each bend once

    Examples
    --------
    An offset made from end B on: bend 2 first, then half a turn, then bend 1.

    >>> [(step.bend, step.words) for step in work_steps([0, 180], (2, 1), "AA")]
    [(2, 'line at 180.0° clockwise'), (1, 'half a turn')]
    """
    n = len(twist_deg)
    if sorted(order) != list(range(1, n + 1)):
        raise ValueError(f"order is {tuple(order)!r}; it must name each of the {n} bends once, by its number from end A.")
    line = np.atleast_1d(wrap_deg(-clock_deg(twist_deg))) if n else np.zeros(0)
    steps = []
    for i, bend in enumerate(order):
        last = order[i - 1] - 1 if i else None
        turned = last is None or feed[last] != feed[bend - 1]
        turn = None if turned else float(wrap_deg(line[bend - 1] - line[last]))
        steps.append(WorkStep(int(bend), str(feed[bend - 1]), float(line[bend - 1]), turn, i == 0))
    return tuple(steps)


def turn_words(step: WorkStep) -> str:
    """How to turn the tube before a bend, to a tenth of a degree, seen from end A looking towards B.

    After the tube is put end for end there is no bend to turn from: then it is said where its line has to be.
    """
    if step.turn_deg is None:
        at = _tenth(step.line_deg)
        line = f"line at {side_words(at)}" if at else "line on the inside"
        return line if step.is_first else f"end for end; {line}"
    turn = _tenth(step.turn_deg)
    return "no turn" if turn == 0 else "half a turn" if abs(turn) == 180 else side_words(turn)


def order_words(steps: Sequence[WorkStep]) -> str:
    """The order as a person would say it.

    Examples
    --------
    >>> order_words(work_steps([0, 90, 90], (3, 1, 2), "BBA"))
    'bend 3 with end A leading; turn the tube end for end, then bends 1 and 2 in this order with end B leading'
    >>> order_words(work_steps([0, 90, 90], (3, 2, 1), "BBB"))
    'bends 3 to 1 in this order with end B leading'
    """
    runs = (list(run) for _, run in groupby(steps, key=lambda step: step.feed))
    return "; turn the tube end for end, then ".join(f"{_listed([step.bend for step in run])} with end {run[0].feed} leading" for run in runs)


def _listed(bends: list[int]) -> str:
    if len(bends) == 1:
        return f"bend {bends[0]}"
    way = {b - a for a, b in pairwise(bends)}
    if len(bends) > 2 and way in ({1}, {-1}):
        return f"bends {bends[0]} to {bends[-1]} in this order"
    return f"bends {', '.join(map(str, bends[:-1]))} and {bends[-1]} in this order"


def _tenth(turn_deg: float) -> float:
    """Rounded first and wrapped afterwards: −179.98° is half a turn."""
    return float(wrap_deg(round(turn_deg, 1)))


def side_words(turn_deg: float) -> str:
    """How far and which way round, such as ``25.9° clockwise``."""
    return f"{abs(turn_deg):.1f}° {'clockwise' if turn_deg > 0 else 'anticlockwise'}"
