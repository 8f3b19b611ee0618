"""All the lines of a vehicle as one job: the order of making them, how each is bent, what it is cut from, what to buy."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise, permutations

from bendcal.buying import (
    EXTRA,
    FLARES_FIRST,
    OFFCUTS_FIRST,
    Fittings,
    Practice,
    TubeTotal,
    fittings_of,
    line_cut,
    practice_of,
    tube_totals,
)
from bendcal.calibration import Calibration
from bendcal.cutting import USABLE_MM, Bar, Cut, CutList, cut_list
from bendcal.feasible import Plans, check_ends, findings, plan_bending
from bendcal.legs import LegTooShort
from bendcal.lines import Line
from bendcal.marks import MarkSheet, mark_out
from bendcal.planned import mark_out_planned
from bendcal.shop import Shop, UnknownName
from bendcal.waiting import long_work, tick

__all__ = ["Job", "Refused", "Task", "order_of_making", "plan_job"]

_MOST_GROUPS = 7  # whose orders are all tried

#: Trials of one bend, after which the search for a line's order is broken off: the job is to be told in seconds.
_MOST_TRIALS = 1500


@dataclass(frozen=True, eq=False)
class Task:
    """One line in its turn.

    Attributes
    ----------
    sheet : the marked line
    reason : why it has this place
    plans : in which order its bends can be made; None where that was not asked
    checked : whether its bender's bodies are known, so that the order was tried against them
    """

    sheet: MarkSheet
    reason: str
    plans: Plans | None = None
    checked: bool = False

    @property
    def line(self) -> str:
        """The line's name."""
        return self.sheet.line.line

    @property
    def in_row(self) -> bool:
        """Whether the bends can be made one after another from end A on, end A leading, for all that is known."""
        found = self.plans is not None and self.plans.best is not None
        return found and self.sheet.in_row and bool((self.sheet.feed > 0).all())

    @property
    def bending(self) -> str:
        """How its bends are made, and whether that was tried against the bender: one sentence or two; blank for a straight line."""
        if self.plans is None or not self.sheet.legs.bends:
            return ""
        unchecked = "" if self.checked else f" Not checked against the bender: no body of {self.sheet.bender.bender} is known (bender_bodies.csv)."
        if self.plans.best is None:
            return f"No order of the bends was found yet; not every one was tried. Ask for this line alone before you cut it (bendcal plan).{unchecked}"
        return f"{self.plans.best.sentence}{unchecked}"


@dataclass(frozen=True)
class Refused:
    """A line that is not to be cut as it is, and why.

    Attributes
    ----------
    line : its name
    reasons : sentences, each with its source where it has one
    """

    line: str
    reasons: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Job:
    """All lines of a vehicle.

    Attributes
    ----------
    tasks : the lines in the order of making
    refused : the lines that stay out until something is put right
    practice : what is to be made first, on scrap
    cuts : tube → its cut list
    totals : for each tube what is needed, on hand, and to be bought
    fittings : nuts, olives and flares
    """

    tasks: tuple[Task, ...]
    refused: tuple[Refused, ...]
    practice: tuple[Practice, ...]
    cuts: Mapping[str, CutList]
    totals: tuple[TubeTotal, ...]
    fittings: Fittings

    @property
    def changes(self) -> tuple[int, int]:
        """How often the bender is changed on the way, and how often the tube."""
        return _changes([_group(task.sheet) for task in self.tasks])


@long_work
def plan_job(
    shop: Shop, cal: Calibration, *, lines: Sequence[str | Line] | None = None, kerf_mm: float = 0.0, usable_mm: float = USABLE_MM,
    offcuts: int = OFFCUTS_FIRST, flares: int = FLARES_FIRST, extra: float = EXTRA, time_limit_s: float = 20.0,
) -> Job:  # fmt: skip
    """Plan the making of all lines.

    For each line an order of its bends is looked for that clears its bender. A line that no order clears stays out; where the search
    had to be broken off, the line says so (:attr:`Task.bending`).

    Parameters
    ----------
    shop : what :func:`bendcal.read_shop` returned, with its stock
    cal : what :func:`bendcal.calibrate` returned
    lines : names or Lines; None for all of the shop
    kerf_mm, usable_mm : as for :func:`bendcal.cutting.cut_list`
    offcuts, flares : how many of each must have been made first; as for :func:`bendcal.buying.practice_of`
    extra : share of tube that is bought beyond what is missing
    time_limit_s : for the cut list of one tube [s]

    Returns
    -------
    Job

    Raises
    ------
    UnknownName : for a line that the shop does not have
    ShopFaults : where what was left out of the shop is needed; of all its lines those with faults are refused instead
    ValueError : for lengths, counts or shares that cannot be
    """
    shop.need("stock.csv", "lines.csv")
    wanted = [shop.line(line) if isinstance(line, str) else line for line in (shop.lines if lines is None else lines)]
    if len({line.line for line in wanted}) < len(wanted):
        raise ValueError("A line is named twice: give each copy a name of its own, so that it is cut and made for itself.")
    sheets: list[MarkSheet] = []
    faulty = shop.unread_lines.items() if lines is None else ()
    refused = [Refused(name, tuple(fault.sentence for fault in faults)) for name, faults in faulty]
    plans: dict[str, tuple[Plans, bool]] = {}
    for line in wanted:
        sheet, reasons = _marked(shop, cal, line)
        if not reasons:
            sheet, plans[line.line], reasons = _bent(shop, cal, sheet)
            reasons = reasons or sheet.too_near
        if reasons:
            refused.append(Refused(line.line, reasons))
        else:
            sheets.append(sheet)
    tasks = tuple(replace(task, **dict(zip(("plans", "checked"), plans[task.line], strict=True))) for task in order_of_making(sheets))
    practice = practice_of(shop, wanted, offcuts=offcuts, flares=flares)
    cuts: dict[str, list[Cut]] = {tube: [] for tube in dict.fromkeys(line.tube for line in wanted)}
    for sheet in sheets:
        cuts[sheet.tube.tube].append(line_cut(sheet))
    for each in practice:
        cuts[each.tube] += each.cuts
    lists = {}
    for done, (tube, mine) in enumerate(cuts.items()):
        tick("Looking for the best cuts", done, len(cuts))
        lists[tube] = cut_list(
            [Bar(name, one.length_mm) for one in shop.stock if one.tube == tube for name in one.names], mine,
            kerf_mm=kerf_mm, usable_mm=usable_mm, time_limit_s=time_limit_s,
        )  # fmt: skip
    return Job(
        tasks, tuple(refused), practice, lists, tube_totals(shop, cuts, lists, extra=extra),
        fittings_of(shop, sheets, practice),
    )  # fmt: skip


