"""Pages whose drawings are as large as the real thing, on a printer that may shrink or stretch."""

from __future__ import annotations

from matplotlib.axes import Axes
from pypdf import PageObject, Transformation
from pypdf.generic import RectangleObject

from bendcal.figures.paper import MM_PER_INCH, line, write
from bendcal.printing.pages import CHECK_LINE_MM, Pages

__all__ = ["LEAST_MEASURED_MM", "MOST_MEASURED_MM", "TruePages"]

#: What a 100 mm line may measure on a print that was only shrunk or stretched to fit its page [mm].
LEAST_MEASURED_MM, MOST_MEASURED_MM = 85.0, 115.0

_CHECK = (
    "Measure this line with a rule before you use the page: 100 mm. If it measures otherwise, print at 100 % (actual size), or "
    "say what it measures and print once more. The printed numbers decide."
)
_CHECK_AGAIN = (
    "Drawn anew for a print on which this line measured {measured:g} mm. Print it as you did before, and measure again: now it must be "
    "100 mm. The printed numbers decide."
)
_UPRIGHT = "100 mm, upright"
_POINTS_PER_MM = 72 / MM_PER_INCH


class TruePages(Pages):
    """Landscape pages in true millimetres, with a line to measure along the foot and one up the side.

    Where a first print has shown that 100 mm come out as `measured_mm`, the whole page is drawn
    100/`measured_mm` times as large, so that the same printer brings it back to size.

    Parameters
    ----------
    paper : ``"a4"`` or ``"letter"``
    running_title : stands at the foot of every page
    measured_mm : what the 100 mm line measures on a print [mm]

    Raises
    ------
    ValueError : for another paper, or a measure that no shrinking to fit the page explains

    Examples
    --------
    >>> pages = TruePages("a4", "test", measured_mm=97)
    >>> [round(mm, 2) for mm in pages.size_mm]
    [288.09, 203.7]
    """

    def __init__(self, paper: str, running_title: str, *, measured_mm: float = CHECK_LINE_MM) -> None:
        if not LEAST_MEASURED_MM <= measured_mm <= MOST_MEASURED_MM:
            raise ValueError(
                f"The 100 mm line is said to measure {measured_mm:g} mm. Between {LEAST_MEASURED_MM:g} and {MOST_MEASURED_MM:g} mm can be "
                "put right; beyond that something else is wrong: print one page on a sheet, on the right paper, and measure the line again."
            )
        self.measured_mm = float(measured_mm)
        again = _CHECK_AGAIN.format(measured=self.measured_mm)
        super().__init__(paper, running_title, landscape=True, check=_CHECK if self.measured_mm == CHECK_LINE_MM else again)

    def _room_on(self, paper_mm: tuple[float, float]) -> tuple[float, float]:
        return tuple(mm * self.measured_mm / CHECK_LINE_MM for mm in paper_mm)

    def _on_paper(self, page: PageObject) -> None:
        if self.measured_mm == CHECK_LINE_MM:
            return
        page.add_transformation(Transformation().scale(CHECK_LINE_MM / self.measured_mm))
        page.compress_content_streams()
        box = RectangleObject((0, 0, *(round(mm * _POINTS_PER_MM, 4) for mm in self.paper_mm)))
        page.mediabox = page.cropbox = page.trimbox = page.bleedbox = page.artbox = box

    def _foot(self, ax: Axes, number: int) -> None:
        super()._foot(ax, number)
        x, low = 8.8, 40.0
        high = low + CHECK_LINE_MM
        line(ax, [(x, low), (x, high)], width=0.9)
        for y in (low, high):
            line(ax, [(x - 1.6, y), (x + 1.6, y)], width=0.9)
        write(ax, x - 0.9, (low + high) / 2, _UPRIGHT, size=8.0, ha="center", rotation=90.0)
