"""The finished line in space: four fixed views at one scale, or one view from any side."""

from __future__ import annotations

from math import floor, log10

import numpy as np
from matplotlib.axes import Axes

from bendcal.figures.paper import GREY, INK, PALE, Picture, canvas, printable, write
from bendcal.figures.paper import line as stroke
from bendcal.figures.shapes import Strokes, badge
from bendcal.figures.style import clear_places
from bendcal.figures.view_layout import PAD_MM, TITLE_PT, Shape, ViewLayout, lay_out_views, turned
from bendcal.lines import Line
from bendcal.tubes import Tube

__all__ = ["ViewLayout", "draw_views", "lay_out_views", "one_view", "views"]

_BADGE_MM = 2.5
_BEND, _STRAIGHT = "#9fb4cf", PALE
_THINNEST_PT = 2.2
_EDGE_PT = 0.65
_MM_PER_POINT = 25.4 / 72


def views(a_line: Line, tube: Tube, *, radius_mm: float) -> Picture:
    """The bent line from the front, from above, from the side and three-quarter, all at one scale.

    Parameters
    ----------
    a_line : the line
    tube : its tube
    radius_mm : centreline radius of its bends [mm]

    Returns
    -------
    Picture

    Raises
    ------
    LegTooShort : where the bends overlap
    """
    layout = lay_out_views(a_line, tube, radius_mm=radius_mm, width_mm=208.0, height_mm=190.0)
    picture, ax = canvas(216.0, layout.height_mm + 4.0)
    draw_views(ax, layout, x=4.0, top=layout.height_mm + 2.0)
    picture.alt = f"{a_line.line}: the bent line with its {a_line.bends} bends from the front, above, the side and three-quarter."
    return picture


def one_view(a_line: Line, tube: Tube, *, radius_mm: float, azim_deg: float = -60.0, elev_deg: float = 25.0) -> Picture:
    """The bent line from one side; its scale and the picture's size stay while it is turned.

    Parameters
    ----------
    a_line : the line
    tube : its tube
    radius_mm : centreline radius of its bends [mm]
    azim_deg : where the viewer stands: 0 at +x, 90 at +y, −90 in front [deg]
    elev_deg : how high above the floor: 90 looks straight down [deg]
    """
    shape = Shape.of(a_line, tube, radius_mm)
    middle = (shape.points.min(axis=0) + shape.points.max(axis=0)) / 2
    reach = 2 * float(np.max(np.linalg.norm(shape.points - middle, axis=1))) + shape.od_mm
    width, height = 180.0, 140.0
    # A long line may fill the width while it is seen from its side; end on it needs less anyway.
    scale = min((width - 2 * PAD_MM) / reach, 1.0)
    picture, ax = canvas(width, height)
    frame = turned(azim_deg, elev_deg)
    centre = np.array(frame, float) @ middle
    seen = shape.seen(frame)
    tall = np.ptp(seen[:, 1]) * scale + 2 * PAD_MM
    scale = scale if tall <= height - 8.0 else scale * (height - 8.0 - 2 * PAD_MM) / (tall - 2 * PAD_MM)
    _draw_shape(ax, shape, frame, scale, origin=np.array([width / 2, height / 2 + 3.0]) - centre[:2] * scale)
    _scale_bar(ax, scale, width - 4.0, 3.0, shape.od_mm)
    _triad(ax, frame, np.array([11.0, 11.0]))
    picture.alt = f"{a_line.line} seen from {azim_deg:g}° round and {elev_deg:g}° up."
    return picture


def draw_views(ax: Axes, layout: ViewLayout, *, x: float, top: float) -> None:
    """Draw the views on paper, the upper left corner at (x, top) [mm]."""
    y = top
    for row in layout.rows:
        height = layout.row_height_mm(row)
        left = x
        for name in row:
            frame = layout.frames[name]
            seen = layout.shape.seen(frame)
            low = seen[:, :2].min(axis=0) - layout.shape.od_mm / 2
            write(ax, left, y - 4.0, name, size=TITLE_PT, color=GREY)
            origin = np.array([left + PAD_MM, y - height + PAD_MM]) - low * layout.scale
            _draw_shape(ax, layout.shape, frame, layout.scale, origin=origin)
            left += layout.cell_width_mm(name)
        y -= height
    _scale_bar(ax, layout.scale, x + layout.width_mm, y - 4.0, layout.shape.od_mm)


