"""A whole line bent in space from its marks, and what became of it.

The tube is walked from its cut end A. A frame rides on it: the way ahead, and the way in which
the next bend will turn. Straights move it on, bends turn both about the axis square to them,
twists turn the second about the first. The kit builds its lines from apexes; this goes by the
material that passes through the bender, so the two meet only if the arithmetic of both is right.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from .bender import InventedBender, InventedTube, TrueLaw, bend


@dataclass(frozen=True)
class BentLine:
    """A bent line, all of it in mm and degrees, k bends.

    nodes_mm (k+2, 3): seat of A, apexes, seat of B; arc_mm (k, 2, 3): where each arc begins and
    ends; ends_mm (2, 3): the cut ends of the centreline; angle_deg (k,); used_mm (k, 2): the
    stretch of straight tube that each arc took, from cut end A; straight_mm (k+1,): the straights
    from cut end to cut end; centreline_mm: length along the bent centreline.
    """

    nodes_mm: np.ndarray
    arc_mm: np.ndarray
    ends_mm: np.ndarray
    angle_deg: np.ndarray
    used_mm: np.ndarray
    straight_mm: np.ndarray
    centreline_mm: float


def form(
    *,
    cut_length_mm: float,
    mark_mm,
    angle_deg,
    twist_deg,
    radius_mm,
    developed_radius_mm,
    start_mm,
    feed="A",
    seat_a_mm: float = 0.0,
    seat_b_mm: float = 0.0,
) -> BentLine:
    """Bend a straight tube at marks measured from its cut end A, with finished angles that are known.

    mark_mm, angle_deg, twist_deg : (k,); a twist turns the plane of its bend against the plane
        before, clockwise as seen looking from A to B, 0 keeping on the same way
    radius_mm, developed_radius_mm, start_mm : (k,) or one for all; start_mm from mark to arc
    feed : "A" or "B", one or k of them; with "B" the tube goes in the other way round, so the
        bender sees the mark from B and the arc *ends* start_mm before it
    seat_a_mm, seat_b_mm : from each cut end to its seat
    Raises ValueError where bends run into each other or off the tube.

    >>> line = form(cut_length_mm=100, mark_mm=[40], angle_deg=[90], twist_deg=[0],
    ...             radius_mm=20, developed_radius_mm=20, start_mm=0)
    >>> [round(float(x), 4) + 0 for x in line.nodes_mm[1]]  # corner 20 mm beyond the arc's start
    [60.0, 0.0, 0.0]
    """
    mark, angle, twist, radius, developed, start = (
        np.array(v, dtype=float)
        for v in np.broadcast_arrays(
            *(np.atleast_1d(v) for v in (mark_mm, angle_deg, twist_deg, radius_mm, developed_radius_mm, start_mm))
        )
    )
    turned = np.broadcast_to(np.atleast_1d(feed), mark.shape) == "B"
    takes = developed * np.radians(angle)
    begin = np.where(turned, mark - start - takes, mark + start)
    used = np.column_stack([begin, begin + takes])
    straight = np.append(begin, cut_length_mm) - np.insert(begin + takes, 0, 0.0)
    if np.any(straight < 0):
        raise ValueError(
            f"Straight {int(np.argmin(straight)) + 1} would be {straight.min():.2f} mm long: bends meet or run off."
        )

    here, ahead, side = np.zeros(3), np.array([1.0, 0.0, 0.0]), np.array([0.0, 1.0, 0.0])
    apexes, arcs = [], []
    for k, turn in enumerate(np.radians(angle)):
        side = Rotation.from_rotvec(np.radians(twist[k]) * ahead).apply(side)
        here = here + straight[k] * ahead
        pivot = here + radius[k] * side
        rotation = Rotation.from_rotvec(turn * np.cross(ahead, side))
        beyond = pivot + rotation.apply(here - pivot)
        apexes.append(here + radius[k] * np.tan(turn / 2) * ahead)
        arcs.append((here, beyond))
        here, ahead, side = beyond, rotation.apply(ahead), rotation.apply(side)
    last = here + straight[-1] * ahead
    seats = np.array([seat_a_mm, 0.0, 0.0]), last - seat_b_mm * ahead
    return BentLine(
        nodes_mm=np.array([seats[0], *apexes, seats[1]]),
        arc_mm=np.array(arcs).reshape(-1, 2, 3),
        ends_mm=np.array([np.zeros(3), last]),
        angle_deg=angle,
        used_mm=used,
        straight_mm=straight,
        centreline_mm=float(straight.sum() + (radius * np.radians(angle)).sum()),
    )


def bend_line(
    bender: InventedBender,
    tube: InventedTube,
    *,
    cut_length_mm: float,
    mark_mm,
    dial_deg,
    twist_deg,
    feed="A",
    seat_a_mm: float = 0.0,
    seat_b_mm: float = 0.0,
    rng=None,
    twisting_sd_deg: float = 0.5,
    made: int = 0,
) -> BentLine:
    """Bend one piece of tube in an invented bender from a sheet's marks, dials and twists.

    Without `rng` the tube is the lot's mean and the operator does exactly as told.
    """
    bends = bend(bender, tube, dial_deg, rng, made=made, one_specimen=True)
    twist = np.atleast_1d(np.asarray(twist_deg, dtype=float))
    if rng is not None:
        twist = twist + twisting_sd_deg * rng.normal(size=twist.shape) * (np.arange(len(twist)) > 0)
    return form(
        cut_length_mm=cut_length_mm,
        mark_mm=mark_mm,
        angle_deg=bends.angle_deg,
        twist_deg=twist,
        radius_mm=bends.radius_mm,
        developed_radius_mm=bends.developed_radius_mm,
        start_mm=bends.start_mm,
        feed=feed,
        seat_a_mm=seat_a_mm,
        seat_b_mm=seat_b_mm,
    )


def dihedral_deg(p0, p1, p2, p3) -> float:
    """Dihedral of four points by the IUPAC sign, from the two half-planes about the middle bond [deg]."""
    p0, p1, p2, p3 = (np.asarray(p, dtype=float) for p in (p0, p1, p2, p3))
    axis = (p2 - p1) / np.linalg.norm(p2 - p1)
    near = (p0 - p1) - np.dot(p0 - p1, axis) * axis
    far = (p3 - p2) - np.dot(p3 - p2, axis) * axis
    return float(np.degrees(np.arctan2(np.dot(np.cross(near, far), axis), np.dot(near, far))))


def ideal_marks(nodes_mm, law: TrueLaw, *, seat_a_mm: float = 0.0, seat_b_mm: float = 0.0) -> dict:
    """What a sheet should say for these nodes if the law were known: the arguments of `bend_line`.

    The tube is followed from apex to apex: each apex stands a take-up ahead of its mark, and each
    bend behind it has given the tube its gain.
    """
    nodes = np.asarray(nodes_mm, dtype=float)
    ways = np.diff(nodes, axis=0)
    legs = np.linalg.norm(ways, axis=1)
    ways = ways / legs[:, None]
    angle = np.degrees(
        2 * np.arctan2(np.linalg.norm(ways[1:] - ways[:-1], axis=1), np.linalg.norm(ways[1:] + ways[:-1], axis=1))
    )
    twist = np.array([0.0] + [dihedral_deg(*nodes[k - 1 : k + 3]) for k in range(1, len(angle))])
    setback = law.radius_mm * np.tan(np.radians(angle) / 2)
    gain = 2 * setback - law.developed_radius_mm * np.radians(angle)
    behind = np.cumsum(legs[:-1]) - np.concatenate([[0.0], np.cumsum(gain)[:-1]])
    return {
        "cut_length_mm": float(seat_a_mm + legs.sum() - gain.sum() + seat_b_mm),
        "mark_mm": seat_a_mm + behind - setback - law.mark_offset_mm,
        "dial_deg": law.dial_deg(angle),
        "twist_deg": twist,
        "seat_a_mm": seat_a_mm,
        "seat_b_mm": seat_b_mm,
    }


def nodes_of(leg_mm, angle_deg, twist_deg) -> np.ndarray:
    """Nodes of a polygon with these legs, angles and twists, as if bent with no radius at all, (k+2, 3).

    >>> nodes_of([3, 4], [90], [0]).round(9).tolist()[-1]
    [3.0, 4.0, 0.0]
    """
    leg = np.asarray(leg_mm, dtype=float)
    zero = np.zeros(len(leg) - 1)
    line = form(
        cut_length_mm=leg.sum(), mark_mm=np.cumsum(leg)[:-1], angle_deg=angle_deg, twist_deg=twist_deg,
        radius_mm=zero, developed_radius_mm=zero, start_mm=zero,
    )  # fmt: skip
    return line.nodes_mm


def fit_onto(points_mm, target_mm) -> tuple[np.ndarray, float]:
    """Points moved and turned (never mirrored) onto a target as well as they go, and the largest miss [mm]."""
    points, target = np.asarray(points_mm, dtype=float), np.asarray(target_mm, dtype=float)
    centre, aim = points.mean(axis=0), target.mean(axis=0)
    u, _, vt = np.linalg.svd((points - centre).T @ (target - aim))
    flip = np.diag([1.0, 1.0, np.sign(np.linalg.det(u @ vt))])
    moved = (points - centre) @ (u @ flip @ vt) + aim
    return moved, float(np.linalg.norm(moved - target, axis=1).max())
