"""The command ``bendcal``, for those who live in a terminal: calibrate, compare, mark out, print, open the notebooks."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence

from bendcal.calibration import Calibration
from bendcal.compare import compare
from bendcal.design import next_offcuts, plan_offcuts
from bendcal.faults import ShopFaults
from bendcal.flat_command import add_flat_command
from bendcal.files import is_sample
from bendcal.inch_words import with_inches
from bendcal.job_command import add_commands
from bendcal.keeping import keep, news
from bendcal.lab import open_lab
from bendcal.landing import landing_of
from bendcal.layout import paragraph
from bendcal.line_commands import add_line_commands
from bendcal.marks import MarkSheet, mark_out
from bendcal.measures import length_mm
from bendcal.notices import Notices, print_list
from bendcal.order import cautions, order_of_work
from bendcal.oval import oval_of
from bendcal.planned import mark_out_planned, told_too_near
from bendcal.reports import cut_sentence, difference_table, laws_table, marks_table
from bendcal.scan_command import add_scan_command
from bendcal.shop import Shop, UnknownName, named
from bendcal.version import __version__

__all__ = ["main"]

EXAMPLES = """\
examples:
  bendcal calibrate sample_measurements
  bendcal compare sample_measurements cuni-3/16 steel-3/16
  bendcal marks sample_measurements clutch
  bendcal marks sample_measurements brake-near-side --inches --paper letter
  bendcal print sample_measurements clutch --measured 97
  bendcal worksheet sample_measurements --planned 6
  bendcal plan sample_measurements brake-far-side
  bendcal pattern sample_measurements brake-near-side
  bendcal next sample_measurements
  bendcal scan "my shop" scan.png --tube brake
  bendcal flat "my shop" rear old-line.png --tube brake --end-a left --record
  bendcal page "my shop" --paper letter
  bendcal job sample_measurements --kerf 1
  bendcal mirror "my shop" left-front right-front
  bendcal notebooks
  bendcal notebooks --shop "my shop"

It ends with 0 when the job is done, with 2 where it cannot be done as asked (a file, a
name or a number is wrong), and bendcal plan with 3 where no way was found to bend the
line on its bender.

A shop is a folder with benders.csv, tubes.csv and offcuts.csv in it, and lines.csv
for the lines to be made; sample_measurements is one, and is invented.

Brake work can kill. Practise on scrap, keep to your local rules, and have the work
checked and pressure-tested by someone who is licensed to do it."""

HOW_TO_READ = (
    "Marks are measured from the cut end A, all before the first bend. Turns are what your hands do to the tube, seen "
    "from end A looking towards B. Behind ± stands how far 19 of 20 bends will stray."
)

MEASURE_IT = (
    "Print it at 100 % (actual size) and measure the 100 mm line on every page. If it measures otherwise, run this again with "
    "--measured and what it measures, and print as before. The printed numbers decide; the drawings are an aid."
)
MEASURE_AGAIN = (
    "Print it as you printed the page that you measured, and measure the 100 mm line again: it must be 100 mm now. "
    "The printed numbers decide; the drawings are an aid."
)


def main(words: Sequence[str] | None = None) -> int:
    """Run the command.

    Parameters
    ----------
    words : what stands behind ``bendcal``; None for the command line's own

    Returns
    -------
    0; 2 where something is in the way, and what, and what to do, goes to the error output; 3 where ``plan`` found no way to bend
    the line

    Examples
    --------
    >>> main(["calibrate", "sample_measurements", "--nothing"])
    2
    """
    _speak_plainly()
    try:
        asked = _parser().parse_args(words)
    except SystemExit as stop:  # argparse has said why
        return int(stop.code or 0)
    try:
        code = asked.does(asked)
        asked.notices.finish()
    except BrokenPipeError:  # what was printed is read by a program that has seen enough
        sys.stdout = None
        return 0
    except (ValueError, KeyError, OSError) as error:
        asked.notices.finish(getattr(error, "faults", ()))
        print(f"bendcal: {_sentence(error)}", file=sys.stderr)
        return 2
    return code or 0


def _speak_plainly() -> None:
    """A sign that the terminal cannot show becomes a question mark, and stops nothing."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")


