"""Saving sheets: a table for a spreadsheet, its facts for a program, prints for the vice and the bench."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Sequence
from math import isfinite
from os import PathLike
from pathlib import Path
from typing import NamedTuple

import pandas as pd

from bendcal.atomic import NotSaved, make_folder, write_atomically, write_together
from bendcal.bodies import BenderBody
from bendcal.feasible import Plan
from bendcal.figures.laying_pages import how_to_lay_pages
from bendcal.law import PARAMETERS, Law
from bendcal.marks import MARK_COLUMNS, MarkSheet
from bendcal.order import cautions
from bendcal.printing import bending_pdf, mark_sheet_pdf, reference_page_pdf, table_pages_pdf, true_scale_pdf, worksheet_pdf
from bendcal.shop import Shop
from bendcal.turntable import Turntable
from bendcal.version import __version__

__all__ = ["FORMAT", "SheetFiles", "save_bending", "save_how_to_lay_pages", "save_reference_page", "save_sheet", "save_true_scale", "save_turntable", "save_worksheet", "sheet_csv", "sheet_json"]

FORMAT = 1
FOLDER = "sheets"
_DECIMALS = 4


class SheetFiles(NamedTuple):
    """Where the three files of a sheet were written."""

    csv: Path
    json: Path
    pdf: Path


def save_reference_page(folder: str | PathLike[str], *, paper: str = "a4", numbers: Sequence[int] = ()) -> Path:
    """Write ``sheets/reference-page-<paper>.pdf`` into a shop folder: the page that offcuts are photographed on.

    Parameters
    ----------
    folder : the shop's folder; its ``sheets`` folder is made where there is none
    paper : ``"a4"`` or ``"letter"``
    numbers : of pages to lay side by side on a table under a long line, ``sheets/reference-pages-<paper>-<numbers>.pdf``; none: the one page

    Returns
    -------
    The file

    Raises
    ------
    ValueError : for another paper or number
    NotSaved : where the file cannot be written; the sentence says why
    """
    content = table_pages_pdf(paper, numbers) if numbers else reference_page_pdf(paper)
    which = "-".join(str(n) for n in dict.fromkeys((*numbers[:1], *numbers[-1:])))
    file = _folder(folder) / (f"reference-pages-{paper}-{which}.pdf" if numbers else f"reference-page-{paper}.pdf")
    write_atomically(file, content)
    return file


def save_how_to_lay_pages(folder: str | PathLike[str]) -> Path:
    """Write ``sheets/how-to-lay-pages.png`` into a shop folder: numbered pages under what is longer than a page, and what must not happen.

    Parameters
    ----------
    folder : the shop's folder; its ``sheets`` folder is made where there is none

    Returns
    -------
    The file

    Raises
    ------
    NotSaved : where the file cannot be written; the sentence says why
    """
    file = _folder(folder) / "how-to-lay-pages.png"
    write_atomically(file, how_to_lay_pages().png())
    return file


def save_sheet(sheet: MarkSheet, folder: str | PathLike[str], *, paper: str = "a4", inches: bool = False) -> SheetFiles:
    """Write ``sheets/<line>.csv``, ``.json`` and ``.pdf`` into a shop folder: all three, or none of them.

    Parameters
    ----------
    sheet : what :func:`bendcal.mark_out` returned
    folder : the shop's folder; its ``sheets`` folder is made where there is none
    paper : ``"a4"`` or ``"letter"``
    inches : whether the print also gives inches and fractions; the other two are in mm always

    Returns
    -------
    SheetFiles

    Raises
    ------
    ValueError : for another paper
    NotSaved : where a file cannot be written; the sentence says why
    """
    # All three are made before the first is written, so that they belong together.
    contents = sheet_csv(sheet).encode(), sheet_json(sheet).encode(), mark_sheet_pdf(sheet, paper=paper, inches=inches)
    target = _folder(folder)
    # A line may be called "v1.2": its full stop begins no file type.
    files = SheetFiles(*(target / f"{sheet.line.line}.{kind}" for kind in SheetFiles._fields))
    write_together(list(zip(files, contents, strict=True)))
    return files


def save_true_scale(
    sheet: MarkSheet, folder: str | PathLike[str], *, paper: str = "a4", measured_mm: float = 100.0, inches: bool = False,
) -> Path:
    """Write ``sheets/true-scale/<line>.pdf`` into a shop folder: strip, gauges and disc of a line.

    Parameters
    ----------
    sheet : what :func:`bendcal.mark_out` returned
    folder : the shop's folder; what is missing of its ``sheets/true-scale`` is made
    paper : ``"a4"`` or ``"letter"``
    measured_mm : what the 100 mm line measures on a print made before [mm]
    inches : whether inches and fractions are given too

    Returns
    -------
    The file

    Raises
    ------
    ValueError : for another paper, or a measure that no shrinking to fit the page explains
    NotSaved : where the file cannot be written; the sentence says why
    """
    content = true_scale_pdf(sheet, paper=paper, measured_mm=measured_mm, inches=inches)
    # In a folder of its own: whatever a line is called, no sheet of another one is overwritten.
    path = _folder(folder, "true-scale") / f"{sheet.line.line}.pdf"
    write_atomically(path, content)
    return path


def save_bending(sheet: MarkSheet, plan: Plan, folder: str | PathLike[str], *, bodies: Sequence[BenderBody] = (), paper: str = "a4") -> Path:
    """Write ``sheets/bending/<line>.pdf`` into a shop folder: each bend as the tube lies in the bender.

    Parameters
    ----------
    sheet : made for the ends that lead in the plan
    plan : such as ``plan_bending(...).best``
    folder : the shop's folder; what is missing of its ``sheets/bending`` is made
    bodies : of the benders, such as ``shop.bodies``
    paper : ``"a4"`` or ``"letter"``

    Returns
    -------
    The file

    Raises
    ------
    ValueError : for another paper
    NotSaved : where the file cannot be written; the sentence says why
    """
    content = bending_pdf(sheet, plan, bodies=bodies, paper=paper)
    path = _folder(folder, "bending") / f"{sheet.line.line}.pdf"
    write_atomically(path, content)
    return path


def save_turntable(table: Turntable, line: str, folder: str | PathLike[str]) -> Path:
    """Write ``sheets/turntable/<line>.html`` into a shop folder: the line to be turned, a page that any browser opens, with no network.

    Parameters
    ----------
    table : what :func:`bendcal.turntable.turntable` made
    line : the line's name
    folder : the shop's folder; what is missing of its ``sheets/turntable`` is made

    Returns
    -------
    The file

    Raises
    ------
    NotSaved : where the file cannot be written; the sentence says why
    """
    return table.save(_folder(folder, "turntable") / f"{line}.html")


def save_worksheet(
    shop: Shop, folder: str | PathLike[str], *, planned: pd.DataFrame | None = None, paper: str = "a4", inches: bool = False,
) -> Path:
    """Write ``sheets/worksheets/worksheet.pdf`` into a shop folder: the page to fill in at the bench.

    Parameters
    ----------
    shop : its benders, tubes and tools are named on the sheet
    folder : the shop's folder; what is missing of its ``sheets/worksheets`` is made
    planned : what to bend, as :func:`bendcal.printing.worksheet_pdf` takes it
    paper : ``"a4"`` or ``"letter"``
    inches : whether lengths are written in inches and fractions instead of mm

    Returns
    -------
    The file

    Raises
    ------
    ValueError : for another paper
    NotSaved : where the file cannot be written; the sentence says why
    """
    content = worksheet_pdf(shop, planned=planned, paper=paper, inches=inches)
    path = _folder(folder, "worksheets") / "worksheet.pdf"
    write_atomically(path, content)
    return path


def _folder(shop: str | PathLike[str], *below: str) -> Path:
    """The shop's folder for sheets, or one below it, made where there is none."""
    target = Path(shop)
    if not target.is_dir():
        raise NotSaved(target / FOLDER, f"There is no folder {target}, so no sheet can be saved in it. Give the shop's folder.")
    for name in (FOLDER, *below):
        target /= name
        make_folder(target)
    return target


