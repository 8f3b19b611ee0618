"""Each bend as the tube lies in the bender when it begins, seen from above, with a clock for the turn of the tube."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Circle, Rectangle

from bendcal.bodies import BenderBody
from bendcal.figures.bender_view import BenderView, bender_view
from bendcal.figures.paper import BLUE, GREY, INK, MM_PER_POINT, PALE, PAPER, Picture, canvas, line, text_width_mm, write
from bendcal.figures.shapes import Strokes, around, arrow, badge, outline
from bendcal.figures.twist_clock import draw_clock
from bendcal.marks import MarkSheet
from bendcal.plans import Plan
from bendcal.stroke import workpiece_of

__all__ = ["KEY", "STEP_WIDTH_MM", "draw_step", "one_step", "step_views", "steps"]

STEP_WIDTH_MM, _HEAD_MM, _CLOCK_MM, _CLOCK_TALL_MM, _MOST_MM = 106.0, 12.0, 37.0, 38.0, 48.0
_SIDE_MM, _ABOVE_MM = 7.5, 11.0  # room for the ends' letters and heights
#: What the pictures show.
KEY = (
    "From above. Black triangle: the reference, with the mark on it; dashed: where the bend takes the tube; waves: tube left out.",
    "Clocks: seen from end A towards B; the tube bends towards their top; up is off the bench, towards you. Solid: the line now; dotted: before.",
)
_BENT, _HERE, _BODY = "#9fb4cf", "#5b86b8", "#ececec"


def steps(sheet: MarkSheet, plan: Plan, *, bodies: Sequence[BenderBody] = ()) -> Picture:
    """One small picture for each bend, in the order in which they are made.

    Parameters
    ----------
    sheet : made for the ends that lead in the plan: ``mark_out(..., feed=plan.feed)``
    plan : such as ``plan_bending(...).best``
    bodies : of the benders, such as ``shop.bodies``: those of this one are drawn

    Returns
    -------
    Picture
    """
    made, scale, talls = step_views(sheet, plan)
    own = [body for body in bodies if body.bender == sheet.bender.bender]
    rows = [made[k : k + 2] for k in range(0, len(made), 2)]
    tall = [max(talls[k : k + 2]) for k in range(0, len(made), 2)]
    picture, ax = canvas(2 * STEP_WIDTH_MM + 4.0, sum(tall) + 13.0)
    top = sum(tall) + 12.0
    for i, (row, height) in enumerate(zip(rows, tall, strict=True)):
        for j, view in enumerate(row):
            draw_step(ax, view, sheet, 2 * i + j + 1, x=2.0 + j * STEP_WIDTH_MM, top=top, tall=height, scale=scale, bodies=own)
        top -= height
    for k, words in enumerate(KEY):
        write(ax, 4.0, 7.0 - 4.4 * k, words, size=8.5, color=GREY)
    told = "; ".join(_in_words(view, sheet, k + 1) for k, view in enumerate(made))
    picture.alt = f"{sheet.line.line}, the tube in the bender before each bend: {told or 'no bend'}."
    return picture


def step_views(sheet: MarkSheet, plan: Plan) -> tuple[list[BenderView], float, list[float]]:
    """What is drawn of each step, the one scale at which all fit, and how tall each comes out on paper [mm].

    Parameters
    ----------
    sheet, plan : as for :func:`steps`
    """
    piece = workpiece_of(sheet)
    made = [bender_view(piece, sheet, plan, k + 1) for k in range(len(plan.steps))]
    scale = min((_scale(view) for view in made), default=1.0)
    return made, scale, [_tall_mm(view, scale) for view in made]


def one_step(sheet: MarkSheet, plan: Plan, step: int, *, bodies: Sequence[BenderBody] = ()) -> Picture:
    """The picture of one step alone. Parameters as for :func:`steps`; `step` from 1.

    Raises
    ------
    ValueError : for a step that the plan does not have
    """
    view = bender_view(workpiece_of(sheet), sheet, plan, step)
    scale = _scale(view)
    tall = _tall_mm(view, scale)
    picture, ax = canvas(STEP_WIDTH_MM + 4.0, tall + 2.0)
    own = [body for body in bodies if body.bender == sheet.bender.bender]
    draw_step(ax, view, sheet, step, x=2.0, top=tall + 1.0, tall=tall, scale=scale, bodies=own)
    picture.alt = f"{sheet.line.line}, the tube in the bender: {_in_words(view, sheet, step)}."
    return picture


def draw_step(ax: Axes, view: BenderView, sheet: MarkSheet, number: int, *, x: float, top: float, tall: float, scale: float, bodies: Sequence[BenderBody] = ()) -> None:
    """Draw one step on paper, `tall` high, its upper left corner at (x, top) [mm]; `scale` in mm of paper for one of tube."""
    k = view.step.bend - 1
    write(ax, x + 3.0, top - 5.0, f"Step {number}: bend {k + 1}, end {view.step.feed} leading", size=10, bold=True)
    write(ax, x + 3.0, top - 9.8, f"mark at {sheet.mark_mm[k]:.1f} mm on the reference, dial {sheet.dial_deg[k]:.1f}°", size=9)
    low, high = view.extent_mm
    room = np.array([STEP_WIDTH_MM - _CLOCK_MM, tall - _HEAD_MM])
    middle = np.array([x, top - tall]) + room / 2 + [1.0, 0.0]
    origin = middle - (low + high) / 2 * scale
    at = lambda points: origin + np.asarray(points, float)[..., :2] * scale  # noqa: E731
    window = (middle - room / 2 + 1.0, middle + room / 2 - 1.0)
    for body in bodies:
        _body(ax, body, at, scale, window, at(np.concatenate([view.held_mm, view.swung_mm])))
    _die(ax, view, at, scale)
    _tube(ax, view, at, scale)
    _ends(ax, view, at, scale, window)
    centre = np.array([x + STEP_WIDTH_MM - 0.5 * _CLOCK_MM - 1.0, top - _HEAD_MM - 15.0])
    draw_clock(ax, centre, view.line_deg, view.before_deg)
    right = "up" if view.step.feed == "A" else "down"
    for side, words in ((1, right), (-1, "down" if right == "up" else "up")):
        write(ax, centre[0] + side * 11.0, centre[1], words, size=8, color=GREY, ha="left" if side > 0 else "right", va="center_baseline")
    words = view.turn_words.replace(" clockwise", "; clockwise").replace(" anticlockwise", "; anticlockwise")
    for i, text in enumerate(words.split("; ")):
        write(ax, centre[0], centre[1] - 14.0 - 4.4 * i, text, size=8.5, bold=True, ha="center")
    line(ax, [(x + 1.0, top - tall), (x + STEP_WIDTH_MM - 3.0, top - tall)], color=GREY, width=0.4)


def _in_words(view: BenderView, sheet: MarkSheet, number: int) -> str:
    k = view.step.bend - 1
    up = [f"the {side} half {_height(height)}" for side, height in zip(("held", "swinging"), view.heights_mm, strict=True) if abs(height) >= 1]
    stands = f", {' and '.join(up)}" if up else ""
    return f"step {number}: bend {k + 1}, end {view.step.feed} leading, {view.turn_words}, mark at {sheet.mark_mm[k]:.1f} mm, dial {sheet.dial_deg[k]:.1f}°{stands}"


def _height(height_mm: float) -> str:
    return f"{abs(height_mm):.0f} mm {'up' if height_mm > 0 else 'down'}"


def _scale(view: BenderView) -> float:
    low, high = view.extent_mm
    room = np.array([STEP_WIDTH_MM - _CLOCK_MM - 2 * _SIDE_MM, _MOST_MM])
    return float(np.min(room / (high - low)))


def _tall_mm(view: BenderView, scale: float) -> float:
    """How high a step's picture is on paper [mm]."""
    low, high = view.extent_mm
    return _HEAD_MM + max((high - low)[1] * scale + 2 * _ABOVE_MM, _CLOCK_TALL_MM)


