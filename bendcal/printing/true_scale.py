"""A line's true-scale pages: mark strip, angle gauges, mark gauge and clock disc, to use beside the tube."""

from __future__ import annotations

from bendcal.figures.paper import GREY, wrap, write
from bendcal.inch_words import ROUNDED, with_inches
from bendcal.marks import MarkSheet
from bendcal.order import cautions
from bendcal.printing.discs import RADIUS_MM, draw_discs
from bendcal.printing.gauges import draw_gauges, gauges_of
from bendcal.printing.mark_gauge import draw_mark_gauge, mark_gauge_for
from bendcal.printing.pages import CHECK_LINE_MM, Pages, plain_settings
from bendcal.printing.strip import draw_strip, strip_of
from bendcal.printing.true_pages import TruePages

__all__ = ["lay_out_true_scale", "true_scale_pdf"]

_RULES = (
    "The printed numbers decide; the drawings are an aid. First measure the 100 mm line at the foot of every page, and the upright one. "
    "After you have carried the marks over, measure each of them from the cut end A with a rule."
)
_JOIN = (
    "Cut the strips apart. Cut off the left end of every strip but the first along its joint, and glue it on the flap of the strip "
    "before it, so that the halves of the crosses make whole ones."
)
_LAY = (
    "Lay the straight tube on the drawn one, its cut end on the line of end A, or fold the strip lengthwise round the tube: the blue "
    "lines then run right round. Carry every mark over. Shaded: tube that a bend uses. Dotted: the seats. Hatched: spare tube."
)
_GAUGES = (
    "Lay the finished bend on its gauge: leg A and the arc between the full lines. Leg B must then lie within the dashed lines, between "
    "which 19 of 20 bends finish. Well outside them: stop, something is not as it was with the offcuts. Pasted on card and cut out along the inside edge, "
    "the gauge can be held into a bend that cannot be laid down."
)
_DISC = (
    "Cut out both faces, the hole and the slit; glue them back to back on card, slit on slit. Put the disc over the straight that touches "
    "the bend you are about to make, the face with end A written on it towards end A, the black wedge at the line that you drew along the tube, and hold it "
    "with tape. Turn the tube until that bend's number points to the side that the bender bends to. Beyond a bend that is made the disc no longer tells the "
    "truth: whenever the next bend touches another straight, move the disc there and set it anew by the drawn line."
)


def true_scale_pdf(sheet: MarkSheet, *, paper: str = "a4", measured_mm: float = CHECK_LINE_MM, inches: bool = False) -> bytes:
    """The true-scale pages of a line as a PDF.

    Parameters
    ----------
    sheet : what :func:`bendcal.mark_out` returned
    paper : ``"a4"`` or ``"letter"``
    measured_mm : what the 100 mm line measures on a print made before [mm]: everything is drawn
        larger or smaller by as much, so that the same printer brings it back to size
    inches : whether inches and fractions are given too

    Returns
    -------
    The file's content; the same sheet gives the same bytes

    Raises
    ------
    ValueError : for another paper, or a measure that no shrinking to fit the page explains
    """
    with plain_settings():
        return lay_out_true_scale(sheet, paper=paper, measured_mm=measured_mm, inches=inches).pdf(title=_name(sheet))


def _name(sheet: MarkSheet) -> str:
    return f"True scale: {sheet.line.line}"


def lay_out_true_scale(sheet: MarkSheet, *, paper: str = "a4", measured_mm: float = CHECK_LINE_MM, inches: bool = False) -> TruePages:
    """The pages themselves. Parameters and errors as for :func:`true_scale_pdf`."""
    pages = TruePages(paper, _name(sheet), measured_mm=measured_mm)
    _title(pages, sheet, inches)
    _strip(pages, sheet, inches)
    if sheet.legs.bends:
        _gauges(pages, sheet)
        _mark_gauge(pages, sheet)
    if sheet.legs.bends > 1:
        _discs(pages, sheet)
    return pages


def _title(pages: Pages, sheet: MarkSheet, inches: bool) -> None:
    for part in wrap(sheet.line.line, pages.width, 15.0, bold=True)[:2]:
        top = pages.need(7.4)
        write(pages.ax, pages.x, top - 5.6, part, size=15.0, bold=True)
    tube = sheet.tube
    what = f"True scale. {tube.tube} ({tube.alloy.alloy}, {tube.od_mm:g} × {tube.wall_mm:g} mm) on {sheet.bender.bender}. Cut {sheet.cut_length_mm:.1f} mm."
    pages.text(with_inches(what, inches), size=9.5, after=0.8)
    pages.box("Before you cut", [*(with_inches(said, inches) for said in (str(cautions(sheet)[0]), *sheet.warnings)), _RULES])


def _strip(pages: Pages, sheet: MarkSheet, inches: bool) -> None:
    strip = strip_of(sheet, width_mm=pages.width, inches=inches)
    joined = len(strip.pieces) > 1
    whole = f" Glued together, it must measure {sheet.cut_length_mm:.1f} mm from the line of end A to that of end B." if joined else ""
    words = f"{_JOIN}{whole} {_LAY}" if joined else _LAY
    if strip.short:
        words += " The bends lie too near to one another for all their numbers: those that are left out stand on the mark sheet."
    words = f"{with_inches(words)} {ROUNDED}" if inches else words
    pages.heading("Mark strip", keep=strip.height_mm + 4.2 * len(wrap(words, pages.width, 8.5)) + 1.0)
    pages.text(words, size=8.5, after=1.0)
    draw_strip(pages, strip)


def _gauges(pages: Pages, sheet: MarkSheet) -> None:
    gauges = gauges_of(sheet)
    pages.heading("Angle gauges", keep=74.0)
    pages.text(_GAUGES, size=8.5, after=1.5)
    too_large = draw_gauges(pages, gauges)
    for gauge in too_large:
        which = ", ".join(map(str, gauge.bends))
        pages.text(f"The gauge of bend {which} is larger than the page: hold a protractor to it, {gauge.angle_deg:.1f}°.", size=8.5, color=GREY)


def _discs(pages: Pages, sheet: MarkSheet) -> None:
    pages.heading("Clock disc for the turns", keep=2 * RADIUS_MM + 9.0 + 4.0 * len(wrap(_DISC, pages.width, 8.5)))
    pages.text(_DISC, size=8.5, after=0.0)
    draw_discs(pages, sheet)


def _mark_gauge(pages: Pages, sheet: MarkSheet) -> None:
    pages.heading("Mark gauge", keep=78.0)
    if not draw_mark_gauge(pages, mark_gauge_for(sheet.law, sheet.tube)):
        pages.text("The mark gauge of this bender is larger than the page: measure an offcut instead.", size=8.5, color=GREY)
