"""The commands ``bendcal plan``, ``bendcal pattern`` and ``bendcal next``: can it be bent, what shape was it, what to bend next."""

from __future__ import annotations

import argparse
from collections.abc import Callable

from bendcal.calibration import Calibration
from bendcal.clearance import Clearances, obstacle_clearances
from bendcal.design import next_offcuts, plan_offcuts
from bendcal.faults import Caution
from bendcal.feasible import Plans, plan_bending
from bendcal.files import read_pattern
from bendcal.layout import TextTable, paragraph
from bendcal.notices import print_list
from bendcal.path import LegTooShort
from bendcal.pattern import adjust_pattern
from bendcal.pattern_report import fit_table, shape_table
from bendcal.plan_report import clearance_table, plan_table, rule_sentences
from bendcal.planned import mark_out_planned
from bendcal.shop import Shop

__all__ = ["add_line_commands"]

BEFORE = "Brake work can kill: local code and licensed practice rule over this plan. Only what was measured is reckoned with: try it in scrap first."
TURNS = "Turns are what your hands do to the tube, seen from end A looking towards B; the line along the tube is on the inside of bend 1."

Read = Callable[[str], tuple[Shop, Calibration]]
OneShop = Callable[[str], Shop]


def add_line_commands(jobs, shop: OneShop, read: Read) -> None:
    """Add the three commands to a parser's own.

    Parameters
    ----------
    jobs : what ``ArgumentParser.add_subparsers`` returned
    shop, read : folder → shop, or shop and calibration, with what looks wrong printed first
    """
    plan = jobs.add_parser("plan", help="can a line be bent, in which order, and does it keep clear", description="Whether and in which order a line's bends can be made on its bender, and how near the line comes to what it must keep away from. Ends with 3 where no way to bend it was found.")
    plan.add_argument("shop", metavar="SHOP", help="the shop folder")
    plan.add_argument("line", metavar="LINE", help="the line's name in lines.csv")
    plan.add_argument("--pdf", action="store_true", help="also write each bend as the tube lies in the bender, a pdf to print: sheets/bending/LINE.pdf")
    plan.add_argument("--page", action="store_true", help="also write the line to be turned with the mouse or a finger, a page for any browser: sheets/turntable/LINE.html")
    plan.add_argument("--paper", choices=("a4", "letter"), default="a4", help="the pdf's paper (a4 if left out)")
    plan.set_defaults(does=lambda asked: _plan(asked, read))

    pattern = jobs.add_parser("pattern", help="the shape of a line from its measured pattern, and what does not fit", description="Adjust patterns/LINE.csv: the shape that fits all measurements best, how they close, and which of them does not fit.")
    pattern.add_argument("shop", metavar="SHOP", help="the shop folder")
    pattern.add_argument("line", metavar="LINE", help="the line's name; its measurements are in patterns/LINE.csv")
    pattern.add_argument("--all", action="store_true", help="count what was set aside as well")
    pattern.set_defaults(does=lambda asked: _pattern(asked, shop(asked.shop)))

    after = jobs.add_parser("next", help="which offcuts to bend next, and whether more of them pay", description="Which offcuts would teach the most for the lines that are to be made.")
    after.add_argument("shop", metavar="SHOP", help="the shop folder")
    after.add_argument("lines", metavar="LINE", nargs="*", help="lines of lines.csv; all of them if left out")
    after.add_argument("--count", type=int, metavar="N", help="choose a set of N pieces")
    after.set_defaults(does=lambda asked: _next(asked, shop))


#: What ``bendcal plan`` ends with where the line cannot be bent as it is: 2 says that something is wrong with what was asked.
NOT_BENDABLE = 3


def _plan(asked: argparse.Namespace, read: Read) -> int:
    """Print the plan; returns 0, or NOT_BENDABLE."""
    shop, cal = read(asked.shop)
    plans = plan_bending(shop, cal, asked.line)
    print(paragraph(BEFORE), end="\n\n")
    stops = rule_sentences(plans, stops=True)
    # Where rules stop it, the list below says why, with its sources.
    print(paragraph(" ".join([plans.refusal, *plans.mends]) if stops and plans.best is None else plans.sentence), end="\n\n")
    if plans.best is not None and plans.best.steps:
        print(plan_table(plans.best))
        print(paragraph(TURNS), end="\n\n")
    print_list("Put right first:", stops)
    print_list("To know:", [*rule_sentences(plans, stops=False), *plans.notes])
    ends_with = 0 if plans.best is not None else NOT_BENDABLE
    try:
        clear = obstacle_clearances(shop, cal, asked.line)
    except LegTooShort:  # said above
        return ends_with
    print(paragraph(clear.sentence))
    if clear.all:
        print(clearance_table(clear))
    if asked.pdf or asked.page:
        _drawn(asked, shop, cal, plans, clear)
    return ends_with


def _drawn(asked: argparse.Namespace, shop: Shop, cal: Calibration, plans: Plans, clear: Clearances) -> None:
    """Write the pictures that were asked for."""
    from bendcal.sheets import save_bending, save_turntable  # both draw, so they are loaded by this job alone
    from bendcal.turntable import turntable

    sheet = mark_out_planned(shop, cal, asked.line, plans=plans)
    if asked.pdf and plans.best is None:
        print(paragraph("No pdf of the bends is written, for no order of them was found."))
    elif asked.pdf:
        print(f"Written: {save_bending(sheet, plans.best, shop.folder, bodies=shop.bodies, paper=asked.paper)}")
    if asked.page:
        print(f"Written: {save_turntable(turntable(sheet, obstacles=shop.obstacles, clearances=clear), sheet.line.line, shop.folder)}")


def _pattern(asked: argparse.Namespace, shop: Shop) -> None:
    cautions: list[Caution] = []
    pattern = read_pattern(shop, asked.line, cautions=cautions)
    print_list("Looks wrong; see whether it is:", [caution.sentence for caution in cautions])
    adjusted = adjust_pattern(pattern.all_counted if asked.all else pattern)
    print_list("Set aside, and not counted:", [f"{seen.words}: {seen.set_aside}" for seen in pattern.observations if seen.set_aside and not asked.all])
    print_list("Does not fit:", adjusted.suspects)
    print_list("Still open:", adjusted.missing)
    if adjusted.settled:
        print(f"{asked.line}, legs, angles and twists from end A on, with the 95 % range:")
        print(shape_table(adjusted), end="\n\n")
    print_list("How it closes:", adjusted.closing)
    print_list("To know:", adjusted.notes)
    print(fit_table(adjusted))


def _next(asked: argparse.Namespace, one: OneShop) -> None:
    if asked.count is not None and asked.count < 1:
        raise ValueError(f"--count is {asked.count}; it must be 1 or more, or be left out.")
    shop = one(asked.shop)
    lines = asked.lines or None
    if asked.count is None:
        advice = next_offcuts(shop, lines=lines)
        sentence, rows = advice.sentence, advice.ranked if not advice.stop else advice.ranked[:0]
    else:
        plan = plan_offcuts(shop, lines=lines, count=asked.count)
        sentence, rows = plan.sentence, plan.offcuts
    print(paragraph(sentence))
    if len(rows):
        print()
        print(TextTable({
            "": [str(k) for k in range(1, len(rows) + 1)], "bender": list(rows["bender"]), "tube": list(rows["tube"]),
            "dial °": [f"{dial:g}" for dial in rows["dial_deg"]], "read": list(rows["readings"]),
        }))  # fmt: skip
