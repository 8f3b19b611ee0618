"""The worksheet: a page to fill in by hand at the bench, its boxes in the order in which the log has its columns."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd
from matplotlib.axes import Axes

from bendcal.figures.paper import GREY, block, line, text_width_mm, wrap, write
from bendcal.files import OFFCUTS
from bendcal.offcuts import CROSSINGS
from bendcal.printing.pages import Pages, plain_settings
from bendcal.printing.worksheet_drawing import HEIGHT_MM, draw_what_to_measure
from bendcal.shop import Shop

__all__ = ["BOXES", "lay_out_worksheet", "worksheet_pdf"]

_LINE_MM, _BETWEEN_MM, _HEAD_MM = 7.6, 1.0, 10.0
_FAINT = "#9a9a9a"


@dataclass(frozen=True)
class _Box:
    """One box of a row: the column it is for, what stands over it, its share of the width, and what is written in it."""

    column: str
    title: str
    share: float
    kind: str = "text"  # or "length", "angle", "crossing"


#: The boxes of a row, in two lines, each with the log's column that it is for.
BOXES = (
    (
        _Box("offcut", "offcut", 18.0), _Box("bender", "bender", 34.0), _Box("tube", "tube", 34.0), _Box("length_mm", "length", 26.0, "length"),
        _Box("mark_mm", "mark", 26.0, "length"), _Box("dial_deg", "dial", 23.0, "angle"), _Box("angle_deg", "angle", 23.0, "angle"),
        _Box("leg_a_mm", "leg A", 26.0, "length"), _Box("leg_b_mm", "leg B", 26.0, "length"), _Box("legs_to", "legs to", 35.0, "crossing"),
    ),
    (
        _Box("smallest_mm", "smallest Ø", 29.0, "length"), _Box("largest_mm", "largest Ø", 29.0, "length"), _Box("date", "date", 23.0),
        _Box("angle_tool", "tool for the angle", 35.0), _Box("length_tool", "tool for the lengths", 38.0),
        _Box("set_aside", "set aside: why it must not count", 58.0), _Box("note", "note", 59.0),
    ),
)  # fmt: skip

_TYPE_IN = (
    "Write what you read, even where it looks wrong, and strike out so that it can still be read. A piece that went wrong stays on the sheet, "
    "with the reason under set aside: a kink, a wrinkle, a flat, a slipped mark. Afterwards type the boxes in from left to right: the columns "
    "of offcuts.csv come in this order, and the form asks for what was measured in it."
)


def worksheet_pdf(shop: Shop | None = None, *, planned: pd.DataFrame | None = None, paper: str = "a4", inches: bool = False, rows: int | None = None) -> bytes:
    """A worksheet for offcuts as a PDF, to fill in with a pencil.

    Parameters
    ----------
    shop : its benders, tubes and tools are named on the sheet; None: a sheet for anybody
    planned : what to bend, a row each: bender, tube, dial_deg and, if it is there, readings
        (``"angle"`` where the legs need not be measured); as :func:`bendcal.design.plan_offcuts`
        and :func:`bendcal.design.next_offcuts` suggest it
    paper : ``"a4"`` or ``"letter"``
    inches : whether lengths are written in inches and fractions instead of mm
    rows : how many rows; None: as many as fill the page or are planned

    Returns
    -------
    The file's content; the same sheet gives the same bytes

    Raises
    ------
    ValueError : for another paper, or rows fewer than 1
    """
    with plain_settings():
        return lay_out_worksheet(shop, planned=planned, paper=paper, inches=inches, rows=rows).pdf(title="Worksheet for offcuts")


def lay_out_worksheet(shop: Shop | None = None, *, planned: pd.DataFrame | None = None, paper: str = "a4", inches: bool = False, rows: int | None = None) -> Pages:
    """The pages themselves. Parameters and errors as for :func:`worksheet_pdf`."""
    if rows is not None and rows < 1:
        raise ValueError(f"rows is {rows}; a worksheet has 1 or more.")
    pages = Pages(paper, "Worksheet for offcuts", landscape=True, check="")
    plan = [] if planned is None else planned.to_dict("records")
    _title(pages)
    top = pages.need(HEIGHT_MM)
    draw_what_to_measure(pages.ax, x=pages.x, top=top, width=pages.width)
    names = _names(shop) if shop else []
    said = [part for words in (_TYPE_IN, *names) for part in wrap(words, pages.width, 8.5)]
    foot = 3.9 * len(said) + 2.0
    _head(pages, inches)
    step, k = 2 * _LINE_MM + _BETWEEN_MM, 0
    # As many as are asked for; else those that are planned, and blank ones until the page is full.
    while k < (rows or max(len(plan), 1)) or (rows is None and pages.room >= step + foot):
        if pages.room < step:
            pages.new_page()
            _head(pages, inches)
        _row(pages.ax, pages.x, pages.need(step), pages.width, plan[k] if k < len(plan) else {}, inches)
        k += 1
    top = pages.need(foot) - 1.0
    for i, part in enumerate(said):
        write(pages.ax, pages.x, top - 3.2 - 3.9 * i, part, size=8.5)
    return pages


def _title(pages: Pages) -> None:
    top = pages.need(8.0)
    write(pages.ax, pages.x, top - 5.6, "Offcuts: what to measure and write down", size=14.0, bold=True)
    for label, share in (("made by", 0.55), ("sheet no.", 0.84)):
        left = pages.x + share * pages.width
        write(pages.ax, left, top - 5.4, label, size=8.5, color=GREY)
        right = pages.x + pages.width * (0.82 if share < 0.8 else 1.0)
        line(pages.ax, [(left + text_width_mm(label, 8.5) + 2.0, top - 5.8), (right, top - 5.8)], color=GREY, width=0.7)


def _names(shop: Shop) -> list[str]:
    """The shop's own names: what is typed in later must be written as it is there."""
    tools = {kind: [name for name, tool in shop.tools.items() if tool.measures == kind] for kind in ("angle", "length")}
    groups = (("benders", list(shop.benders)), ("tubes", list(shop.tubes)), ("tools for angles", tools["angle"]), ("tools for lengths", tools["length"]))
    told = "; ".join(f"{what} {', '.join(names)}" for what, names in groups if names)
    return [f"Names of this shop: {told}."] if told else []


