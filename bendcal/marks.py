"""Marks: where on the straight tube each bend is marked, what to set, and where to cut."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from bendcal.benders import Bender
from bendcal.bending import feeds
from bendcal.calibration import Calibration
from bendcal.ends import End
from bendcal.law import Law
from bendcal.lines import Line
from bendcal.margin import along_last_leg_mm, end_covariance_mm2, trim_for_mm
from bendcal.marked import MARK_COLUMNS, MarkSheet, leg_place
from bendcal.oval import oval_of
from bendcal.path import LegTooShort, straights_mm
from bendcal.shop import Shop, named
from bendcal.working import work_steps

__all__ = ["MARK_COLUMNS", "MarkSheet", "mark_out"]


def mark_out(
    shop: Shop, cal: Calibration, line: str | Line, *,
    feed: str | ArrayLike = "A", order: Sequence[int] | None = None, trim_mm: float | None = None, chance: float = 0.95,
) -> MarkSheet:
    """Marks, dial settings, twists and cut length of one line.

    Whether the bends can be made in that order is not asked here: :func:`bendcal.planned.mark_out_planned` does.

    Parameters
    ----------
    shop : what :func:`bendcal.read_shop` returned
    cal : what :func:`bendcal.calibrate` returned
    line : the line's name in the shop, or a Line
    feed : which end leads into the bender: ``"A"``, ``"B"``, or one letter for each bend
    order : the bends' numbers, from end A, in the order in which they are made; None for one after another
    trim_mm : spare tube to leave on [mm]; None for what makes the line long enough with
        probability `chance`
    chance : see `trim_mm`

    Returns
    -------
    MarkSheet

    Raises
    ------
    UnknownName : where the shop lacks the line, its tube, bender or ends, or the
        calibration lacks their law
    ShopFaults : where the line or its ends were left out of the shop because of their faults
    LegTooShort : where the bends at a leg's ends need more than the leg has
    ValueError : where `feed`, `order`, `trim_mm` or `chance` cannot be used
    """
    line = shop.line(line) if isinstance(line, str) else line
    tube, bender = named(shop.tubes, line.tube, "tube"), named(shop.benders, line.bender, "bender")
    end_a, end_b = shop.end(line.end_a), shop.end(line.end_b)
    law, legs = cal.law(line.bender, line.tube), line.legs
    if trim_mm is not None and not (np.isfinite(trim_mm) and trim_mm >= 0):
        raise ValueError(f"trim_mm is {trim_mm}; spare tube is 0 mm or more.")
    if not 0.5 <= chance < 1:
        raise ValueError(f"chance is {chance}; it must be at least 0.5 and less than 1, such as 0.95.")
    side = feeds(feed, legs.bends)
    made = tuple(range(1, legs.bends + 1)) if order is None else tuple(int(bend) for bend in order)
    if order is not None:
        work_steps(legs.twist_deg, made, "A" * legs.bends)  # refuses what is no order
    _, _, radius, developed, offset = (float(v) for v in law.parameters)

    straights = straights_mm(legs, radius)
    _refuse_overlap(line, straights, bender, (end_a, end_b))
    theta = np.radians(legs.angle_deg)
    dial = law.dial_for(legs.angle_deg).value
    covariance = end_covariance_mm2(legs, law, dial, side, free_end=line.trim_at, shape=line.shape_covariance)
    length_u = float(np.hypot(
        along_last_leg_mm(covariance, legs, free_end=line.trim_at), np.hypot(end_a.uses_sd_mm, end_b.uses_sd_mm)
    ))
    wanted = trim_for_mm(length_u, chance=chance)
    trim = wanted if trim_mm is None else float(trim_mm)
    seat_a = end_a.uses_mm + (trim if line.trim_at == "A" else 0.0)
    arcs = developed * theta
    start = seat_a + np.cumsum(straights[:-1]) + np.concatenate([[0.0], np.cumsum(arcs[:-1])])
    end = start + arcs
    seat_b = (end[-1] if legs.bends else seat_a) + straights[-1]
    cut = seat_b + end_b.uses_mm + (trim if line.trim_at == "B" else 0.0)
    mark = np.where(side > 0, start, end) - side * offset
    return MarkSheet(
        line=line, tube=tube, bender=bender, law=law, end_a=end_a, end_b=end_b, mark_mm=mark, dial_deg=dial,
        mark_u_mm=_mark_u_mm(law, theta, side, end_a.uses_sd_mm, line.shape_covariance), angle_u_deg=law.finished_angle(dial).u,
        start_mm=start, end_mm=end, feed=side, cut_length_mm=float(cut), trim_mm=trim, length_u_mm=length_u,
        straights_mm=straights, trim_wanted_mm=wanted,
        readings_differ=bool(cal.digest and shop.offcuts) and cal.digest != shop.readings_digest,
        order=made, oval=oval_of(shop.offcuts_for(line.bender, line.tube), tube),
    )  # fmt: skip


def _mark_u_mm(law: Law, theta: np.ndarray, side: np.ndarray, uses_sd_mm: float, shape: np.ndarray | None) -> np.ndarray:
    """Standard uncertainty of each mark: mark = seat + legs − gains so far − take-up."""
    tan = np.tan(theta / 2)
    before = np.tri(len(theta), k=-1)
    by = np.zeros((len(theta), 3))
    by[:, 0] = -before @ (2 * tan) - tan
    by[:, 1] = before @ theta + np.where(side < 0, theta, 0.0)
    by[:, 2] = -side
    c = law.covariance.to_numpy()[2:, 2:]
    variance = np.einsum("ni,ij,nj->n", by, c, by) + law.marking_mm**2 + uses_sd_mm**2
    if shape is not None:
        _, _, radius, developed, _ = (float(v) for v in law.parameters)
        setback, n = radius / (2 * np.cos(theta / 2) ** 2), len(theta)  # by radians of angle
        own = np.where(side < 0, developed, 0.0) - setback
        by = np.concatenate([np.tri(n, n + 1), np.radians(np.diag(own) + before * (developed - 2 * setback)), np.zeros((n, n))], axis=1)
        variance = variance + np.einsum("ni,ij,nj->n", by, shape, by)
    return np.sqrt(variance)


def _refuse_overlap(line: Line, straights: np.ndarray, bender: Bender, ends: tuple[End, End]) -> None:
    """Refuse bends that overlap, each leg with all that it lacks: room for the bends, and for what is needed beside them."""
    short = np.flatnonzero(straights < -1e-9)
    if not short.size:
        return
    faults, missing = [], []
    for i in short:
        inner = 0 < i < line.bends
        need = (bender.min_between_mm or 0.0) if inner else max(min(bender.min_leg_mm or 0.0, bender.min_last_mm or 0.0), _least_behind_mm(ends[0 if i == 0 else 1]))
        for_what = f" and bender {bender.bender} needs {need:g} mm between them" if inner else f" and {need:g} mm are needed beside it for the bender, the nut or the flaring tool"
        takes = f"its {'bends take' if inner else 'bend takes'} up {line.legs.leg_mm[i] - straights[i]:.1f} mm of it"
        missing.append(float(need - straights[i]))
        faults.append(
            f"{leg_place(line, i)} is {line.legs.leg_mm[i]:.1f} mm, but {takes}{for_what if need else ''}: {missing[-1]:.1f} mm are missing"
            f"{f' ({line.leg_from[i]})' if i < len(line.leg_from) else ''}"
        )
    raise LegTooShort(
        f"Line {line.line!r} cannot be bent: {'; '.join(faults)}. Move the apexes apart, open the bends, or use a bender with a smaller radius.",
        tuple(int(i) + 1 for i in short), tuple(missing),
    )


def _least_behind_mm(end: End) -> float:
    """Straight tube behind an end that cannot be done without: a flare can be formed before the bend, its nut needs room all the same."""
    return end.nut_mm if end.is_flare and end.nut_mm is not None and end.nut_mm < end.straight_mm else end.straight_mm
