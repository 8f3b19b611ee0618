"""For the tests of drawings: sheets from a law by hand, and what is looked for on a drawn page."""

from __future__ import annotations

from functools import lru_cache
from itertools import combinations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_hex
from matplotlib.figure import Figure
from matplotlib.text import Text

from bendcal.benders import Bender
from bendcal.calibration import Calibration
from bendcal.ends import End
from bendcal.law import Law
from bendcal.lines import Line, line_from_legs
from bendcal.marks import MarkSheet, mark_out
from bendcal.materials import ALLOYS
from bendcal.shop import Shop
from bendcal.tubes import Tube

MM_PER_INCH = 25.4
LAW = Law.of(
    "small", "steel", [-1.5, 0.965, 15.4, 15.05, 2.2], np.diag([0.5, 0.005, 0.25, 0.3, 0.35]) ** 2,
    scatter_deg=0.4, marking_mm=0.3, dof=8.0, n_offcuts=6, angle_range_deg=(10.0, 120.0), dial_range_deg=(12.0, 126.0),
)  # fmt: skip
LAWS = {("small", "steel"): LAW, ("small", "copper"): Law.of("small", "copper", LAW.parameters, LAW.covariance, n_offcuts=6)}
CAL = Calibration(laws=LAWS, residuals=pd.DataFrame(), blunders=(), set_aside=(), digest="", version="0")
SHOP = Shop(
    benders={"small": Bender("small", 15.0)},
    tubes={"steel": Tube("steel", ALLOYS["low-carbon steel"], 4.76, 0.71), "copper": Tube("copper", ALLOYS["copper"], 4.76, 0.9)},
    ends={
        "double": End("double", "double flare", 5.0, 0.4, 20.0), "bubble": End("bubble", "bubble flare", 4.0, 0.3, 20.0),
        "ring": End("ring", "olive", 6.0, 0.5, 20.0),
    },
)  # fmt: skip

#: (legs, angles, twists) of lines with few and many, near and far bends.
SHAPES = {
    "none": ([300.0], [], []),
    "one": ([90, 120], [90], [0]),
    "two": ([70, 36, 60], [90, 90], [0, 180]),
    "six": ([72, 47, 50, 596, 46, 44, 79], [99.9, 78.1, 27.5, 65.8, 86.7, 60.3], [0, -116.7, 65.3, -30.3, -12.7, -150.2]),
    "ten": (
        [60, 70, 66, 72, 180, 75, 70, 400, 80, 66, 140], [45, 45, 90, 30, 90, 60, 8, 90, 88, 45],
        [0, 180, -90, 37, -120.4, 12, 0, 179.9, -60, 90],
    ),
}  # fmt: skip
LONG_NAME = "rear axle, left-hand flexible hose to the three-way union over the differential (second try, long way round)"


def line(shape: str, **facts: str) -> Line:
    """One of the shapes as a line."""
    facts = {"tube": "steel", "bender": "small", "service": "brake", "end_a": "double", "end_b": "bubble", "name": shape} | facts
    return line_from_legs(facts.pop("name"), *SHAPES[shape], **facts)


@lru_cache(maxsize=64)
def sheet(shape: str, feed: str = "A", **facts: str) -> MarkSheet:
    """The mark sheet of one of the shapes; `feed` one letter, or one a bend."""
    return mark_out(SHOP, CAL, line(shape, **facts), feed=feed if len(feed) == 1 else list(feed))


def texts(ax: Axes) -> list[Text]:
    """What is written on an axes."""
    return [text for text in ax.texts if text.get_visible() and text.get_text()]


def words(figure: Figure) -> str:
    """All that is written on a figure, as one text."""
    return "\n".join(text.get_text() for text in figure.findobj(Text))


def boxes(figure: Figure, found: list[Text]) -> np.ndarray:
    """(k, 4) left, bottom, right, top of texts, in mm of paper."""
    renderer = FigureCanvasAgg(figure).get_renderer()
    extents = [text.get_window_extent(renderer).extents for text in found]
    return np.array(extents).reshape(-1, 4) / figure.dpi * MM_PER_INCH


def collisions(figure: Figure, found: list[Text], *, touch_mm: float = 0.15) -> list[tuple[str, str]]:
    """Pairs of level texts that overlap by more than `touch_mm` both ways."""
    level = [text for text in found if text.get_rotation() == 0]
    box = boxes(figure, level)
    hits = []
    for i, j in combinations(range(len(level)), 2):
        overlap = np.minimum(box[i, 2:], box[j, 2:]) - np.maximum(box[i, :2], box[j, :2])
        if np.all(overlap > touch_mm):
            hits.append((level[i].get_text(), level[j].get_text()))
    return hits


def off_page(figure: Figure, found: list[Text], *, margin_mm: float = 0.0) -> list[str]:
    """Texts that leave the page, or come nearer to its edge than `margin_mm`."""
    size = figure.get_size_inches() * MM_PER_INCH
    box = boxes(figure, found)
    out = np.any((box[:, :2] < margin_mm) | (box[:, 2:] > size - margin_mm), axis=1)
    return [text.get_text() for text, is_out in zip(found, out, strict=True) if is_out]


def smallest_type(figure: Figure) -> float:
    """The smallest size of type that is used [points]."""
    return min(text.get_fontsize() for text in figure.findobj(Text) if text.get_text() and text.get_visible())


def strokes(ax: Axes, color: str, width: float) -> list[np.ndarray]:
    """The points of all lines of one colour and width, in the order in which they were drawn."""
    return [
        drawn.get_xydata() for drawn in ax.lines
        if to_hex(drawn.get_color()) == to_hex(color) and abs(drawn.get_linewidth() - width) < 1e-9
    ]  # fmt: skip
