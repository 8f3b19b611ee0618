"""The printed mark sheet of one line, block by block."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bendcal.estimate import Estimate
from bendcal.figures.bent_line import draw_views, lay_out_views
from bendcal.figures.paper import GREY, INK, block, line, text_width_mm, wrap, write
from bendcal.figures.straight_tube import KEY as TUBE_KEY
from bendcal.figures.straight_tube import draw_straight_tube, straight_tube_height_mm
from bendcal.figures.twist_clock import KEY as CLOCK_KEY
from bendcal.figures.twist_clock import draw_twist_clocks, twist_clocks_height_mm
from bendcal.inch_words import ROUNDED, with_inches
from bendcal.landing import landing_of
from bendcal.marks import MarkSheet
from bendcal.measures import inch_text, mm_text
from bendcal.order import Step, cautions, order_of_work
from bendcal.printing.pages import Pages, plain_settings

__all__ = ["lay_out_mark_sheet", "mark_sheet_pdf"]


_LINE_MM, _LABEL_MM = 3.7, 3.4  # of the smallest type, loosely and closely set
_LEAD_MM = 2.0  # what a column set to the left keeps from its neighbour
_LEAST_VIEWS_MM, _MOST_VIEWS_MM = 50.0, 190.0


def mark_sheet_pdf(sheet: MarkSheet, *, paper: str = "a4", inches: bool = False) -> bytes:
    """The mark sheet as a PDF for the vice.

    Parameters
    ----------
    sheet : what :func:`bendcal.mark_out` returned
    paper : ``"a4"`` or ``"letter"``
    inches : whether lengths are also given in inches and fractions

    Returns
    -------
    The file's content; the same sheet gives the same bytes

    Raises
    ------
    ValueError : for another paper
    """
    with plain_settings():
        return lay_out_mark_sheet(sheet, paper=paper, inches=inches).pdf(title=_name(sheet))


def _name(sheet: MarkSheet) -> str:
    return f"Mark sheet: {sheet.line.line}"


def lay_out_mark_sheet(sheet: MarkSheet, *, paper: str = "a4", inches: bool = False) -> Pages:
    """The pages of the mark sheet. Parameters and errors as for :func:`mark_sheet_pdf`."""
    pages = Pages(paper, _name(sheet))
    _title(pages, sheet)
    _before_cutting(pages, sheet, inches)
    _tube(pages, sheet, inches)
    _table(pages, sheet, inches)
    _lengths(pages, sheet, inches)
    _turns(pages, sheet)
    _order(pages, sheet, inches)
    _cautions(pages, sheet, inches)
    _views(pages, sheet)
    return pages


def _title(pages: Pages, sheet: MarkSheet) -> None:
    for part in wrap(sheet.line.line, pages.width, 17.0, bold=True):
        top = pages.need(8.2)
        write(pages.ax, pages.x, top - 6.2, part, size=17.0, bold=True)
    tube, ends = sheet.tube, {"A": sheet.end_a, "B": sheet.end_b}
    service = sheet.line.service if sheet.line.service != "other" else "rigid"
    said = [
        f"{service} line in {tube.tube} ({tube.alloy.alloy}, {tube.od_mm:g} × {tube.wall_mm:g} mm), bent on {sheet.bender.bender}",
        "; ".join(f"end {letter}: {end.form if end.end == end.form else f'{end.end}, {end.form}'}" for letter, end in ends.items()),
    ]
    if sheet.line.note:
        said.append(sheet.line.note)
    for words in said:
        pages.text(words[0].upper() + words[1:], size=9.5, after=0.6)
    top = pages.need(7.0)
    for label, share in (("made by", 0.0), ("date", 0.40), ("piece no.", 0.72)):
        left = pages.x + share * pages.width
        write(pages.ax, left, top - 5.0, label, size=8.5, color=GREY)
        right = pages.x + {0.0: 0.37, 0.40: 0.69, 0.72: 1.0}[share] * pages.width
        line(pages.ax, [(left + text_width_mm(label, 8.5) + 2.0, top - 5.4), (right, top - 5.4)], color=GREY, width=0.7)
    pages.y -= 1.5


def _before_cutting(pages: Pages, sheet: MarkSheet, inches: bool) -> None:
    """The gravest caution and the sheet's own warnings, before any number."""
    gravest = [str(cautions(sheet)[0])]
    if sheet.line.service == "brake" and "olive" in (sheet.end_a.form, sheet.end_b.form):
        gravest.append(str(cautions(sheet)[1]))
    if sheet.tube.alloy.alloy == "copper":
        gravest += [str(notice) for notice in cautions(sheet) if "copper" in notice.sentence]
    more = ["All cautions stand behind the order of work: read them before you cut."]
    pages.box("Before you cut", [with_inches(said, inches) for said in (*gravest, *sheet.warnings, *more)])


