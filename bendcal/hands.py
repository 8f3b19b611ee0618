"""Shapes that fit the measurements as well as the one found: most often the same line of the other hand.

Lengths and angles do not tell a line from its mirror image, and a distance across one twist does not
tell which way it turns. Wherever no twist and no points settle that, the other way is tried.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from bendcal.adjust import Adjustment
from bendcal.network import Network
from bendcal.nodes import measure_nodes, place_nodes
from bendcal.observations import Point, Twist
from bendcal.starting import lay_on
from bendcal.twists import wrap_deg

__all__ = ["open_hands", "other_shapes", "unsure_twists"]

Array = NDArray[np.float64]

#: A shape is another one if a twist differs by more than this and by more than its uncertainty.
_OTHER_DEG = 5.0
#: Not to be told apart: odds of less than about 100 to 1, by the difference of v'Pv.
_AS_GOOD = 9.2
#: The search goes on from a better shape, but not for ever.
_ROUNDS = 4
#: With more open twists than this not every combination of their signs is tried.
_MOST_TOGETHER = 5


def unsure_twists(network: Network) -> list[int]:
    """The bends, counted from 1, whose twist neither a twist nor four whole points settle."""
    twisted = {max(int(seen.start), int(seen.stop)) for seen in network.seen if isinstance(seen, Twist)}
    pointed = {network.index[seen.place] for seen in network.seen if isinstance(seen, Point) and None not in seen.xyz_mm}
    bends = range(2, network.nodes - 1)
    return [k for k in bends if k not in twisted and not {k - 2, k - 1, k, k + 1} <= pointed]


def other_shapes(network: Network, found: Adjustment) -> tuple[Adjustment, list[Adjustment]]:
    """The best of the adjustments that can be had by turning open twists round, and those about as good.

    Parameters
    ----------
    network, found : the rows of a pattern, and an adjustment of them

    A search, not a proof: mirror images of the whole, of the line from one bend on, and each sign of
    the open twists are tried.
    """
    unsure = unsure_twists(network)
    if not unsure:
        return found, []
    pool = [found]
    for _ in range(_ROUNDS):
        best = pool[0]
        for start in _turned(network, best, unsure):
            tried = network.adjust(start, max_steps=30)
            if tried.settled and all(_differs(network, tried, known) for known in pool):
                pool.append(tried)
        pool.sort(key=lambda one: one.vpv)
        if pool[0] is best:
            break
    return pool[0], [one for one in pool[1:] if one.vpv <= pool[0].vpv + _AS_GOOD]


def open_hands(network: Network, best: Adjustment, others: list[Adjustment]) -> list[int]:
    """The bends, counted from 1, whose twist is another in one of the other shapes."""
    mine = measure_nodes(network.nodes_of(best.x))[2]
    bends: set[int] = set()
    for other in others:
        apart = np.abs(wrap_deg(measure_nodes(network.nodes_of(other.x))[2] - mine))
        bends |= {int(i) + 1 for i in np.flatnonzero(apart > _OTHER_DEG)}
    return sorted(bends)


def _differs(network: Network, one: Adjustment, other: Adjustment) -> bool:
    here, there = (measure_nodes(network.nodes_of(of.x)) for of in (one, other))
    vague = np.sin(np.radians(np.minimum(here[1], there[1]))) < 0.02  # the twist beside a straight bend is nothing
    firm = ~vague
    firm[1:] &= ~vague[:-1]
    apart = np.abs(wrap_deg(here[2] - there[2]))
    return bool((apart[firm] > _OTHER_DEG).any() or np.abs(here[0] - there[0]).max() > 5.0)


def _turned(network: Network, best: Adjustment, unsure: list[int]) -> Iterator[Array]:
    """The places of the best shape with some of its twists the other way."""
    places = best.x.reshape(-1, 3)
    nodes = places[: network.nodes]
    yield _mirrored(network, places, network.nodes, 0)
    for k in unsure:
        yield _mirrored(network, places, k - 2, k + 1)
    leg, angle, twist = measure_nodes(nodes)
    sizes = range(1, len(unsure) + 1) if len(unsure) <= _MOST_TOGETHER else (1, 2)
    for size in sizes:
        for some in combinations(unsure, size):
            turned = twist.copy()
            turned[[k - 1 for k in some]] *= -1.0
            start = places.copy()
            start[: network.nodes] = lay_on(place_nodes(leg, angle, turned), nodes)[0]
            yield start


def _mirrored(network: Network, places: Array, plane: int, first: int) -> Array:
    """Nodes from `first` on mirrored in the plane of nodes plane, plane + 1 and plane + 2, or of the frame."""
    own = places[plane : plane + 3]
    if first == 0:  # the whole line, in the plane of what is known of the frame
        told = [network.index[seen.place] for seen in network.seen if isinstance(seen, Point)]
        own = np.concatenate([places[sorted(set(told))], network.known_mm])
        own = own if len(own) > 2 else np.concatenate([own, places[: network.nodes]])[:3]
    middle = own.mean(axis=0)
    normal = np.linalg.svd(own - middle, full_matrices=True)[2][-1]
    turned = places.copy()
    moved = turned[first : network.nodes]
    turned[first : network.nodes] = moved - 2.0 * ((moved - middle) @ normal)[:, None] * normal
    return turned
