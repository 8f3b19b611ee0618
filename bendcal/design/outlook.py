"""Outlook: where the lines' ends will stand once certain pieces are bent."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from bendcal.design.optimal import gains, updated
from bendcal.design.prospects import READINGS, Prospects

__all__ = ["RANKED", "after", "alone", "chain", "effort_of", "lines_table", "look_ahead", "pays", "standing"]

#: Columns of a ranking of pieces.
RANKED = (
    "bender", "tube", "dial_deg", "readings", "line", "end_u_before_mm", "end_u_after_mm", "trim_before_mm", "trim_after_mm", "gain",
)  # fmt: skip

#: So many pieces are looked ahead before it is said that none pays: one alone may seem to bring little.
LOOK_AHEAD = 3

#: Measuring two legs costs this much more than reading the angle alone, as a share of a whole piece.
_LEGS_EFFORT = 0.05

_PIECE = ["bender", "tube", "dial_deg", "readings"]


def standing(prospects: Prospects, covariance: np.ndarray, z: float) -> tuple[np.ndarray, np.ndarray]:
    """Standard uncertainty of each line's end, and `z` times that along its own leg: the trim [mm], (L,) each."""
    end = [_variance(aim.by_law, covariance) + aim.rest_mm2 for aim in prospects.aims]
    trim = [_variance(aim.along, covariance) + aim.along_rest_mm2 for aim in prospects.aims]
    return np.sqrt(end), z * np.sqrt(trim)


def after(prospects: Prospects, picks: Sequence[int]) -> np.ndarray:
    """The laws' covariance once the pieces in rows `picks` are bent, (7K, 7K)."""
    covariance = prospects.covariance
    for i in picks:
        covariance = updated(covariance, prospects.design[i], prospects.noise[i])
    return covariance


def look_ahead(prospects: Prospects, covariance: np.ndarray) -> np.ndarray:
    """The laws' covariance after the best few further pieces."""
    effort = effort_of(prospects)
    for _ in range(LOOK_AHEAD):
        each = gains(covariance, prospects.design, prospects.noise, aim=prospects.weighted_aim)
        best = int(np.argmax(each / effort))
        covariance = updated(covariance, prospects.design[best], prospects.noise[best])
    return covariance


def pays(prospects: Prospects, covariance: np.ndarray, z: float, pays_mm: float) -> bool:
    """Whether a few more pieces lower any line's trim, or what its end may be off in any direction, by enough."""
    end, trim = standing(prospects, covariance, z)
    then_end, then_trim = standing(prospects, look_ahead(prospects, covariance), z)
    return bool(np.any(np.maximum(trim - then_trim, z * (end - then_end)) >= pays_mm))


def effort_of(prospects: Prospects) -> np.ndarray:
    """(N,) what each piece costs, a piece with its angle alone 1."""
    return np.where(prospects.table.readings == READINGS[1], 1.0 + _LEGS_EFFORT, 1.0)


def chain(prospects: Prospects, picks: Sequence[int], z: float) -> pd.DataFrame:
    """The pieces in their order: what each lowers once those before it are bent."""
    covariance, start = prospects.covariance, _total(prospects, prospects.covariance)
    rows = []
    for i in picks:
        then = updated(covariance, prospects.design[i], prospects.noise[i])
        rows.append(_row(prospects, i, covariance, then, start, z))
        covariance = then
    return pd.DataFrame(rows, columns=[*RANKED, "largest_trim_mm"])


def alone(prospects: Prospects, z: float) -> pd.DataFrame:
    """What each piece would lower if no other followed: the best settings of each pair's dial, the best first."""
    effort = effort_of(prospects)
    each = gains(prospects.covariance, prospects.design, prospects.noise, aim=prospects.weighted_aim)
    start, rows = _total(prospects, prospects.covariance), []
    for i in sorted(_peaks(prospects.table, each / effort), key=lambda i: -each[i] / effort[i]):
        then = updated(prospects.covariance, prospects.design[i], prospects.noise[i])
        rows.append(_row(prospects, i, prospects.covariance, then, start, z))
    return pd.DataFrame(rows, columns=list(RANKED))


def lines_table(prospects: Prospects, z: float, columns: Mapping[str, np.ndarray]) -> pd.DataFrame:
    """One row a line: its names, `columns`, and what no offcut can go below."""
    least_end, least_trim = standing(prospects, np.zeros_like(prospects.covariance), z)
    return pd.DataFrame({
        "line": [aim.name for aim in prospects.aims], "bender": [aim.pair[0] for aim in prospects.aims],
        "tube": [aim.pair[1] for aim in prospects.aims], **columns, "end_u_least_mm": least_end, "trim_least_mm": least_trim,
    })  # fmt: skip


def _variance(rows: np.ndarray, covariance: np.ndarray) -> float:
    """tr(A·C·Aᵀ), of the few laws that the rows are about."""
    used = np.flatnonzero(rows.any(axis=0))
    few = rows[:, used]
    return max(float(((few @ covariance[np.ix_(used, used)]) * few).sum()), 0.0)


def _total(prospects: Prospects, covariance: np.ndarray) -> float:
    return max(sum(aim.weight * _variance(aim.by_law, covariance) for aim in prospects.aims), 1e-300)


def _row(prospects: Prospects, i: int, now: np.ndarray, then: np.ndarray, start: float, z: float) -> dict:
    (end, trim), (then_end, then_trim) = standing(prospects, now, z), standing(prospects, then, z)
    helped = int(np.argmax([aim.weight for aim in prospects.aims] * (end**2 - then_end**2)))
    return {
        **prospects.table.loc[i, _PIECE], "line": prospects.aims[helped].name,
        "end_u_before_mm": end[helped], "end_u_after_mm": then_end[helped],
        "trim_before_mm": trim[helped], "trim_after_mm": then_trim[helped],
        "gain": (_total(prospects, now) - _total(prospects, then)) / start, "largest_trim_mm": then_trim.max(),
    }  # fmt: skip


def _peaks(table: pd.DataFrame, rate: np.ndarray) -> list[int]:
    """Rows whose neighbours on the same pair's dial are no better; of a setting's two sets of readings, the better."""
    found = []
    for _, rows in table.groupby(["bender", "tube"], sort=False):
        angle, legs = np.split(rows.index.to_numpy(), 2)
        best = np.where(rate[legs] >= rate[angle], legs, angle)
        wide = np.concatenate([[-1.0], rate[best], [-1.0]])
        found += best[(wide[1:-1] >= wide[:-2]) & (wide[1:-1] >= wide[2:])].tolist()
    return found
