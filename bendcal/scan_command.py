"""The commands ``bendcal scan`` (offcuts read from pictures, recorded when asked for) and ``bendcal page`` (the page to photograph them on)."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence

from bendcal.fiducials import MOST_PAGES
from bendcal.layout import paragraph
from bendcal.measures import length_mm
from bendcal.picture_options import add_picture_options, of_photos, of_scan
from bendcal.shop import Shop, UnknownName, named

__all__ = ["add_scan_command", "one_of"]

LOOK = "Look at the picture before you believe a number: the drawn lines must lie on the tube's edges, and the two bars across at its ends."
HOW_TO_LAY = (
    "Lay the pieces on the glass a finger's width apart and from its border, each with the line that halves its bend at 45°, flat, under a plain "
    "sheet of another shade than the tube, light if it can be; bends of 15° to 150° are read (on dark paper from 30°). Scan in colour or grey at 300 dpi; a JPEG must be of high quality."
)
HOW_TO_LAY_PAGES = (
    "Lay the pages side by side on a flat table, long edge along long edge, each 5 to 10 mm over the edge of the one before it, so that no table shows "
    "between them, and tape them down flat; they need not be in line, and each number may lie there only once. The tube lies on white paper, and "
    "passes between the marks and the words. Photograph them from above, several pages in each picture; if one picture does not hold all, take "
    "several, each of which shows a page that another shows too, move nothing between them, and take one more of all pages together from further away, which proves it."
)


def add_scan_command(jobs, shop: Callable[[str], Shop]) -> None:
    """Add the command to a parser's own.

    Parameters
    ----------
    jobs : what ``ArgumentParser.add_subparsers`` returned
    shop : folder → shop, with what looks wrong printed first
    """
    scan = jobs.add_parser("scan", help="read bent offcuts from a scan or a photo; records them with --record", description=f"Read finished angle, radius, legs and mark of bent offcuts from a flatbed scan, or with --photo from a photo on the reference page (bendcal page). {HOW_TO_LAY}")
    scan.add_argument("shop", metavar="SHOP", help="the shop folder")
    scan.add_argument("image", metavar="IMAGE", nargs="+", help="scans or photos: PNG, JPEG, TIFF, BMP or WebP")
    scan.add_argument("--tube", metavar="T", help="the tube's name in tubes.csv; needed if there are several")
    add_picture_options(
        scan, end_a="on which side end A lies; left out: the end of the leg with the mark",
        photo="the pictures are photos of the reference page, not scans; photos of several numbered pages on one table are joined",
    )  # fmt: skip
    scan.add_argument("--record", action="store_true", help="append what was read to offcuts.csv; needs --dial and --length")
    scan.add_argument("--bender", metavar="B", help="the bender's name in benders.csv; needed if there are several")
    scan.add_argument("--dial", nargs="+", metavar="DEG", help="what each piece was bent to on the dial, from left to right")
    scan.add_argument("--length", nargs="+", metavar="MM", help="each piece's straight length before the bend; one number if all are alike")
    scan.add_argument("--mark", nargs="+", metavar="MM", help="end A to each piece's mark, where it does not show")
    scan.set_defaults(does=lambda asked: _scan(asked, shop(asked.shop)))

    page = jobs.add_parser("page", help="print the reference page that offcuts are photographed on", description="Write the reference page, to print at 100 % and lay bent pieces on for a photo, into the shop folder's sheets/.")
    page.add_argument("shop", metavar="SHOP", help="the shop folder")
    page.add_argument("--paper", choices=("a4", "letter"), default="a4", help="its paper (a4 if left out)")
    which = page.add_mutually_exclusive_group()
    which.add_argument("--pages", type=int, metavar="N", help=f"pages 1 to N (at most {MOST_PAGES}), to lay side by side on a table under a line that is longer than a page")
    which.add_argument("--number", type=int, metavar="K", help="only page K of those")
    page.set_defaults(does=lambda asked: _page(asked, shop(asked.shop)))


def _scan(asked: argparse.Namespace, shop: Shop) -> None:
    tube = one_of(shop.tubes, asked.tube, "tube")
    if asked.record and (not asked.dial or not asked.length):
        raise ValueError("--record needs what no picture shows: --dial, and --length, the straight length before the bend.")
    bender = one_of(shop.benders, asked.bender, "bender") if asked.record else ""
    # Loads what opens pictures, so it is loaded by this job alone.
    from bendcal.scan import read_photos, read_scan
    from bendcal.scan.recording import save_overlay

    od_mm = shop.tubes[tube].od_mm
    if asked.photo:
        pictures = read_photos(asked.image, od_mm=od_mm, **of_photos(asked))
    else:
        how = of_scan(asked)
        pictures = (read_scan(image, od_mm=od_mm, **how) for image in asked.image)
    if asked.record and len(asked.image if not asked.photo else pictures) > 1:
        raise ValueError("--record takes one picture at a time, or photos of one table, so that --dial and --length belong to its pieces.")
    for readings in pictures:
        print(f"{readings.name}: {tube}, {od_mm:g} mm", end="\n\n")
        for sentence in str(readings).splitlines():
            print(paragraph(sentence, first="  - "))
        print(f"\nWhat was seen: {save_overlay(shop.folder, readings)}")
        print(paragraph(LOOK), end="\n\n")
        if asked.record:
            _record(asked, shop, readings, bender, tube)


def _page(asked: argparse.Namespace, shop: Shop) -> None:
    from bendcal.sheets import save_how_to_lay_pages, save_reference_page  # draws, so it is loaded by this job alone

    if asked.pages is not None and not 1 <= asked.pages <= MOST_PAGES:
        raise ValueError(f"--pages is {asked.pages}; there are 1 to {MOST_PAGES} of a paper, each with marks of its own.")
    numbers = range(1, asked.pages + 1) if asked.pages else [] if asked.number is None else [asked.number]
    print(f"Written: {save_reference_page(shop.folder, paper=asked.paper, numbers=tuple(numbers))}")
    print(paragraph("Print it at 100 % (actual size), and measure its 100 mm line: if it measures otherwise, say so with --page-line when you read a photo."))
    if numbers:
        print(f"A drawing of how to lay them: {save_how_to_lay_pages(shop.folder)}")
        print(paragraph(HOW_TO_LAY_PAGES))


def _record(asked: argparse.Namespace, shop: Shop, readings, bender: str, tube: str) -> None:
    from bendcal.scan.recording import record

    if readings.refused:
        raise ValueError("Nothing is recorded, because not every piece was read, and the dial settings might get to the wrong one. Take away or scan again what was not read.")
    count = len(readings)
    dial = _each(asked.dial, count, "--dial", several=True)
    length, mark = _each(asked.length, count, "--length"), _each(asked.mark, count, "--mark")
    told = [{"bender": bender, "tube": tube, "dial_deg": d, "length_mm": length_mm(n)} for d, n in zip(dial, length, strict=True)]
    for columns, at in zip(told, mark, strict=True):
        if at is not None:
            columns["mark_mm"] = length_mm(at)
    for reading, columns in zip(readings, told, strict=True):
        if not reading.end_a:
            raise ValueError(f"Nothing is recorded: nothing tells which end of piece {reading.number} is A. Say --end-a left, right, top or bottom.")
        if reading.mark is None and "mark_mm" not in columns:
            raise ValueError(f"Nothing is recorded: no mark was seen on leg A of piece {reading.number}. Say --mark and how far it is from end A.")
    for reading, columns in zip(readings, told, strict=True):
        written = record(shop.folder, reading, picture=readings.name, **columns)
        print(f"Recorded: piece {reading.number} as offcut {written.offcut}, {written.angle_deg:g}° at dial {written.dial_deg:g}")


def _each(words: Sequence[str] | None, count: int, name: str, *, several: bool = False) -> list[str | None]:
    """One word for each piece; one word alone is for all of them where pieces may be alike."""
    if words is None:
        return [None] * count
    if len(words) == 1 and not several:
        return list(words) * count
    if len(words) != count:
        raise ValueError(f"{name} has {len(words)} numbers, and {count} pieces were found. Give one for each, from left to right.")
    return list(words)


def one_of(known, name: str | None, noun: str) -> str:
    """The name that was given, or the only one that there is.

    Parameters
    ----------
    known : the names that there are
    name : what was given, or None
    noun : what they are names of

    Raises
    ------
    UnknownName : a KeyError whose sentence says which there are

    Examples
    --------
    >>> one_of({"thin": 1}, None, "tube")
    'thin'
    """
    if name is not None:
        named(known, name, noun)
        return name
    if len(known) == 1:
        return next(iter(known))
    raise UnknownName(f"Which {noun}? There are {', '.join(known)}: say --{noun} and its name.")
