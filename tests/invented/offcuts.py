"""Offcuts as an invented person cuts, marks, bends and measures them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .bender import Bends, InventedBender, InventedTube, bend

CROSSING = {"centre": 0.0, "outside": 1.0, "inside": -1.0}


@dataclass(frozen=True)
class InventedTool:
    """An instrument: normal scatter of `sd`, then the nearest `step`.

    >>> float(InventedTool("rule", "length", 0.5, 0.0).read(12.3))
    12.5
    """

    tool: str
    measures: str
    step: float
    sd: float

    def read(self, truth, rng=None):
        """Readings of true values of any shape; without `rng` only the step acts."""
        truth = np.asarray(truth, dtype=float)
        value = truth if rng is None else truth + self.sd * rng.normal(size=truth.shape)
        if not self.step:
            return value
        return np.round(self.step * np.round(value / self.step), 9)


PROTRACTOR = InventedTool("protractor", "angle", 0.5, 0.4)
RULE = InventedTool("steel-rule", "length", 0.5, 0.3)


def true_legs(bends: Bends, length_mm, mark_mm):
    """True (leg_a, leg_b) to the crossing of the centrelines: walked along the bent piece.

    The straight before the arc, then the tangent to the crossing; the straight that is left of
    the piece after the arc has taken its tube, with the same tangent.
    """
    turn = np.radians(bends.angle_deg)
    tangent = bends.radius_mm * np.tan(turn / 2)
    before = np.asarray(mark_mm, dtype=float) + bends.start_mm
    after = np.asarray(length_mm, dtype=float) - before - bends.developed_radius_mm * turn
    if np.any(before < 0) or np.any(after < 0):
        raise ValueError("An offcut is too short: the bend would run off its end.")
    return before + tangent, after + tangent


def bend_offcuts(
    bender: InventedBender,
    tube: InventedTube,
    dial_deg,
    length_mm,
    mark_mm,
    rng,
    *,
    angle_tool: InventedTool = PROTRACTOR,
    length_tool: InventedTool = RULE,
    legs_to="centre",
    made: int = 0,
    sawing_sd_mm: float = 0.6,
) -> dict[str, np.ndarray]:
    """Bend and measure one offcut per dial angle: the columns of offcuts.csv that are numbers, and truths.

    dial_deg, length_mm, mark_mm : shape (k,) or one number for all; the length asked of the saw
    legs_to : one of centre, outside, inside; or k of them
    Keys that begin with ``true_`` are what no one in the shop can know.
    """
    dial, asked, mark = np.broadcast_arrays(
        *(np.atleast_1d(np.asarray(v, dtype=float)) for v in (dial_deg, length_mm, mark_mm))
    )
    legs_to = np.broadcast_to(np.atleast_1d(legs_to), dial.shape)
    length = asked + sawing_sd_mm * rng.normal(size=dial.shape)
    bends = bend(bender, tube, dial, rng, made=made)
    leg_a, leg_b = true_legs(bends, length, mark)
    shift = np.array([CROSSING[to] for to in legs_to]) * tube.od_mm / 2 * np.tan(np.radians(bends.angle_deg) / 2)
    return {
        "length_mm": length_tool.read(length, rng),
        "mark_mm": mark.copy(),
        "dial_deg": dial.copy(),
        "angle_deg": angle_tool.read(bends.angle_deg, rng),
        "leg_a_mm": length_tool.read(leg_a + shift, rng),
        "leg_b_mm": length_tool.read(leg_b + shift, rng),
        "legs_to": legs_to.copy(),
        "true_angle_deg": bends.angle_deg,
        "true_leg_a_mm": leg_a,
        "true_leg_b_mm": leg_b,
        "true_length_mm": length,
    }


def flattened(columns: dict[str, np.ndarray], od_mm: float, radius_mm: float, rng, *, share: float = 0.035, scatter: float = 0.004, least_deg: float = 30.0):
    """Caliper readings in the middle of the bends: (smallest, largest), each a list with None for bends of less than `least_deg`.

    Where an arc is long the groove lets the section flatten by `share` of its diameter; short ones are kept round by the straights beside
    them, and it comes out a third as much wider as it comes out flatter. A dial caliper of 0.05 mm.
    """
    arc = radius_mm * np.radians(columns["true_angle_deg"])
    flat = (share + scatter * rng.normal(size=arc.shape)) * (1 - np.exp(-arc / (1.2 * od_mm)))
    caliper = InventedTool("dial caliper", "length", 0.05, 0.02)
    read = caliper.read(od_mm * (1 - flat), rng), caliper.read(od_mm * (1 + flat / 3), rng)
    return tuple([float(v) if a >= least_deg else None for v, a in zip(values, columns["angle_deg"], strict=True)] for values in read)


def rows(columns: dict[str, np.ndarray], *, bender: str, tube: str, prefix: str, **same) -> list[dict]:
    """Columns of bend_offcuts as rows of offcuts.csv, numbered from 1 behind `prefix`; truths are left out."""
    shown = [name for name in columns if not name.startswith("true_")]
    return [
        {"offcut": f"{prefix}{i + 1}", "bender": bender, "tube": tube}
        | {name: columns[name][i].item() if isinstance(columns[name][i], np.generic) else columns[name][i] for name in shown}
        | same
        for i in range(len(columns["dial_deg"]))
    ]