def _body(ax: Axes, body: BenderBody, at, scale: float, window: tuple, tube: np.ndarray) -> None:
    """A rod or a box of the bender from above, as far as it is in the picture."""
    solid = body.solid
    if solid.shape not in ("capsule", "cylinder", "box"):
        return
    half = (solid.width_mm or solid.diameter_mm) / 2 * scale
    ends = at(np.stack([solid.from_mm, solid.to_mm]))
    along = ends[1] - ends[0]
    length = float(np.hypot(*along))
    if length < 2 * half:  # it stands upright: what holds the bender, under it
        return
    side = half * np.array([-along[1], along[0]]) / length
    patch = outline(ax, [ends[0] + side, ends[1] + side, ends[1] - side, ends[0] - side], fill=_BODY, edge=GREY, width=0.6, zorder=1.0)
    (x0, y0), (x1, y1) = window
    clip = ax.add_patch(_clip(x0, y0, x1, y1))
    patch.set_clip_on(True)
    patch.set_clip_path(clip)
    half_word = text_width_mm(body.body, 8) / 2 + 1.0
    places = [p for p in ends[0] + np.linspace(0.0, 1.0, 41)[:, None] * along if x0 + half_word < p[0] < x1 - half_word and y0 + 2 < p[1] < y1 - 2]
    if places:  # the name stands where it is farthest from the tube
        free = max(places, key=lambda p: float(np.abs((tube - p) / [1.0 + half_word / 4, 1.0]).max(axis=1).min()))
        write(ax, *free, body.body, size=8, color=GREY, ha="center", va="center_baseline", zorder=1.5)


