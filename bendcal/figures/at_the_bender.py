"""Each bend as the tube lies in the bender when it begins, seen from above, with a clock for the turn of the tube."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Circle, Rectangle

from bendcal.bodies import BenderBody
from bendcal.feasible import Plan, workpiece_of
from bendcal.figures.bender_view import BenderView, bender_view
from bendcal.figures.paper import BLUE, GREY, INK, MM_PER_POINT, PALE, PAPER, Picture, canvas, line, printable, text_width_mm, write
from bendcal.figures.shapes import Strokes, around, arrow, badge, hexagon, outline
from bendcal.figures.twist_clock import draw_clock
from bendcal.marks import MarkSheet

__all__ = ["KEY", "STEP_WIDTH_MM", "draw_step", "one_step", "step_views", "steps"]

STEP_WIDTH_MM, _HEAD_MM, _CLOCK_MM, _CLOCK_TALL_MM, _MOST_MM = 106.0, 12.0, 39.5, 38.0, 48.0
_SIDE_MM, _ABOVE_MM = 7.5, 11.0  # room for the ends' letters and heights
#: What the pictures show.
KEY = (
    "From above. White arrow: the reference, the mark on it; white block: a nut; dashed: where the bend takes the tube; waves: tube left out.",
    "Clocks: seen from end A towards B; the tube bends towards their black triangle; up is off the bench. Solid: the line now; dashed: before.",
)
_REFERENCE = np.array([(0.0, 0.0), (-1.7, -2.0), (-0.7, -2.0), (-0.7, -4.4), (0.7, -4.4), (0.7, -2.0), (1.7, -2.0)])
_TEXT_MM, _BADGE_MM = 3.4, 2.6  # how high a label is; an end's letter
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
    _die(ax, view, at, scale)
    _tube(ax, view, at, scale)
    taken = _drawn(view, at, scale)
    taken = _ends(ax, view, at, scale, window, taken)
    for body in bodies:
        taken = _body(ax, body, at, scale, window, taken)
    centre = np.array([x + STEP_WIDTH_MM - 19.5, top - _HEAD_MM - 15.0])
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


def _drawn(view: BenderView, at, scale: float) -> np.ndarray:
    """Points (k, 2) [mm] that no label may hide: the tube, the die, the mark with its arrow, and where the bend takes the tube."""
    ways = [at(way) for way in (view.held_mm, view.swung_mm)]
    ways += [np.array([at((0.0, -view.die_radius_mm)), at((view.arc_mm, -view.die_radius_mm))]), at(_after(view))]
    points = [np.linspace(p, q, 2 + int(np.hypot(*(q - p)))) for way in ways for p, q in zip(way, way[1:], strict=False)]
    points += [at(faces[0]) + share * (at(faces[1]) - at(faces[0]))[None] for faces, _ in view.nuts_mm for share in (0.0, 0.5, 1.0)]
    die = [around(at((0.0, 0.0)), share * view.die_radius_mm * scale, 0.0, 360.0, points=24) for share in (0.0, 0.5, 1.0)]
    return np.concatenate([*points, *die, _tip(view, at) + _REFERENCE])


def _body(ax: Axes, body: BenderBody, at, scale: float, window: tuple, taken: np.ndarray) -> np.ndarray:
    """A rod or a box of the bender from above, as far as it is in the picture, its name where it hides least; returns what is taken then."""
    solid = body.solid
    if solid.shape not in ("capsule", "cylinder", "box"):
        return taken
    half = (solid.width_mm or solid.diameter_mm) / 2 * scale
    ends = at(np.stack([solid.from_mm, solid.to_mm]))
    along = ends[1] - ends[0]
    length = float(np.hypot(*along))
    if length < 2 * half:  # it stands upright: what holds the bender, under it
        return taken
    side = half * np.array([-along[1], along[0]]) / length
    patch = outline(ax, [ends[0] + side, ends[1] + side, ends[1] - side, ends[0] - side], fill=_BODY, edge=GREY, width=0.6, zorder=1.0)
    (x0, y0), (x1, y1) = window
    clip = ax.add_patch(_clip(x0, y0, x1, y1))
    patch.set_clip_on(True)
    patch.set_clip_path(clip)
    # On it where there is room, else close beside it.
    across = side / half
    beside = (half + 0.5 + np.abs(across) @ [text_width_mm(printable(body.body), 8.0) / 2, _TEXT_MM / 2]) * across
    places = ends[0] + np.linspace(0.0, 1.0, 81)[:, None] * along
    return _label(ax, body.body, np.concatenate([places, places + beside, places - beside]), window, taken, clear=2.0, size=8.0, color=GREY)


def _label(ax: Axes, words: str, places: np.ndarray, window: tuple, taken: np.ndarray, *, clear: float, size: float, color: str, bold: bool = False) -> np.ndarray:
    """Words at the first of the places (k, 2) that is `clear` [mm] of what is taken, or else the clearest; nowhere where none is in the picture. Returns what is taken then."""
    half = np.array([text_width_mm(printable(words), size, bold=bold), _TEXT_MM]) / 2
    inside = np.all((places > window[0] + half) & (places < window[1] - half), axis=1)
    if not inside.any():
        return taken
    places = places[inside]
    free = np.max(np.abs(places[:, None] - taken) - half, axis=2).min(axis=1)
    best = places[np.argmax(np.minimum(free, clear))]
    write(ax, *best, words, size=size, color=color, bold=bold, ha="center", va="center_baseline", halo=True, zorder=4.8 if bold else 1.5)
    across = best + np.linspace(-1.0, 1.0, 9)[:, None] * half * [1.0, 0.0]
    return np.concatenate([taken, across, across + [0.0, half[1]], across - [0.0, half[1]]])


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
    line(ax, at(_after(view)), color=INK, width=1.0, style=(0, (4, 2)), zorder=1.7)
    tip = _tip(view, at)
    # Not the clocks' black triangle, which shows the way the tube bends.
    outline(ax, [tip + step for step in _REFERENCE], fill=PAPER, width=1.0, zorder=4)


def _after(view: BenderView) -> np.ndarray:
    """Where the bend takes the tube: from the end of the arc on (2, 2) [mm of the bender]."""
    turn = np.radians(view.dial_deg)
    stop = view.die_radius_mm * np.array([np.sin(turn), -np.cos(turn)])
    return np.stack([stop, stop + 2.2 * view.die_radius_mm * np.array([np.cos(turn), np.sin(turn)])])


def _tip(view: BenderView, at) -> np.ndarray:
    """The tip of the reference's arrow, below the tube."""
    return at((view.mark_x_mm, -view.die_radius_mm - view.tube_radius_mm)) - [0.0, 0.8]


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
    for faces, corners in view.nuts_mm:
        hexagon(ax, at(faces), corners / 2 * scale, zorder=2.6)
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


