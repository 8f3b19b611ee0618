"""Prospects: what could be bent next, and how far the ends of the lines hang on it.

Everything is put in one linear Gaussian picture: the laws of all pairs with their joint
covariance, the lines' ends as linear functions of those laws, and each piece that could be
bent as a reading of its own pair's law, with the noise that the fit gives real pieces.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import ceil, floor

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from bendcal.bending import feeds
from bendcal.bow import Bow
from bendcal.fit import fit_laws
from bendcal.law import Law
from bendcal.lines import Line
from bendcal.margin import along_last_leg_mm, end_covariance_mm2, end_sensitivities
from bendcal.offcuts import Offcut
from bendcal.path import Legs, end_shifts, reverse_legs
from bendcal.pieces import as_next, linearise, pieces_of
from bendcal.prior import UNKNOWNS, WIDTHS, Widths, pool_of
from bendcal.shop import Shop, named

__all__ = ["READINGS", "STAND_IN_LEG_MM", "Aim", "Prospects", "prospects_of"]

#: Which readings a piece may get. Each is taken of the bent piece; the dial is always noted.
READINGS = ("angle", "angle and legs")

#: Where there is no line to be made, single bends with two such legs stand in for lines.
STAND_IN_LEG_MM = 100.0
_STAND_IN_DEG = np.arange(20.0, 121.0, 20.0)

#: Offcuts are offered in these steps, so far below and above what the lines of a bender need,
#: or from here to here where no line needs anything of it [deg].
_STEP_DEG, _MARGIN_DEG, _LEAST_DEG = 5.0, 20.0, 15.0
_LOW_DEG, _HIGH_DEG = 20.0, 120.0
#: No piece is offered that would be bent tighter than this [deg].
_TIGHTEST_DEG = 160.0

#: What the fit works out for each pair.
_SIZE = len(UNKNOWNS)


@dataclass(frozen=True, eq=False)
class Aim:
    """What one line's free end hangs on.

    Attributes
    ----------
    name : the line's, or what stands in for it
    pair : (bender, tube)
    by_law : (r, 7K) the end's place, by the ``prior.UNKNOWNS`` of all laws [mm per unit]
    along : (r', 7K) the same along its own leg, which trimming can make good
    rest_mm2, along_rest_mm2 : variance that no offcut lowers: single bends, marks, twists,
        and along the leg what the ends use up
    angles_deg : the bends it has
    weight : how much it counts
    is_line : False where it stands in for lines
    """

    name: str
    pair: tuple[str, str]
    by_law: np.ndarray
    along: np.ndarray
    rest_mm2: float
    along_rest_mm2: float
    angles_deg: np.ndarray
    weight: float = 1.0
    is_line: bool = True


@dataclass(frozen=True, eq=False)
class Prospects:
    """All that a choice of offcuts needs.

    Attributes
    ----------
    laws : (bender, tube) → Law, those without an offcut included
    covariance : (7K, 7K) of all laws together, ``prior.UNKNOWNS`` of each, in the order of `laws`
    aims : one for each line with a bend; without any, one for each pair
    table : (N) rows bender, tube, dial_deg, readings, angle_deg (to be expected): the pieces
        that could be bent, in runs of rising dial
    design, noise : (N, 3, 7K), (N, 3, 3) what they would read, linearised
    """

    laws: Mapping[tuple[str, str], Law]
    covariance: np.ndarray
    aims: tuple[Aim, ...]
    table: pd.DataFrame
    design: np.ndarray
    noise: np.ndarray

    @property
    def weighted_aim(self) -> np.ndarray:
        """(M, 7K) all lines' ends, so that tr(A·C·Aᵀ) is their weighted summed variance [mm²]."""
        return np.concatenate([aim.weight**0.5 * aim.by_law for aim in self.aims])

    def unbent(self) -> set[tuple[str, str]]:
        """The pairs of lines that have no offcut yet but could: nothing can be marked by them."""
        can = set(zip(self.table.bender, self.table.tube, strict=True))
        return {aim.pair for aim in self.aims if aim.is_line and not self.laws[aim.pair].n_offcuts} & can


def prospects_of(
    shop: Shop, *, lines: Sequence[str | Line] | None = None, pairs: Sequence[tuple[str, str]] | None = None,
    dials_deg: ArrayLike | None = None, weights: Mapping[str, float] | None = None, widths: Widths = WIDTHS,
) -> Prospects:
    """Fit what there is and lay out what could come.

    Parameters
    ----------
    shop : its readings so far (none is enough), tubes, benders, tools and lines
    lines : those still to be made, by name or as Line; None for all of the shop. Where none of
        them has a bend, single bends of all `pairs` at 20° to 120° stand in for them
    pairs : (bender, tube) of which offcuts can be bent; None for those of the lines and
        those that have offcuts and share a bender or a tube with a line
    dials_deg : dial settings that may be bent [deg]; None for every 5° from 20° below to 20°
        above what the lines need of the pair (or, if none, of the bender; or 20° to 120°).
        Those beyond the dial are left out
    weights : line → how much it counts; 1 where it is not named
    widths : what is believed before any offcut

    Raises
    ------
    UnknownName : for a bender, tube or line that the shop does not have
    ValueError : where no pair is known, or no dial setting can be bent
    """
    chosen = [shop.line(each) if isinstance(each, str) else each for each in (shop.lines if lines is None else lines)]
    chosen = [line for line in chosen if line.bends]
    wanted = [(line.bender, line.tube) for line in chosen]
    near = [pair for pair in shop.pairs() if not wanted or any(one == two for each in wanted for one, two in zip(pair, each, strict=True))]
    may = list(dict.fromkeys([*wanted, *near] if pairs is None else [tuple(pair) for pair in pairs]))
    every = list(dict.fromkeys([*may, *wanted, *shop.pairs()]))
    if not may:
        raise ValueError(
            "Nothing says which tube is bent on which bender: there is no offcut and no line yet. "
            "Name at least one pair, such as pairs=[('my bender', 'my tube')]."
        )
    for bender, tube in every:
        named(shop.benders, bender, "bender"), named(shop.tubes, tube, "tube")
    pieces = pieces_of(shop, every, widths)
    fit = fit_laws(pieces, pool_of(shop, every, widths), widths, together=len(every))
    laws = {}
    for k, pair in enumerate(every):
        angle = pieces.readings[pieces.group == k, 0]
        laws[pair] = Law.of(
            *pair, fit.p[k, :5], fit.covariance[k, :5, :5], bow=fit.bow(k, pieces.bow_shape[pair[0]]), scatter_deg=fit.scatter_deg, marking_mm=widths.marking_sd_mm, dof=fit.dof,
            n_offcuts=len(angle), angle_range_deg=(float(angle.min()), float(angle.max())) if len(angle) else None,
            dial_max_deg=shop.benders[pair[0]].dial_max_deg,
        )
    place = {pair: slice(_SIZE * k, _SIZE * k + 6) for k, pair in enumerate(every)}
    weight = weights or {}
    # What is left once everything were known: nothing of the law but the bow, which nobody corrects for.
    known = {
        pair: replace(law, covariance=law.covariance * 0.0, bow=Bow(law.bow.shape, (0.0,) * 5 + (float(fit.p[k, 5]) ** 2,)))
        for k, (pair, law) in enumerate(laws.items())
    }  # fmt: skip
    aims = tuple(_line_aim(shop, line, laws, known, place, float(weight.get(line.line, 1.0))) for line in chosen)
    aims = aims or tuple(_stand_in(pair, laws[pair], known[pair], place) for pair in may)
    candidates = _candidates(shop, may, laws, aims, dials_deg)
    design, noise = _readings(shop, candidates, every, fit, pieces.bow_shape, widths)
    table = pd.DataFrame({
        "bender": [o.bender for o in candidates], "tube": [o.tube for o in candidates],
        "dial_deg": [o.dial_deg for o in candidates], "readings": [READINGS[o.has_legs] for o in candidates],
        "angle_deg": [o.angle_deg for o in candidates],
    })  # fmt: skip
    return Prospects(laws, fit.joint, aims, table, design, noise)


def _end(legs: Legs, law: Law, known: Law, free_end: str) -> tuple[np.ndarray, np.ndarray, float, float]:
    """The end by the law and its bow (3, 6), the same along its leg (1, 6), and the two variances that are left."""
    dial, side = law.dial_for(legs.angle_deg).value, feeds("A", legs.bends)
    by_law = end_sensitivities(legs, law, dial, side, free_end=free_end)[0][:, :6]
    along = end_shifts(reverse_legs(legs) if free_end == "A" else legs)[0][-1:]
    rest = end_covariance_mm2(legs, known, dial, side, free_end=free_end)
    return by_law, along @ by_law, float(np.trace(rest)), along_last_leg_mm(rest, legs, free_end=free_end) ** 2


def _spread(rows: np.ndarray, where: slice, width: int) -> np.ndarray:
    wide = np.zeros((len(rows), width))
    wide[:, where] = rows
    return wide


def _line_aim(shop: Shop, line: Line, laws: Mapping, known: Mapping, place: Mapping, weight: float) -> Aim:
    if not weight >= 0:
        raise ValueError(f"The weight of line {line.line!r} is {weight}; it must be 0 or more.")
    pair, width = (line.bender, line.tube), _SIZE * len(laws)
    by_law, along, rest, along_rest = _end(line.legs, laws[pair], known[pair], line.trim_at)
    ends = shop.end(line.end_a).uses_sd_mm ** 2 + shop.end(line.end_b).uses_sd_mm ** 2
    return Aim(
        line.line, pair, _spread(by_law, place[pair], width), _spread(along, place[pair], width), rest, along_rest + ends,
        line.legs.angle_deg, weight,
    )  # fmt: skip


def _stand_in(pair: tuple[str, str], law: Law, known: Law, place: Mapping) -> Aim:
    """Single bends at several angles, averaged over: a small error at all of them is wanted."""
    each = [_end(Legs([STAND_IN_LEG_MM] * 2, [angle], [0.0]), law, known, "B") for angle in _STAND_IN_DEG]
    share, width = len(each) ** -0.5, _SIZE * len(place)
    by_law, along = (_spread(share * np.concatenate([e[i] for e in each]), place[pair], width) for i in (0, 1))
    rest, along_rest = (float(np.mean([e[i] for e in each])) for i in (2, 3))
    name = f"{STAND_IN_LEG_MM:g} mm legs of {pair[1]} on {pair[0]}"
    return Aim(name, pair, by_law, along, rest, along_rest, _STAND_IN_DEG, is_line=False)


def _dials(law: Law, aims: Sequence[Aim], dials_deg: ArrayLike | None) -> np.ndarray:
    """Settings that this pair could be bent at [deg], rising.

    No dial is quite straight and no law quite right: what is bent far from where the lines
    need it teaches what they do not need (G. E. P. Box & N. R. Draper, J. Am. Stat. Assoc.
    54, 1959, 622: memory). On invented benders whose dials bow by half a degree, staying near
    saved half of the offcuts; on straight dials it cost about one in ten (tests/benchmarks/design.py).
    """
    if dials_deg is None:
        lines = [aim for aim in aims if aim.is_line and aim.pair[0] == law.bender]
        lines = [aim for aim in lines if aim.pair[1] == law.tube] or lines
        low, high = _LOW_DEG, _HIGH_DEG
        if lines:
            needed = np.concatenate([law.dial_for(aim.angles_deg).value for aim in lines])
            # Where the legs of a nearly straight piece cross, no one can measure.
            low, high = max(needed.min() - _MARGIN_DEG, min(needed.min(), _LEAST_DEG)), needed.max() + _MARGIN_DEG
        grid = _STEP_DEG * np.arange(max(1, floor(low / _STEP_DEG)), ceil(high / _STEP_DEG) + 1)
    else:
        grid = np.unique(np.atleast_1d(np.asarray(dials_deg, float)))
        if not (grid.size and np.all(np.isfinite(grid)) and grid[0] > 0):
            raise ValueError(f"dials_deg is {dials_deg}; give dial settings above 0°, such as [30, 60, 90, 120].")
    angle = law.mean_angle(grid).value
    return grid[(grid <= (law.dial_max_deg or np.inf)) & (angle > 1.0) & (angle < _TIGHTEST_DEG)]


def _candidates(shop: Shop, may: Sequence, laws: Mapping, aims: Sequence[Aim], dials_deg: ArrayLike | None) -> list[Offcut]:
    """A piece for every pair, set of readings and dial setting, as if it had come out as expected."""
    made = []
    for pair in may:
        law = laws[pair]
        dials = _dials(law, aims, dials_deg)
        angles = law.mean_angle(dials).value if dials.size else dials
        # It will be read with what the last piece of that pair, bender or shop was read with.
        like = [o for o in shop.offcuts if o.counts]
        like = [o for o in like if (o.bender, o.tube) == pair] or [o for o in like if o.bender == pair[0]] or like
        tools = {"angle_tool": like[-1].angle_tool, "length_tool": like[-1].length_tool} if like else {}
        for legs in ({}, {"leg_a_mm": STAND_IN_LEG_MM, "leg_b_mm": STAND_IN_LEG_MM}):
            made += [
                Offcut("", *pair, 2 * STAND_IN_LEG_MM, STAND_IN_LEG_MM, float(dial), float(angle), **legs, **tools)
                for dial, angle in zip(dials, angles, strict=True)
            ]
    if not made:
        raise ValueError(
            "None of the dial settings can be bent on these benders: they lie beyond the end of the dial, "
            f"or the bend would come out straight or tighter than {_TIGHTEST_DEG:g}°."
        )
    return made


def _readings(
    shop: Shop, candidates: Sequence[Offcut], every: Sequence, fit, bow_shape: Mapping, widths: Widths
) -> tuple[np.ndarray, np.ndarray]:
    """J (N, 3, 7K) and V (N, 3, 3) of the candidates, as the fit would see them; the true angle's scatter is in V."""
    pieces = as_next(pieces_of(replace(shop, offcuts=tuple(candidates)), every, widths), bow_shape)
    order = {id(o): i for i, o in enumerate(pieces.offcuts)}
    order = np.array([order[id(o)] for o in candidates])
    near = linearise(pieces, fit.p[pieces.group], pieces.readings[:, 0])
    taken = np.isfinite(pieces.readings)
    slope = near.by_xi * taken
    rows = near.by_p * taken[..., None] + slope[..., None] * near.mu_by_p[:, None, :]
    gap = np.eye(3) * ~taken[:, None, :]
    tools = np.linalg.inv(pieces.precision + gap) - gap
    noise = fit.scales[1] ** 2 * tools + gap + fit.scatter_deg**2 * slope[:, :, None] * slope[:, None, :]
    design = np.zeros((len(rows), 3, len(every), _SIZE))
    design[np.arange(len(rows)), :, pieces.group] = rows
    return design.reshape(len(rows), 3, -1)[order], noise[order]
