"""A bend in thought, the plain way: the tube marched along in small steps, the stroke in small steps, all orders in turn.

Written anew, without the kit's chains, bounds and search, to hold them against.
"""

from __future__ import annotations

from itertools import permutations, product

import numpy as np
from scipy.spatial.distance import cdist
from scipy.spatial.transform import Rotation

from bendcal.bodies import BenderBody
from bendcal.feasible.stroke import Workpiece

__all__ = ["all_orders", "body_clearance_mm", "random_bodies", "random_piece", "self_clearance_mm", "tube_points"]


def march(place, frame, pieces, step_mm: float):
    """Points every `step_mm` along (roll [rad], length, curvature) pieces from a place and a frame (columns: along, inward, beside).

    Returns the points, the number of the piece that each belongs to, and the place and frame at the end.
    """
    points, number = [], []
    for i, (roll, length, curve) in enumerate(pieces):
        frame = frame @ Rotation.from_rotvec([roll, 0, 0]).as_matrix()
        count = max(int(np.ceil(length / step_mm)), 1)
        ds = length / count
        for j in range(count + 1):
            points.append(place)
            number.append(i)
            if j == count:
                break
            half = Rotation.from_rotvec([0, 0, curve * ds / 2]).as_matrix()
            chord = ds if curve == 0 else 2 / curve * np.sin(curve * ds / 2)
            place = place + chord * (frame @ half)[:, 0]
            frame = frame @ half @ half
    return np.array(points), np.array(number), place, frame


def _half(piece: Workpiece, bend: int, made: int, to_a: bool):
    """(roll, length, curvature) of one half from a bend outwards, and for each the developed length."""
    bends = range(bend - 1, -1, -1) if to_a else range(bend + 1, piece.bends)
    straights = piece.straight_mm[bend::-1] if to_a else piece.straight_mm[bend + 1 :]
    rolls = [piece.twist_deg[j + 1] for j in bends] if to_a else [piece.twist_deg[j] for j in bends]
    pieces, developed = [(0.0, straights[0], 0.0)], [straights[0]]
    for j, roll, straight in zip(bends, np.radians(rolls), straights[1:], strict=True):
        bent = made >> j & 1
        length = piece.radius_mm * np.radians(piece.angle_deg[j]) if bent else piece.arc_mm[j]
        pieces += [(roll, length, 1 / piece.radius_mm if bent else 0.0), (0.0, straight, 0.0)]
        developed += [piece.arc_mm[j], straight]
    return pieces, developed


def tube_points(piece: Workpiece, bend: int, feed: str, made: int, stroke_deg: float, step_mm: float):
    """Points of the held and of the swinging half in the bender's frame, with the piece and the tube's length at each.

    The tube is marched along as one: from the held tangent round what is wound onto the die, along what is left to wind,
    and out to the end.
    """
    return [placed(*half_points(piece, bend, feed, made, held, step_mm), piece, bend, held, stroke_deg) for held in (True, False)]


def half_points(piece: Workpiece, bend: int, feed: str, made: int, held: bool, step_mm: float):
    """One half marched along from the origin: points, their pieces, and the tube's length at each."""
    pieces, developed = _half(piece, bend, made, held == (feed == "A"))
    points, number, _, _ = march(np.zeros(3), np.eye(3), pieces, step_mm)
    ends = np.concatenate([[0.0], np.cumsum(developed)])
    along = np.concatenate([np.linspace(ends[i], ends[i + 1], (number == i).sum()) for i in range(len(pieces))])
    return points, number, along


def placed(points, number, along, piece: Workpiece, bend: int, held: bool, stroke_deg: float):
    """A half where it lies when the lever has gone so far: beyond what is wound and what is left to wind."""
    place, frame = np.array([0.0, -piece.die_radius_mm, 0.0]), np.diag([-1.0, 1.0, -1.0] if held else [1.0, 1.0, 1.0])
    if not held:
        share = stroke_deg / piece.stroke_deg[bend]
        wound = [(0.0, piece.die_radius_mm * np.radians(stroke_deg), 1 / piece.die_radius_mm)] if stroke_deg > 0 else []
        left = [(0.0, piece.arc_mm[bend] * (1 - share), 0.0)] if share < 1 else []
        _, _, place, frame = march(place, frame, wound + left, 2.0)
    return place + points @ frame.T, number, along


