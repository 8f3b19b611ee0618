"""Where the adjustment of a pattern begins: a shape near enough that small steps lead to the best one.

Where enough was measured the line is walked leg by leg, or its points are taken as they are. Else
every distance that can be had is gathered, the rest bridged by the shortest way over the others,
and places are found for all at once.

Source: classical scaling of distances, W. S. Torgerson, Psychometrika 17 (1952) 401 (memory). A start
decides nothing but where the search begins.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from bendcal.chord import chord_mm
from bendcal.nodes import measure_nodes, place_nodes
from bendcal.pattern.network import Network
from bendcal.pattern.observations import Angle, Direction, Distance, Point, Twist

__all__ = ["known_places", "laid_ways", "lay_on", "measured_shape", "starts"]

Array = NDArray[np.float64]

#: Twists to try where none was measured.
_GUESSED_TWISTS_DEG = (90.0, -90.0, 20.0, -20.0, 160.0, -160.0)
_GUESSED_ANGLE_DEG = 60.0


def starts(network: Network) -> Iterator[tuple[Array, bool]]:
    """Places (unknown, 3) [mm] to begin at, the likeliest first, and whether all of them was measured.

    Parameters
    ----------
    network : the rows of a pattern
    """
    places = known_places(network)
    leg, angle, twist = measured_shape(network, places)
    if np.isfinite(places[: network.unknown]).all():
        yield places[: network.unknown], True
    if not (np.isnan(leg).any() or np.isnan(angle).any() or np.isnan(twist).any()):
        for start in laid_ways(network, place_nodes(leg, angle, twist), places):
            yield start, True
    for hand in (1.0, -1.0):
        for start in laid_ways(network, _scaled(network, places, leg, angle, twist) * [1.0, 1.0, hand], places):
            yield start, False
    typical = np.nanmean(leg) if np.isfinite(leg).any() else 100.0
    leg, angle = np.where(np.isnan(leg), typical, leg), np.where(np.isnan(angle), _GUESSED_ANGLE_DEG, angle)
    open_twists = np.isnan(twist)
    for guess in _GUESSED_TWISTS_DEG if open_twists.any() else (0.0,):
        for start in laid_ways(network, place_nodes(leg, angle, np.where(open_twists, guess, twist)), places):
            yield start, False


def known_places(network: Network) -> Array:
    """The coordinates (all places, 3) [mm] that were measured, exact datum points last; nan where not.

    An end whose nut's way and leg are known tells its neighbour's place as well.
    """
    total = np.zeros((network.unknown + len(network.known_mm), 3))
    weight = np.zeros_like(total)
    for seen in network.seen:
        if isinstance(seen, Point):
            for axis, value in enumerate(seen.xyz_mm):
                if value is not None:
                    total[network.index[seen.place], axis] += value / seen.sd_mm**2
                    weight[network.index[seen.place], axis] += 1.0 / seen.sd_mm**2
    places = np.divide(total, weight, out=np.full_like(total, np.nan), where=weight > 0)
    places[network.unknown :] = network.known_mm
    leg = measured_shape(network, np.full_like(places, np.nan))[0]
    for seen in network.seen:
        if isinstance(seen, Direction):
            end, inner, own = (0, 1, 0) if seen.end == "A" else (network.nodes - 1, network.nodes - 2, -1)
            way = np.array([seen.x, seen.y, seen.z])
            near = places[end] - leg[own] * way / np.linalg.norm(way)
            places[inner] = np.where(np.isnan(places[inner]), near, places[inner])
    return places


def measured_shape(network: Network, places: Array) -> tuple[Array, Array, Array]:
    """Legs (n + 1,) [mm], angles and twists (n,) [deg] as measured, or from places; nan where neither.

    Parameters
    ----------
    places : (k, 3) [mm] of the nodes and what comes after them, nan where unknown
    """
    leg, angle, twist = measure_nodes(places[: network.nodes])
    values: dict[tuple[str, int], list[tuple[float, float]]] = {}
    for seen in network.seen:
        if isinstance(seen, Distance):
            i, j = sorted((network.index[seen.start], network.index[seen.stop]))
            if j == i + 1 and j < network.nodes:
                values.setdefault(("leg", i), []).append((seen.mm, seen.sd_mm))
        elif isinstance(seen, Angle):
            values.setdefault(("angle", int(seen.bend) - 1), []).append((seen.deg, seen.sd_deg))
        elif isinstance(seen, Twist):
            values.setdefault(("twist", max(int(seen.start), int(seen.stop)) - 1), []).append((seen.deg, seen.sd_deg))
    for (kind, i), told in values.items():
        value, sd = np.array(told).T
        weight = 1.0 / sd**2
        if kind == "twist":  # round a circle: 179 and -179 lie side by side
            turn = np.sum(weight * np.exp(1j * np.radians(value)))
            twist[i] = np.degrees(np.angle(turn))
        else:
            (leg if kind == "leg" else angle)[i] = np.sum(weight * value) / np.sum(weight)
    return leg, angle, twist


def lay_on(shape_mm: Array, places_mm: Array) -> tuple[Array, int]:
    """A shape moved and turned so that it lies nearest to those places that are known.

    Parameters
    ----------
    shape_mm, places_mm : (k, 3) [mm], row by row; a place with a nan does not count

    Returns
    -------
    the moved shape, and how many of its turns the places settle: 3 if all, 2 if it may still turn
    about a line, 0 if only one place or none is known
    """
    known = np.isfinite(places_mm).all(axis=1)
    if not known.any():
        return shape_mm, 0
    centre, target = shape_mm[known].mean(axis=0), places_mm[known].mean(axis=0)
    here, there = shape_mm[known] - centre, places_mm[known] - target
    spread = np.linalg.svd(there, compute_uv=False)
    settled = int((spread > 1e-6 * max(spread[0], 1e-300)).sum()) if spread[0] > 1e-9 else 0
    if settled == 0:
        return shape_mm - centre + target, 0
    with warnings.catch_warnings():  # it warns where a turn is left open, which is told here by the count
        warnings.simplefilter("ignore")
        turn = Rotation.align_vectors(there, here)[0]
    return turn.apply(shape_mm - centre) + target, 3 if settled >= 2 else 2


def laid_ways(network: Network, shape: Array, places: Array) -> list[Array]:
    """A shape of the nodes, or of all places, where the frame wants it: the best few of the ways it may lie.

    Parameters
    ----------
    network : the rows of a pattern
    shape : (k, 3) [mm] of the nodes, or of all places
    places : as `known_places` tells them

    Returns up to three starts (unknown, 3) [mm], the one that fits best first.
    """
    full = np.full((len(places), 3), np.nan)
    full[: len(shape)] = shape
    laid, settled = lay_on(shape, places[: len(shape)])
    tries = [laid]
    if settled < 3 and _has_frame(network):
        known = np.isfinite(places[: len(shape)]).all(axis=1)
        pivot = laid[known].mean(axis=0) if known.any() else laid.mean(axis=0)
        if settled == 2:
            axis = np.linalg.svd(laid[known] - pivot)[2][0]
            turns = Rotation.from_rotvec(np.radians(np.arange(0.0, 360.0, 45.0))[:, None] * axis)
        else:
            turns = Rotation.create_group("O")
        tries = [_shifted(turn.apply(laid - pivot) + pivot, places) for turn in turns]
    whole = []
    for laid in tries:
        start = places.copy()
        start[: len(laid)] = laid
        start = start[: network.unknown]
        off = network.model(start.ravel())[0] / network.sd
        whole.append((float(off @ off), start))
    whole.sort(key=lambda one: one[0])
    return [start for _, start in whole[:3]]


def _has_frame(network: Network) -> bool:
    return any(isinstance(seen, (Point, Direction)) for seen in network.seen) or len(network.index) > network.nodes


def _shifted(laid: Array, places: Array) -> Array:
    """Moved along each axis so that the coordinates that are known fit on average."""
    apart = places[: len(laid)] - laid
    known = np.isfinite(apart)
    return laid + np.divide(np.where(known, apart, 0.0).sum(axis=0), known.sum(axis=0), out=np.zeros(3), where=known.any(axis=0))


def _scaled(network: Network, places: Array, leg: Array, angle: Array, twist: Array) -> Array:
    """All places at once from the distances between them, those not known by the shortest way round."""
    k = len(places)
    with np.errstate(invalid="ignore"):
        apart = np.linalg.norm(places[:, None] - places[None], axis=2)

    def told(i: int, j: int, mm: float) -> None:
        if np.isfinite(mm):
            apart[i, j] = apart[j, i] = mm

    for i, length in enumerate(leg):
        told(i, i + 1, length)
    for i, turn in enumerate(angle):
        told(i, i + 2, float(chord_mm(leg[i], leg[i + 1], turn)))
    for i in range(1, len(twist)):
        if not np.isnan(twist[i]):
            part = place_nodes(leg[i - 1 : i + 2], angle[i - 1 : i + 1], [0.0, twist[i]])
            told(i - 1, i + 2, float(np.linalg.norm(part[3] - part[0])))
    for seen in network.seen:
        if isinstance(seen, Distance):
            told(network.index[seen.start], network.index[seen.stop], seen.mm)
    far = np.where(np.isnan(apart), np.inf, apart)
    np.fill_diagonal(far, 0.0)
    for i in range(k):
        far = np.minimum(far, far[:, [i]] + far[[i]])
    far[np.isinf(far)] = far[np.isfinite(far)].max(initial=100.0)
    middle = np.eye(k) - 1.0 / k
    values, vectors = np.linalg.eigh(-0.5 * middle @ far**2 @ middle)
    found = np.zeros((k, 3))
    found[:, : min(k, 3)] = vectors[:, :-4:-1] * np.sqrt(np.maximum(values[:-4:-1], 0.0))
    return found
