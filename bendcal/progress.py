"""Progress: where one stands with a shop, from the first bender to the lines that are ready, and what comes next."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass

from bendcal.calibration import Calibration, calibrate
from bendcal.design import next_offcuts
from bendcal.entries import BEING_ENTERED
from bendcal.faults import Fault, ShopFaults
from bendcal.files import read_shop
from bendcal.job import order_of_making
from bendcal.layout import TextTable
from bendcal.marks import mark_out
from bendcal.planned import told_too_near
from bendcal.shop import Shop

__all__ = ["Progress", "progress"]


@dataclass(frozen=True)
class Progress:
    """How far a shop has come.

    Attributes
    ----------
    table : one row for each thing there is to do: what, how far it is, and what is in the way
    next : what to do next, in one or two sentences
    """

    table: TextTable
    next: str


def progress(folder: str | os.PathLike[str]) -> Progress:
    """Where one stands with a shop folder; one that cannot be read is told, not raised.

    Parameters
    ----------
    folder : the shop folder

    Examples
    --------
    >>> progress("no such folder").table
    what       how far
    your shop  cannot be read
    """
    try:
        shop = read_shop(folder, whole=False)
    except ShopFaults as error:
        return Progress(TextTable({"what": ["your shop"], "how far": ["cannot be read"]}), str(error))
    cal, why_not = None, ""
    try:
        cal = calibrate(shop)
    except ValueError as error:
        why_not = str(error)
    facts, laws, lines = _facts(shop), _laws(shop, cal), _lines(shop, cal)
    rows = [*facts, *laws, *lines]
    table = TextTable({"what": [row[0] for row in rows], "how far": [row[1] for row in rows]})
    return Progress(table, _next(shop, cal, why_not, [line for line, far in lines if far == "ready"]))


def _count(number: int, noun: str) -> str:
    return f"{number or 'no'} {noun}{'' if number == 1 else 's'}"


def _facts(shop: Shop) -> list[tuple[str, str]]:
    ends = [end for end in shop.ends if end != "plain"]
    return [
        ("shop", f"{_count(len(shop.benders), 'bender')}, {_count(len(shop.tubes), 'tube')}"),
        ("tools", f"{_count(len(shop.tools), 'tool')}" + ("" if shop.tools else "; usual ones are assumed")),
        ("ends", f"{_count(len(ends), 'kind')} of end, {_count(len(shop.flares), 'practice flare')}"),
        ("tube on hand", f"{_count(sum(each.count for each in shop.stock), 'piece')}"),
    ]


def _laws(shop: Shop, cal: Calibration | None) -> list[tuple[str, str]]:
    rows = []
    for pair in dict.fromkeys((o.bender, o.tube) for o in shop.offcuts):
        aside = sum((o.bender, o.tube) == pair and not o.counts for o in shop.offcuts)
        far = _count(len(shop.offcuts_for(*pair)), "offcut") + (f", {aside} set aside" if aside else "")
        if cal is not None and pair in cal.laws:
            low, high = cal.laws[pair].dial_for(90.0).interval(0.95)
            far += f"; dial for 90° known to ±{(high - low) / 2:.1f}°"
        rows.append((f"{pair[1]} on {pair[0]}", far))
    return rows


def _lines(shop: Shop, cal: Calibration | None) -> list[tuple[str, str]]:
    rows = []
    for line in shop.lines.values():
        if cal is None or (line.bender, line.tube) not in cal.laws:
            far = f"needs offcuts of {line.tube} on {line.bender}"
        else:
            try:
                warnings = len(told_too_near(shop, cal, mark_out(shop, cal, line)).warnings)
                far = f"{_count(warnings, 'warning')}: see page 3" if warnings else "ready"
            except ShopFaults as error:
                far = _faulty(error.faults)
            except ValueError:
                far = "cannot be bent as it is: see page 3"
        rows.append((f"line {line.line}", far))
    rows += [(f"line {name}", why if why == BEING_ENTERED else f"set aside: {why}") for name, why in shop.lines_aside.items()]
    return rows + [(f"line {name}", _faulty(faults)) for name, faults in shop.unread_lines.items()]


def _faulty(faults: Sequence[Fault]) -> str:
    return f"waits for {_count(len(faults), 'fault')} to be put right: {faults[0].place}"


def _next(shop: Shop, cal: Calibration | None, why_not: str, ready: list[str]) -> str:
    if cal is None:
        bent = any(o.counts for o in shop.offcuts)
        return why_not if bent else "Bend a marked offcut, measure it, and enter it on page 1."
    if cal.blunders:
        count = len(cal.blunders)
        which = "a piece that disagrees" if count == 1 else f"{count} pieces that disagree"
        return f"Look at {which} with the others first. {cal.blunders[0]}"
    try:
        advice = next_offcuts(shop, pairs=None if shop.lines else shop.pairs())
    except (ValueError, KeyError) as error:
        return str(error)
    if not advice.stop:
        return advice.sentence
    done = "No further offcut pays at present."
    if entering := [name for name, why in shop.lines_aside.items() if why == BEING_ENTERED]:
        return f"{done} Finish entering {entering[0]} on page 6."
    if not shop.lines and not shop.unread_lines:
        return f"{done} Type your first line in on page 6."
    return f"{done} Mark out {_first(shop, cal, ready)}." if ready else f"{done} Look at your lines on page 3."


def _first(shop: Shop, cal: Calibration, ready: list[str]) -> str:
    """Which line the order of making begins with, as page 6 has it."""
    first = order_of_making([mark_out(shop, cal, name.removeprefix("line ")) for name in ready])[0].line
    return f"{first} on page 3" + (f", the first to make of the {len(ready)} lines that are ready" if len(ready) > 1 else "")
