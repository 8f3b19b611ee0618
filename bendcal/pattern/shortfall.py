"""What is still to be measured: the ways in which a shape can move that no measurement sees.

A way of moving that leaves every measurement as it is shows what is missing; the measurement that
it changes most is the one to take. The same is asked of what is known, but poorly.
"""

from __future__ import annotations

from functools import cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from bendcal.adjust import Adjustment
from bendcal.pattern.network import Network, slopes_of
from bendcal.pattern.observations import Angle, Distance, Leg, Observation, Twist
from bendcal.tools import DEFAULT_ANGLE_TOOL, DEFAULT_LENGTH_TOOL

__all__ = ["best_check", "candidates", "frame_is_fixed", "missing_sentences", "open_ways"]

Array = NDArray[np.float64]

#: Standard uncertainty of a twist taken off a line by eye and protractor [deg] (common practice).
TWIST_U_DEG = 2.0
#: A measurement settles a way of moving if it leaves it less free than this part of the line's size.
_SETTLES = 0.2


def _rigid(places: Array) -> Array:
    """Moves and turns of all places as one stiff piece, orthonormal (3k, 5 or 6)."""
    arm = places - places.mean(axis=0)
    moves = np.tile(np.eye(3), (len(places), 1))
    turns = np.stack([np.cross(axis, arm).ravel() for axis in np.eye(3)], axis=1)
    left, size, _ = np.linalg.svd(np.concatenate([moves, turns / max(np.abs(arm).max(), 1e-9)], axis=1), full_matrices=False)
    return left[:, size > 1e-9 * size[0]]


def open_ways(network: Network, adjusted: Adjustment) -> Array:
    """Ways of moving (3·unknown, q) that change the shape and that no measurement sees; q is 0 if all is settled.

    Parameters
    ----------
    network, adjusted : the rows of a pattern, and their adjustment
    """
    if adjusted.slack.shape[1] == 0:
        return adjusted.slack
    rigid = _rigid(adjusted.x.reshape(-1, 3))
    left, cosine, _ = np.linalg.svd(adjusted.slack.T @ rigid, full_matrices=True)
    stiff = int((cosine > 1.0 - 1e-7).sum())
    return adjusted.slack @ left[:, stiff:]


def frame_is_fixed(network: Network, adjusted: Adjustment) -> bool:
    """Whether the measurements say where in the room the line lies, and not only what shape it has."""
    return adjusted.slack.shape[1] == 0


@cache
def candidates(places: tuple[str, ...]) -> tuple[tuple[Observation, ...], tuple[Observation, ...]]:
    """Every leg, angle and twist, and every straight distance across them, as if measured with usual tools.

    Parameters
    ----------
    places : end A, every apex, end B
    """
    mm, deg = DEFAULT_LENGTH_TOOL.u, DEFAULT_ANGLE_TOOL.u
    bends = range(1, len(places) - 1)
    direct: list[Observation] = [Leg(a, b, 100.0, mm) for a, b in pairwise(places)]
    direct += [Angle(str(k), 90.0, deg) for k in bends]
    direct += [Twist(str(k), str(k + 1), 90.0, TWIST_U_DEG) for k in bends[:-1]]
    across = [Distance(a, b, 100.0, mm) for i, a in enumerate(places) for b in places[i + 2 :]]
    return tuple(direct), tuple(across)


