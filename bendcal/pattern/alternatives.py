"""Other shapes that fit the measurements as well as the one found.

Most often it is the same line of the other hand: lengths and angles do not tell a line from its
mirror image, and a distance across one twist does not tell which way it turns. A leg or an angle
that is known by distances only may come out in two ways as well. Wherever something of a line was
not measured itself, other ways are tried.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations, product
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from bendcal.adjust import Adjustment
from bendcal.nodes import measure_nodes, place_nodes
from bendcal.pattern.network import Network
from bendcal.pattern.observations import Point, place_words
from bendcal.pattern.starting import known_places, laid_ways, lay_on, measured_shape
from bendcal.twists import wrap_deg

__all__ = ["Unmeasured", "ambiguity_sentences", "other_shapes", "unmeasured"]

Array = NDArray[np.float64]

#: A shape is another one if a leg differs by more than this [mm], or an angle or a twist [deg].
_OTHER = 5.0
#: Not to be told apart: odds of less than about 100 to 1, by the difference of v'Pv.
_AS_GOOD = 9.2
#: The search goes on from a better shape, but not for ever.
_ROUNDS = 4
_MOST_STEPS = 60
#: With more open twists than this not every combination of their signs is tried.
_MOST_TOGETHER = 5
#: What an unmeasured leg is multiplied by, and an unmeasured angle set to, to begin elsewhere.
_LEGS, _ANGLES_DEG = (0.4, 1.0, 2.5), (20.0, 70.0, 120.0)
_MOST_VARIED = 18


class Unmeasured(NamedTuple):
    """What was neither measured itself nor follows from whole points: legs from 0, bends' angles and twists from 0."""

    legs: tuple[int, ...]
    angles: tuple[int, ...]
    twists: tuple[int, ...]


def unmeasured(network: Network) -> Unmeasured:
    """Which legs, angles and twists of a pattern were left to other measurements.

    Parameters
    ----------
    network : the rows of a pattern
    """
    places = np.full((network.nodes, 3), np.nan)
    for seen in network.seen:
        if isinstance(seen, Point) and None not in seen.xyz_mm and seen.place in network.pattern.places:
            places[network.index[seen.place]] = seen.xyz_mm
    return Unmeasured(*(tuple(int(i) for i in np.flatnonzero(np.isnan(part))) for part in measured_shape(network, places)))


def other_shapes(network: Network, found: Adjustment) -> tuple[Adjustment, list[Adjustment]]:
    """The best of the adjustments that can be had from other beginnings, and those about as good.

    Parameters
    ----------
    network, found : the rows of a pattern, and an adjustment of them

    A search, not a proof: mirror images of the whole, of the line from one bend on, each sign of
    the open twists, and other values of unmeasured legs and angles are tried.
    """
    gaps = unmeasured(network)
    if not any(gaps):
        return found, []
    pool, known = [found], known_places(network)
    for _ in range(_ROUNDS):
        best = pool[0]
        for start in (*_turned(network, best, gaps), *_varied(network, best, gaps, known)):
            tried = network.adjust(start, max_steps=_MOST_STEPS)
            if tried.settled and all(_differs(network, tried, other) for other in pool):
                pool.append(tried)
        pool.sort(key=lambda one: one.vpv)
        if pool[0] is best:
            break
    return pool[0], [one for one in pool[1:] if one.vpv <= pool[0].vpv + _AS_GOOD]


def ambiguity_sentences(network: Network, best: Adjustment, others: list[Adjustment]) -> list[str]:
    """What to measure to tell the best shape from the others; none if there is no other.

    Parameters
    ----------
    network, best, others : as `other_shapes` has them
    """
    if not others:
        return []
    gaps, places = unmeasured(network), network.pattern.places
    mine = measure_nodes(network.nodes_of(best.x))
    apart = [np.zeros(len(part)) for part in mine]
    for other in others:
        theirs = measure_nodes(network.nodes_of(other.x))
        apart = [np.maximum(a, np.abs(wrap_deg(t - m) if i else t - m)) for i, (a, t, m) in enumerate(zip(apart, theirs, mine, strict=True))]
    sizes = [f"the leg from {place_words(places[i])} to {place_words(places[i + 1])}" for i in gaps.legs if apart[0][i] > _OTHER]
    sizes += [f"the angle of bend {i + 1}" for i in gaps.angles if apart[1][i] > _OTHER]
    turns = [f"from bend {i} to bend {i + 1}" for i in gaps.twists if apart[2][i] > _OTHER]
    text = "More than one shape fits the measurements: "
    if sizes:
        text += f"{' and '.join(sizes)} may come out in more than one way. Measure {'one of them' if len(sizes) > 1 else 'it'} as well."
    else:
        those = "those twists" if len(turns) > 1 else "that twist"
        text += f"the twist {' and '.join(turns)} may turn either way. Measure {those} as well; roughly, with an sd of 20°, is "
        text += "enough to say which way it turns."
    return [text]


def _differs(network: Network, one: Adjustment, other: Adjustment) -> bool:
    here, there = (measure_nodes(network.nodes_of(of.x)) for of in (one, other))
    vague = np.sin(np.radians(np.minimum(here[1], there[1]))) < 0.02  # the twist beside a straight bend is nothing
    firm = ~vague
    firm[1:] &= ~vague[:-1]
    turned = np.abs(wrap_deg(here[2] - there[2]))[firm]
    return any((np.abs(apart) > _OTHER).any() for apart in (here[0] - there[0], here[1] - there[1], turned))


def _turned(network: Network, best: Adjustment, gaps: Unmeasured) -> Iterator[Array]:
    """The places of the best shape with some of its open twists the other way."""
    places = best.x.reshape(-1, 3)
    leg, angle, twist = measure_nodes(network.nodes_of(best.x))
    yield _mirrored(network, places, network.nodes, 0)
    for i in gaps.twists:
        yield _mirrored(network, places, i - 1, i + 2)
    for size in range(1, len(gaps.twists) + 1) if len(gaps.twists) <= _MOST_TOGETHER else (1, 2):
        for some in combinations(gaps.twists, size):
            turned = twist.copy()
            turned[list(some)] *= -1.0
            yield _placed(network, places, leg, angle, turned)


def _varied(network: Network, best: Adjustment, gaps: Unmeasured, known: Array) -> Iterator[Array]:
    """The best shape with other values for legs and angles that were not measured, where the frame wants it."""
    leg, angle, twist = measure_nodes(network.nodes_of(best.x))
    choices = [*([_LEGS] * len(gaps.legs)), *([_ANGLES_DEG] * len(gaps.angles))]
    rng = np.random.RandomState(0)
    if 3 ** len(choices) <= _MOST_VARIED:
        sets = product(*choices, *([range(3)] if gaps.twists else []))
    else:
        sets = (tuple(some[rng.randint(3)] for some in choices) for _ in range(_MOST_VARIED))
    for values in sets:
        new_leg, new_angle, new_twist = leg.copy(), angle.copy(), twist.copy()
        new_leg[list(gaps.legs)] = leg.mean() * np.array(values[: len(gaps.legs)])
        new_angle[list(gaps.angles)] = values[len(gaps.legs) : len(choices)]
        new_twist[list(gaps.twists)] = rng.uniform(-180.0, 180.0, len(gaps.twists))
        yield from laid_ways(network, place_nodes(new_leg, new_angle, new_twist), known)[:1]


def _placed(network: Network, places: Array, leg: Array, angle: Array, twist: Array) -> Array:
    start = places.copy()
    start[: network.nodes] = lay_on(place_nodes(leg, angle, twist), places[: network.nodes])[0]
    return start


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
