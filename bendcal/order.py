"""The order of work at the vice, and the cautions that belong to a line, as sentences to read."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from bendcal.ends import End
from bendcal.feasible import finished_before, form_findings, nut_findings
from bendcal.flattening import tight_bend_cautions
from bendcal.lines import Line
from bendcal.marks import MarkSheet
from bendcal.tubes import Tube
from bendcal.working import order_words

__all__ = ["Notice", "Step", "cautions", "line_cautions", "order_of_work"]


class Step(NamedTuple):
    """One thing to do: a short name of the task, and the sentence that says it."""

    task: str
    sentence: str


class Notice(NamedTuple):
    """A caution and where it comes from (blank: the sentence says so itself).

    Its text names the source where there is one that can be looked up.
    """

    sentence: str
    source: str

    def __str__(self) -> str:
        return self.sentence if self.source in ("", "common practice") else f"{self.sentence} ({self.source})"


def order_of_work(sheet: MarkSheet) -> tuple[Step, ...]:
    """What to do with one line, from the tube to the pressure test, in an order that cannot trap a nut.

    The end that is not trimmed is formed while the tube is straight; the other one after the fit-up. Where
    the last bend leaves that one room for its nut but not for the flaring tool, it too is formed before it is bent.

    Parameters
    ----------
    sheet : what :func:`bendcal.mark_out` returned

    Returns
    -------
    Steps; their tasks are ``stop`` (where no order of the bends was found), ``tube``, ``cut``, ``deburr``, ``draw line``, ``mark``, ``nut A``, ``form A`` (or ``slide on``, where they wait until after the bends), ``bend``,
    ``check``, ``fit up``, ``trim``, ``nut B``, ``form B``, ``clean``, ``fit`` and ``pressure-test`` (for a line
    that is trimmed at B), those left out that do not apply

    Source: common practice in the trade.
    """
    ends = {"A": sheet.end_a, "B": sheet.end_b}
    last = sheet.line.trim_at
    first = "B" if last == "A" else "A"
    stopped = {"A": "bend 1", "B": f"bend {sheet.legs.bends}"}
    also = "with it everything that the bends would stop later: sleeves, spring guards, closed clips"
    if sheet.legs.bends:
        also = f"it cannot pass {stopped[first]} later, nor can sleeves, spring guards or closed clips: they go on now too"
    both = "make sure that both nuts are on" if ends[first].form != "plain" else ""
    early = last in finished_before(sheet)
    if sheet.order_fails:
        return (_STOP,)
    late = first in sheet.late and bool(sheet.legs.bends)
    steps = [*_before_bending(sheet), *([_WAITS] if late else _finish(first, ends[first], also))]
    if early:
        steps += _formed_early(sheet, last, stopped[last], both)
    if sheet.legs.bends:
        steps += _bending(sheet)
    if late:
        steps += _finish(first, ends[first], "now that the bends are made, in whose way it would have been")
    if early:
        steps.append(Step("fit up", (
            "Offer the line up with both ends in their seats, clear of all that is hot, sharp or moving. One that does not reach, or that has to be "
            "forced, is made again."
        )))  # fmt: skip
    else:
        steps += _trimmed(sheet, first, last)
        steps += _finish(last, ends[last], both)
    steps.append(Step("clean", "Blow the line through with clean, dry air, and keep both ends plugged until it is fitted."))
    steps.append(Step("fit", "Start both ends by hand before either is tightened. Clip the line so that it cannot shake or rub."))
    steps.append(Step("pressure-test", _PRESSURE[sheet.line.service]))
    return tuple(steps)


def _formed_early(sheet: MarkSheet, letter: str, bend: str, both: str) -> list[Step]:
    """The end that is otherwise trimmed, finished while the tube is straight: its nut before the bend that would stop it."""
    end, straight = (sheet.end_a, sheet.straights_mm[0]) if letter == "A" else (sheet.end_b, sheet.straights_mm[-1])
    spare = f"Cut the {sheet.trim_mm:g} mm of spare tube off end {letter} now, and deburr it again: " if sheet.trim_mm else f"Form end {letter} now: "
    return [
        Step("trim", (
            f"{spare}{bend} leaves only {straight:.1f} mm behind the seat, and the flaring tool could not be clamped there any more. Nothing "
            "can be trimmed after the fit-up."
        )),
        *_finish(letter, end, f"it cannot pass {bend} later{f'; {both}' if both else ''}"),
    ]  # fmt: skip


def _trimmed(sheet: MarkSheet, first: str, last: str) -> list[Step]:
    """The fit-up and the cut that makes good what the bends came out short or long."""
    steps = [Step("fit up", (
        f"Offer the line up with end {first} in its seat, clear of all that is hot, sharp or moving. "
        f"Mark on the tube where the seat of end {last} falls."
    ))]  # fmt: skip
    uses = (sheet.end_a if last == "A" else sheet.end_b).uses_mm
    where = f"{uses:g} mm beyond that mark" if uses else "at that mark"
    steps.append(Step("trim", (
        f"Cut end {last} {where}: about {sheet.trim_mm:g} mm of spare tube should come off. Deburr it inside and outside, and blow "
        "the bore clear. If tube is missing, never stretch the line: make it again."
    )))  # fmt: skip
    return steps


_PRESSURE = {
    "brake": "Fill, bleed and pressure-test before use: full pedal force, held, with every joint watched and dry. Have it checked by someone who is licensed for it.",
    "clutch": "Fill, bleed and pressure-test before use: full pedal force, held, with every joint watched and dry.",
    "fuel": "Pressure-test before use, away from every flame and spark, with every joint watched and dry.",
    "other": "Pressure-test before use at what the line will carry, with every joint watched and dry.",
}


#: All that is left to do where these bends cannot be made as the line is.
_STOP = Step("stop", (
    "Stop: no order was found in which these bends can be made. Do not cut by this sheet; its first warnings say what stands in the "
    "way and what would mend it."
))  # fmt: skip


#: Where the end that is finished first has to wait until after the bends.
_WAITS = Step("slide on", "Slide on now whatever the bends would stop later: sleeves, spring guards, closed clips. No nut goes on yet: it would be in the bends' way.")


def _before_bending(sheet: MarkSheet) -> list[Step]:
    steps = [
        Step("tube", (
            f"Take straight {sheet.tube.tube} of the lot that the offcuts came from; another lot needs an offcut of its own first. "
            "Refuse tube with a kink, a dent or a flat."
        )),
        Step("cut", f"Cut {sheet.cut_length_mm:.1f} mm, square. Write A and B on the ends."),
        Step("deburr", "Deburr both ends inside and outside, and blow the bore clear."),
    ]  # fmt: skip
    if sheet.legs.bends:
        count = {1: "the mark", 2: "both marks"}.get(sheet.legs.bends, f"all {sheet.legs.bends} marks")
        each = "measured" if sheet.legs.bends == 1 else "each measured"
        steps += [
            Step("draw line", "Draw a straight line along the whole tube with a felt pen, for the turns. Do not scratch the tube."),
            Step("mark", f"Put {count} on now, {each} from the cut end A, right round the tube, before anything is formed or bent."),
        ]
    return steps


def _finish(letter: str, end: End, also: str) -> list[Step]:
    """Nut before flare: the two steps of one end, none for a plain one."""
    if end.form == "plain":
        return []
    ring = ", then the olive" if end.form == "olive" else ""
    also = f"; {also}" if also else ""
    slide = Step(f"nut {letter}", f"Slide the nut for end {letter} on, its thread towards end {letter}{ring}{also}.")
    if not end.is_flare:
        return [slide]
    return [slide, Step(f"form {letter}", (
        f"Make the {end.form} at end {letter}{f'; it uses {end.uses_mm:g} mm of tube' if end.uses_mm else ''}. One that is cracked, split or off its centre "
        "cannot be made again at this length: start with a new piece."
    ))]  # fmt: skip


def _bending(sheet: MarkSheet) -> list[Step]:
    which = f"Make {order_words(sheet.steps)}" if sheet.legs.bends > 1 else f"Make the bend with end {sheet.steps[0].feed} leading"
    return [
        Step("bend", (
            f"{which}. For each: turn the tube until its line is where the clock shows it, set the mark on the bender's reference, pull "
            f"to the dial setting, release, and tick it off in the table. {_leads(sheet)} {_nuts(sheet)}{_tried(sheet)}"
        )),
        Step("check", (
            "After each bend read its finished angle. Outside the range in the table by more than your protractor errs: stop, something "
            "is not as it was with the offcuts."
        )),
    ]  # fmt: skip


def _nuts(sheet: MarkSheet) -> str:
    """Where the nuts on the tube have to be meanwhile."""
    told = " ".join(sheet.nuts_told) or ("Keep the nut clear of the bender." if finished_before(sheet) else "")
    return f"{told} " if told else ""


def _leads(sheet: MarkSheet) -> str:
    """What it means that an end leads."""
    if np.all(sheet.feed == sheet.feed[0]):
        here, there = "AB" if sheet.feed[0] > 0 else "BA"
        return f"End {here} leading: end {here} lies on the side that the bender holds, end {there} swings."
    return "The end that leads lies on the side that the bender holds; the other one swings."


def _tried(sheet: MarkSheet) -> str:
    """What the order was tried against."""
    if not sheet.order_told:
        return "Nobody has tried on paper whether what is bent clears the bender: try it in scrap first."
    return " ".join(["This order was tried on paper.", *sheet.order_told])


def cautions(sheet: MarkSheet) -> tuple[Notice, ...]:
    """The cautions that belong to a marked line, the gravest first.

    Parameters
    ----------
    sheet : what :func:`bendcal.mark_out` returned

    Returns
    -------
    Notices; the warnings that follow from the sheet's own numbers are in ``sheet.warnings``
    """
    radius = float(sheet.law.parameters["radius_mm"]) if sheet.legs.bends else None
    gravest, *others = line_cautions(sheet.line, sheet.tube, ends=(sheet.end_a, sheet.end_b), radius_mm=radius)
    nuts = [Notice(one.sentence, one.source) for one in nut_findings(sheet)]
    if sheet.oval is not None and sheet.legs.bends:
        nuts += [Notice(sentence, "") for sentence in sheet.oval.sentences]
    olive = 1 if sheet.line.service == "brake" else 0  # it stays the second
    return (gravest, *others[:olive], *nuts, *others[olive:])


def line_cautions(line: Line, tube: Tube, *, ends: Sequence[End] = (), radius_mm: float | None = None) -> tuple[Notice, ...]:
    """The cautions that belong to a line before anything is known of its marks.

    Parameters
    ----------
    line : what is to be made, and what it will carry
    tube : what it is to be made of
    ends : its two ends
    radius_mm : centreline radius of its bends [mm], if known

    Examples
    --------
    >>> from bendcal.lines import line_from_legs
    >>> from bendcal.materials import ALLOYS
    >>> line = line_from_legs("x", [90, 90], [90], [0], tube="t", bender="b", service="brake")
    >>> print(line_cautions(line, Tube("t", ALLOYS["copper"], 4.76, 0.9))[0])
    Brake work can kill: local code and licensed practice rule over this sheet.
    """
    rules = form_findings(line, tube, ends)  # an olive comes first
    notices, said = [Notice(one.sentence, one.source) for one in rules], []
    if line.service == "brake":
        said.append(Notice("Brake work can kill: local code and licensed practice rule over this sheet.", "common practice"))
        if any(one.rule == "olive" for one in rules):
            said.append(notices.pop(0))
        else:
            said.append(Notice("Olives (separate ferrules) are not suitable on hydraulic brake lines.", "UK MOT manual 2012, 3.6"))
        said.append(Notice("Some places require brake lines to be approved for the use: ask before you buy tube.", "Pa. Code 175.64"))
    else:
        said.append(Notice("Local code and licensed practice rule over this sheet.", "common practice"))
    said += notices
    if radius_mm is not None:
        said += [Notice(sentence, "") for sentence in tight_bend_cautions(tube, radius_mm, service=line.service)]
    said.append(Notice("A kinked, wrinkled or cracked bend is scrap.", "common practice"))
    said.append(Notice(
        f"A bend flattened to less than 75 % of the tube's diameter is scrap: {0.75 * tube.od_mm:.1f} mm here, the smallest that a "
        "caliper finds.", "FAA",
    ))  # fmt: skip
    said.append(Notice("Pressure-test before use.", "common practice"))
    return tuple(said)
