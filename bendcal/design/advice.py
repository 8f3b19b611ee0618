"""Advice: which offcut to bend next, or that no further one pays, in plain words."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from bendcal.design.optimal import gains
from bendcal.design.prospects import READINGS, Aim, Prospects
from bendcal.prior import UNKNOWNS

__all__ = ["Advice", "Plan", "next_sentence", "plan_sentence", "stop_sentence"]


@dataclass(frozen=True, eq=False)
class Advice:
    """Which offcuts to bend next.

    Attributes
    ----------
    ranked : what to bend, in this order: bender, tube, dial_deg, readings (``"angle"`` or
        ``"angle and legs"``), line (the one that it helps most), that line's end_u_before_mm,
        end_u_after_mm, trim_before_mm, trim_after_mm, and gain: the share of all lines'
        law-caused variance of today that the piece takes away. "Before" is with the pieces
        of the rows above bent already
    alone : the same columns for each piece as if no other followed, the best first: the best
        settings of every pair's dial
    lines : how each line stands today: line, bender, tube, end_u_mm, trim_mm, and
        end_u_least_mm, trim_least_mm, which no offcut can go below
    stop : True where further offcuts no longer pay
    sentence : what to do, in plain words

    An ``end_u`` is the standard uncertainty of the free end's place, the root of its summed
    variances in all three directions; a ``trim`` is not yet rounded up to whole millimetres.
    """

    ranked: pd.DataFrame
    alone: pd.DataFrame
    lines: pd.DataFrame
    stop: bool
    sentence: str

    def __str__(self) -> str:
        return self.sentence


@dataclass(frozen=True, eq=False)
class Plan:
    """A set of offcuts to bend, in an order that teaches the most the soonest.

    Attributes
    ----------
    offcuts : step, bender, tube, dial_deg, readings, gain (share of the law-caused variance that
        was there at the start), largest_trim_mm (of all lines, once the piece is bent)
    lines : line, bender, tube, end_u_before_mm, end_u_after_mm, trim_before_mm, trim_after_mm,
        and end_u_least_mm, trim_least_mm, which no offcut can go below
    sentence : the plan in plain words
    """

    offcuts: pd.DataFrame
    lines: pd.DataFrame
    sentence: str

    def __str__(self) -> str:
        return self.sentence


def _end_of(aim: Aim) -> str:
    return f"{aim.name}'s end" if aim.is_line else f"where {aim.name} end"


def _because(prospects: Prospects, i: int, aim: Aim) -> str:
    """Why candidate `i` helps this line, from what it lowers."""
    bender, tube = prospects.table.bender[i], prospects.table.tube[i]
    law = prospects.laws[bender, tube]
    if (bender, tube) != aim.pair:
        if bender == aim.pair[0]:
            return f"what {bender} itself does is the same for {aim.pair[1]}"
        return f"{tube} springs back alike on {aim.pair[0]}" if tube == aim.pair[1] else "it tells of what they share"
    if not law.n_offcuts:
        return f"no offcut of {tube} on {bender} has been bent yet"
    low, high = law.angle_range_deg
    needed, angle = aim.angles_deg, prospects.table.angle_deg[i]
    if (angle > high + 1 and needed.max() > high + 1) or (angle < low - 1 and needed.min() < low - 1):
        far = needed.max() if angle > high else needed.min()
        return f"its bend of {far:.0f}° lies beyond what the offcuts covered ({low:.0f}° to {high:.0f}°)"
    k = len(UNKNOWNS) * list(prospects.laws).index(aim.pair)
    parts = []
    for columns in ((k, k + 1, k + 5), (k + 2, k + 3, k + 4)):
        only = np.zeros_like(aim.by_law)
        only[:, columns] = aim.by_law[:, columns]
        parts.append(gains(prospects.covariance, prospects.design[i : i + 1], prospects.noise[i : i + 1], aim=only)[0])
    if parts[0] >= parts[1]:
        known = law.mean_angle(prospects.table.dial_deg[i]).u
        return f"it hangs most on the finished angle, which at this setting is known to ±{known:.1f}° (one standard uncertainty)"
    return "it hangs most on where the bend starts and how much tube it uses"


def next_sentence(prospects: Prospects, i: int, row: pd.Series) -> str:
    """What to bend next and why.

    Parameters
    ----------
    prospects : what there was to choose from
    i : the row of its table that was chosen
    row : its row in the ranking
    """
    aim = next(aim for aim in prospects.aims if aim.name == row.line)
    measure = "measure both legs" if row.readings == READINGS[1] else "its angle is enough, for the legs would add little"
    return (
        f"Bend next: {row.tube} to {row.dial_deg:g}° on the dial of {row.bender}, and {measure}: it lowers the uncertainty of "
        f"{_end_of(aim)} {_fall(row.end_u_before_mm, row.end_u_after_mm)}, because {_because(prospects, i, aim)}."
    )


def _fall(before_mm: float, after_mm: float) -> str:
    """From … to …, with as many decimals as show the difference."""
    decimals = 1 if abs(before_mm - after_mm) >= 0.1 else 2
    return f"from {before_mm:.{decimals}f} to {after_mm:.{decimals}f} mm"


def stop_sentence(
    prospects: Prospects, lines: pd.DataFrame, then_end_mm: np.ndarray, then_trim_mm: np.ndarray, *, ahead: int, pays_mm: float
) -> str:
    """Why no further offcut pays.

    Parameters
    ----------
    lines : as in :class:`Advice`
    then_end_mm, then_trim_mm : (L,) each line's end_u and trim after the best `ahead` pieces
    ahead, pays_mm : how many pieces were looked ahead, and what they would have to save [mm]
    """
    left = "What is left comes from single bends, marks and twists, which no offcut lowers."
    slow = "What the law itself leaves uncertain goes down only slowly from here."
    begin = f"Stop: the best {ahead} further offcuts together would shrink"
    if not prospects.aims[0].is_line:
        at = int(np.argmax(lines.end_u_mm - then_end_mm))
        what = f"how far single bends may be off by under {pays_mm:g} mm ({lines.line[at]}: {_fall(lines.end_u_mm[at], then_end_mm[at])})"
    else:
        at = int(np.argmax(lines.trim_mm - then_trim_mm))
        which = f"the trim allowance of {lines.line[at]}" if len(lines) == 1 else "every trim allowance"
        what = f"{which} by under {pays_mm:g} mm ({lines.line[at]}: {_fall(lines.trim_mm[at], then_trim_mm[at])})"
    alone = [pair for pair in dict.fromkeys(aim.pair for aim in prospects.aims) if prospects.laws[pair].n_offcuts == 1]
    guard = "".join(f" Only one offcut of {tube} was bent on {bender}: a second would show if it was misread." for bender, tube in alone)
    return f"{begin} {what}. {left if lines.end_u_least_mm[at] ** 2 >= 0.5 * lines.end_u_mm[at] ** 2 else slow}{guard}"


def plan_sentence(prospects: Prospects, plan: pd.DataFrame, lines: pd.DataFrame, *, bent: int, target_trim_mm: float | None) -> str:
    """The plan in words.

    Parameters
    ----------
    prospects : what there was to choose from
    plan, lines : the tables of :class:`Plan`
    bent : how many offcuts there are already
    target_trim_mm : what was asked for, or None
    """
    is_line = prospects.aims[0].is_line
    before, after = ("trim_before_mm", "trim_after_mm") if is_line else ("end_u_before_mm", "end_u_after_mm")
    what = "trim allowance" if is_line else "uncertainty of where a bend's legs end"
    largest = lines.loc[lines[after].idxmax()]
    missed = ""
    if target_trim_mm is not None and lines.trim_after_mm.max() > target_trim_mm:
        least = lines.loc[lines.trim_least_mm.idxmax()]
        why = (
            f": single bends, marks and twists alone ask for {least.trim_least_mm:.1f} mm on {least.line}"
            if least.trim_least_mm > target_trim_mm
            else " with so many"
        )
        missed = f" A trim of {target_trim_mm:g} mm is not reached{why}."
    if not len(plan):
        return f"Bend no further offcut: the largest {what} is {largest[after]:.1f} mm ({largest.line}).{missed}"
    groups = []
    for (bender, tube), pieces in plan.groupby(["bender", "tube"], sort=False):
        dials = [
            f"{f'{times} times ' if times > 1 else ''}{dial:g}°{'' if readings == READINGS[1] else ' (angle only)'}"
            for (dial, readings), times in pieces.groupby(["dial_deg", "readings"]).size().items()
        ]
        groups.append(f"{len(pieces)} of {tube} on {bender} at {', '.join(dials)}")
    count = "one offcut" if len(plan) == 1 else f"{len(plan)} offcuts"
    return (
        f"{'Bend' if bent else 'To begin, bend'} {count}: {'; '.join(groups)}. "
        f"The largest {what} falls {_fall(lines[before].max(), largest[after])} ({largest.line}).{missed}"
    )
