"""What is drawn on paper: outlines, badges, arrows, dimensions, and a tube as a row of short strokes."""

from __future__ import annotations

from collections.abc import Sequence
from math import atan2, cos, degrees, hypot, radians, sin

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.patches import Circle, FancyArrowPatch, Polygon
from matplotlib.path import Path
from matplotlib.text import Text

from bendcal.figures.paper import GREY, INK, PALE, PAPER, line, printable, text_width_mm, write

__all__ = ["Strokes", "around", "arrow", "badge", "dimension", "hexagon", "outline", "towards", "tube_outline"]


def outline(ax: Axes, points: Sequence, *, fill: str = PALE, edge: str = INK, width: float = 0.8, hatch: str | None = None, zorder: float = 2.0):
    """A closed shape (k, 2) [mm]."""
    patch = Polygon(
        np.asarray(points, float), closed=True, facecolor=fill, edgecolor=edge, linewidth=width, hatch=hatch,
        zorder=zorder, joinstyle="round", clip_on=False, snap=False,
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


class Strokes(Artist):
    """Many short lines drawn one over the other in their order: far quicker than as many lines of their own.

    Parameters
    ----------
    steps : (k, 2, 2) from where to where each goes [mm of paper]
    colors, widths, caps : (k,) of each; widths in points, caps ``"butt"`` or ``"round"``
    """

    def __init__(self, steps: np.ndarray, colors: Sequence[str], widths: Sequence[float], caps: Sequence[str], *, zorder: float = 2.0) -> None:
        super().__init__()
        self.steps, self.colors, self.widths, self.caps = np.asarray(steps, float), list(colors), list(widths), list(caps)
        self.set_zorder(zorder)

    def draw(self, renderer) -> None:
        """Called by matplotlib."""
        transform = self.axes.transData
        gc = renderer.new_gc()
        gc.set_snap(False)
        for step, color, width, cap in zip(self.steps, self.colors, self.widths, self.caps, strict=True):
            gc.set_foreground(color)
            gc.set_linewidth(renderer.points_to_pixels(width))
            gc.set_capstyle(cap)
            renderer.draw_path(gc, Path(step), transform)
        gc.restore()


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


def hexagon(ax: Axes, faces: np.ndarray, half: float, *, zorder: float = 2.0) -> None:
    """A nut from the side, between the middles of its two faces (2, 2), `half` across its corners [mm]; seen end on where these nearly coincide."""
    along = faces[1] - faces[0]
    length = float(np.hypot(*along))
    if length < 0.3 * half:
        outline(ax, around(faces.mean(axis=0), half, 0.0, 360.0, points=7), fill=PAPER, width=0.8, zorder=zorder)
        return
    side = half * np.array([-along[1], along[0]]) / length
    outline(ax, [faces[0] + side, faces[1] + side, faces[1] - side, faces[0] - side], fill=PAPER, width=0.8, zorder=zorder)
    for share in (-0.5, 0.5):
        line(ax, faces + share * side, width=0.6, zorder=zorder + 0.1)


def around(centre: Sequence, radius: float, from_deg: float, to_deg: float, *, points: int = 49) -> np.ndarray:
    """Points (k, 2) [mm] on a circle, from one direction to another (0° to the right, anticlockwise)."""
    turn = np.radians(np.linspace(from_deg, to_deg, points))
    return np.asarray(centre, float) + radius * np.column_stack([np.cos(turn), np.sin(turn)])


def towards(direction_deg: float) -> np.ndarray:
    """The unit step in a direction (0° to the right, anticlockwise)."""
    return np.array([cos(radians(direction_deg)), sin(radians(direction_deg))])