def _clip(x0: float, y0: float, x1: float, y1: float) -> Rectangle:
    return Rectangle((x0, y0), x1 - x0, y1 - y0, facecolor="none", edgecolor="none")


def _die(ax: Axes, view: BenderView, at, scale: float) -> None:
    """The die, its axis, the lever's way and the reference."""
    centre, radius = at((0.0, 0.0)), view.die_radius_mm * scale
    ax.add_patch(Circle(centre, radius, facecolor=PAPER, edgecolor=INK, linewidth=1.0, zorder=1.8))
    ax.plot(*centre, "+", color=INK, markersize=6, zorder=1.9)
    way = around(centre, 0.62 * radius, -70.0, 25.0)
    line(ax, way[:-3], color=INK, width=1.0, zorder=1.9)
    arrow(ax, way[-6], way[-1], width=1.0, head=6.0, zorder=1.9)
    turn = np.radians(view.dial_deg)
    stop = view.die_radius_mm * np.array([np.sin(turn), -np.cos(turn)])
    line(ax, at([stop, stop + 2.2 * view.die_radius_mm * np.array([np.cos(turn), np.sin(turn)])]), color=INK, width=1.0, style=(0, (4, 2)), zorder=1.7)
    tip = at((view.mark_x_mm, -view.die_radius_mm - view.tube_radius_mm)) - [0.0, 0.8]
    outline(ax, [tip, tip + [-1.5, -2.8], tip + [1.5, -2.8]], fill=INK, zorder=4)


