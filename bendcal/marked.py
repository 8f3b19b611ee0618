"""A marked tube: what goes to the vice for one line, and what a person should know before cutting it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from bendcal.benders import Bender
from bendcal.bending import bend_up
from bendcal.ends import End
from bendcal.estimate import Estimate
from bendcal.law import Law
from bendcal.lines import Line
from bendcal.oval import Oval
from bendcal.path import Legs
from bendcal.tubes import Tube
from bendcal.working import WorkStep, work_steps

__all__ = ["MARK_COLUMNS", "MarkSheet", "between_faults", "dial_faults", "leg_place"]

MARK_COLUMNS = (
    "bend", "mark_mm", "dial_deg", "twist_deg", "angle_deg", "mark_u_mm", "angle_u_deg", "start_mm", "end_mm", "feed", "note",
    "step", "turn_deg",
)  # fmt: skip

#: A straight may be short by so much: rounding [mm].
SMALL_MM = 1e-6

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
    order : the bends' numbers in the order in which they are made
    order_told : sentences that say what that order was tried against, and with what result; none where it was not
    order_is_close : a sentence that warns where what is bent clears something by little; else blank
    too_near : sentences that say what the finished line comes too near to
    oval : what the shop's pieces tell of how far its bends flatten; None where nobody measured it
    late : the letters of ends that are finished after the bends, where a nut on the tube would be in their way; else blank
    nuts_told : sentences that say where the nuts on the tube are pushed while it is bent
    order_fails : whether no order was found in which the line can be bent: then `order_told` says why
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
    order: tuple[int, ...] = ()
    order_told: tuple[str, ...] = ()
    order_fails: bool = False
    order_is_close: str = ""
    too_near: tuple[str, ...] = ()
    oval: Oval | None = None
    late: str = ""
    nuts_told: tuple[str, ...] = ()

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
    def steps(self) -> tuple[WorkStep, ...]:
        """The bends in the order in which they are made, and how to turn the tube before each."""
        return work_steps(self.legs.twist_deg, self.order, ["A" if side > 0 else "B" for side in self.feed])

    @property
    def in_row(self) -> bool:
        """Whether the bends are made one after another from end A on."""
        return self.order == tuple(range(1, self.legs.bends + 1))

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
        """One row a bend, in the order of end A to end B; the columns of :data:`MARK_COLUMNS`.

        ``step`` is when the bend is made, ``turn_deg`` how the hands turn the tube before it (positive clockwise seen
        from end A; NaN for the first bend and after a turn end for end).
        """
        at = {step.bend: (i + 1, np.nan if step.turn_deg is None else step.turn_deg) for i, step in enumerate(self.steps)}
        return pd.DataFrame({
            "bend": np.arange(1, self.legs.bends + 1), "mark_mm": self.mark_mm, "dial_deg": self.dial_deg,
            "twist_deg": self.legs.twist_deg, "angle_deg": self.legs.angle_deg, "mark_u_mm": self.mark_u_mm,
            "angle_u_deg": self.angle_u_deg, "start_mm": self.start_mm, "end_mm": self.end_mm,
            "feed": np.where(self.feed > 0, "A", "B"), "note": list(self.notes),
            "step": [at[k + 1][0] for k in range(self.legs.bends)], "turn_deg": [at[k + 1][1] for k in range(self.legs.bends)],
        })  # fmt: skip

    def as_bent(self, law: Law | None = None) -> Legs:
        """What these marks and settings turn into when bent by `law` (None: by the law they were made with)."""
        return bend_up(
            law or self.law, mark_mm=self.mark_mm, dial_deg=self.dial_deg, twist_deg=self.legs.twist_deg,
            seat_a_mm=self.seat_a_mm, seat_b_mm=self.seat_b_mm, feed=self.marks["feed"],
        )  # fmt: skip


def leg_place(line: Line, i: int) -> str:
    """Which leg that is, in the words of the line's own labels."""
    here = "end A" if i == 0 else f"bend {i}"
    there = "end B" if i == line.bends else f"bend {i + 1}"
    return f"leg {i + 1} ({here} to {there})"


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
    if sheet.order_fails:
        said += ["No order was found in which these bends can be made. Do not cut by this sheet.", *sheet.order_told]
    said += [*sheet.too_near, *filter(None, [sheet.order_is_close])]
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
    if line.bends and sheet.oval is not None and sheet.oval.warning:
        said.append(sheet.oval.warning)
    if law.n_offcuts < 3:
        count = "one offcut" if law.n_offcuts == 1 else f"{law.n_offcuts} offcuts"
        said.append(f"Only {count} taught this law; three or more, at different angles, make it trustworthy.")
    start_mm = float(Estimate(0.0, np.sqrt(law.covariance.to_numpy()[4, 4]), "mm", law.dof).interval(0.95)[1])
    if line.bends and start_mm > UNKNOWN_START_MM:
        said.append(
            f"Where a bend starts from its mark is known to ± {start_mm:.0f} mm only, and so is every mark: no offcut has told it. "
            "Measure both legs of one first."
        )
    said += [text for _, text in dial_faults(sheet)]
    needs = np.zeros(len(straights))
    needs[0] = max(bender.min_leg_mm or 0.0, sheet.end_a.behind_mm)
    needs[-1] = max(bender.min_last_mm or 0.0, sheet.end_b.behind_mm)
    if not line.bends:
        needs[:] = sheet.end_a.behind_mm + sheet.end_b.behind_mm
    said += [text for *_, text in between_faults(sheet)]
    for i in sorted({0, line.bends}):
        if straights[i] >= needs[i] - 1e-9:
            continue
        said.append(
            f"L{leg_place(line, i)[1:]} has {straights[i]:.1f} mm of straight tube, but {needs[i]:.1f} mm are "
            "needed for the bender, the nut or the flaring tool."
        )
    off = [int(k) + 1 for k in np.flatnonzero((sheet.mark_mm < 0) | (sheet.mark_mm > sheet.cut_length_mm))]
    if off:
        said.append(f"The mark of {_bends(off).lower().removesuffix(' lies').removesuffix(' lie')} falls off the tube: make it with the other end of the tube leading.")
    if not line.bends:
        said.append("This line has no bend. A straight run between two rigid ends should have at least one (FAA AC 43.13-1B).")
    return tuple(dict.fromkeys(said))  # what stops every order may be what the dial or a straight says as well


