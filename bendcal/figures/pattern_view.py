"""A measured pattern: its best shape from three sides with what was measured of it, and how the readings fit."""

from __future__ import annotations

from math import floor, log10

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Circle
from numpy.typing import NDArray

from bendcal.figures.paper import BLUE, GREY, INK, ORANGE, PALE, Picture, canvas, printable, text_width_mm, wrap, write
from bendcal.figures.paper import line as stroke
from bendcal.figures.shapes import arrow, badge
from bendcal.figures.style import clear_places, direct_label, graph, labels, signed
from bendcal.measures import mm_text
from bendcal.pattern import AdjustedPattern, Angle, Direction, Distance, Leg, Twist, readings_of
from bendcal.pattern.observations import Observation

__all__ = ["measured", "residuals"]

Array = NDArray[np.float64]

_WIDTH_MM, _TALLEST_MM, _PAD_MM, _TITLE_MM = 216.0, 190.0, 9.0, 6.0
_BADGE_MM = 2.5
#: Which coordinate runs to the right and which up.
_VIEWS = {"from above: x →, y ↑": (0, 1), "from the front: x →, z ↑": (0, 2), "from the side: y →, z ↑": (1, 2)}
_ABOVE, _FRONT, _SIDE = _VIEWS
_ARRANGEMENTS = (((_ABOVE,), (_FRONT, _SIDE)), ((_ABOVE, _FRONT, _SIDE),), ((_ABOVE,), (_FRONT,), (_SIDE,)))
_STEPS = (1, 2, 5, 10, 20, 50, 100)  # by how much the arrow is enlarged
_ARROW_MM = 22.0  # no longer than this on paper
_LEVEL = 1.96  # standard uncertainties within which 95 % lie
_REACH = 4.0


def residuals(adjusted: AdjustedPattern, *, name: str = "") -> Picture:
    """How far each reading is from what all others say: in uncertainties of that, and in its own unit.

    Parameters
    ----------
    adjusted : what :func:`bendcal.pattern.adjust_pattern` returned
    name : of the line, for the title
    """
    rows = readings_of(adjusted)
    picture, axes = graph(8.5, 0.9 + 0.21 * max(len(rows), 3))
    ax = axes[0, 0]
    ax.axvspan(-_LEVEL, _LEVEL, color=PALE, zorder=0.5)
    ax.axvline(0, color=GREY, linewidth=0.8, zorder=1)
    for k, row in enumerate(rows):
        if not np.isfinite(row.times):
            direct_label(ax, 0, k, "not checked by the others", color=GREY, ha="center", size=8.5, halo=True)
            continue
        far = abs(row.times) > _REACH - 0.1
        x = float(np.clip(row.times, -_REACH + 0.15, _REACH - 0.15))
        color = ORANGE if row.suspect else INK
        marker = (">" if row.times > 0 else "<") if far else "D" if row.suspect else "o"
        ax.plot(x, k, marker, color=color, markersize=8 if row.suspect else 5.5, zorder=4)
        decimals = 0 if abs(row.off) >= 20 else 1
        words = signed(row.off, row.unit, decimals=decimals) + (f", {abs(row.times):.0f} ×" if far else "")
        ax.text(1.01, k, printable(words), transform=ax.get_yaxis_transform(), fontsize=8.5, va="center", color=INK,
                fontweight="bold" if row.suspect else "normal", parse_math=False)  # fmt: skip
    ax.set_yticks(range(len(rows)), [printable(row.name) for row in rows], fontsize=8.5, parse_math=False)
    ax.set_ylim(max(len(rows), 3) - 0.4, -0.6)
    ax.set_xlim(-_REACH, _REACH)
    ax.set_xticks(range(-4, 5))
    ax.grid(axis="y", visible=False)
    labels(ax, "← less than the others say      times the uncertainty      more than the others say →", "")
    suspects = [row.name for row in rows if row.suspect]
    checked = any(np.isfinite(row.times) for row in rows)
    fits = f"does not fit: {', '.join(suspects)}" if suspects else "no suspect" if checked else "none checks another"
    ax.set_title(printable(f"{f'{name}: ' if name else ''}{len(rows)} readings, {fits}"), loc="left", fontsize=10.5, fontweight="bold", parse_math=False)
    picture.alt = f"{name or 'Pattern'}: how far each of {len(rows)} readings is from what the others say; {fits}."
    return picture



