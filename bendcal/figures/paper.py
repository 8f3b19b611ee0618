"""A sheet of paper to draw on in millimetres, and text on it that can be measured.

Every drawing that is not a graph is made on one axes whose units are millimetres of paper, so
that where a label stands and how wide it is are known before anything is drawn, on the screen
and in print alike.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont, get_font
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from matplotlib.text import Text
from matplotlib.textpath import text_to_path

__all__ = [
    "BLUE", "GREY", "INK", "MM_PER_INCH", "MM_PER_POINT", "ORANGE", "PALE", "PAPER", "Picture", "block", "canvas", "line", "printable",
    "text_width_mm", "wrap", "write",
]  # fmt: skip

MM_PER_INCH = 25.4
MM_PER_POINT = MM_PER_INCH / 72

#: Chosen so that they differ in lightness, and so in a greyscale print: dark, middle, light.
INK, BLUE, ORANGE, GREY, PALE, PAPER = "#1a1a1a", "#0b4f9c", "#d98300", "#666666", "#dfe3e8", "#ffffff"

_FAMILY = "DejaVu Sans"  # comes with matplotlib, so a print looks the same everywhere


class Picture(Figure):
    """A figure that shows itself in a notebook, without a window system, and says what is on it.

    Attributes
    ----------
    alt : what the picture shows, in words, for those who cannot see it

    Examples
    --------
    >>> Picture(figsize=(1, 1), dpi=80).png()[1:4]
    b'PNG'
    """

    alt: str = ""

    def png(self) -> bytes:
        """The picture as a PNG of exactly its own size: the same bytes each time."""
        target = io.BytesIO()
        FigureCanvasAgg(self).print_png(target, metadata={"Software": None})
        return target.getvalue()

    _repr_png_ = png

    def __repr__(self) -> str:
        return f"<Picture: {self.alt}>"

    __str__ = __repr__


def canvas(width_mm: float, height_mm: float, *, dpi: float = 80.0) -> tuple[Picture, Axes]:
    """A blank sheet and its axes in millimetres, the origin at the lower left.

    Parameters
    ----------
    width_mm, height_mm : its size [mm]
    dpi : dots per inch when it is shown on a screen

    Returns
    -------
    (Picture, Axes)

    Examples
    --------
    >>> canvas(210, 297)[1].get_xlim()[1].item()
    210.0
    """
    picture = Picture(figsize=(width_mm / MM_PER_INCH, height_mm / MM_PER_INCH), dpi=dpi, facecolor=PAPER)
    ax = picture.add_axes((0.0, 0.0, 1.0, 1.0))
    ax.set_xlim(0.0, width_mm)
    ax.set_ylim(0.0, height_mm)
    ax.set_axis_off()
    return picture, ax


@lru_cache(maxsize=64)
def _font(size: float, bold: bool) -> FontProperties:
    return FontProperties(family=_FAMILY, size=size, weight="bold" if bold else "normal")


def printable(text: object) -> str:
    """The text without what the page's font cannot show: such a sign becomes a question mark.

    Examples
    --------
    >>> printable("links, 3/16″ ≤ 5\\nmm 管")
    'links, 3/16″ ≤ 5 mm ?'
    """
    known = get_font(findfont(_font(9.0, False)))
    words = " ".join(str(text).split())
    return "".join(sign if known.get_char_index(ord(sign)) else "?" for sign in words)


@lru_cache(maxsize=4096)
def text_width_mm(text: str, size: float = 9.0, *, bold: bool = False) -> float:
    """How wide a text is on paper [mm].

    Parameters
    ----------
    text : what is written
    size : of the type [points]
    bold : whether it is bold

    Examples
    --------
    >>> text_width_mm("mark mark") > text_width_mm("mark")
    True
    """
    return text_to_path.get_text_width_height_descent(text, _font(size, bold), ismath=False)[0] * MM_PER_POINT


def wrap(text: str, width_mm: float, size: float = 9.0, *, bold: bool = False) -> list[str]:
    """The text in lines of at most `width_mm`; a word wider than that is broken.

    Parameters
    ----------
    text : what is to be written
    width_mm : the room there is [mm]
    size, bold : of the type

    Examples
    --------
    >>> wrap("turn the tube half a turn", 25.0)
    ['turn the tube', 'half a turn']
    """
    lines, now = [], ""
    for word in printable(text).split(" "):
        longer = f"{now} {word}" if now else word
        if text_width_mm(longer, size, bold=bold) <= width_mm:
            now = longer
            continue
        if now:
            lines.append(now)
        now = word
        while text_width_mm(now, size, bold=bold) > width_mm and len(now) > 1:
            cut = next(k for k in range(len(now) - 1, 0, -1) if k == 1 or text_width_mm(now[:k], size, bold=bold) <= width_mm)
            lines.append(now[:cut])
            now = now[cut:]
    return [*lines, now] if now or not lines else lines


def write(
    ax: Axes, x: float, y: float, text: object, *, size: float = 9.0, bold: bool = False, color: str = INK,
    ha: str = "left", va: str = "baseline", rotation: float = 0.0, halo: bool = False, zorder: float = 5.0,
) -> Text:
    """Write a text at a place on the paper [mm]. A `halo` keeps what lies behind from touching it."""
    box = {"facecolor": PAPER, "edgecolor": "none", "pad": 1.2} if halo else None
    return ax.text(
        x, y, printable(text), fontproperties=_font(size, bold), color=color, ha=ha, va=va, rotation=rotation,
        rotation_mode="anchor", bbox=box, zorder=zorder, parse_math=False, clip_on=False,
    )


def line(ax: Axes, points: Sequence, *, color: str = INK, width: float = 0.8, style: str = "-", zorder: float = 3.0):
    """A line through points on the paper (k, 2) [mm]; `width` in points."""
    xy = np.asarray(points, float)
    drawn = Line2D(
        xy[:, 0], xy[:, 1], color=color, linewidth=width, linestyle=style, zorder=zorder, solid_capstyle="butt",
        solid_joinstyle="round", marker="", clip_on=False, snap=False,
    )  # fmt: skip
    ax.add_artist(drawn)  # without the autoscaling of ax.plot: quicker by far
    return drawn


def block(ax: Axes, x: float, y: float, width: float, height: float, *, fill: str = PALE, edge: str = INK, line_width: float = 0.8, hatch: str | None = None, zorder: float = 2.0):
    """A rectangle with its lower left corner at (x, y) [mm]."""
    patch = Rectangle(
        (x, y), width, height, facecolor=fill, edgecolor=edge, linewidth=line_width, hatch=hatch, zorder=zorder,
        clip_on=False, snap=False,
    )
    return ax.add_patch(patch)
