"""Why: every number of a mark sheet traced back to the line and the law."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bendcal.marks import MarkSheet
from bendcal.working import WorkStep

__all__ = ["Traced", "why"]


@dataclass(frozen=True)
class Traced:
    """One sum of a sheet, term by term.

    Attributes
    ----------
    what : what it makes, such as ``mark 2``
    terms : (words, value) in order; the values add up to ``value``
    value : the sum [mm or deg]
    unit : ``"mm"`` or ``"°"``
    against : of a turn, whether the hands turn against the twists of its terms (or along with them); None of any other sum
    """

    what: str
    terms: tuple[tuple[str, float], ...]
    value: float
    unit: str = "mm"
    against: bool | None = None

    @property
    def sentence(self) -> str:
        """The sum in words and figures."""
        parts = []
        for i, (words, value) in enumerate(self.terms):
            sign = "− " if value < 0 else "+ " if i else ""
            figure = f"{abs(value):.2f}"
            if self.against is not None and words.startswith("twist"):  # as the line's own table has it, sign and all
                sign = "− " if self.against else "+ " if i else ""
                figure = f"({_signed(-value if self.against else value)})"
            parts.append(f"{sign}{words} {figure}")
        said = f"{self.what}: {' '.join(parts)} = {_signed(self.value)}{'' if self.unit == '°' else ' '}{self.unit}"
        if self.against is None or _signed(abs(self.value)) in ("0.00", "180.00"):
            return said
        return f"{said}, {'clockwise' if self.value > 0 else 'anticlockwise'}"

    def __str__(self) -> str:
        return self.sentence


def _signed(value: float) -> str:
    text = f"{value:.2f}".replace("-", "−")
    return text.lstrip("−") if not float(f"{value:.2f}") else text


def why(sheet: MarkSheet) -> tuple[Traced, ...]:
    """Every mark, dial setting and the cut length of a sheet as a sum of what they come from.

    Parameters
    ----------
    sheet : what :func:`bendcal.mark_out` made

    Returns
    -------
    Traced sums, in the order in which the bends are made: for each its mark (leg − take-up, after what the bends before it
    on the tube gained), its dial setting and, but for the first, how the tube is turned before it; how flat its bends come out, where the pieces tell; then the cut length

    Examples
    --------
    A line with one square bend, both legs 100 mm, radius 15 mm, no mark offset:

    >>> from bendcal.calibration import Calibration
    >>> from bendcal.law import Law
    >>> from bendcal.lines import line_from_legs
    >>> from bendcal.marks import mark_out
    >>> from bendcal.shop import Shop
    >>> from bendcal.benders import Bender
    >>> from bendcal.materials import ALLOYS
    >>> from bendcal.tubes import Tube
    >>> shop = Shop(benders={"b": Bender("b")}, tubes={"t": Tube("t", ALLOYS["copper"], 6.0, 1.0)})
    >>> cal = Calibration({("b", "t"): Law.of("b", "t", [-2.0, 1.0, 15.0, 15.0, 0.0])}, None, (), (), "", "0")
    >>> line = line_from_legs("l", [100, 100], [90], [0], tube="t", bender="b")
    >>> for each in why(mark_out(shop, cal, line, trim_mm=0)):
    ...     print(each)
    mark 1: leg 1 100.00 − take-up 1 15.00 = 85.00 mm
    dial 1: finished angle 90.00 + springback at that setting 2.00 = 92.00°
    cut length: leg 1 100.00 + leg 2 100.00 − gain 1 6.44 = 193.56 mm
    """
    legs, law = sheet.legs, sheet.law
    offset = float(law.parameters["mark_offset_mm"])
    gain, setback = np.atleast_1d(law.gain(legs.angle_deg).value), np.atleast_1d(law.setback(legs.angle_deg).value)
    seat = [("seat of end A", sheet.seat_a_mm)] if sheet.seat_a_mm else []
    traced = []
    made = None
    for step in sheet.steps:
        k = step.bend - 1
        terms = [*seat, *[(f"leg {j + 1}", float(legs.leg_mm[j])) for j in range(k + 1)]]
        terms += [(f"gain {j + 1}", -float(gain[j])) for j in range(k)]
        if sheet.feed[k] > 0:
            terms.append((f"take-up {k + 1}", -float(setback[k] + offset)))
        else:
            # Turned end for end the bender comes from the other side: past the apex, with this bend's gain used up.
            terms += [(f"gain {k + 1}", -float(gain[k])), (f"take-up {k + 1}, from the other side,", float(setback[k] + offset))]
        traced.append(Traced(f"mark {k + 1}", tuple(terms), float(sheet.mark_mm[k])))
        back = float(sheet.dial_deg[k] - legs.angle_deg[k])
        traced.append(Traced(
            f"dial {k + 1}", (("finished angle", float(legs.angle_deg[k])), ("springback at that setting", back)), float(sheet.dial_deg[k]), "°",
        ))  # fmt: skip
        if made is not None:
            traced.append(_turn(legs.twist_deg, made, step))
        made = k
    if sheet.oval is not None and legs.bends:
        left = float(sheet.oval.smallest_mm.value)
        pieces = "one piece" if sheet.oval.count == 1 else f"the mean of {sheet.oval.count} pieces"
        traced.append(Traced("smallest diameter of a bend", (("tube", sheet.tube.od_mm), (f"flattened by {pieces}", left - sheet.tube.od_mm)), left))
    terms = [(f"leg {j + 1}", float(leg)) for j, leg in enumerate(legs.leg_mm)] + [(f"gain {j + 1}", -float(g)) for j, g in enumerate(gain)]
    for words, value in (("end A uses", sheet.end_a.uses_mm), ("end B uses", sheet.end_b.uses_mm), ("spare tube", sheet.trim_mm)):
        terms += [(words, float(value))] if value else []
    traced.append(Traced("cut length", tuple(terms), sheet.cut_length_mm))
    return tuple(traced)


def _turn(twist_deg: np.ndarray, made: int, step: WorkStep) -> Traced:
    """How the hands turn the tube before a bend, from the twists between it and the bend made before (or bend 1, after a turn end for end).

    The bender stands still and the tube turns: against the twists on the way towards end B, along with them on the way back.
    """
    k, turned = step.bend - 1, step.turn_deg is None
    start = 0 if turned else made
    way = range(start + 1, k + 1) if k > start else range(start, k, -1)
    terms = [(f"twist {j + 1}", float(twist_deg[j]) * (-1.0 if k > start else 1.0)) for j in way]
    value = step.line_deg if turned else step.turn_deg
    whole = round((value - sum(term for _, term in terms)) / 360.0) * 360.0
    terms += [("whole turns", whole)] if whole else []
    what = f"line at bend {step.bend} with end {step.feed} leading" if turned else f"turn before bend {step.bend}"
    return Traced(what, tuple(terms) or (("no twist", 0.0),), float(value), "°", k > start)
