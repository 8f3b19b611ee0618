"""Marks: where on the straight tube each bend is marked, what to set, and where to cut."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from bendcal.benders import Bender
from bendcal.bending import bend_up, feeds
from bendcal.calibration import Calibration
from bendcal.ends import End
from bendcal.estimate import Estimate
from bendcal.law import Law
from bendcal.lines import Line
from bendcal.margin import along_last_leg_mm, end_covariance_mm2, trim_for_mm
from bendcal.path import Legs, LegTooShort, straights_mm
from bendcal.shop import Shop, named
from bendcal.tubes import Tube

__all__ = ["MARK_COLUMNS", "MarkSheet", "mark_out"]

MARK_COLUMNS = (
    "bend", "mark_mm", "dial_deg", "twist_deg", "angle_deg", "mark_u_mm", "angle_u_deg", "start_mm", "end_mm", "feed", "note",
)  # fmt: skip

#: Half of the 95 % range of the mark offset beyond which no offcut has told where a bend starts; one with legs brings it to some 2 mm.
UNKNOWN_START_MM = 5.0


@dataclass(frozen=True, eq=False)
class MarkSheet:
    """All that goes to the vice for one line. Positions are from the cut end A, in mm.

    Attributes
    ----------
    line, tube, bender : the records it was made from
    law : the law that was used
    end_a, end_b : how the ends are finished
    mark_mm, dial_deg, mark_u_mm, angle_u_deg, start_mm, end_mm : (n,) for each bend
    feed : (n,) +1 where end A leads, −1 where the tube is turned end for end
    cut_length_mm : what to cut off, the trim included
    trim_mm : spare tube at ``line.trim_at``, to cut after the fit-up
    length_u_mm : standard uncertainty of where that end falls along its leg; as those of the marks, with what a measured
        shape (a pattern) leaves open. Those of the angles are of what comes out, as it is checked at the vice
    straights_mm : (n + 1,) straight tube before, between and after the bends
    trim_wanted_mm : the spare tube that would make the line long enough
    readings_differ : whether the shop's readings are others than those that made the law
    """

    line: Line
    tube: Tube
    bender: Bender
    law: Law
    end_a: End
    end_b: End
    mark_mm: np.ndarray
    dial_deg: np.ndarray
    mark_u_mm: np.ndarray
    angle_u_deg: np.ndarray
    start_mm: np.ndarray
    end_mm: np.ndarray
    feed: np.ndarray
    cut_length_mm: float
    trim_mm: float
    length_u_mm: float
    straights_mm: np.ndarray
    trim_wanted_mm: float = 0.0
    readings_differ: bool = False

    @property
    def legs(self) -> Legs:
        """The line's legs, angles and twists."""
        return self.line.legs

    @property
    def seat_a_mm(self) -> float:
        """Where the seat of end A lies on the straight tube [mm]."""
        return self.end_a.uses_mm + (self.trim_mm if self.line.trim_at == "A" else 0.0)

    @property
    def seat_b_mm(self) -> float:
        """Where the seat of end B lies on the straight tube [mm]."""
        return self.cut_length_mm - self.end_b.uses_mm - (self.trim_mm if self.line.trim_at == "B" else 0.0)

    @cached_property
    def notes(self) -> tuple[str, ...]:
        """One text a bend: what is unusual about it."""
        covered = np.atleast_1d(self.law.covers(self.legs.angle_deg))
        return tuple(_note(known, turned) for known, turned in zip(covered, self.feed < 0, strict=True))

    @cached_property
    def warnings(self) -> tuple[str, ...]:
        """Sentences to read before cutting."""
        return _warnings(self, self.straights_mm)

    @cached_property
    def marks(self) -> pd.DataFrame:
        """One row a bend, in the order of end A to end B; the columns of :data:`MARK_COLUMNS`."""
        return pd.DataFrame({
            "bend": np.arange(1, self.legs.bends + 1), "mark_mm": self.mark_mm, "dial_deg": self.dial_deg,
            "twist_deg": self.legs.twist_deg, "angle_deg": self.legs.angle_deg, "mark_u_mm": self.mark_u_mm,
            "angle_u_deg": self.angle_u_deg, "start_mm": self.start_mm, "end_mm": self.end_mm,
            "feed": np.where(self.feed > 0, "A", "B"), "note": list(self.notes),
        })  # fmt: skip

    def as_bent(self, law: Law | None = None) -> Legs:
        """What these marks and settings turn into when bent by `law` (None: by the law they were made with)."""
        return bend_up(
            law or self.law, mark_mm=self.mark_mm, dial_deg=self.dial_deg, twist_deg=self.legs.twist_deg,
            seat_a_mm=self.seat_a_mm, seat_b_mm=self.seat_b_mm, feed=self.marks["feed"],
        )  # fmt: skip


