"""Nuts that are on the tube while it is bent: which, how large, how far they may be pushed, and what the rules say of them.

An end that is finished before the bends has its nut on while they are made: a flare would keep it off later. It
slides on the straight behind its seat, between the flare and the first bend, and hands push it to where
it is out of the way. It is held against the bender as a rod with round ends: as thick as the hexagon is wide across
its corners, its middle as long as the nut. Nothing of the nut lies outside that; beyond its two faces the rod
reaches too far, by half its thickness at the most.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from bendcal.marked import MarkSheet

__all__ = ["Nut", "bender_takes_mm", "finished_before", "may_wait", "nuts_on", "nutted", "places_told", "unknown_nuts"]


@dataclass(frozen=True)
class Nut:
    """A nut on the tube while it is bent.

    Parameters
    ----------
    letter : the end that it belongs to, ``A`` or ``B``
    length_mm : its own length [mm]
    corners_mm : how wide it is across its corners [mm]
    seat_mm : from the cut end of the tube to the seat, which it is pushed up to [mm]
    room_mm : straight tube from the seat to the first bend [mm]
    """

    letter: str
    length_mm: float
    corners_mm: float
    seat_mm: float
    room_mm: float

    @property
    def name(self) -> str:
        """What it is called in a sentence."""
        return f"the nut of end {self.letter}"


def finished_before(sheet: MarkSheet) -> str:
    """The letters of the ends that are finished, and so have their nut on, before anything is bent.

    The end that is not trimmed, unless it waits (`sheet.late`); and the other one where its last bend leaves room for
    the nut but not for the flaring tool.
    """
    last = sheet.line.trim_at
    first = "B" if last == "A" else "A"
    letters = first if _end(sheet, first).form != "plain" and first not in sheet.late else ""
    end, room = _end(sheet, last), _room_mm(sheet, last)
    tool_has_none = bool(sheet.legs.bends) and end.is_flare and end.nut_mm is not None and end.nut_mm <= room < end.straight_mm
    return letters + (last if tool_has_none else "")


def may_wait(sheet: MarkSheet, letter: str) -> bool:
    """Whether an end that is finished before the bends could be finished after them: whether its tool, or its nut, has room then."""
    if letter not in finished_before(sheet) or letter == sheet.line.trim_at or not sheet.legs.bends:
        return False
    return _room_mm(sheet, letter) >= _end(sheet, letter).behind_mm


def nuts_on(sheet: MarkSheet) -> tuple[Nut, ...]:
    """The nuts that are on the tube while it is bent and whose size is known.

    Parameters
    ----------
    sheet : what :func:`bendcal.mark_out` returned
    """
    if not sheet.legs.bends:
        return ()
    found = []
    for letter in finished_before(sheet):
        end = _end(sheet, letter)
        if end.nut_corners_mm is not None and end.nut_length_mm is not None and end.nut_flats_mm > sheet.tube.od_mm:
            seat = sheet.seat_a_mm if letter == "A" else sheet.cut_length_mm - sheet.seat_b_mm
            found.append(Nut(letter, end.nut_length_mm, end.nut_corners_mm, float(seat), _room_mm(sheet, letter)))
    return tuple(found)


def nutted(sheet: MarkSheet) -> str:
    """The letters of the ends whose nut is on the tube while it is bent and whose length is known, so that it counts."""
    return "".join(letter for letter in finished_before(sheet) if _end(sheet, letter).nut_length_mm is not None)


def unknown_nuts(sheet: MarkSheet) -> tuple[str, ...]:
    """A sentence for each nut that is on while the tube is bent and of which nobody has said how large it is, or what cannot be."""
    known, said = {nut.letter for nut in nuts_on(sheet)}, []
    for letter in finished_before(sheet) if sheet.legs.bends else "":
        flats = _end(sheet, letter).nut_flats_mm
        if letter in known:
            continue
        how = "how large it is stands nowhere (ends.csv, nut_flats_mm and nut_length_mm)"
        if flats is not None and flats <= sheet.tube.od_mm:
            how = f"it cannot be {flats:g} mm across its flats (ends.csv, nut_flats_mm), for the tube has {sheet.tube.od_mm:g} mm"
        said.append(f"The nut of end {letter} is on the tube while it is bent, but {how}, so nothing says whether it clears the bender.")
    return tuple(said)


def bender_takes_mm(sheet: MarkSheet, letter: str, *, held: bool) -> tuple[float, float]:
    """Straight tube that is needed behind an end at the bend beside it: what lies in the bender, and the length of a nut that is on by then.

    Parameters
    ----------
    sheet : what :func:`bendcal.mark_out` returned
    letter : the end
    held : whether that end leads, so that its side is held

    Returns
    -------
    (bender, nut) [mm]; together they are what the straight between the seat and the bend must have
    """
    bender = (sheet.bender.min_leg_mm if held else sheet.bender.min_last_mm) or 0.0
    nut = (_end(sheet, letter).nut_length_mm or 0.0) if letter in finished_before(sheet) else 0.0
    return bender, nut


def places_told(steps: Sequence[tuple[int, Mapping[str, float]]]) -> tuple[str, ...]:
    """Where the hands push each nut before each bend, as sentences.

    Parameters
    ----------
    steps : for each bend in the order of making its number and, for each end whose nut is on, how far behind its seat the nut is pushed [mm]

    Examples
    --------
    >>> places_told([(1, {"A": 0.0}), (2, {"A": 40.0})])[0]
    'Push the nut of end A up to the end and tape it there, but for bend 2: there 40 mm back from the seat.'
    """
    said = []
    for letter in sorted({letter for _, places in steps for letter in places}):
        back: dict[int, list[int]] = {}
        for bend, places in steps:
            if letter in places and round(places[letter]):
                back.setdefault(round(places[letter]), []).append(bend)
        head = f"Push the nut of end {letter} up to the end and tape it there"
        if back:
            others = [f"{_bends(bends)}: there {far} mm back from the seat" for far, bends in back.items()]
            head += f", but for {'; for '.join(others)}"
        said.append(f"{head}.")
    return tuple(said)


def _bends(numbers: list[int]) -> str:
    return f"bend {numbers[0]}" if len(numbers) == 1 else f"bends {', '.join(map(str, numbers[:-1]))} and {numbers[-1]}"


def _end(sheet: MarkSheet, letter: str):
    return sheet.end_a if letter == "A" else sheet.end_b


def _room_mm(sheet: MarkSheet, letter: str) -> float:
    return float(sheet.straights_mm[0 if letter == "A" else -1])
