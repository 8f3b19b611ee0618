"""Rules for the ends of a line: which forms may hold its fluid, and whether the nut has its way.

Some rules stop a line, the others are warnings; each says where it comes from.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from bendcal.ends import End
from bendcal.feasible.rules import Finding
from bendcal.lines import Line
from bendcal.marks import MarkSheet
from bendcal.tubes import Tube

__all__ = ["check_ends", "form_findings", "nut_findings"]

_HYDRAULIC = ("brake", "clutch")
_OLIVES = "UK MOT manual 2012, 3.6"
_DOUBLE_WALL = re.compile(r"\bdouble[ -]?wall", re.IGNORECASE)
_SMALL_MM = 1e-6


def check_ends(sheet: MarkSheet) -> tuple[Finding, ...]:
    """What the rules for ends say of a marked line, the gravest first; nothing of what is in order.

    Parameters
    ----------
    sheet : what :func:`bendcal.mark_out` returned

    Returns
    -------
    Findings, each with its sentence, its source, and whether it stops the line
    """
    found = [*form_findings(sheet.line, sheet.tube, (sheet.end_a, sheet.end_b)), *nut_findings(sheet)]
    return tuple(sorted(found, key=lambda each: not each.stops))


def form_findings(line: Line, tube: Tube, ends: Sequence[End]) -> tuple[Finding, ...]:
    """What speaks against the tube and the forms of the ends for what the line will carry.

    Parameters
    ----------
    line : what it will carry
    tube : what it is made of; a double wall is known by its note or temper, where it says so
    ends : end A and end B, or none where they are not known

    Sources: olives on brake lines, UK MOT manual 2012, 3.6 (read); plain copper, FAA AC 65-9A (read) and common
    practice; single flares, a plain end and olives on clutch lines, common practice (trade pages, read; SAE J533
    gives single and double flares for one and the same tube: secondary).

    Examples
    --------
    >>> from bendcal.lines import line_from_legs
    >>> from bendcal.materials import ALLOYS
    >>> line = line_from_legs("rear", [90, 90], [90], [0], tube="t", bender="b", service="brake")
    >>> tube = Tube("t", ALLOYS["low-carbon steel"], 4.76, 0.71)
    >>> for finding in form_findings(line, tube, (End("M10", "double flare", 5.0), End("8 mm", "olive", 6.0))):
    ...     print(finding.stops, finding.sentence)
    True End B of this brake line is an olive. Olives are not suitable on hydraulic brake lines: use a flare.
    """
    found: list[Finding] = []
    fluid = line.service
    if fluid in _HYDRAULIC:
        if olives := _letters(ends, "olive"):
            said = f"{olives} of this {fluid} line is an olive. "
            if fluid == "brake":
                found.append(Finding("olive", f"{said}Olives are not suitable on hydraulic brake lines: use a flare.", _OLIVES, True))
            else:
                text = f"{said}Olives are ruled out on hydraulic brake lines, and a clutch line carries the same fluid: use a flare."
                found.append(Finding("olive", text, f"common practice; for brakes {_OLIVES}", False))
        if singles := _letters(ends, "single flare"):
            wall = " of double-wall tube" if _DOUBLE_WALL.search(f"{tube.temper} {tube.note}") else ""
            text = (
                f"{singles} of this {fluid} line is a single flare{wall}: it splits more easily than a double or a bubble flare. Make one of those, "
                "unless the fitting itself is made for single flares."
            )
            found.append(Finding("single flare", text, "common practice", False))
        if plain := _letters(ends, "plain"):
            text = f"{plain} of this {fluid} line is plain, so nothing says how it is joined: a plain end holds no pressure. Name its end in lines.csv."
            found.append(Finding("plain end", text, "common practice", False))
    if tube.alloy.alloy == "copper":
        found.append(Finding("copper", "Plain copper hardens and cracks under vibration.", "FAA AC 65-9A", False))
        if fluid in _HYDRAULIC:
            found.append(Finding("copper", "Plain copper is widely refused for brake lines.", "common practice", False))
    return tuple(found)


def nut_findings(sheet: MarkSheet) -> tuple[Finding, ...]:
    """Where a bend lies in the way of a nut: it could not be screwed home, or not be slid back.

    Parameters
    ----------
    sheet : what :func:`bendcal.mark_out` returned; ends of which nothing is told in the column `nut_mm` are left out

    Source: geometry; a nut's bore is hardly larger than the tube, so no bend passes through it.
    """
    found = []
    n, straight = sheet.legs.bends, sheet.straights_mm
    for letter, end, leg, bend in (("A", sheet.end_a, 0, 1), ("B", sheet.end_b, n, n)):
        if n and end.nut_mm is not None and straight[leg] < end.nut_mm - _SMALL_MM:
            missing = float(end.nut_mm - straight[leg])
            text = (
                f"The nut of end {letter} ({end.end}) needs {end.nut_mm:g} mm of straight tube behind the seat, its own length and its way back; "
                f"bend {bend} begins after {straight[leg]:.1f} mm. Make leg {leg + 1} {missing:.1f} mm longer."
            )
            found.append(Finding("nut", text, "ends.csv, nut_mm", True, leg + 1, missing))
    if not n:
        both = sum(end.nut_mm or 0.0 for end in (sheet.end_a, sheet.end_b))
        if straight[0] < both - _SMALL_MM:
            text = f"The two nuts need {both:g} mm of straight tube together; the line leaves {straight[0]:.1f} mm."
            found.append(Finding("nut", text, "ends.csv, nut_mm", True, 1, float(both - straight[0])))
    return tuple(found)


def _letters(ends: Sequence[End], form: str) -> str:
    """``End A``, ``End B``, ``End A and end B``, or nothing: which ends are of that form."""
    return " and ".join(f"{'end' if k else 'End'} {letter}" for k, letter in enumerate(
        letter for letter, end in zip("AB", ends, strict=False) if end.form == form
    ))  # fmt: skip