def _tube(pages: Pages, sheet: MarkSheet, inches: bool) -> None:
    height = straight_tube_height_mm(sheet, width=pages.width, inches=inches)
    pages.heading("The straight tube", keep=min(height, 200.0))
    top = pages.need(height + 2.5) - 1.5
    draw_straight_tube(pages.ax, sheet, x=pages.x, top=top, width=pages.width, inches=inches)
    pages.text(TUBE_KEY + " Not to scale.", size=8.0, color=GREY)


@dataclass(frozen=True)
class _Column:
    """One column of the table: its title in up to two lines, its width [mm], and its cells."""

    title: tuple[str, ...]
    width: float
    cells: list[str]
    bold: bool = False
    left: bool = False


def _columns(sheet: MarkSheet, inches: bool) -> list[_Column]:
    n = sheet.legs.bends
    low, high = sheet.law.finished_angle(sheet.dial_deg).interval(0.95) if n else ((), ())
    mark_low, mark_high = Estimate(sheet.mark_mm, sheet.mark_u_mm, dof=sheet.law.law_dof).interval(0.95) if n else ((), ())
    half = (np.asarray(mark_high) - np.asarray(mark_low)) / 2
    words = {step.bend: step.words for step in sheet.steps}
    columns = [
        _Column(("",), 5.0, [""] * n),
        _Column(("bend",), 9.0, [f"{k + 1}" for k in range(n)], bold=True),
        _Column(("mark from", "end A, mm"), 18.0, [f"{mm:.1f}" for mm in sheet.mark_mm], bold=True),
        _Column(("inch",), 19.0, [inch_text(float(mm)) for mm in sheet.mark_mm]),
        _Column(("± 95 %,", "mm"), 12.0, [f"{mm:.1f}" for mm in half]),
        _Column(("dial",), 15.0, [f"{deg:.1f}°" for deg in sheet.dial_deg], bold=True),
        _Column(("turn the tube,", "seen from end A"), 39.0, [words[k + 1] for k in range(n)], left=True),
        _Column(("finished", "angle"), 15.0, [f"{deg:.1f}°" for deg in sheet.legs.angle_deg], bold=True),
        _Column(("95 % finish", "between"), 26.0, [f"{a:.1f} to {b:.1f}°" for a, b in zip(low, high, strict=True)]),
        _Column(("end", "leads"), 9.0, ["A" if side > 0 else "B" for side in sheet.feed], bold=True),
    ]  # fmt: skip
    if not inches:
        del columns[3]
    if not np.any(sheet.feed < 0):
        del columns[-1]
    return columns


def _table(pages: Pages, sheet: MarkSheet, inches: bool) -> None:
    if not sheet.legs.bends:
        return
    columns = _columns(sheet, inches)
    spare = (pages.width - sum(column.width for column in columns)) / (len(columns) - 1)
    lefts = pages.x + np.cumsum([0.0, *(column.width + spare for column in columns[:-1])])
    pages.heading("Bends, along the tube: no order was found" if sheet.order_fails else "Bends, in this order", keep=20.0)
    if not sheet.in_row:
        pages.text("Bends are numbered along the tube, from end A; they are made from the top of this table down.", size=9.0, bold=True, after=0.5)
    _table_head(pages, columns, lefts)
    for k in (bend - 1 for bend in sheet.order):
        label, note = sheet.line.bend_labels[k], sheet.notes[k]
        under = wrap("; ".join(filter(None, (label, note))), pages.width - 18.0, 8.0) if label or note else []
        cells = [wrap(column.cells[k], column.width - _LEAD_MM + 0.5, 9.0) if column.left else [column.cells[k]] for column in columns]
        height = 5.2 + 4.0 * (max(map(len, cells)) - 1) + _LABEL_MM * len(under)
        if pages.room < height:
            pages.new_page()
            _table_head(pages, columns, lefts)
        top = pages.need(height)
        block(pages.ax, pages.x + 0.3, top - 4.3, 3.1, 3.1, fill="white", line_width=0.9)
        for column, left, parts in zip(columns, lefts, cells, strict=True):
            x = left + _LEAD_MM if column.left else left + column.width
            for i, part in enumerate(parts):
                _fitted(pages, x, top - 4.1 - 4.0 * i, part, column.width, bold=column.bold, ha="left" if column.left else "right")
        foot = top - height + _LABEL_MM * len(under)
        for i, part in enumerate(under):
            write(pages.ax, lefts[1] + 5.0, foot - 2.1 - _LABEL_MM * i, part, size=8.0, color=GREY)
        line(pages.ax, [(pages.x, top - height), (pages.x + pages.width, top - height)], color="#b8b8b8", width=0.5)
    if inches:
        pages.y -= 1.0
        pages.text(ROUNDED, size=8.0, color=GREY, after=0.0)
    pages.y -= 1.5