def dial_faults(sheet: MarkSheet) -> tuple[tuple[int, str], ...]:
    """For each bend that the dial cannot be set to, its number and a sentence: beyond the dial's end, or below its zero."""
    bender, most, found = sheet.bender, sheet.bender.dial_max_deg, []
    for bend, dial in enumerate(sheet.dial_deg, start=1):
        if most is not None and dial > most:
            found.append((bend, f"Bend {bend} needs {dial:.1f}° on the dial of {bender.bender}, which ends at {most:g}°. Use another bender, or make two bends of it."))
        elif dial < 0:
            found.append((bend, f"Bend {bend} would need {dial:.1f}° on the dial, below its zero: so small a bend cannot be set on {bender.bender}."))
    return tuple(found)


def between_faults(sheet: MarkSheet) -> tuple[tuple[int, float, str], ...]:
    """For each leg between two bends that leaves less straight tube than the bender needs: its number, what is missing [mm], a sentence."""
    need, bender = sheet.bender.min_between_mm or 0.0, sheet.bender.bender
    return tuple(
        (
            leg + 1, float(need - straight),
            f"Leg {leg + 1} leaves {straight:.1f} mm of straight tube between bend {leg} and bend {leg + 1}; bender {bender} needs {need:g} mm. "
            f"Move the corners {need - straight:.1f} mm further apart, or use another bender.",
        )
        for leg, straight in enumerate(sheet.straights_mm[:-1]) if leg and straight < need - SMALL_MM
    )  # fmt: skip


def _bends(numbers: list[int]) -> str:
    if len(numbers) == 1:
        return f"Bend {numbers[0]} lies"
    return f"Bends {', '.join(map(str, numbers[:-1]))} and {numbers[-1]} lie"