def body_clearance_mm(
    piece: Workpiece, bend: int, feed: str, made: int, held: bool, bodies: list[BenderBody], grip_mm: float, *, steps: int, step_mm: float,
    beside_mm: float = np.inf,
) -> float:  # fmt: skip
    """Least clearance of one half to the bodies, at so many places of the stroke and along the tube."""
    least, half = np.inf, half_points(piece, bend, feed, made, held, step_mm)
    for stroke in np.linspace(0, piece.stroke_deg[bend], steps):
        points, number, along = placed(*half, piece, bend, held, stroke)
        first = _first_straight(piece, bend, made, number, held == (feed == "A"))
        counts = ~first | (along >= grip_mm)
        for body in bodies:
            turned = points
            if body.moves == "lever":
                turned = points @ Rotation.from_euler("z", -stroke, degrees=True).as_matrix().T
            gap = body.solid.distance_mm(turned) - piece.tube_radius_mm
            limit = beside_mm if held == (body.moves == "lever") or beside_mm == np.inf else min(beside_mm, 0.0)
            gap = np.where(first & (gap >= limit), np.inf, gap)
            least = min(least, float(gap[counts].min(initial=np.inf)))
    return least


def self_clearance_mm(piece: Workpiece, bend: int, feed: str, made: int, *, steps: int, step_mm: float) -> float:
    """Least clearance between the two halves, tube less than half a turn of the die apart and the two straights beside the bend left out."""
    least, halves = np.inf, [half_points(piece, bend, feed, made, held, step_mm) for held in (True, False)]
    for stroke in np.linspace(0, piece.stroke_deg[bend], steps):
        held, one, a = placed(*halves[0], piece, bend, True, stroke)
        swung, other, b = placed(*halves[1], piece, bend, False, stroke)
        first = [_first_straight(piece, bend, made, n, to_a) for n, to_a in ((one, feed == "A"), (other, feed != "A"))]
        counts = a[:, None] + b[None] + piece.arc_mm[bend] >= np.pi * piece.die_radius_mm
        counts &= ~(first[0][:, None] & first[1][None])
        if counts.any():
            least = min(least, cdist(held, swung)[counts].min())
    return least - 2 * piece.tube_radius_mm


def _first_straight(piece: Workpiece, bend: int, made: int, number: np.ndarray, to_a: bool) -> np.ndarray:
    """Which points lie on the straight beside the bend: unbent tube up to the first bend that is made."""
    bends = range(bend - 1, -1, -1) if to_a else range(bend + 1, piece.bends)
    straight = 1
    for j in bends:
        if made >> j & 1:
            break
        straight += 2
    return number < straight


def all_orders(bends: int):
    """Every order of the bends with every choice of the end that leads: n! · 2ⁿ of them."""
    for order in permutations(range(bends)):
        for feed in product("AB", repeat=bends):
            yield order, feed


def random_piece(rng, bends: int, *, straight=(15, 150), twist=None) -> Workpiece:
    """An invented tube."""
    angle = rng.uniform(20, 120, bends)
    twists = rng.uniform(-180, 180, bends) if twist is None else rng.choice(twist, bends).astype(float)
    twists[:1] = 0
    return Workpiece(rng.uniform(*straight, bends + 1), 17.0 * np.radians(angle), angle, twists, angle / 0.97 + 2, 17.4, 16.9, 2.38)


def random_bodies(rng, count: int) -> list[BenderBody]:
    """Invented bodies of all shapes round a bender, clear of the groove."""
    from bendcal.solids import SHAPES, Solid

    found = []
    while len(found) < count:
        shape = rng.choice([s for s in SHAPES if s != "wall"])
        start = rng.normal(0, 60, 3)
        sizes = {size: rng.uniform(5, 25) for size in SHAPES[shape]}
        solid = Solid(shape, start, None if shape == "sphere" else start + rng.normal(0, 40, 3), **sizes)
        if solid.segment_mm(np.array([[-400.0, -16.9, 0]]), np.array([[400.0, -16.9, 0]]))[0][0] > 6:
            found.append(BenderBody("small", f"body {len(found) + 1}", solid, moves=rng.choice(["die", "lever"])))
    return found
