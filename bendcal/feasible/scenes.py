"""One moment of a bend as points to draw: the tube in the bender, and where its bodies stand.

Everything is in the bender's frame (see `bodies`); bodies that move with the lever are to be turned about
the die's axis by the scene's stroke.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bendcal.bodies import BenderBody
from bendcal.chain import points_along
from bendcal.feasible.nuts import Nut
from bendcal.feasible.plans import Plan
from bendcal.feasible.stroke import Half, Workpiece, chains_of, in_bender, nut_chains, swing_mm
from bendcal.feasible.trials import Trial, halves_of

__all__ = ["Scene", "scene_of"]

Array = NDArray[np.float64]
_STEP_DEG = 5.0


@dataclass(frozen=True, eq=False)
class Scene:
    """Where everything lies at one moment.

    Attributes
    ----------
    bend, feed : which bend is made, and which end leads
    stroke_deg : how far the lever has gone
    held_mm, bend_mm, swung_mm : (k, 3) [mm] centrelines from the bend outwards: the half that is held, what is wound and what
        is left to wind, the half that swings
    tube_radius_mm : half the tube's diameter
    bodies : the bender's bodies, as measured with the dial at 0
    nuts : what the nuts on the tube are, each with the middles of its two faces, the one nearer to the bend first, (2, 3) [mm]
    """

    bend: int
    feed: str
    stroke_deg: float
    held_mm: Array
    bend_mm: Array
    swung_mm: Array
    tube_radius_mm: float
    bodies: tuple[BenderBody, ...]
    nuts: tuple[tuple[Nut, Array], ...] = ()


def scene_of(piece: Workpiece, plan: Plan, step: int, *, stroke_deg: float | None = None, bodies: tuple[BenderBody, ...] = ()) -> Scene:
    """The scene of one step of a plan.

    Parameters
    ----------
    piece : the tube, from :func:`bendcal.feasible.stroke.workpiece_of` of its mark sheet
    plan : for the line of that sheet
    step : number of the step in the plan's order, from 1
    stroke_deg : how far the lever has gone [deg]; None for where the tube is nearest to something, or the whole stroke
    bodies : the bender's bodies, handed on

    Raises
    ------
    ValueError : for a step that the plan does not have, or a stroke outside its bend's
    """
    if not 1 <= step <= len(plan.steps):
        raise ValueError(f"step is {step}; the plan has steps 1 to {len(plan.steps)}.")
    here = plan.steps[step - 1]
    bend, whole = here.bend - 1, float(piece.stroke_deg[here.bend - 1])
    if stroke_deg is None:
        stroke_deg = here.stroke_deg if np.isfinite(here.stroke_deg) else whole
    if not 0 <= stroke_deg <= whole + 1e-9:
        raise ValueError(f"stroke_deg is {stroke_deg}; bend {here.bend} is made between 0 and {whole:.1f}°.")
    made = sum(1 << (done.bend - 1) for done in plan.steps[: step - 1])
    turn, left = np.radians(stroke_deg), float(piece.arc_mm[bend]) * (1 - stroke_deg / whole)
    drawn, nuts = [], []
    for half in halves_of(Trial(bend, here.feed, made), piece.bends):
        chain = chains_of(piece, [half])
        place = lambda chains, rows, along, half=half: _placed(piece, half, points_along(chains, rows, along), turn, left)  # noqa: E731
        nut = piece.nut_on(half)
        if nut is not None and nut.letter in here.nuts_back_mm:
            on_it = nut_chains(piece, [half], [here.nuts_back_mm[nut.letter]])
            nuts.append((nut, place(on_it, np.zeros(2, dtype=np.intp), np.array([0.0, nut.length_mm]))))
        rows, along = [], []
        for row, (length, curve) in enumerate(zip(chain.length_mm, chain.curve, strict=True)):
            count = 2 + int(np.degrees(length * curve) // _STEP_DEG)
            rows += [row] * count
            along += np.linspace(0.0, length, count).tolist()
        drawn.append(place(chain, np.array(rows), np.array(along)))
    wound = np.linspace(0.0, turn, 2 + int(stroke_deg // _STEP_DEG))
    arc = piece.die_radius_mm * np.stack([np.sin(wound), -np.cos(wound), np.zeros_like(wound)], axis=1)
    return Scene(
        here.bend, here.feed, float(stroke_deg), drawn[0], np.concatenate([arc, drawn[1][:1]]), drawn[1], piece.tube_radius_mm, tuple(bodies), tuple(nuts)
    )


def _placed(piece: Workpiece, half: Half, points: Array, turn: float, left_mm: float) -> Array:
    """Points of a half's chains where they lie in the bender at that moment."""
    points = in_bender(points, piece.die_radius_mm, half.held)
    return points if half.held else swing_mm(points, np.full(len(points), turn), left_mm)
