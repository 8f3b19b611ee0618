"""What a job needs: tube for its lines and for practice, nuts, olives and flares, and what of it has to be bought."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil
from statistics import median

from bendcal.cutting import Cut, CutList
from bendcal.lines import Line
from bendcal.marks import MarkSheet
from bendcal.shop import Shop
from bendcal.stock import on_hand_mm

__all__ = [
    "EXTRA", "FLARES_FIRST", "OFFCUTS_FIRST", "Fittings", "Practice", "TubeTotal", "fittings_of", "line_cut", "practice_of",
    "tube_totals",
]  # fmt: skip

#: Tube bought beyond what is needed: about 10 % where a copy is cut (FAA AC 65-9A, read).
EXTRA = 0.10
#: Offcuts that a bender with a tube has to have before its law can be trusted, as the mark sheet asks.
OFFCUTS_FIRST = 3
#: Practice flares of an end before the first that counts (common practice).
FLARES_FIRST = 3
#: How long a practice piece is where the shop's own are not to be measured by [mm] (common practice).
OFFCUT_MM, FLARE_MM = 200.0, 100.0


@dataclass(frozen=True)
class Practice:
    """Pieces of one kind to practise on.

    Attributes
    ----------
    what : ``offcut for the bender small`` or ``practice flare m10-double``
    tube : its name
    count : how many are still to be made
    length_mm : of one [mm]
    """

    what: str
    tube: str
    count: int
    length_mm: float

    @property
    def cuts(self) -> tuple[Cut, ...]:
        """Each piece as a cut."""
        return (Cut(self.what, self.length_mm, practice=True),) * self.count


@dataclass(frozen=True)
class Fittings:
    """Nuts, olives and flares of all lines.

    Attributes
    ----------
    nuts, olives : end → how many
    flares : (tube, form) → how many on the lines
    practice_flares : (tube, form) → how many for practice
    """

    nuts: Mapping[str, int]
    olives: Mapping[str, int]
    flares: Mapping[tuple[str, str], int]
    practice_flares: Mapping[tuple[str, str], int]


@dataclass(frozen=True)
class TubeTotal:
    """One tube: what is needed, what is there, what has to be bought.

    Attributes
    ----------
    tube : its name
    lines_mm, practice_mm : needed for lines and for practice [mm]
    on_hand_mm : all pieces together [mm]
    missing_mm : of what is needed, what no piece is left for [mm]
    longest_missing_mm : the longest single piece of that [mm]
    extra : share that is bought beyond it
    """

    tube: str
    lines_mm: float
    practice_mm: float
    on_hand_mm: float
    missing_mm: float
    longest_missing_mm: float
    extra: float

    @property
    def needed_mm(self) -> float:
        """For lines and practice together [mm]."""
        return self.lines_mm + self.practice_mm

    @property
    def to_buy_mm(self) -> float:
        """What is missing and the share beyond it, in whole mm."""
        return float(ceil(round(self.missing_mm * (1 + self.extra), 6)))

    @property
    def sentence(self) -> str:
        """Needed, on hand, to buy."""
        need = f"{self.lines_mm:.1f} mm for lines" + (f" and {self.practice_mm:.0f} mm for practice" if self.practice_mm else "")
        said = f"{self.tube}: {need}; {self.on_hand_mm:.0f} mm on hand"
        if not self.missing_mm:
            return f"{said}. Nothing has to be bought."
        return (
            f"{said}. Buy {self.to_buy_mm:.0f} mm or more, none of it shorter than {self.longest_missing_mm:.1f} mm: {self.missing_mm:.1f} mm are missing, "
            f"and about {100 * self.extra:.0f} % more is the advice where a copy is cut (FAA AC 65-9A)."
        )


def line_cut(sheet: MarkSheet) -> Cut:
    """A line as a cut: its length with the spare tube, to the tenth of a mm that its own sheet prints."""
    return Cut(sheet.line.line, round(sheet.cut_length_mm, 1))


def practice_of(shop: Shop, lines: Sequence[Line], *, offcuts: int = OFFCUTS_FIRST, flares: int = FLARES_FIRST) -> tuple[Practice, ...]:
    """What is still to be practised for these lines; what the shop's tables hold already counts.

    Parameters
    ----------
    shop : offcuts and practice flares so far; pieces take the usual length of its own. A practice flare in
        flares.csv counts for every tube that has that end, since the file does not say which it was
    lines : the lines that are to be made
    offcuts : so many for each bender with each tube
    flares : so many for each flared end on each tube

    Examples
    --------
    >>> from bendcal.lines import line_from_legs
    >>> line = line_from_legs("l", [90, 90], [90], [0], tube="t", bender="b")
    >>> [(each.what, each.count) for each in practice_of(Shop(), [line])]
    [('offcut for bender b', 3)]
    """
    wanted = []
    for bender, tube in dict.fromkeys((line.bender, line.tube) for line in lines if line.bends):
        made = shop.offcuts_for(bender, tube)
        lengths = [o.length_mm for o in made] or [o.length_mm for o in shop.offcuts if o.bender == bender] or [OFFCUT_MM]
        wanted.append(Practice(f"offcut for bender {bender}", tube, offcuts - len(made), float(ceil(median(lengths)))))
    for tube, name in dict.fromkeys((line.tube, name) for line in lines for name in (line.end_a, line.end_b) if name):
        if not shop.end(name).is_flare:
            continue
        made = [f for f in shop.flares if f.end == name and not f.set_aside]
        length = float(ceil(median([f.before_mm for f in made] or [FLARE_MM])))
        wanted.append(Practice(f"practice flare {name}", tube, flares - len(made), length))
    return tuple(each for each in wanted if each.count > 0)


def fittings_of(shop: Shop, sheets: Sequence[MarkSheet], practice: Sequence[Practice]) -> Fittings:
    """The nuts, olives and flares of marked lines, and the flares of practice pieces.

    Parameters
    ----------
    shop : its ends
    sheets : the marked lines
    practice : what :func:`practice_of` returned
    """
    nuts: Counter[str] = Counter()
    olives: Counter[str] = Counter()
    flares: Counter[tuple[str, str]] = Counter()
    for sheet in sheets:
        for end in (sheet.end_a, sheet.end_b):
            nuts[end.end] += end.form != "plain"
            olives[end.end] += end.form == "olive"
            flares[sheet.tube.tube, end.form] += end.is_flare
    tried: Counter[tuple[str, str]] = Counter()
    for each in practice:
        if each.what.startswith("practice flare "):
            tried[each.tube, shop.end(each.what.removeprefix("practice flare ")).form] += each.count
    return Fittings(dict(+nuts), dict(+olives), dict(+flares), dict(tried))


def tube_totals(shop: Shop, cuts: Mapping[str, Sequence[Cut]], lists: Mapping[str, CutList], *, extra: float = EXTRA) -> tuple[TubeTotal, ...]:
    """For each tube what is needed, what is there and what has to be bought.

    Parameters
    ----------
    shop : its stock
    cuts : tube → all that is to be cut from it
    lists : tube → its cut list
    extra : share that is bought beyond what is missing

    Raises
    ------
    ValueError : where `extra` is below 0
    """
    if not extra >= 0:
        raise ValueError(f"extra is {extra}; the share that is bought beyond what is missing is 0 or more, such as 0.1.")
    return tuple(
        TubeTotal(
            tube, sum(cut.length_mm for cut in wanted if not cut.practice), sum(cut.length_mm for cut in wanted if cut.practice),
            on_hand_mm(shop.stock, tube), lists[tube].missing_mm, max((cut.length_mm for cut in lists[tube].missing), default=0.0), extra,
        )
        for tube, wanted in cuts.items()
    )  # fmt: skip