def mark_out(
    shop: Shop, cal: Calibration, line: str | Line, *,
    feed: str | ArrayLike = "A", trim_mm: float | None = None, chance: float = 0.95,
) -> MarkSheet:
    """Marks, dial settings, twists and cut length of one line.

    Parameters
    ----------
    shop : what :func:`bendcal.read_shop` returned
    cal : what :func:`bendcal.calibrate` returned
    line : the line's name in the shop, or a Line
    feed : which end leads into the bender: ``"A"``, ``"B"``, or one letter for each bend
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
    ValueError : where `feed`, `trim_mm` or `chance` cannot be used
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
    _, _, radius, developed, offset = (float(v) for v in law.parameters)

    straights = straights_mm(legs, radius)
    _refuse_overlap(line, straights)
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


def _place(line: Line, i: int) -> str:
    """Which leg that is, in the words of the line's own labels."""
    here = "end A" if i == 0 else f"bend {i}"
    there = "end B" if i == line.bends else f"bend {i + 1}"
    return f"leg {i + 1} ({here} to {there})"


def _refuse_overlap(line: Line, straights: np.ndarray) -> None:
    short = np.flatnonzero(straights < -1e-9)
    if short.size:
        faults = [
            f"{_place(line, i)} is {line.legs.leg_mm[i]:.1f} mm, but its bends take up "
            f"{line.legs.leg_mm[i] - straights[i]:.1f} mm of it: {-straights[i]:.1f} mm are missing"
            for i in short
        ]
        raise LegTooShort(
            f"Line {line.line!r} cannot be bent: {'; '.join(faults)}. "
            "Move the apexes apart, open the bends, or use a bender with a smaller radius.",
            tuple(int(i) + 1 for i in short), tuple(float(-straights[i]) for i in short),
        )


def _note(covered: bool, turned: bool) -> str:
    parts = ["tube turned end for end"] if turned else []
    if not covered:
        parts.append("beyond the offcuts")
    return "; ".join(parts)


def _warnings(sheet: MarkSheet, straights: np.ndarray) -> tuple[str, ...]:
    """What a person should know before cutting. Nothing here is refused."""
    law, line, bender = sheet.law, sheet.line, sheet.bender
    said = []
    if sheet.readings_differ:
        said.append("The readings have changed since this calibration was made: calibrate again before you cut.")
    if sheet.trim_mm < sheet.trim_wanted_mm:
        said.append(
            f"{round(sheet.trim_mm, 1):g} mm of spare tube may be too little: {sheet.trim_wanted_mm:g} mm make the line long enough "
            "as often as asked."
        )
    beyond = [int(k) + 1 for k in np.flatnonzero(~np.atleast_1d(law.covers(line.legs.angle_deg)))]
    if beyond and law.angle_range_deg:
        low, high = law.angle_range_deg
        said.append(
            f"{_bends(beyond)} beyond what the offcuts covered ({f'{low:.0f}° to {high:.0f}°' if high - low >= 1 else f'{(low + high) / 2:.1f}°'}): "
            "the settings are an extension of the fit. Bend an offcut to that angle first."
        )
    if law.n_offcuts < 3:
        count = "one offcut" if law.n_offcuts == 1 else f"{law.n_offcuts} offcuts"
        said.append(f"Only {count} taught this law; three or more, at different angles, make it trustworthy.")
    start_mm = float(Estimate(0.0, np.sqrt(law.covariance.to_numpy()[4, 4]), "mm", law.dof).interval(0.95)[1])
    if line.bends and start_mm > UNKNOWN_START_MM:
        said.append(
            f"Where a bend starts from its mark is known to ± {start_mm:.0f} mm only, and so is every mark: no offcut has told it. "
            "Measure both legs of one first."
        )
    if bender.dial_max_deg is not None and np.any(sheet.dial_deg > bender.dial_max_deg):
        over = [int(k) + 1 for k in np.flatnonzero(sheet.dial_deg > bender.dial_max_deg)]
        said.append(f"{_bends(over)} beyond the end of the dial of {bender.bender} ({bender.dial_max_deg:g}°): this bender cannot make it.")
    if np.any(sheet.dial_deg < 0):
        below = [int(k) + 1 for k in np.flatnonzero(sheet.dial_deg < 0)]
        said.append(f"{_bends(below)} below the dial's zero: so small a bend cannot be set on this bender.")
    needs = np.full(len(straights), bender.min_between_mm or 0.0)
    needs[0] = max(bender.min_leg_mm or 0.0, sheet.end_a.behind_mm)
    needs[-1] = max(bender.min_last_mm or 0.0, sheet.end_b.behind_mm)
    if not line.bends:
        needs[:] = sheet.end_a.behind_mm + sheet.end_b.behind_mm
    for i in np.flatnonzero(straights < needs - 1e-9):
        said.append(
            f"L{_place(line, i)[1:]} has {straights[i]:.1f} mm of straight tube, but {needs[i]:.1f} mm are "
            "needed for the bender, the nut or the flaring tool."
        )
    off = [int(k) + 1 for k in np.flatnonzero((sheet.mark_mm < 0) | (sheet.mark_mm > sheet.cut_length_mm))]
    if off:
        said.append(f"The mark of {_bends(off).lower().removesuffix(' lies').removesuffix(' lie')} falls off the tube: make it with the other end of the tube leading.")
    if not line.bends:
        said.append("This line has no bend. A straight run between two rigid ends should have at least one (FAA AC 43.13-1B).")
    return tuple(said)


def _bends(numbers: list[int]) -> str:
    if len(numbers) == 1:
        return f"Bend {numbers[0]} lies"
    return f"Bends {', '.join(map(str, numbers[:-1]))} and {numbers[-1]} lie"