def sheet_csv(sheet: MarkSheet) -> str:
    """The marks as CSV (RFC 4180), one row a bend, mm and degrees to four decimals.

    Parameters
    ----------
    sheet : what :func:`bendcal.mark_out` returned
    """
    table = io.StringIO(newline="")
    writer = csv.writer(table)
    writer.writerow(MARK_COLUMNS)
    for row in sheet.marks.itertuples(index=False):
        writer.writerow([_cell(value) for value in row])
    return table.getvalue()


def _cell(value: object) -> object:
    """A number to four decimals; blank where there is none."""
    if not isinstance(value, float):
        return value
    return round(value, _DECIMALS) + 0.0 if isfinite(value) else ""


def sheet_json(sheet: MarkSheet) -> str:
    """What else a program should know of the sheet: lengths, ends, law, warnings.

    Parameters
    ----------
    sheet : what :func:`bendcal.mark_out` returned
    """
    line = sheet.line
    record = {
        "format": FORMAT, "version": __version__, "line": line.line, "tube": sheet.tube.tube, "bender": sheet.bender.bender,
        "service": line.service, "end_a": sheet.end_a.end, "end_b": sheet.end_b.end, "trim_at": line.trim_at,
        "cut_length_mm": _number(sheet.cut_length_mm), "trim_mm": _number(sheet.trim_mm), "length_u_mm": _number(sheet.length_u_mm),
        "order": list(sheet.order), "order_told": list(sheet.order_told), "order_fails": sheet.order_fails,
        "finished_after_the_bends": sheet.late, "nuts_told": list(sheet.nuts_told),
        "seat_a_mm": _number(sheet.seat_a_mm), "seat_b_mm": _number(sheet.seat_b_mm), "warnings": list(sheet.warnings),
        "cautions": [str(notice) for notice in cautions(sheet)], "law": _law(sheet.law),
    }  # fmt: skip
    return json.dumps(record, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _law(law: Law) -> dict:
    return {
        **{name: float(law.parameters[name]) for name in PARAMETERS},
        "n_offcuts": law.n_offcuts, "dial_range_deg": law.dial_range_deg, "angle_range_deg": law.angle_range_deg,
        "scatter_deg": law.scatter_deg, "marking_mm": law.marking_mm, "dof": law.dof if isfinite(law.dof) else None,
    }  # fmt: skip


def _number(value: float) -> float:
    return round(float(value), _DECIMALS) + 0.0
