"""The rules that a line has to keep before anything is bent: straights, dial, radius, walls, ends.

Each finding says the rule and where it comes from: the shop's own files, where the user's tools set the limit,
or the page of a book, a standard or an authority. Some stop the line, the others are cautions.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bendcal.feasible.nuts import bender_takes_mm
from bendcal.flattening import section_limits_sentence, thinning_sentence, tight_bend_cautions
from bendcal.marked import SMALL_MM, MarkSheet, between_faults, dial_faults

__all__ = ["Finding", "feeds_allowed", "findings"]

_RIGID = "MIL-H-8891A, 3.11.4.5; FAA AC 43.13-1B"


@dataclass(frozen=True)
class Finding:
    """One rule that a line meets.

    Attributes
    ----------
    rule : its short name: ``between bends``, ``before the first bend``, ``after the last bend``, ``behind the end``,
        ``dial``, ``mark``, ``radius``, ``wall``, ``flattening``, ``no bend``
    sentence : what was found, where, what is needed and what to do
    source : where the rule comes from
    stops : whether the line cannot be made so
    leg : the leg that is too short, counted from 1, or None
    missing_mm : and by how much
    """

    rule: str
    sentence: str
    source: str
    stops: bool
    leg: int | None = None
    missing_mm: float = 0.0


def findings(sheet: MarkSheet) -> tuple[Finding, ...]:
    """What the rules say of a marked line, the gravest first; nothing of what is in order.

    Whether a bend can be made with one end leading and not with the other is told by :func:`feeds_allowed`.
    """
    found = [
        *_straights(sheet),
        *(Finding("dial", text, "the law" if sheet.dial_deg[bend - 1] < 0 else "benders.csv, dial_max_deg", True) for bend, text in dial_faults(sheet)),
    ]
    radius = float(sheet.law.parameters["radius_mm"])
    n = sheet.legs.bends
    if not n:
        text = "This line has no bend. A straight run between two rigid ends should have at least one, or it is strained by every movement."
        found.append(Finding("no bend", f"{text} Give it one.", _RIGID, False))
        return tuple(found)
    for text in tight_bend_cautions(sheet.tube, radius, service=sheet.line.service):
        source = "DIN 74234 as quoted by a vehicle maker" if "DIN 74234" in text else "Groover, 19.7"
        found.append(Finding("radius", text, source, False))
    found.append(Finding("wall", thinning_sentence(sheet.tube, radius), "geometry", False))
    if sheet.oval is None:
        found.append(Finding("flattening", section_limits_sentence(sheet.tube), "FAA; ASME B31.3", False))
    else:
        beyond = sheet.oval.beyond(sheet.legs.angle_deg)
        text = " ".join(filter(None, (sheet.oval.warning, *sheet.oval.sentences, beyond)))
        found.append(Finding("flattening", text, "FAA; ASME B31.3", sheet.oval.scrap))
    return tuple(found)


def feeds_allowed(sheet: MarkSheet) -> tuple[tuple[str, ...], tuple[Finding, ...]]:
    """Which ends may lead at each bend, and what stands in the way of the others.

    The bender holds `min_leg_mm` of straight tube before a bend and needs `min_last_mm` after it; which of
    the line's two ends that is depends on which end leads. A nut that is on the tube by then has to lie beside that,
    for it cannot lie in the bender's groove. The mark has to lie on the tube.

    Returns
    -------
    for each bend the letters that may lead, (n,) of texts; findings
    """
    n, straight = sheet.legs.bends, sheet.straights_mm
    offset = float(sheet.law.parameters["mark_offset_mm"])
    letters = [["A", "B"] for _ in range(n)]
    told = []
    for letter in "AB":
        for end, bend, leg in (("A", 0, 0), ("B", n - 1, n)):
            held = letter == end
            taken, nut = bender_takes_mm(sheet, end, held=held)
            need = taken + nut
            if n and straight[leg] < need - SMALL_MM:
                letters[bend] = [one for one in letters[bend] if one != letter]
                column = "min_leg_mm" if held else "min_last_mm"
                where = "before the first bend" if held else "after the last bend"
                also = f" ({taken:g} mm in the bender, and beside it the nut of end {end}, {nut:g} mm long)" if nut else ""
                told.append(Finding(
                    where, f"With end {letter} leading, bender {sheet.bender.bender} needs {need:g} mm of straight tube towards end {end} "
                    f"at bend {bend + 1} ({where}){also}; leg {leg + 1} leaves {straight[leg]:.1f} mm: {need - straight[leg]:.1f} mm too little.",
                    f"benders.csv, {column}{'; ends.csv, nut_length_mm' if nut else ''}", False, leg + 1, float(need - straight[leg]),
                ))  # fmt: skip
        marks = sheet.start_mm - offset if letter == "A" else sheet.end_mm + offset
        for bend in np.flatnonzero((marks < 0) | (marks > sheet.cut_length_mm)):
            letters[bend] = [one for one in letters[bend] if one != letter]
            text = f"With end {letter} leading, the mark of bend {bend + 1} falls off the tube ({marks[bend]:.1f} mm from end A)."
            told.append(Finding("mark", text, "the law's mark offset", False))
    stopped = [_stopped(bend, told) for bend in range(n) if not letters[bend]]
    return tuple("".join(one) for one in letters), (*stopped, *told)


def _stopped(bend: int, told: list[Finding]) -> Finding:
    here = [one for one in told if f" bend {bend + 1} " in one.sentence]
    nearest = min((one for one in here if one.leg), key=lambda one: one.missing_mm, default=None)
    text = f"Bend {bend + 1} can be made with neither end leading: {' '.join(one.sentence for one in here)}"
    source = "; ".join(dict.fromkeys(one.source for one in here))
    if nearest is None:
        return Finding("mark", text, source, True)
    return Finding(nearest.rule, text, source, True, nearest.leg, nearest.missing_mm)


def _straights(sheet: MarkSheet) -> list[Finding]:
    """Straights that are too short whichever end leads."""
    found, straight, n = [], sheet.straights_mm, sheet.legs.bends
    for leg, missing, text in between_faults(sheet):
        found.append(Finding("between bends", text, "benders.csv, min_between_mm", True, leg, missing))
    ends = (("A", sheet.end_a, 0), ("B", sheet.end_b, n)) if n else ()
    for letter, end, leg in ends:
        if straight[leg] < end.straight_mm - SMALL_MM:
            # Where the nut alone has room, the flare can be made before the bend, while the tube is straight.
            before = end.is_flare and end.nut_mm is not None and straight[leg] >= end.nut_mm
            way_out = " Or form it while the tube is straight, as the order of work says." if before else ""
            found.append(Finding(
                "behind the end", f"End {letter} ({end.end}) needs {end.straight_mm:g} mm of straight tube for its nut and the flaring tool; leg "
                f"{leg + 1} leaves {straight[leg]:.1f} mm. Make the leg {end.straight_mm - straight[leg]:.1f} mm longer.{way_out}",
                "ends.csv, straight_mm", not before, leg + 1, float(end.straight_mm - straight[leg]),
            ))  # fmt: skip
    both = sheet.end_a.straight_mm + sheet.end_b.straight_mm
    if not n and straight[0] < both - SMALL_MM:
        text = f"The line leaves {straight[0]:.1f} mm of straight tube; its two ends need {both:g} mm together."
        found.append(Finding("behind the end", text, "ends.csv, straight_mm", True, 1, float(both - straight[0])))
    return found