def measured(adjusted: AdjustedPattern, *, name: str = "") -> Picture:
    """The best shape from three sides at one scale, straight from corner to corner, and what was measured of it.

    Dashed are the straight distances. What does not fit is orange. A blue arrow shows which way, and
    enlarged how far, the rest misses the end whose place was measured.

    Parameters
    ----------
    adjusted : what :func:`bendcal.pattern.adjust_pattern` returned
    name : of the line, for the words
    """
    best = adjusted.without_suspects()
    nodes = best.nodes_mm
    places = dict(zip(best.pattern.places, nodes, strict=True))
    if best.frame_fixed:
        places |= {datum.place: np.array(datum.xyz_mm, float) for datum in adjusted.pattern.datums}
    miss = adjusted.miss if best.frame_fixed and adjusted.frame_fixed else None
    rows, scale = _laid(np.array(list(places.values())))
    words = _words(adjusted, places, miss, scale)
    lines = [part for text in words for part in wrap(text, _WIDTH_MM - 12.0, 8.5)]
    size = np.ptp(np.array(list(places.values())), axis=0)
    tall = sum(max(size[_VIEWS[view][1]] for view in row) * scale + 2 * _PAD_MM + _TITLE_MM for row in rows)
    height = tall + 4.4 * len(lines) + 5.0
    picture, ax = canvas(_WIDTH_MM, height)
    top, low = height, np.min(list(places.values()), axis=0)
    for row in rows:
        deep = max(size[_VIEWS[view][1]] for view in row) * scale + 2 * _PAD_MM + _TITLE_MM
        left = 4.0
        for view in row:
            i, j = _VIEWS[view]
            write(ax, left, top - 5.0, view, size=8.5, color=GREY)
            origin = np.array([left + _PAD_MM, top - deep + _PAD_MM]) - low[[i, j]] * scale
            at = {place: origin + xyz[[i, j]] * scale for place, xyz in places.items()}
            _draw(ax, adjusted, at, None if miss is None else (miss[0], miss[1][[i, j]] * scale * _enlarged(miss[1], scale)))
            left += _cell_mm(view, size, scale)
        top -= deep
    _bar(ax, scale, _WIDTH_MM - 5.0, height - 6.0)
    for k, text in enumerate(lines):
        write(ax, 6.0, 4.4 * (len(lines) - k) - 1.0, text, size=8.5)
    picture.alt = " ".join([f"{name or 'The line'} by its pattern, from above, the front and the side, with {len(best.nodes_mm) - 2} corners.", *words])
    return picture


def _cell_mm(view: str, size: Array, scale: float) -> float:
    return max(size[_VIEWS[view][0]] * scale + 2 * _PAD_MM, text_width_mm(view, 8.5) + 4.0)


def _laid(points: Array) -> tuple[tuple[tuple[str, ...], ...], float]:
    """The arrangement in which the views come out largest, and the scale: paper for one mm of tube."""
    size, best = np.maximum(np.ptp(points, axis=0), 1.0), None
    for rows in _ARRANGEMENTS:
        wide = max(sum(size[_VIEWS[view][0]] for view in row) for row in rows)
        room = min(_WIDTH_MM - 8.0 - 2 * _PAD_MM * len(row) for row in rows)
        tall = sum(max(size[_VIEWS[view][1]] for view in row) for row in rows)
        scale = min(room / wide, (_TALLEST_MM - len(rows) * (2 * _PAD_MM + _TITLE_MM)) / tall, 1.0)
        if best is None or scale > 1.02 * best[1]:
            best = rows, float(scale)
    return best


def _words(adjusted: AdjustedPattern, at: dict[str, Array], miss: tuple[str, Array] | None, scale: float) -> list[str]:
    said = []
    if adjusted.missing:
        said.append("What was measured does not settle one shape: this is one of many.")
    if any(isinstance(seen, Distance) and not isinstance(seen, Leg) for seen in adjusted.pattern.counted):
        said.append("Dashed: straight distances that were measured.")
    if names := _letters(adjusted, at):
        said.append(f"× datum points: {', '.join(f'{letter} {place}' for place, letter in names.items())}.")
    said += [f"Thick or ringed, orange: {row.name} is {signed(row.off, row.unit)} off what the others say." for row in readings_of(adjusted) if row.suspect]
    if miss is not None:
        times = _enlarged(miss[1], scale)
        larger = f", drawn {times} times as long as it is" if times > 1 else ""
        said.append(f"Arrow: the rest would put end {miss[0]} {mm_text(float(np.linalg.norm(miss[1])))} from where it was measured{larger}.")
    return said