def _sentence(error: Exception) -> str:
    """What an error says to a person."""
    if isinstance(error, OSError) and error.strerror:
        return f"{error.filename}: {error.strerror}." if error.filename else f"{error.strerror}."
    # A KeyError of the kit is a sentence; Python's own would be a bare key in quotation marks.
    return str(error)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="bendcal", description="Learn what a hand tube bender really does, then mark the next line by it.",
        epilog=EXAMPLES, formatter_class=argparse.RawDescriptionHelpFormatter,
    )  # fmt: skip
    notices = Notices()
    parser.set_defaults(notices=notices)
    parser.add_argument("--version", action="version", version=f"bendcal {__version__}")
    jobs = parser.add_subparsers(title="jobs", metavar="JOB", required=True)

    calibrate = jobs.add_parser("calibrate", help="learn from the offcuts; writes calibration.json", description="Fit the law of every bender with every tube that has offcuts, and write calibration.json into the shop folder.")
    calibrate.add_argument("shop", metavar="SHOP", help="the shop folder")
    calibrate.set_defaults(does=_calibrate)

    compare = jobs.add_parser("compare", help="hold two tubes on one bender side by side", description="Whether the settings of one tube may be used for another.")
    compare.add_argument("shop", metavar="SHOP", help="the shop folder")
    compare.add_argument("first", metavar="TUBE", help="a tube's name in tubes.csv")
    compare.add_argument("second", metavar="TUBE", help="another one's")
    compare.add_argument("--bender", metavar="B", help="the bender's name; needed if several have bent both tubes")
    compare.set_defaults(does=_compare)

    marks = jobs.add_parser("marks", help="marks, settings and cut length of one line; writes its sheet", description="Mark out one line and write its sheet (csv, json, pdf) into the shop folder's sheets/.")
    marks.add_argument("shop", metavar="SHOP", help="the shop folder")
    marks.add_argument("line", metavar="LINE", nargs="?", help="the line's name in lines.csv; the first one if left out")
    marks.add_argument("--inches", action="store_true", help="inches and thirty-seconds instead of mm; in sentences both")
    marks.add_argument("--paper", choices=("a4", "letter"), default="a4", help="the pdf's paper (a4 if left out)")
    marks.add_argument("--feed", choices=("A", "B"), help="bend from end A on with this end leading, untried; left out: the easiest order that clears the bender")
    marks.set_defaults(does=_marks)

    true = jobs.add_parser("print", help="true-scale pages of one line: mark strip, angle gauges, clock disc", description="Print one line at true scale, to lay the tube on: its mark strip, angle gauges, mark gauge and clock disc, into the shop folder's sheets/true-scale/.")
    true.add_argument("shop", metavar="SHOP", help="the shop folder")
    true.add_argument("line", metavar="LINE", help="the line's name in lines.csv")
    true.add_argument("--paper", choices=("a4", "letter"), default="a4", help="the pdf's paper (a4 if left out)")
    true.add_argument("--measured", metavar="MM", help="what the 100 mm line measures on your print, such as 97.5; then print once more")
    true.add_argument("--inches", action="store_true", help="inches and thirty-seconds as well as mm")
    true.add_argument("--feed", choices=("A", "B"), help="bend from end A on with this end leading, untried; left out: the easiest order that clears the bender")
    true.set_defaults(does=_print)

    worksheet = jobs.add_parser("worksheet", help="a page to write offcuts on at the bench", description="Print a page to fill in by hand at the bench, into the shop folder's sheets/worksheets/.")
    worksheet.add_argument("shop", metavar="SHOP", help="the shop folder")
    worksheet.add_argument("--paper", choices=("a4", "letter"), default="a4", help="the pdf's paper (a4 if left out)")
    worksheet.add_argument("--inches", action="store_true", help="boxes for inches and fractions instead of mm")
    worksheet.add_argument("--planned", type=int, metavar="N", help="put the N offcuts on it that teach the most")
    worksheet.set_defaults(does=_worksheet)

    add_commands(jobs, notices.shop, notices.read)
    add_line_commands(jobs, notices.shop, notices.read)
    add_scan_command(jobs, notices.shop)
    add_flat_command(jobs, notices.shop)

    notebooks = jobs.add_parser("notebooks", help="open the notebooks in JupyterLab", description="Open the notebooks in a quiet JupyterLab.")
    notebooks.add_argument("--shop", metavar="FOLDER", help="put copies of the notebooks, set to this shop, into its folder and open those")
    notebooks.add_argument("--port", type=int, metavar="N", help="listen at this port")
    notebooks.add_argument("--no-browser", action="store_true", help="print the address only")
    notebooks.set_defaults(does=_notebooks)
    return parser


def _calibrate(asked: argparse.Namespace) -> None:
    shop, cal = asked.notices.read(asked.shop)
    if is_sample(asked.shop):
        print(paragraph("This shop is the sample, and invented: do not bend good tube by what it teaches."), end="\n\n")
    for law in cal.laws.values():
        print(paragraph(str(law)), end="\n\n")
    print(laws_table(cal))
    print(paragraph("Dial, take-up and gain are for a square bend; in brackets the 95 % interval."), end="\n\n")
    ovals = [((bender, tube), oval_of(shop.offcuts_for(bender, tube), shop.tubes[tube])) for bender, tube in shop.pairs()]
    print_list("How flat bends come out:", [f"{tube} on {bender}: {' '.join(filter(None, (oval.warning, *oval.sentences)))}" for (bender, tube), oval in ovals if oval])
    print_list("Set aside, and not counted:", [f"{offcut}: {reason}" for offcut, reason in cal.set_aside])
    print_list("Does not agree with the other pieces:", cal.blunders)
    print_list("New since the last calibration:", news(shop))
    try:
        advice = next_offcuts(shop).sentence
    except ShopFaults as error:
        advice = f"Which offcut to bend next is not said, because it hangs on how the lines' ends land: {error.faults[0].place} comes first."
    print(paragraph(advice), end="\n\n")
    print(f"Written: {keep(cal, shop)}")