def _tube(ax: Axes, view: BenderView, at, scale: float) -> None:
    """The tube from above: what lies lower first; bent parts and the part to be bent darker."""
    foot, end = np.array([0.0, -view.die_radius_mm, 0.0]), np.array([view.arc_mm, -view.die_radius_mm, 0.0])
    held, swung = view.held_mm, view.swung_mm
    pieces = [(p, q, _BENT if _in_arc(held, i) else PALE) for i, (p, q) in enumerate(zip(held, held[1:], strict=False))]
    pieces += [(p, q, _BENT if _in_arc(swung, i) else PALE) for i, (p, q) in enumerate(zip(swung, swung[1:], strict=False))]
    pieces.append((foot, end, _HERE))
    cut: list[tuple] = []
    for p, q, color in pieces:
        # Cut up only where it rises or falls past something: seams between many short strokes show.
        parts = 1 + int(abs(q[2] - p[2]) // (2 * view.tube_radius_mm))
        places = p + np.linspace(0, 1, parts + 1)[:, None] * (q - p)
        cut += [(a, b, color) for a, b in zip(places, places[1:], strict=False)]
    width = max(2 * view.tube_radius_mm * scale / MM_PER_POINT, 2.2)
    # Each with its edge one diameter below, as in the views of the finished line.
    layers = [((a[2] + b[2]) / 2 - 2.2 * view.tube_radius_mm, a, b, INK, width + 1.4) for a, b, _ in cut]
    layers += [((a[2] + b[2]) / 2, a, b, color, width) for a, b, color in cut]
    layers.sort(key=lambda each: each[0])
    ax.add_artist(Strokes(np.array([at(np.stack(each[1:3])) for each in layers]), [each[3] for each in layers], [each[4] for each in layers], ["round"] * len(layers), zorder=2.5))
    mark = at((view.mark_x_mm, -view.die_radius_mm))
    half = view.tube_radius_mm * scale + 1.6
    line(ax, [mark - [0.0, half], mark + [0.0, half]], color=BLUE, width=2.4, zorder=4.2)
    for place in view.breaks_mm:
        _break(ax, at(place), width * MM_PER_POINT / 2 + 1.0)


def _in_arc(points: np.ndarray, i: int) -> bool:
    """Whether a step belongs to a bend: the way turns on at one of its ends, and it is short."""
    step = np.diff(points, axis=0)
    length = np.linalg.norm(step, axis=1)
    if length[i] < 1e-9:
        return False
    near = [j for j in (i - 1, i + 1) if 0 <= j < len(step) and length[j] > 1e-9]
    turned = [j for j in near if step[j] @ step[i] < length[j] * length[i] * (1 - 1e-7)]
    return bool(turned) and any(length[i] < 1.05 * length[j] for j in turned)


def _break(ax: Axes, at: np.ndarray, half: float) -> None:
    """Two waves across the tube."""
    y = np.linspace(-half, half, 25)
    for shift in (-0.7, 0.7):
        wave = at + np.column_stack([shift + 0.6 * np.sin(y / half * np.pi), y])
        line(ax, wave, color=INK if shift else PAPER, width=0.9, zorder=4.4)
    gap = np.concatenate([at + np.column_stack([s + 0.6 * np.sin(t / half * np.pi), t]) for s, t in ((-0.7, y), (0.7, y[::-1]))])
    outline(ax, gap, fill=PAPER, edge=PAPER, width=0.1, zorder=4.3)


def _ends(ax: Axes, view: BenderView, at, scale: float, window: tuple) -> None:
    """The ends' letters, and how far they stand up or hang down."""
    off = view.tube_radius_mm * scale + 3.6
    other = "B" if view.step.feed == "A" else "A"
    for points, letter, height in ((view.held_mm, view.step.feed, view.heights_mm[0]), (view.swung_mm, other, view.heights_mm[1])):
        way = at(points[-1]) - at(points[-2])
        length = float(np.hypot(*way))
        out = way / length if length > 0.3 else np.array([0.0, 1.0])
        place = at(points[-1]) + off * out
        badge(ax, *place, letter, dark=True)
        if abs(height) >= 1:
            words = _height(height)
            half = text_width_mm(words, 8.5, bold=True) / 2
            x = min(max(place[0], window[0][0] + half), window[1][0] - half)
            write(ax, x, place[1] + (3.6 if out[1] >= 0 else -6.4), words, size=8.5, bold=True, ha="center", halo=True, zorder=4.8)
