"""A sheet of paper to draw on in millimetres: text that can be measured, arrows, dimensions.

Every drawing that is not a graph is made on one axes whose units are millimetres of paper, so
that where a label stands and how wide it is are known before anything is drawn, on the screen
and in print alike.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from functools import lru_cache
from math import atan2, cos, degrees, hypot, radians, sin

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont, get_font
from matplotlib.patches import Circle, FancyArrowPatch, Polygon, Rectangle
from matplotlib.text import Text
from matplotlib.textpath import text_to_path

__all__ = [
    "BLUE", "GREY", "INK", "MM_PER_INCH", "ORANGE", "PALE", "PAPER", "Picture", "arrow", "badge", "block",
    "canvas", "dimension", "line", "outline", "printable", "text_width_mm", "wrap", "write",
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
    return ax.plot(
        xy[:, 0], xy[:, 1], color=color, linewidth=width, linestyle=style, zorder=zorder, solid_capstyle="butt",
        solid_joinstyle="round", marker="", clip_on=False, snap=False,
    )[0]


def outline(ax: Axes, points: Sequence, *, fill: str = PALE, edge: str = INK, width: float = 0.8, hatch: str | None = None, zorder: float = 2.0):
    """A closed shape (k, 2) [mm]."""
    patch = Polygon(
        np.asarray(points, float), closed=True, facecolor=fill, edgecolor=edge, linewidth=width, hatch=hatch,
        zorder=zorder, joinstyle="round", clip_on=False, snap=False,
    )
    return ax.add_patch(patch)


def block(ax: Axes, x: float, y: float, width: float, height: float, *, fill: str = PALE, edge: str = INK, line_width: float = 0.8, hatch: str | None = None, zorder: float = 2.0):
    """A rectangle with its lower left corner at (x, y) [mm]."""
    patch = Rectangle(
        (x, y), width, height, facecolor=fill, edgecolor=edge, linewidth=line_width, hatch=hatch, zorder=zorder,
        clip_on=False, snap=False,
    )
    return ax.add_patch(patch)


def badge(ax: Axes, x: float, y: float, text: object, *, radius: float = 2.6, size: float = 9.0, dark: bool = False, zorder: float = 6.0):
    """A letter or number in a ring: the name of an end (dark) or of a bend (light)."""
    fill, ink = (INK, PAPER) if dark else (PAPER, INK)
    ax.add_patch(Circle((x, y), radius, facecolor=fill, edgecolor=INK, linewidth=1.0, zorder=zorder, clip_on=False))
    size = size if len(str(text)) < 2 else 8.0
    return write(ax, x, y, text, size=size, bold=True, color=ink, ha="center", va="center_baseline", zorder=zorder + 0.1)


def arrow(ax: Axes, start: Sequence, stop: Sequence, *, both: bool = False, color: str = INK, width: float = 0.8, bend: float = 0.0, head: float = 5.0, zorder: float = 4.0):
    """An arrow from `start` to `stop` [mm]; `bend` above 0 bows it to the right of its way."""
    patch = FancyArrowPatch(
        tuple(start), tuple(stop), arrowstyle="<|-|>" if both else "-|>", mutation_scale=head, color=color,
        linewidth=width, shrinkA=0, shrinkB=0, connectionstyle=f"arc3,rad={bend}", zorder=zorder, clip_on=False,
    )
    return ax.add_patch(patch)


def dimension(
    ax: Axes, start: Sequence, stop: Sequence, text: str, *, away: float, size: float = 9.0, color: str = INK, bold: bool = False,
) -> Text:
    """A dimension between two points [mm]: extension lines, a two-headed arrow, its text.

    Parameters
    ----------
    ax : the paper
    start, stop : the two points [mm]
    text : what the dimension says
    away : how far to the left of the way from `start` to `stop` the arrow lies; below 0: to the right [mm]
    size, color, bold : of the text

    Returns
    -------
    The text; it stands in the arrow where it fits there, else beyond it.
    """
    p, q = np.asarray(start, float), np.asarray(stop, float)
    length = hypot(*(q - p))
    along = (q - p) / length if length else np.array([1.0, 0.0])
    left = np.array([-along[1], along[0]])
    sign = 1.0 if away >= 0 else -1.0
    a, b = p + left * away, q + left * away
    for foot, top in ((p, a), (q, b)):
        line(ax, [foot + left * sign * 1.0, top + left * sign * 1.2], color=GREY, width=0.6)
    turn = degrees(atan2(along[1], along[0]))
    upright = turn - 180 if turn > 90.01 else turn + 180 if turn < -89.99 else turn
    needs = text_width_mm(printable(text), size, bold=bold) + 3.0
    if length > needs + 5.0:
        arrow(ax, a, b, both=True, color=color)
        where, ha = (a + b) / 2, "center"
    else:
        # Too short to hold its text: arrows from outside, the text beyond the far one.
        arrow(ax, a - along * 4.0, a, color=color)
        arrow(ax, b + along * 4.0, b, color=color)
        where, ha = b + along * 5.0, "left" if abs(upright - turn) < 1 else "right"
    return write(ax, *where, text, size=size, color=color, bold=bold, ha=ha, va="center_baseline", rotation=upright, halo=True)


def tube_outline(centre: np.ndarray, half_mm: float) -> np.ndarray:
    """The two edges of a tube around a plane centreline, as one closed shape.

    Parameters
    ----------
    centre : (k, 2) points [mm]
    half_mm : half of the tube's diameter [mm]

    Examples
    --------
    >>> tube_outline(np.array([[0.0, 0.0], [10.0, 0.0]]), 2.0).tolist()
    [[0.0, 2.0], [10.0, 2.0], [10.0, -2.0], [0.0, -2.0]]
    """
    step = np.diff(centre, axis=0)
    step /= np.hypot(step[:, 0], step[:, 1])[:, None]
    along = np.vstack([step[:1], step[:-1] + step[1:], step[-1:]])
    along /= np.hypot(along[:, 0], along[:, 1])[:, None]
    side = half_mm * np.column_stack([-along[:, 1], along[:, 0]])
    return np.vstack([centre + side, (centre - side)[::-1]])


def around(centre: Sequence, radius: float, from_deg: float, to_deg: float, *, points: int = 49) -> np.ndarray:
    """Points (k, 2) [mm] on a circle, from one direction to another (0° to the right, anticlockwise)."""
    turn = np.radians(np.linspace(from_deg, to_deg, points))
    return np.asarray(centre, float) + radius * np.column_stack([np.cos(turn), np.sin(turn)])


def towards(direction_deg: float) -> np.ndarray:
    """The unit step in a direction (0° to the right, anticlockwise)."""
    return np.array([cos(radians(direction_deg)), sin(radians(direction_deg))])
