"""How the tube lies in the bender when a bend begins, as numbers to draw."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bendcal.feasible import Plan, PlanStep, Workpiece, scene_of
from bendcal.marks import MarkSheet
from bendcal.path import wrap_deg

__all__ = ["BenderView", "bender_view"]

_LONGEST = 3.5  # straights are drawn this many die radii long at the most, with a break


@dataclass(frozen=True, eq=False)
class BenderView:
    """What is drawn of one step, in the bender's frame; long straights are shortened.

    Attributes
    ----------
    step : of the plan
    is_first : whether it is the plan's first
    held_mm, swung_mm : (k, 3) from the bend outwards to the tube's ends [mm]
    arc_mm : length of tube that will be the bend, from the origin of the bend along x [mm]
    mark_x_mm : where the mark, and so the bender's reference, lies along x; the bend starts at 0 [mm]
    breaks_mm : (b, 3) where a straight is drawn shorter than it is
    heights_mm : how far the ends of the held and the swinging half stand above the bender's plane; below it: less than 0
    line_deg, before_deg : where the line drawn along the tube has to be, and where it was; clockwise seen from end A, from the
        side that the tube bends to; `before_deg` None at the first bend and after a turn end for end
    dial_deg : how far the lever goes
    nuts_mm : of each nut on the tube the middles of its two faces, (2, 3), and its width across corners [mm]
    die_radius_mm, tube_radius_mm : [mm]
    """

    step: PlanStep
    is_first: bool
    held_mm: np.ndarray
    swung_mm: np.ndarray
    arc_mm: float
    mark_x_mm: float
    breaks_mm: np.ndarray
    heights_mm: tuple[float, float]
    line_deg: float
    before_deg: float | None
    dial_deg: float
    die_radius_mm: float
    tube_radius_mm: float
    nuts_mm: tuple[tuple[np.ndarray, float], ...] = ()

    @property
    def extent_mm(self) -> tuple[np.ndarray, np.ndarray]:
        """The least and the greatest x and y of tube and die."""
        die = self.die_radius_mm * np.array([(-1.0, -1.0), (1.0, 1.0)])
        points = np.concatenate([self.held_mm[:, :2], self.swung_mm[:, :2], die])
        return points.min(axis=0), points.max(axis=0)

    @property
    def turn_words(self) -> str:
        """What the hands do to the tube before this bend."""
        words = self.step.work.words
        return f"turn {words}" if words[0].isdigit() else words


def bender_view(piece: Workpiece, sheet: MarkSheet, plan: Plan, step: int) -> BenderView:
    """How the tube lies when a step of a plan begins.

    Parameters
    ----------
    piece : from :func:`bendcal.feasible.stroke.workpiece_of` of the sheet
    sheet : made for the ends that lead in the plan
    plan : for its line
    step : from 1

    Raises
    ------
    ValueError : for a step that the plan does not have
    """
    scene, here = scene_of(piece, plan, step, stroke_deg=0.0), plan.steps[step - 1]
    k, longest = here.bend - 1, _LONGEST * piece.die_radius_mm
    held, held_breaks = _shortened(scene.held_mm, longest)
    swung, swung_breaks = _shortened(scene.swung_mm, longest)
    nuts = []
    for nut, faces in scene.nuts:
        true, drawn = (scene.held_mm, held) if (nut.letter == here.feed) else (scene.swung_mm, swung)
        nuts.append((_on_shortened(faces, true, drawn), nut.corners_mm))
    # The mark lies before the bend's start where end A leads, else beyond its end: in the bender that is the same side.
    ahead = sheet.start_mm[k] - sheet.mark_mm[k] if here.feed == "A" else sheet.mark_mm[k] - sheet.end_mm[k]
    line_at = float(wrap_deg(-round(here.clock_deg, 1)))
    before = None if here.turn_deg is None else float(wrap_deg(line_at - round(here.turn_deg, 1)))
    return BenderView(
        here, step == 1, held, swung, float(piece.arc_mm[k]), -float(ahead), np.concatenate([held_breaks, swung_breaks]),
        (float(scene.held_mm[-1, 2]), float(scene.swung_mm[-1, 2])), line_at, before, float(piece.stroke_deg[k]), piece.die_radius_mm, piece.tube_radius_mm,
        tuple(nuts),
    )  # fmt: skip


def _shortened(points: np.ndarray, longest: float) -> tuple[np.ndarray, np.ndarray]:
    """The same way with straights of at most `longest`, and where they are broken."""
    step = np.diff(points, axis=0)
    length = np.linalg.norm(step, axis=1)
    kept = np.minimum(length, longest)
    step = step * (kept / np.where(length > 0, length, 1.0))[:, None]
    short = np.concatenate([points[:1], points[0] + np.cumsum(step, axis=0)])
    return short, (short[:-1] + short[1:])[length > longest + 1e-9] / 2


def _on_shortened(faces: np.ndarray, true: np.ndarray, drawn: np.ndarray) -> np.ndarray:
    """Where a nut on the last straight lies when that is drawn shorter: as far from the nearer end of it as it is, but never in the break."""
    whole, along = float(np.linalg.norm(true[-1] - true[-2])), drawn[-1] - drawn[-2]
    kept = float(np.linalg.norm(along))
    from_end = np.linalg.norm(faces - true[-1], axis=1)  # of the inner face, then of the outer one
    if whole > kept + 1e-9 and from_end[0] > kept / 2:
        long = from_end[0] - from_end[1]
        beyond = whole - from_end[0] + long <= kept / 2  # it has its place between the bend and the break
        from_end = from_end - whole + kept if beyond else np.array([kept / 2, kept / 2 - long])
    return drawn[-1] - from_end[:, None] * along / kept