def _table_head(pages: Pages, columns: list[_Column], lefts: np.ndarray) -> None:
    top = pages.need(9.6)
    for column, left in zip(columns, lefts, strict=True):
        for i, part in enumerate(reversed(column.title)):
            x = left + _LEAD_MM if column.left else left + column.width
            write(pages.ax, x, top - 7.8 + 3.6 * i, part, size=8.0, color=INK, ha="left" if column.left else "right")
    line(pages.ax, [(pages.x, top - 9.2), (pages.x + pages.width, top - 9.2)], width=0.9)


def _fitted(pages: Pages, x: float, y: float, text: str, width: float, *, bold: bool, ha: str) -> None:
    """A cell's text, in smaller type where the column is too narrow for it."""
    size = next((size for size in (9.5, 9.0, 8.5, 8.0) if text_width_mm(text, size, bold=bold) <= width + 0.5), 8.0)
    write(pages.ax, x, y, text, size=size, bold=bold, ha=ha)


def _lengths(pages: Pages, sheet: MarkSheet, inches: bool) -> None:
    last = sheet.line.trim_at
    low, high = Estimate(0.0, sheet.length_u_mm, dof=sheet.law.dof).interval(0.95)
    law = sheet.law
    pieces = "one offcut" if law.n_offcuts == 1 else f"{law.n_offcuts} offcuts"
    taught = f" By {pieces}, finished at {_span(*law.angle_range_deg)}." if law.angle_range_deg else ""
    pages.need(15.0)
    pages.y += 15.0
    cut = f"Cut {mm_text(sheet.cut_length_mm)}. Spare at end {last}: {mm_text(sheet.trim_mm)}, to cut off after the fit-up."
    pages.text(with_inches(cut, inches), size=10.0, bold=True)
    known = " How well the pattern knows the shape is counted in." if sheet.line.shape_covariance is not None else ""
    said = (
        f"On the straight tube the seat of end A lies at {mm_text(sheet.seat_a_mm)} and that of end B at {mm_text(sheet.seat_b_mm)} from the cut "
        f"end A. The bent line will come out within ± {mm_text((high - low) / 2)} along its leg at end {last} (95 %).{known}{taught}"
    )
    pages.text(with_inches(said, inches), size=9.0, after=0.5)
    if sheet.legs.bends:
        pages.text(with_inches(landing_of(sheet).sentence, inches), size=9.0, bold=True, after=2.0)


def _span(low_deg: float, high_deg: float) -> str:
    return f"{low_deg:.0f}° to {high_deg:.0f}°" if high_deg - low_deg >= 1 else f"{(low_deg + high_deg) / 2:.1f}°"


def _turns(pages: Pages, sheet: MarkSheet) -> None:
    height = twist_clocks_height_mm(sheet, pages.width)
    if sheet.legs.bends < 2:
        return
    pages.heading("How to turn the tube", keep=min(height + _LINE_MM * len(wrap(CLOCK_KEY, pages.width, 8.0)), 230.0))
    pages.text(CLOCK_KEY, size=8.0, color=GREY, after=0.0)
    top = pages.need(height)
    draw_twist_clocks(pages.ax, sheet, x=pages.x, top=top, width=pages.width)


def _order(pages: Pages, sheet: MarkSheet, inches: bool) -> None:
    pages.heading("Order of work", keep=30.0)
    pages.y -= 1.0
    pages.tick_list([Step(step.task, with_inches(step.sentence, inches)) for step in order_of_work(sheet)])


def _cautions(pages: Pages, sheet: MarkSheet, inches: bool) -> None:
    pages.y -= 2.0
    pages.box("Cautions", [with_inches(str(notice), inches) for notice in cautions(sheet)])


def _views(pages: Pages, sheet: MarkSheet) -> None:
    radius = float(sheet.law.parameters["radius_mm"])
    lay_out = lambda height: lay_out_views(sheet.line, sheet.tube, radius_mm=radius, width_mm=pages.width, height_mm=height)  # noqa: E731
    layout, room = lay_out(_MOST_VIEWS_MM), pages.room - 9.0
    if room > _LEAST_VIEWS_MM:
        here = lay_out(min(room, _MOST_VIEWS_MM))
        # Somewhat smaller pictures are better than a page of their own.
        layout = here if here.scale > 0.45 * layout.scale else layout
    pages.heading("The bent line", keep=layout.height_mm)
    top = pages.need(layout.height_mm)
    draw_views(pages.ax, layout, x=pages.x, top=top)