def _compare(asked: argparse.Namespace) -> None:
    shop, cal = asked.notices.read(asked.shop)
    for tube in (asked.first, asked.second):
        named(shop.tubes, tube, "tube")
    if asked.first == asked.second:
        raise ValueError(f"{asked.first} is named twice, and does not differ from itself. Name two tubes of tubes.csv.")
    bender = asked.bender or _bender_of_both(cal, asked.first, asked.second)
    named(shop.benders, bender, "bender")
    comparison = compare(cal, (bender, asked.first), (bender, asked.second))
    print(f"{asked.second} less {asked.first}, both on {bender}, with the 95 % interval:")
    print(difference_table(comparison), end="\n\n")
    print(paragraph(comparison.sentence))


def _bender_of_both(cal: Calibration, first: str, second: str) -> str:
    """The one bender that has bent both tubes."""
    both = [bender for bender, tube in cal.laws if tube == first and (bender, second) in cal.laws]
    if len(both) == 1:
        return both[0]
    if both:
        raise UnknownName(f"{', '.join(both)} have all bent {first} and {second}. Say which with --bender, such as --bender {both[0]}.")
    known = "; ".join(f"{tube} on {bender}" for bender, tube in cal.laws)
    raise UnknownName(f"No bender has bent both {first} and {second}, so they cannot be compared. Offcuts that count: {known}.")


def _marks(asked: argparse.Namespace) -> None:
    shop, cal = asked.notices.read(asked.shop)
    if asked.line is None:
        shop.need("lines.csv", *(f"lines/{name}.csv" for name in shop.unread_lines))  # any of them may be the first
    if asked.line is None and not shop.lines:
        raise ValueError(f"There is no line in {shop.folder}: lines.csv names them, and lines/NAME.csv holds each one's corners.")
    sheet = _marked(shop, cal, asked.line or next(iter(shop.lines)), asked.feed)
    from bendcal.sheets import save_sheet  # draws, so it is loaded by this job alone

    # Saved before anything is printed: whoever reads the first lines only has the whole sheet all the same.
    files = save_sheet(sheet, shop.folder, paper=asked.paper, inches=asked.inches)
    print(f"{sheet.line.line}: {sheet.tube.tube} on {sheet.bender.bender}", end="\n\n")
    print_list("Cautions:", [with_inches(str(notice), asked.inches) for notice in cautions(sheet)])
    print_list("Warnings; put these right before you cut:", [with_inches(said, asked.inches) for said in sheet.warnings])
    print(paragraph(cut_sentence(sheet, inches=asked.inches)), end="\n\n")
    if sheet.legs.bends:
        print(marks_table(sheet, inches=asked.inches))
        print(paragraph(HOW_TO_READ), end="\n\n")
        bending = next(step.sentence for step in order_of_work(sheet) if step.task in ("bend", "stop"))
        print(paragraph(with_inches(bending, asked.inches)), end="\n\n")
    print(paragraph(with_inches(landing_of(sheet).sentence, asked.inches)), end="\n\n")
    print("The sheet, with the order of work:")
    for path in files:
        print(f"  {path}")


def _marked(shop: Shop, cal: Calibration, line: str, feed: str | None) -> MarkSheet:
    """For the order that was found, or from end A on with the end leading that was asked for."""
    return mark_out_planned(shop, cal, line) if feed is None else told_too_near(shop, cal, mark_out(shop, cal, line, feed=feed))


def _print(asked: argparse.Namespace) -> None:
    measured = 100.0 if asked.measured is None else length_mm(asked.measured)
    shop, cal = asked.notices.read(asked.shop)
    sheet = _marked(shop, cal, asked.line, asked.feed)
    print(paragraph(str(cautions(sheet)[0])), end="\n\n")
    print_list("Warnings; put these right before you cut:", [with_inches(said, asked.inches) for said in sheet.warnings])
    from bendcal.sheets import save_true_scale  # draws, so it is loaded by this job alone

    print(f"Written: {save_true_scale(sheet, shop.folder, paper=asked.paper, measured_mm=measured, inches=asked.inches)}")
    print(paragraph(MEASURE_IT if asked.measured is None else MEASURE_AGAIN))


def _worksheet(asked: argparse.Namespace) -> None:
    shop = asked.notices.shop(asked.shop)
    if asked.planned is not None and asked.planned < 1:
        raise ValueError(f"--planned is {asked.planned}; it must be 1 or more, or be left out.")
    planned = plan_offcuts(shop, count=asked.planned).offcuts if asked.planned else None
    from bendcal.sheets import save_worksheet  # draws, so it is loaded by this job alone

    print(f"Written: {save_worksheet(shop, shop.folder, planned=planned, paper=asked.paper, inches=asked.inches)}")
    if planned is not None and (advice := next_offcuts(shop)).stop:
        print(paragraph(advice.sentence))


def _notebooks(asked: argparse.Namespace) -> None:
    open_lab(asked.shop, port=asked.port, browser=not asked.no_browser)