def _ends(ax: Axes, view: BenderView, at, scale: float, window: tuple, taken: np.ndarray) -> np.ndarray:
    """The ends' letters, and how far they stand up or hang down beside them; returns what is taken then."""
    off = view.tube_radius_mm * scale + 3.6
    other = "B" if view.step.feed == "A" else "A"
    told = []
    for points, letter, height in ((view.held_mm, view.step.feed, view.heights_mm[0]), (view.swung_mm, other, view.heights_mm[1])):
        way = at(points[-1]) - at(points[-2])
        length = float(np.hypot(*way))
        out = way / length if length > 0.3 else np.array([0.0, 1.0])
        # A letter keeps within its own picture: beside it stands the clock, above and below it are the other steps.
        place = np.clip(at(points[-1]) + off * out, window[0] + _BADGE_MM, window[1] - _BADGE_MM)
        badge(ax, *place, letter, dark=True)
        taken = np.concatenate([taken, place[None], around(place, 1.6, 0.0, 360.0, points=9), around(place, _BADGE_MM, 0.0, 360.0, points=13)])
        if abs(height) >= 1:
            told.append((place, _height(height), 1.0 if out[1] >= 0 else -1.0))
    for place, words, side in told:
        half = text_width_mm(words, 8.5, bold=True) / 2
        aside = (half + 4.0) * np.array([(1.0, 0.0), (-1.0, 0.0)])
        shifts = np.array([0.0, 0.4, -0.4, 0.8, -0.8, 1.2, -1.2])[:, None] * [half, 0.0]
        steps = np.concatenate([shifts + [0.0, 5.2 * side], aside, shifts - [0.0, 5.2 * side], 2 * aside, shifts + [0.0, 9.0 * side], shifts - [0.0, 9.0 * side]])
        taken = _label(ax, words, place + steps, window, taken, clear=0.8, size=8.5, color=INK, bold=True)
    return taken