def _widths(boxes: tuple[_Box, ...], width: float) -> list[float]:
    whole = sum(box.share for box in boxes)
    return [width * box.share / whole for box in boxes]


def _unit(box: _Box, inches: bool) -> str:
    return {"length": ", inch" if inches else ", mm", "angle": ", °"}.get(box.kind, "")


def _head(pages: Pages, inches: bool) -> None:
    """What stands over the boxes: two lines, as a row has two."""
    needed = {column.name for column in OFFCUTS if column.filled}
    top = pages.need(_HEAD_MM)
    for i, boxes in enumerate(BOXES):
        left = pages.x
        for box, width in zip(boxes, _widths(boxes, pages.width), strict=True):
            title = box.title + _unit(box, inches)
            write(pages.ax, left + 1.2, top - 4.4 - 4.2 * i, title, size=8.5, bold=box.column in needed)
            left += width


def _row(ax: Axes, x: float, top: float, width: float, plan: dict, inches: bool) -> None:
    block(ax, x, top - 2 * _LINE_MM, width, 2 * _LINE_MM, fill="white", line_width=1.3, zorder=3)
    line(ax, [(x, top - _LINE_MM), (x + width, top - _LINE_MM)], color=GREY, width=0.6, zorder=3.5)
    for i, boxes in enumerate(BOXES):
        left, high = x, top - _LINE_MM * i
        for k, (box, wide) in enumerate(zip(boxes, _widths(boxes, width), strict=True)):
            if k:
                line(ax, [(left, high), (left, high - _LINE_MM)], color=GREY, width=0.6, zorder=3.5)
            _inside(ax, box, left, high, wide, plan, inches)
            left += wide


def _inside(ax: Axes, box: _Box, left: float, high: float, wide: float, plan: dict, inches: bool) -> None:
    """What is printed into an empty box: a place for the decimals or the fraction, and what is planned."""
    low = high - _LINE_MM
    if box.kind == "crossing":
        step = wide / len(CROSSINGS)
        for k, word in enumerate(CROSSINGS):
            write(ax, left + (k + 0.5) * step, low + 2.8, word, size=8.0, ha="center", color=GREY)
    elif box.column in ("leg_a_mm", "leg_b_mm") and plan.get("readings") == "angle":
        write(ax, left + wide / 2, low + 2.8, "may stay empty", size=8.0, ha="center", color=GREY)
    elif box.kind == "length" and inches:
        slash = left + 0.78 * wide
        line(ax, [(slash - 1.3, low + 1.2), (slash + 1.3, high - 1.2)], color=_FAINT, width=0.8, zorder=3.6)
        line(ax, [(left + 0.52 * wide, low + 1.2), (left + 0.52 * wide, low + 2.8)], color=_FAINT, width=0.6, zorder=3.6)
    elif box.kind in ("length", "angle"):
        write(ax, left + 0.68 * wide, low + 1.4, ".", size=12.0, bold=True, ha="center", color=_FAINT)
    if box.column == "dial_deg" and plan.get("dial_deg") is not None:
        write(ax, left + 0.9, high - 3.0, f"set {plan['dial_deg']:g}", size=8.0, color=GREY)
    elif box.column in ("bender", "tube") and plan.get(box.column):
        parts = wrap(str(plan[box.column]), wide - 2.4, 9.0)
        write(ax, left + 1.2, low + 2.8, parts[0] + ("…" if parts[1:] else ""), size=9.0)
