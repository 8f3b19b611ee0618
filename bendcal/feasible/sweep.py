"""Least distances along the whole stroke of a bend: tube to bodies, and tube to itself.

Every point of the tube moves on a known path, so that how near it can come within a part of the
stroke is bounded (`motion`), and an arc lies within its chord's height of the chord. With these bounds branch and bound (`bounding`)
finds the least distance over all of the tube and all of the stroke, to a tolerance, not just at
its end or at the steps of a sampling. Distances are from the outside of the tube, or of a nut on it; below 0 it is hit.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from bendcal.bodies import BenderBody
from bendcal.bounding import Boxes, Least, Measured, least
from bendcal.chain import Chains, points_along
from bendcal.feasible.motion import Motion
from bendcal.feasible.stroke import Half, Workpiece, chains_of, in_bender, nut_chains
from bendcal.solids import segment_distance_mm

__all__ = ["ITSELF", "NOTHING_NEAR", "Clear", "body_distances", "clears_of", "self_distances"]

Array = NDArray[np.float64]
Ints = NDArray[np.intp]

ITSELF = "the tube itself"
_LONGEST_MM = 120.0  # pieces are cut to this before the search: the shorter, the better the bound on their speed
_WIDEST_ARC = np.radians(35.0)
_WIDEST_TURN = np.radians(20.0)
_TOUCH_MM = 0.02  # how near a limit the straight beside the bend may come: nearer, it could not be told apart from it


class Clear(NamedTuple):
    """How clear one bend, or a part of the tube, stays.

    `value_mm` the least clearance that was found, `low_mm` a bound that nothing is below, `near` what
    is nearest, `stroke_deg` how far the lever has gone there, `part` the nut that comes near (blank: the tube).
    All inf, blank and nan where nothing is near.
    """

    value_mm: float
    low_mm: float
    near: str
    stroke_deg: float
    part: str = ""


NOTHING_NEAR = Clear(np.inf, np.inf, "", np.nan)


def clears_of(found: Least, names: Sequence[str] | None = None) -> list[Clear]:
    """What was found for each owner, in the words of a clearance.

    Parameters
    ----------
    found : what :func:`body_distances` or :func:`self_distances` returned
    names : the bodies' names, or None where the tube was held against itself
    """
    told = []
    for value, low, key, at in zip(found.value, found.low, found.key, found.at, strict=True):
        if np.isfinite(value):
            told.append(Clear(float(value), float(low), ITSELF if names is None else names[key[1]], float(np.degrees(at[-1]))))
        else:
            told.append(NOTHING_NEAR._replace(low_mm=float(low)))
    return told


def body_distances(
    piece: Workpiece, halves: Sequence[Half], bodies: Sequence[BenderBody], grips_mm: Sequence[float], *, nuts_back_mm: Sequence[float] | None = None,
    beside_mm: float = np.inf, until_deg: float = np.inf, tolerance_mm: float = 0.01, share: float = 0.0, enough_mm: float = np.inf, floor_mm: float = -np.inf,
) -> Least:  # fmt: skip
    """How near each half comes to the bender's bodies, over the whole stroke of its bend.

    The straight beside the bend lies in the bender, and how near it passes the bender's own plates
    is the same for every line: it counts only where it comes nearer than `beside_mm`, or, to a body
    that it does not move past (held to the die's, swinging to the lever's), where it runs into it.

    Parameters
    ----------
    piece : the tube
    halves : m of them
    bodies : the bender's bodies
    grips_mm : for each body, how much tube beside the bend is not held against it [mm]; a nut is held against all
    nuts_back_mm : to look at the nuts on the halves and not at the tube: for each half how far behind its seat its nut is pushed [mm]
    beside_mm : see above; inf where all of it counts
    until_deg : look at the stroke no further than this [deg]
    tolerance_mm, share, enough_mm, floor_mm : as in :func:`bendcal.bounding.least`, on the clearance

    Returns
    -------
    Least: `value` (m,) clearance from the outside [mm]; `key` (m, 2) row of the chains and
    body; `at` (m, 2) [mm] along that row's piece and [rad] of the stroke
    """
    chains, thick = _looked_at(piece, halves, [None] * len(halves) if nuts_back_mm is None else nuts_back_mm)
    bend = np.array([half.bend for half in halves], dtype=np.intp)
    held_of = np.array([half.held for half in halves])
    stroke, wound = np.radians(piece.stroke_deg)[bend], piece.arc_mm[bend]
    lever = np.array([body.moves == "lever" for body in bodies])
    floor, roof = np.array([body.solid.z_range_mm for body in bodies]).reshape(-1, 2).T

    def measure(key: Ints, span: Array) -> Measured:
        rows, which = key[:, 0], key[:, 1]
        owner, held, by_lever = chains.owner[rows], held_of[chains.owner[rows]], lever[key[:, 1]]
        first, last, sag = _chords(chains, rows, span[:, 0], piece.die_radius_mm, held)
        turn, half = span[:, 1].mean(axis=1), (span[:, 1, 1] - span[:, 1, 0]) / 2
        # Seen from the lever the held half turns backwards, and the swinging one is only drawn in.
        sense = np.where(held, np.where(by_lever, -1.0, 0.0), np.where(by_lever, 0.0, 1.0))
        pace = np.where(held, 0.0, wound[owner] / stroke[owner])
        motion = Motion(sense, pace, turn, half, np.where(held, 0.0, wound[owner]) - pace * turn)
        a, b = motion.place(first), motion.place(last)
        gap, share_, outward = np.empty(len(rows)), np.empty(len(rows)), np.empty((len(rows), 3))
        for j, body in enumerate(bodies):
            mine = which == j
            if mine.any():
                gap[mine], share_[mine] = body.solid.segment_mm(a[mine], b[mine])
                outward[mine] = body.solid.outward(a[mine] + share_[mine, None] * (b[mine] - a[mine]))
        bound, by_length, by_stroke = motion.nearest(first, last, (a, b), sag, gap, a + share_[:, None] * (b - a), outward)
        # All motion is level: what lies above or below a body stays as far above or below it.
        level = np.maximum(floor[which] - np.maximum(a[:, 2], b[:, 2]), np.minimum(a[:, 2], b[:, 2]) - roof[which])
        low, found = np.maximum(np.maximum(bound, level) - sag, 0.0) - thick[rows], gap + sag - thick[rows]
        at = np.stack([span[:, 0, 0] + share_ * (span[:, 0, 1] - span[:, 0, 0]), turn], axis=1)
        passes = np.where(held != by_lever, min(beside_mm, 0.0) if beside_mm < np.inf else np.inf, beside_mm) - _TOUCH_MM
        beside = chains.piece[rows] == 0
        low[beside & (low >= passes)], found[beside & (found >= passes)] = np.inf, np.inf
        return Measured(low, found, at, np.stack([sag + by_length, by_stroke], axis=1))

    grips = np.asarray(grips_mm, dtype=float) * (nuts_back_mm is None)
    boxes = _body_boxes(chains, held_of, np.minimum(stroke, np.radians(until_deg)), lever, grips)
    return least(boxes, measure, len(halves), tolerance=tolerance_mm, share=share, enough=enough_mm, floor=floor_mm)


def self_distances(
    piece: Workpiece, pairs: Sequence[tuple[Half, Half]], *, nuts_back_mm: Sequence[tuple[float | None, float | None]] | None = None,
    until_deg: float = np.inf, tolerance_mm: float = 0.01, share: float = 0.0, enough_mm: float = 25.0, floor_mm: float = -np.inf,
) -> Least:  # fmt: skip
    """How near the swinging half comes to the held half, over the whole stroke.

    Tube that is less than half a turn of the die apart along itself is left out: no curve that bends
    nowhere tighter than the die can come back to itself so soon, and the two straights beside
    the bend only ever part (Schur's comparison theorem).

    Parameters
    ----------
    piece : the tube
    pairs : m times (held half, swinging half) of one bend
    nuts_back_mm : for each pair and each of its halves: None to look at its tube, or how far behind its seat its nut is pushed, to look at that [mm]
    until_deg : look at the stroke no further than this [deg]
    tolerance_mm, share, enough_mm, floor_mm : as in :func:`bendcal.bounding.least`, on the clearance; far from
        itself a tube has no one nearest place, and finding it out takes long

    Returns
    -------
    Least: `value` (m,) clearance between the two outsides [mm]; `key` (m, 2) rows of the two
    chains; `at` (m, 3) [mm] along both pieces and [rad] of the stroke
    """
    backs = [(None, None)] * len(pairs) if nuts_back_mm is None else nuts_back_mm
    (still, thick_still), (moving, thick_moving) = (_looked_at(piece, [pair[i] for pair in pairs], [back[i] for back in backs]) for i in (0, 1))
    bend = np.array([pair[0].bend for pair in pairs], dtype=np.intp)
    stroke, wound = np.radians(piece.stroke_deg)[bend], piece.arc_mm[bend]
    apart = np.pi * piece.die_radius_mm

    def measure(key: Ints, span: Array) -> Measured:
        one, other = key[:, 0], key[:, 1]
        owner = still.owner[one]
        a, b, sag = _chords(still, one, span[:, 0], piece.die_radius_mm, True)
        first, last, sag_2 = _chords(moving, other, span[:, 1], piece.die_radius_mm, False)
        turn, half = span[:, 2].mean(axis=1), (span[:, 2, 1] - span[:, 2, 0]) / 2
        pace = wound[owner] / stroke[owner]
        motion = Motion(np.ones(len(one)), pace, turn, half, wound[owner] - pace * turn)
        c, d = motion.place(first), motion.place(last)
        gap, s, t = segment_distance_mm(a, b, c, d)
        near = c + t[:, None] * (d - c)
        outward = (near - a - s[:, None] * (b - a)) / np.where(gap > 0, gap, 1.0)[:, None]
        bound, by_length, by_stroke = motion.nearest(first, last, (c, d), sag_2, gap, near, outward)
        at = span[:, :2, 0] + np.stack([s, t], axis=1) * (span[:, :2, 1] - span[:, :2, 0])
        along = [_offset(chains, rows, at[:, i]) for i, (chains, rows) in enumerate(((still, one), (moving, other)))]
        counts = along[0] + along[1] + wound[owner] >= apart
        far = [_offset(chains, rows, span[:, i, 1]) for i, (chains, rows) in enumerate(((still, one), (moving, other)))]
        sags = sag + sag_2
        level = np.maximum(  # all motion is level
            np.minimum(a[:, 2], b[:, 2]) - np.maximum(first[:, 2], last[:, 2]), np.minimum(first[:, 2], last[:, 2]) - np.maximum(a[:, 2], b[:, 2])
        )
        thick = thick_still[one] + thick_moving[other]
        low = np.maximum(np.maximum(bound, level) - sags, 0.0) - thick
        low[far[0] + far[1] + wound[owner] < apart] = np.inf
        lengths = span[:, :2, 1] - span[:, :2, 0]
        split = np.where(counts[:, None], np.stack([sag, sag_2 + by_length], axis=1), lengths)
        found = np.where(counts, gap + sags - thick, np.inf)
        return Measured(low, found, np.column_stack([at, turn]), np.column_stack([split, np.where(counts, by_stroke, 0.0)]))

    boxes = _pair_boxes(still, moving, np.minimum(stroke, np.radians(until_deg)))
    return least(boxes, measure, len(pairs), tolerance=tolerance_mm, share=share, enough=enough_mm, floor=floor_mm)


def _looked_at(piece: Workpiece, halves: Sequence[Half], backs_mm: Sequence[float | None]) -> tuple[Chains, Array]:
    """The chains of the halves, of their tube or of the nut on it, and half the width of what each row is [mm]."""
    parts: list[tuple[list[int], Chains, Array]] = []
    if tubes := [i for i, back in enumerate(backs_mm) if back is None]:
        parts.append((tubes, chains_of(piece, [halves[i] for i in tubes]), np.full(len(tubes), piece.tube_radius_mm)))
    if nuts := [i for i, back in enumerate(backs_mm) if back is not None]:
        some = [halves[i] for i in nuts]
        parts.append((nuts, nut_chains(piece, some, [backs_mm[i] for i in nuts]), np.array([piece.nut_on(half).corners_mm / 2 for half in some])))
    placed = [chains._replace(owner=np.array(which)[chains.owner]) for which, chains, _ in parts]
    return Chains(*(np.concatenate(column) for column in zip(*placed, strict=True))), np.concatenate([half_mm[chains.owner] for _, chains, half_mm in parts])


def _chords(chains: Chains, rows: Ints, span: Array, die_radius_mm: float, held) -> tuple[Array, Array, Array]:
    """Both ends of parts of pieces in the bender's frame, and how far an arc bulges from between them."""
    ends = [in_bender(points_along(chains, rows, span[:, i]), die_radius_mm, held) for i in (0, 1)]
    curve = chains.curve[rows]
    bulge = 1.0 - np.cos(0.5 * curve * (span[:, 1] - span[:, 0]))
    return ends[0], ends[1], np.where(curve > 0, bulge / np.where(curve > 0, curve, 1.0), 0.0)


def _offset(chains: Chains, rows: Ints, along: Array) -> Array:
    """Where on the straight tube a place along a piece lies, from the bend outwards [mm]."""
    share = along / np.where(chains.length_mm[rows] > 0, chains.length_mm[rows], 1.0)
    return chains.offset_mm[rows] + share * (chains.offset_end_mm[rows] - chains.offset_mm[rows])


def _parts(chains: Chains, rows: Ints, start: Array) -> tuple[Ints, Array]:
    """Pieces, from `start` on, cut into parts that are short enough: (index into rows, span)."""
    length = np.maximum(chains.length_mm[rows] - start, 0.0)
    longest = np.where(chains.curve[rows] > 0, _WIDEST_ARC / np.maximum(chains.curve[rows], 1e-12), _LONGEST_MM)
    count = np.where(length > 0, np.ceil(length / longest), 0).astype(np.intp)
    index = np.repeat(np.arange(len(rows)), count)
    number = np.arange(len(index)) - np.repeat(np.cumsum(count) - count, count)
    step = (length / np.maximum(count, 1))[index]
    from_ = start[index] + number * step
    return index, np.stack([from_, from_ + step], axis=1)


def _turns(turn: Array) -> tuple[Ints, Array]:
    """Strokes cut into parts: (index, span)."""
    count = np.maximum(np.ceil(turn / _WIDEST_TURN), 1).astype(np.intp)
    index = np.repeat(np.arange(len(turn)), count)
    number = np.arange(len(index)) - np.repeat(np.cumsum(count) - count, count)
    step = (turn / np.maximum(count, 1))[index]
    return index, np.stack([number * step, (number + 1) * step], axis=1)


def _body_boxes(chains: Chains, held_of: NDArray[np.bool_], stroke: Array, lever: NDArray[np.bool_], grips: Array) -> Boxes:
    owners, keys, spans = [], [], []
    for j, by_lever in enumerate(lever):
        rows = np.arange(len(chains.owner))
        index, span = _parts(chains, rows, np.where(chains.piece == 0, grips[j], 0.0))
        owner = chains.owner[index]
        still = held_of[owner] & ~by_lever  # held tube does not move against what moves with the die
        for part, turn in ((still, np.zeros(still.sum())), (~still, stroke[owner[~still]])):
            which = np.flatnonzero(part)
            place, turns = (np.arange(len(which)), np.zeros((len(which), 2))) if part is still else _turns(turn)
            which = which[place]
            owners.append(owner[which])
            keys.append(np.stack([index[which], np.full(len(which), j)], axis=1))
            spans.append(np.stack([span[which], turns], axis=1))
    if not owners:
        return Boxes(np.zeros(0, np.intp), np.zeros((0, 2), np.intp), np.zeros((0, 2, 2)))
    return Boxes(np.concatenate(owners), np.concatenate(keys), np.concatenate(spans))


def _pair_boxes(still: Chains, moving: Chains, stroke: Array) -> Boxes:
    parts = [_parts(chains, np.arange(len(chains.owner)), np.zeros(len(chains.owner))) for chains in (still, moving)]
    owners = [chains.owner[index] for chains, (index, _) in zip((still, moving), parts, strict=True)]
    order = np.argsort(owners[1], kind="stable")
    first = np.searchsorted(owners[1][order], owners[0], side="left")
    count = np.searchsorted(owners[1][order], owners[0], side="right") - first
    one = np.repeat(np.arange(len(owners[0])), count)
    number = np.arange(len(one)) - np.repeat(np.cumsum(count) - count, count)
    other = order[np.repeat(first, count) + number]
    rows = np.stack([parts[0][0][one], parts[1][0][other]], axis=1)
    beside = (still.piece[rows[:, 0]] == 0) & (moving.piece[rows[:, 1]] == 0)
    rows, one, other = rows[~beside], one[~beside], other[~beside]
    place, turns = _turns(stroke[owners[0][one]])
    span = np.stack([parts[0][1][one][place], parts[1][1][other][place], turns], axis=1)
    return Boxes(owners[0][one][place], rows[place], span)