def _draw_shape(ax: Axes, shape: Shape, frame: tuple, scale: float, *, origin: np.ndarray) -> None:
    """One view: the far parts first, each with a dark edge, so that near parts pass in front."""
    seen = shape.seen(frame)
    flat = origin + seen[:, :2] * scale
    width = max(shape.od_mm * scale * 72 / 25.4, _THINNEST_PT)
    depth = (seen[:-1, 2] + seen[1:, 2]) / 2
    # An edge lies one diameter behind its tube and its tube's neighbours: so it is hidden where the
    # tube goes on, and seen where the tube passes in front of another part.
    padded = np.concatenate([depth[:1], depth, depth[-1:]])
    behind = np.minimum(np.minimum(padded[:-2], padded[1:-1]), padded[2:]) - shape.od_mm
    layers = [(behind[k], 0, k) for k in range(len(depth))] + [(depth[k], 1, k) for k in range(len(depth))]
    steps, colors, widths, caps = [], [], [], []
    level = _level_runs(shape, seen)  # in one stroke: seams between many show
    for _, is_top, k in sorted(layers):
        last = level.get(k, k)
        if last is None:
            continue
        free = k == 0 or last == len(depth) - 1
        step = flat[[k, last + 1]]
        cap = "round" if not free and (is_top or shape.is_bend[k]) else "butt"
        if cap == "butt" and not is_top:  # closes the cut ends, and the hair's breadth between two steps
            step = _longer(step, _EDGE_PT * _MM_PER_POINT if free else 0.05)
        steps.append(step)
        colors.append((_BEND if shape.is_bend[k] else _STRAIGHT) if is_top else INK)
        widths.append(width if is_top else width + 2 * _EDGE_PT)
        # A straight seen almost end on is a row of short steps: round edges would blacken it.
        caps.append(cap)
    ax.add_artist(Strokes(np.array(steps), colors, widths, caps))
    _names(ax, shape, frame, scale, origin, flat, width)


def _level_runs(shape: Shape, seen: np.ndarray) -> dict[int, int | None]:
    """Straights that lie level in this view: first step → last step, and None for the others of them."""
    runs: dict[int, int | None] = {}
    edges = np.flatnonzero(np.diff(np.concatenate([[True], shape.is_bend, [True]]).astype(int)))
    for first, after in zip(edges[::2], edges[1::2], strict=True):
        if np.ptp(seen[first : after + 1, 2]) < shape.od_mm:
            runs |= dict.fromkeys(range(int(first), int(after)))
            runs[int(first)] = int(after) - 1
    return runs


def _longer(step: np.ndarray, by: float) -> np.ndarray:
    """A step made longer at both ends [mm of paper]."""
    length = np.hypot(*(step[1] - step[0]))
    along = (step[1] - step[0]) / length if length > 1e-9 else np.zeros(2)
    return step + np.array([-along * by, along * by])


def _names(ax: Axes, shape: Shape, frame: tuple, scale: float, origin: np.ndarray, flat: np.ndarray, width_pt: float) -> None:
    """The ends' letters and the bends' numbers, clear of the tube and of each other."""
    onto = np.array(frame, float)[:2]
    bends = origin + (shape.bend_at @ onto.T) * scale
    outward = (shape.apex - shape.bend_at) @ onto.T
    ends = flat[[0, -1]]
    away = np.array([flat[0] - flat[1], flat[-1] - flat[-2]])
    at, wanted = np.vstack([ends, bends]), np.vstack([away, outward])
    size = np.full_like(at, 2 * _BADGE_MM)
    half = width_pt * _MM_PER_POINT / 2
    places = clear_places(at, size, flat, wanted=wanted, gaps=[half + gap for gap in (0.8, 2.5, 4.5, 7.0, 10.0, 14.0)], margin=half + 0.4)
    for k, (point, place) in enumerate(zip(at, places, strict=True)):
        if np.hypot(*(place - point)) > half + _BADGE_MM + 2.0:
            stroke(ax, [point, place], color=GREY, width=0.6, zorder=5.5)
        badge(ax, *place, "AB"[k] if k < 2 else k - 1, radius=_BADGE_MM, size=8.5, dark=k < 2)


def _scale_bar(ax: Axes, scale: float, right: float, y: float, od_mm: float) -> None:
    """A bar of a round length, its right end at `right` [mm of paper]."""
    longest = 45.0 / scale
    power = 10 ** floor(log10(longest))
    length = power * max(step for step in (1, 2, 5) if step * power <= longest)
    left = right - length * scale
    for y1, y2, x1, x2 in ((y, y, left, right), (y - 1, y + 1, left, left), (y - 1, y + 1, right, right)):
        stroke(ax, [(x1, y1), (x2, y2)], width=1.2)
    words = f"{length:g} mm"
    if od_mm * scale * 72 / 25.4 < _THINNEST_PT:
        words = "tube drawn thicker than it is;  " + words
    write(ax, left - 2.0, y - 1.0, printable(words), size=8.5, ha="right")


def _triad(ax: Axes, frame: tuple, origin: np.ndarray) -> None:
    """Which way x, y and z run in this view."""
    onto = np.array(frame, float)[:2]
    for axis, name in enumerate("xyz"):
        step = onto[:, axis] * 7.0
        stroke(ax, [origin, origin + step], color=GREY, width=1.0)
        if np.hypot(*step) > 1.0:
            write(ax, *(origin + step * 1.35), name, size=8.5, color=GREY, ha="center", va="center")
