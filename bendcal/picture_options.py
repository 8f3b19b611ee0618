"""What the commands that read pictures are told about one: the same options for offcuts and for flat lines."""

from __future__ import annotations

import argparse

from bendcal.measures import length_mm

__all__ = ["add_picture_options", "of_photos", "of_scan"]

_PAGE_LINE = (
    "what the 100 mm line of the reference page measures by a rule (photos: 100 if left out; one number for all pages, or one for each in the order "
    "of their numbers), the page being photographed, or lying on the glass beside what is scanned"
)


def add_picture_options(job: argparse.ArgumentParser, *, end_a: str, photo: str) -> None:
    """Add the options to a command.

    Parameters
    ----------
    job : its parser
    end_a, photo : what ``--end-a`` and ``--photo`` mean there
    """
    job.add_argument("--dpi", type=float, metavar="N", help="pixels an inch, where the file does not say it or says it wrongly")
    job.add_argument("--end-a", choices=("left", "right", "top", "bottom"), help=end_a)
    job.add_argument("--sensor", choices=("cis", "ccd", "unknown"), default="cis", help="the scanner's kind: cis (flat, fed by its cable; if left out), ccd (tall, with its own supply)")
    job.add_argument("--photo", action="store_true", help=photo)
    job.add_argument("--unmoved", action="store_true", help="surely nothing was moved between photos that but one page holds together; needless with one more photo of all pages together")
    job.add_argument("--page-line", metavar="MM", nargs="+", help=_PAGE_LINE)


def of_photos(asked: argparse.Namespace) -> dict[str, object]:
    """What photos of reference pages are read with.

    Parameters
    ----------
    asked : what was typed

    Raises
    ------
    ValueError : for a length that cannot be read

    Examples
    --------
    >>> of_photos(argparse.Namespace(end_a="left", page_line=["99,8", "100.1"], unmoved=False))
    {'end_a': 'left', 'line_mm': [99.8, 100.1], 'unmoved': False}
    """
    return {"end_a": asked.end_a, "line_mm": [length_mm(line) for line in asked.page_line or ("100",)], "unmoved": asked.unmoved}


def of_scan(asked: argparse.Namespace) -> dict[str, object]:
    """What a scan is read with.

    Parameters
    ----------
    asked : what was typed

    Raises
    ------
    ValueError : for a length that cannot be read, or several
    """
    if len(asked.page_line or ()) > 1:
        raise ValueError("--page-line takes one number for scans: what the 100 mm line of the page on the glass measures.")
    line = length_mm(asked.page_line[0]) if asked.page_line else None
    return {"end_a": asked.end_a, "dpi": asked.dpi, "sensor": asked.sensor, "line_mm": line}
