"""The command ``bendcal flat``: an old line or a wire pattern that lies flat, read from a picture into a line's pattern."""

from __future__ import annotations

import argparse
from collections.abc import Callable

from bendcal.layout import paragraph
from bendcal.measures import length_mm
from bendcal.picture_options import add_picture_options, of_photos, of_scan
from bendcal.scan_command import one_of
from bendcal.shop import Shop, named

__all__ = ["add_flat_command"]

LOOK = (
    "Look at the picture before you believe a number: the drawn lines must lie on the tube's edges, each apex where its two legs cross, the two bars "
    "at the ends. Then check the straight distance from end to end by tape."
)
HOW_TO_LAY = (
    "It lies flat by itself, without rocking: what the lid presses flat springs back and is no flat line. Nuts and flares are cut off; nothing else lies on "
    "the picture; a sheet of light paper over it. Scan in colour or grey at 300 dpi."
)
BRAKES = "Brake work can kill: an old line may have been wrong, or bent by hand as it was fitted. Hold the new one against the vehicle before its last end is flared; local rules and licensed practice go first."


def add_flat_command(jobs, shop: Callable[[str], Shop]) -> None:
    """Add the command to a parser's own.

    Parameters
    ----------
    jobs : what ``ArgumentParser.add_subparsers`` returned
    shop : folder → shop, with what looks wrong printed first
    """
    flat = jobs.add_parser("flat", help="read a flat old line or wire from a scan or a photo into a line's pattern", description=f"Read legs, angles and twists of a line whose bends all lie in one plane from a flatbed scan, or with --photo from a photo on the reference page (bendcal page). {HOW_TO_LAY}")
    flat.add_argument("shop", metavar="SHOP", help="the shop folder")
    flat.add_argument("line", metavar="LINE", help="the name of the line to be made; --record begins it in lines.csv where there is none")
    flat.add_argument("image", metavar="IMAGE", nargs="+", help="a scan or a photo (PNG, JPEG, TIFF, BMP or WebP); with --photo also several photos of numbered pages on one table, which are joined")
    flat.add_argument("--tube", metavar="T", help="the tube's name in tubes.csv; needed if there are several")
    flat.add_argument("--wire", metavar="MM", help="what lies there is no tube but a wire of this diameter")
    add_picture_options(
        flat, end_a="on which side of the picture end A lies; needed to record",
        photo="the picture is a photo of the reference page, not a scan; or photos of several numbered pages under the line (bendcal page --pages)",
    )  # fmt: skip
    flat.add_argument("--record", action="store_true", help="add what was read to patterns/LINE.csv; needs --end-a")
    flat.add_argument("--bender", metavar="B", help="with --record, of a new line: the bender's name in benders.csv; needed if there are several")
    flat.add_argument("--cut-a", metavar="MM", default="0", help="tube that was cut off with the flare, from the cut at end A to its seat (0 if left out)")
    flat.add_argument("--cut-b", metavar="MM", default="0", help="the same at end B")
    flat.add_argument("--taped", metavar="MM", help="the straight distance from end to end of what lies there, by tape: it must agree with the picture")
    flat.set_defaults(does=lambda asked: _flat(asked, shop(asked.shop)))


def _flat(asked: argparse.Namespace, shop: Shop) -> None:
    tube = one_of(shop.tubes, asked.tube, "tube")
    if asked.record and not asked.end_a:
        raise ValueError("--record needs --end-a: on which side of the picture end A lies. Legs and twists are told from there.")
    bender = one_of(shop.benders, asked.bender, "bender") if asked.record else ""
    if asked.bender:
        named(shop.benders, asked.bender, "bender")
    # Loads what opens pictures, so it is loaded by this job alone.
    from bendcal.scan import read_flat_photos, read_flat_scan
    from bendcal.scan.flat_recording import SEATS, record_pattern
    from bendcal.scan.recording import save_overlay

    od_mm = length_mm(asked.wire) if asked.wire else shop.tubes[tube].od_mm
    if asked.photo:
        reading = read_flat_photos(asked.image, od_mm=od_mm, **of_photos(asked))
    elif len(asked.image) > 1:
        raise ValueError(f"{len(asked.image)} scans are given, and a line lies on one. Several photos of numbered pages are joined with --photo.")
    else:
        reading = read_flat_scan(asked.image[0], od_mm=od_mm, **of_scan(asked))
    print(f"{reading.name}: {'a wire' if asked.wire else tube}, {od_mm:g} mm", end="\n\n")
    for sentence in str(reading).splitlines():
        print(paragraph(sentence, first="  - "))
    print(f"\nWhat was seen: {save_overlay(shop.folder, reading)}")
    print(paragraph(LOOK), end="\n\n")
    print(paragraph(SEATS), end="\n\n")
    print(paragraph(BRAKES))
    if asked.record:
        cut = length_mm(asked.cut_a), length_mm(asked.cut_b)
        path, cautions = record_pattern(shop.folder, reading, asked.line, cut_mm=cut, taped_mm=length_mm(asked.taped) if asked.taped else None, tube=tube, bender=bender)
        print()
        for sentence in cautions:
            print(paragraph(sentence, first="! "))
        print(paragraph(f"Recorded: {reading.bends} bends in {path}, each row enlarged {reading.unlinked:.1f} times in its uncertainty, so that rows that err together may stand apart. Next: bendcal pattern, then bendcal marks. Ends and service of the line stand in lines.csv."))