def missing_sentences(network: Network, adjusted: Adjustment) -> list[str]:
    """What to measure for the shape to be settled; none if it is.

    Parameters
    ----------
    network, adjusted : the rows of a pattern, and their adjustment
    """
    ways = open_ways(network, adjusted)
    if ways.shape[1] == 0:
        return _poorly_known(network, adjusted)
    direct, across = candidates(network.pattern.places)
    nodes = network.nodes_of(adjusted.x)
    enough = 1.0 / (_SETTLES * float(np.linalg.norm(np.diff(nodes, axis=0), axis=1).sum()))
    taken = [_identity(seen) for seen in network.seen]
    unmeasured = [one for one in direct if _identity(one) not in taken]
    slopes = slopes_of([*direct, *across], network, adjusted.x)[1]
    slope = {id(one): by / _sd(one) for one, by in zip((*direct, *across), slopes, strict=True)}
    picked: list[Observation] = []
    left = ways
    while left.shape[1]:
        choice = None
        for pool in (unmeasured, across, direct):
            if pool:
                choice = max(pool, key=lambda one: np.linalg.norm(slope[id(one)] @ left))
                if np.linalg.norm(slope[id(choice)] @ left) > enough:
                    break
                choice = None
        if choice is None:
            break
        picked.append(choice)
        left = left @ np.linalg.svd((slope[id(choice)] @ left)[None], full_matrices=True)[2][1:].T
    if not picked:
        return ["Nothing that was measured says what shape the line has: measure its legs, angles and twists."]
    if ways.shape[1] > 1:
        *most, last = [one.words for one in picked]
        named = f"{', '.join(most)} and {last}" if most else last
        return [f"Too little is measured for one shape: {ways.shape[1]} things are open. Measure {named}."]
    other = max(across, key=lambda one: np.linalg.norm(slope[id(one)] @ ways), default=None)
    text = f"Too little is measured for one shape. One more measurement settles it: {picked[0].words}"
    if other is not None and other is not picked[0] and np.linalg.norm(slope[id(other)] @ ways) > enough:
        text += f", or {other.words}"
        if isinstance(picked[0], Twist):
            text += " together with a rough twist, for a distance does not tell which way the bend points"
    return [text + "."]


def best_check(network: Network, adjusted: Adjustment) -> tuple[Observation, float, float] | None:
    """The straight distance that would tell most about whether all is well, what it should be, and its u [mm].

    Parameters
    ----------
    network, adjusted : the rows of a pattern, and their adjustment with a settled shape
    """
    taken = {_identity(seen) for seen in network.seen}
    across = [one for one in candidates(network.pattern.places)[1] if _identity(one) not in taken]
    if not across:
        return None
    values, slopes = slopes_of(across, network, adjusted.x)
    u = np.sqrt(np.maximum(np.einsum("ki,ij,kj->k", slopes, adjusted.covariance, slopes), 0.0))
    i = int(u.argmax())
    return across[i], float(values[i]), float(u[i])


def _poorly_known(network: Network, adjusted: Adjustment) -> list[str]:
    """Legs, angles and twists that are seen, but hardly."""
    found = []
    direct = candidates(network.pattern.places)[0]
    values, slopes = slopes_of(direct, network, adjusted.x)
    us = np.sqrt(np.maximum(np.einsum("ki,ij,kj->k", slopes, adjusted.covariance, slopes), 0.0))
    turns = {one.bend: np.sin(np.radians(value)) for one, value in zip(direct, values, strict=True) if isinstance(one, Angle)}
    for one, value, u in zip(direct, values, us, strict=True):
        if isinstance(one, Leg) and u > 3.0 + 0.1 * value:
            found.append(f"{one.words} is known to ± {2 * u:.0f} mm only")
        # The twist beside a bend that is nearly straight is vague, and hardly moves anything.
        elif isinstance(one, Angle) and u > 10.0 or isinstance(one, Twist) and u * min(turns[one.start], turns[one.stop]) > 10.0:
            found.append(f"{one.words} is known to ± {2 * u:.0f}° only")
    return [f"{text[0].upper()}{text[1:]}: measure it." for text in found]


def _identity(seen: Observation) -> tuple:
    """What is measured, apart from the value; a distance between neighbours is a leg."""
    if isinstance(seen, Distance):
        return "length", frozenset((seen.start, seen.stop))
    if isinstance(seen, Twist):
        return "twist", frozenset((seen.start, seen.stop))
    return ("angle", seen.bend) if isinstance(seen, Angle) else ("other", id(seen))


def _sd(seen: Observation) -> float:
    return seen.sd_mm if isinstance(seen, Distance) else seen.sd_deg