def _letters(adjusted: AdjustedPattern, at: dict[str, Array]) -> dict[str, str]:
    """Datum point → its letter in the picture: its name may be long."""
    datums = [place for place in at if place not in adjusted.pattern.places]
    return {place: chr(ord("a") + k % 26) * (1 + k // 26) for k, place in enumerate(datums)}


def _enlarged(miss: Array, scale: float) -> int:
    long = max(float(np.linalg.norm(miss)) * scale, 1e-9)
    return max((times for times in _STEPS if times * long <= _ARROW_MM), default=1)


def _draw(ax: Axes, adjusted: AdjustedPattern, at: dict[str, Array], miss: tuple[str, Array] | None) -> None:
    """One view: the line, the distances beside it, its places' names, the suspects and the miss."""
    own = [at[place] for place in adjusted.pattern.places]
    stroke(ax, own, color=INK, width=4.2, zorder=3.0)
    stroke(ax, own, color=PALE, width=2.8, zorder=3.1)
    drawn = [own]
    for seen in adjusted.pattern.counted:
        if isinstance(seen, Distance) and not isinstance(seen, Leg) and seen.start in at and seen.stop in at:
            stroke(ax, [at[seen.start], at[seen.stop]], color=GREY, width=0.7, style=(0, (4, 3)), zorder=2.0)
    for one in adjusted.found:
        _highlight(ax, one.observation, at)
    if miss is not None:
        foot = at[miss[0]]
        if np.hypot(*miss[1]) > 0.8:
            arrow(ax, foot, foot + miss[1], color=BLUE, width=1.6, head=8.0, zorder=6.5)
            drawn.append([foot, foot + miss[1]])
    for place, point in at.items():
        if place not in adjusted.pattern.places:
            ax.plot(*point, "x", color=INK, markersize=7, markeredgewidth=1.6, zorder=5)
    letters = _letters(adjusted, at)
    marks = np.array([at[place] for place in letters]).reshape(-1, 2)
    _names(ax, at, letters, np.concatenate([marks, *(_along(points) for points in drawn)]))


def _along(points: list[Array]) -> Array:
    """Points close together along a row of them."""
    share = np.linspace(0.0, 1.0, 24)[:, None]
    return np.concatenate([a + share * (b - a) for a, b in zip(points, points[1:], strict=False)])


def _highlight(ax: Axes, seen: Observation, at: dict[str, Array]) -> None:
    """What does not fit: its distance, or the bend, end or leg that it belongs to."""
    if isinstance(seen, (Distance, Twist)):
        if seen.start in at and seen.stop in at:
            thin = isinstance(seen, Distance) and not isinstance(seen, Leg)
            stroke(ax, [at[seen.start], at[seen.stop]], color=ORANGE, width=2.4, style=(0, (4, 2)) if thin else "-", zorder=3.4)
        return
    place = seen.bend if isinstance(seen, Angle) else seen.end if isinstance(seen, Direction) else seen.place
    ax.add_patch(Circle(at[place], 3.4, facecolor="none", edgecolor=ORANGE, linewidth=2.4, zorder=5.5, clip_on=False))


def _names(ax: Axes, at: dict[str, Array], letters: dict[str, str], keep_off: Array) -> None:
    """The ends' and corners' names and the datum points' letters, clear of the line and of each other."""
    points = np.array(list(at.values()))
    size = np.array([[3.0, 3.4] if place in letters else [2 * _BADGE_MM] * 2 for place in at])
    spots = clear_places(points, size, keep_off, wanted=points - points.mean(axis=0), gaps=(1.6, 3.0, 5.0, 8.0, 11.0), margin=1.2)
    for (place, point), spot in zip(at.items(), spots, strict=True):
        if place in letters:
            write(ax, *spot, letters[place], size=9.0, bold=True, ha="center", va="center_baseline", zorder=6)
            continue
        if np.hypot(*(spot - point)) > _BADGE_MM + 3.2:
            stroke(ax, [point, spot], color=GREY, width=0.6, zorder=5.4)
        badge(ax, *spot, place, radius=_BADGE_MM, size=8.5, dark=place in ("A", "B"))


def _bar(ax: Axes, scale: float, right: float, y: float) -> None:
    """A bar of a round length, its right end at `right` [mm of paper]."""
    longest = 45.0 / scale
    power = 10 ** floor(log10(longest))
    length = power * max(step for step in (1, 2, 5) if step * power <= longest)
    left = right - length * scale
    stroke(ax, [(left, y), (right, y)], width=1.2)
    for x in (left, right):
        stroke(ax, [(x, y - 1), (x, y + 1)], width=1.2)
    write(ax, left - 2.0, y - 1.0, f"{length:g} mm", size=8.5, ha="right")
