"""The commands that look at more than one line: ``bendcal job`` and ``bendcal mirror``."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterable

from bendcal.calibration import Calibration
from bendcal.entries import save_mirrored
from bendcal.inch_words import ROUNDED, with_inches
from bendcal.job import plan_job
from bendcal.job_report import bending_sentences, clips_table, fittings_table, order_table, practice_sentences, tube_table
from bendcal.layout import paragraph
from bendcal.measures import length_mm
from bendcal.mirror import PLANES
from bendcal.notices import print_list
from bendcal.shop import Shop
from bendcal.supports import supports_for

__all__ = ["add_commands"]

BEFORE = (
    "Brake work can kill: local code and licensed practice rule over this plan. Each line has a sheet of its own, with its cautions and "
    "its order of work (bendcal marks): read that before you cut."
)
SPACINGS = "Supports by the published spacings for hydraulic tube that shakes; more of them do no harm. Make the lines before the clip holes are final."


def add_commands(jobs, shop: Callable[[str], Shop], read: Callable[[str], tuple[Shop, Calibration]]) -> None:
    """Add the two commands to a parser's own.

    Parameters
    ----------
    jobs : what ``ArgumentParser.add_subparsers`` returned
    shop, read : folder → shop, or shop and calibration, with what looks wrong printed first
    """
    job = jobs.add_parser("job", help="all lines: order of making, cut list, what to buy, clips", description="Plan all lines of a vehicle: the order of making, how each is bent, what it is cut from (stock.csv), what has to be bought, and where clips go.")
    job.add_argument("shop", metavar="SHOP", help="the shop folder")
    job.add_argument("lines", metavar="LINE", nargs="*", help="lines of lines.csv; all of them if left out")
    job.add_argument("--kerf", metavar="MM", default="0", help="what one cut of the saw takes; a rolling cutter takes 0 (0 if left out)")
    job.add_argument("--usable", metavar="MM", default="200", help="the least rest that is worth keeping (200 mm if left out)")
    job.add_argument("--inches", action="store_true", help="the tables in inches and thirty-seconds instead of mm; in sentences both")
    job.set_defaults(does=lambda asked: _job(asked, read))

    mirror = jobs.add_parser("mirror", help="a mirrored copy of a line for the other side", description="Write the mirror image of a line into the shop folder, as a line of its own.")
    mirror.add_argument("shop", metavar="SHOP", help="the shop folder")
    mirror.add_argument("line", metavar="LINE", help="the line's name in lines.csv")
    mirror.add_argument("name", metavar="NAME", help="what the copy is called")
    mirror.add_argument("--plane", choices=PLANES, default="y", help="the axis that stands square on the mirror (y if left out)")
    mirror.add_argument("--at", metavar="MM", default="0", help="where the mirror crosses that axis (0 if left out)")
    mirror.set_defaults(does=lambda asked: _mirror(asked, shop(asked.shop)))


def _job(asked: argparse.Namespace, read: Callable[[str], tuple[Shop, Calibration]]) -> None:
    kerf, usable = length_mm(asked.kerf), length_mm(asked.usable)
    shop, cal = read(asked.shop)
    if not (shop.lines or shop.unread):
        raise ValueError(f"There is no line in {shop.folder}: lines.csv names them, and lines/NAME.csv holds each one's corners.")
    job = plan_job(shop, cal, lines=asked.lines or None, kerf_mm=kerf, usable_mm=usable)
    print(paragraph(BEFORE), end="\n\n")

    def told(sentences: Iterable[str]) -> list[str]:
        return [with_inches(said, asked.inches) for said in sentences]

    for refused in job.refused:
        print_list(f"{refused.line} is not to be cut as it is; put right first:", told(refused.reasons))
    if job.tasks:
        benders, tubes = job.changes
        print(f"The order of making; changes of bender: {benders}, of tube: {tubes}.")
        print(order_table(job, inches=asked.inches), end="\n\n")
    if asked.inches:
        print(paragraph(ROUNDED), end="\n\n")
    print_list("How the bends are made:", told(bending_sentences(job)))
    print_list("To practise first, on scrap of the same lot:", told(practice_sentences(job)))
    for tube, cuts in job.cuts.items():
        print_list(f"{tube}, cut from:", told(cuts.sentences))
    print(tube_table(job, inches=asked.inches), end="\n\n")
    print_list("To buy:", told(total.sentence for total in job.totals if total.missing_mm))
    if job.fittings.nuts:
        print(fittings_table(job), end="\n\n")
    if job.tasks:
        print("Clips:")
        print(paragraph(SPACINGS), end="\n\n")
    for task in job.tasks:
        supports = supports_for(task.sheet)
        print(paragraph(with_inches(supports.sentence, asked.inches)))
        if supports.clips:
            print(clips_table(supports, inches=asked.inches))
        print()


def _mirror(asked: argparse.Namespace, shop: Shop) -> None:
    at_mm = length_mm(asked.at)
    copy, path = save_mirrored(shop, asked.line, asked.name, asked.plane, at_mm=at_mm)
    print(f"Written: {path}, and a row for it in lines.csv")
    print(paragraph(
        f"{copy.line} is {asked.line} seen in a mirror square to the {asked.plane} axis at {at_mm:g} mm: every twist has changed its sign. "
        "Hold its ends and clips against the other side of the vehicle before you cut: two sides are seldom alike."
    ))  # fmt: skip
    if own := [each.obstacle for each in shop.obstacles if each.line == asked.line]:
        print(paragraph(
            f"What is kept clear of {asked.line} alone in obstacles.csv ({', '.join(own)}) does not go along: write rows for what stands "
            f"near {copy.line}, or it is held against nothing of that side."
        ))  # fmt: skip
