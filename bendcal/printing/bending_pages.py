"""Pages for the bench: each bend as the tube lies in the bender, with a box for the angle that came out."""

from __future__ import annotations

from collections.abc import Sequence

from bendcal.bodies import BenderBody
from bendcal.estimate import Estimate
from bendcal.feasible import Plan
from bendcal.figures.at_the_bender import KEY, STEP_WIDTH_MM, draw_step, step_views
from bendcal.figures.paper import GREY, block, wrap, write
from bendcal.marks import MarkSheet
from bendcal.printing.pages import Pages, plain_settings

__all__ = ["bending_pdf", "lay_out_bending"]

_INTRO = (
    "Hold the tube against the picture before you pull: which end leads, where the mark goes, which way up what is bent already stands. "
    "Measure each bend before the next one; if it has strayed further than is told beside it, stop, and have new marks worked out for the bends that are left."
)


def bending_pdf(sheet: MarkSheet, plan: Plan, *, bodies: Sequence[BenderBody] = (), paper: str = "a4") -> bytes:
    """A plan's bends as a PDF, a picture each, in the order in which they are made.

    Parameters
    ----------
    sheet : made for the ends that lead in the plan: ``mark_out(..., feed=plan.feed)``
    plan : such as ``plan_bending(...).best``
    bodies : of the benders, such as ``shop.bodies``: those of this one are drawn
    paper : ``"a4"`` or ``"letter"``

    Returns
    -------
    The file's content; the same plan gives the same bytes

    Raises
    ------
    ValueError : for another paper
    """
    with plain_settings():
        return lay_out_bending(sheet, plan, bodies=bodies, paper=paper).pdf(title=f"{sheet.line.line}: the bends in the bender")


def lay_out_bending(sheet: MarkSheet, plan: Plan, *, bodies: Sequence[BenderBody] = (), paper: str = "a4") -> Pages:
    """The pages themselves. Parameters and errors as for :func:`bending_pdf`."""
    pages = Pages(paper, f"{sheet.line.line}: {sheet.tube.tube} on {sheet.bender.bender}, the bends in the bender", check="")
    pages.heading("The bends in the bender")
    pages.text(_INTRO, after=2.0)
    for words in plan.nuts_told:
        pages.text(words, after=2.0)
    for words in KEY:
        pages.text(words, size=8.5, color=GREY)
    own = [body for body in bodies if body.bender == sheet.bender.bender]
    views, scale, talls = step_views(sheet, plan)
    for k, (view, tall) in enumerate(zip(views, talls, strict=True), start=1):
        top = pages.need(tall + 2.0)
        draw_step(pages.ax, view, sheet, k, x=pages.x, top=top, tall=tall, scale=scale, bodies=own)
        _beside(pages, view.step.bend, sheet, k, x=pages.x + STEP_WIDTH_MM, top=top)
    return pages


def _beside(pages: Pages, bend: int, sheet: MarkSheet, number: int, *, x: float, top: float) -> None:
    """A box to tick, what is wanted, and room for what came out."""
    wanted = sheet.legs.angle_deg[bend - 1]
    reach = Estimate(0.0, float(sheet.angle_u_deg[bend - 1]), "°", sheet.law.dof).interval(0.95)[1]
    block(pages.ax, x + 2.0, top - 6.2, 4.0, 4.0, fill="white", line_width=0.9)
    write(pages.ax, x + 8.5, top - 5.4, f"step {number} made", size=9.0)
    width = pages.x + pages.width - x - 2.0
    y = top - 13.0
    for words in (f"Wanted: {wanted:.1f}° ± {reach:.1f}°; 19 of 20 bends stray no further.", "Came out (measure it before the next bend):"):
        for part in wrap(words, width, 9.0):
            write(pages.ax, x + 2.0, y, part, size=9.0)
            y -= 4.4
        y -= 1.5
    block(pages.ax, x + 2.0, y - 5.5, 30.0, 8.0, fill="white", line_width=0.9)
    write(pages.ax, x + 34.0, y - 3.0, "°", size=9.0)