def _marked(shop: Shop, cal: Calibration, line: Line) -> tuple[MarkSheet | None, tuple[str, ...]]:
    """The line's sheet, and what stops the line."""
    try:
        sheet = mark_out(shop, cal, line)
    except (LegTooShort, UnknownName) as error:
        return None, (str(error),)
    stops = [one for one in (*check_ends(sheet), *findings(sheet)) if one.stops]
    return sheet, tuple(f"{one.sentence} ({one.source})" for one in stops)


def _bent(shop: Shop, cal: Calibration, sheet: MarkSheet) -> tuple[MarkSheet, tuple[Plans, bool], tuple[str, ...]]:
    """The line marked for the best order of its bends, what was found of orders, whether bodies were known, and what stops the line."""
    line = sheet.line
    bodies = tuple(body for body in shop.bodies if body.bender == line.bender)  # none where that file has faults: the shop's cautions tell it
    plans = plan_bending(shop, cal, line, bodies=bodies, mend=False, most_trials=_MOST_TRIALS, sheet=sheet)
    found = plans, bool(bodies)
    if plans.best is None:
        stops = plans.complete or any(one.stops for one in plans.rules)
        return sheet, found, (plans.sentence, "Ask for this line alone to see what would mend it (bendcal plan).") if stops else ()
    return mark_out_planned(shop, cal, line, plans=plans, sheet=sheet), found, ()


def order_of_making(sheets: Sequence[MarkSheet]) -> tuple[Task, ...]:
    """The order in which to make lines: what shares bender and tube together, the short ones first.

    Of all orders of these groups the one with the fewest changes of bender is taken, then of tube, then
    that which begins with the shortest lines.

    Parameters
    ----------
    sheets : marked lines

    Returns
    -------
    Tasks, each with its reason in words

    Source: common practice in the trade: the shortest lines first.
    """
    groups: dict[tuple[str, str], list[MarkSheet]] = {}
    for sheet in sorted(sheets, key=lambda one: one.cut_length_mm):
        groups.setdefault(_group(sheet), []).append(sheet)
    shortest = {group: mine[0].cut_length_mm for group, mine in groups.items()}
    if len(groups) <= _MOST_GROUPS:
        order = min(permutations(groups), key=lambda way: (*_changes(way), [shortest[group] for group in way]))
    else:
        first = {bender: min(mm for (b, _), mm in shortest.items() if b == bender) for bender, _ in groups}
        order = tuple(sorted(groups, key=lambda group: (first[group[0]], group[0], shortest[group])))
    tasks = []
    for before, group in pairwise((None, *order)):
        for k, sheet in enumerate(groups[group]):
            tasks.append(Task(sheet, _reason(sheet, before, first_of_all=sheet.cut_length_mm <= min(shortest.values()), next_of_group=k > 0)))
    return tuple(tasks)


def _group(sheet: MarkSheet) -> tuple[str, str]:
    return sheet.bender.bender, sheet.tube.tube


def _changes(groups: Sequence[tuple[str, str]]) -> tuple[int, int]:
    steps = list(pairwise(groups))
    return sum(a[0] != b[0] for a, b in steps), sum(a[1] != b[1] for a, b in steps)


def _reason(sheet: MarkSheet, before: tuple[str, str] | None, *, first_of_all: bool, next_of_group: bool) -> str:
    bender, tube = _group(sheet)
    if next_of_group:
        return "Same bender and tube as before; longer."
    if before is None:
        return (
            "The shortest line: the least tube is lost if it goes wrong." if first_of_all
            else "Begun with, so that bender and tube are changed least; the shortest of its kind."
        )  # fmt: skip
    changed = [f"the bender to {bender}"] * (before[0] != bender) + [f"the tube to {tube}"] * (before[1] != tube)
    same = " The tube stays." if before[1] == tube else " The bender stays." if before[0] == bender else ""
    return f"Change {' and '.join(changed)}.{same}"
