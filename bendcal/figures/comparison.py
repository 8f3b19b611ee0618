"""Two laws side by side: how far each tube springs back, and how the dial settings differ."""

from __future__ import annotations

import numpy as np

from bendcal.compare import Comparison
from bendcal.figures.paper import BLUE, GREY, INK, ORANGE, Picture
from bendcal.figures.style import direct_label, graph, labels, signed, spread, title
from bendcal.law import Law

__all__ = ["two_tubes"]


def two_tubes(comparison: Comparison) -> Picture:
    """Two tubes, or two benders, side by side.

    The upper panel shows each law's springback against the finished angle with the 95 % band of
    its mean; the lower one the difference between the dial settings at the comparison's angles,
    with 95 % intervals.

    Parameters
    ----------
    comparison : what :func:`bendcal.compare` returned

    Returns
    -------
    Picture
    """
    picture, axes = graph(8.5, 6.0, 2, 1, height_ratios=(1.35, 1.0), sharex=True)
    top, bottom = axes[:, 0]
    names = _names(comparison.first, comparison.second)
    high = max(130.0, float(np.max(comparison.angle_deg)) + 8.0)
    _springbacks(top, (comparison.first, comparison.second), names, high)
    _differences(bottom, comparison, high)
    top.set_xlim(0, high)
    title(top, f"Springback: {names[0]} and {names[1]}")
    labels(top, "", "dial − finished [°]")
    title(bottom, f"Dial for {names[1]} − dial for {names[0]}")
    labels(bottom, "finished angle [°]", "difference [°]")
    picture.alt = comparison.sentence
    return picture


def _names(one: Law, two: Law) -> tuple[str, str]:
    """What tells the two apart: the tubes, the benders, or both."""
    if one.bender == two.bender:
        return one.tube, two.tube
    if one.tube == two.tube:
        return one.bender, two.bender
    return tuple(f"{law.tube} on {law.bender}" for law in (one, two))


def _springbacks(ax, laws: tuple[Law, Law], names: tuple[str, str], high: float) -> None:
    angle = np.linspace(2.0, high, 129)
    ends = []
    for law, color, style, hatch in zip(laws, (BLUE, ORANGE), ("-", (0, (6, 2))), (None, "...."), strict=True):
        dial = law.dial_for(angle)
        low_dial, high_dial = dial.interval(0.95)
        ax.fill_between(angle, low_dial - angle, high_dial - angle, facecolor=color, alpha=0.22, linewidth=0, hatch=hatch, zorder=1)
        inside = law.covers(angle)
        back = dial.value - angle
        ax.plot(angle, np.where(inside, back, np.nan), color=color, linewidth=2.2, linestyle=style, zorder=3)
        ax.plot(angle, back, color=color, linewidth=0.9, linestyle=style, zorder=2)
        ends.append(float(back[-1]))
    low, top = ax.get_ylim()
    order = np.argsort(ends)
    for k, place in zip(order, spread(np.asarray(ends)[order], 0.14 * (top - low), low, top), strict=True):
        color = (BLUE, ORANGE)[k]
        direct_label(ax, high, place, _short(names[k]), dx=6, dy=5, color=color if k == 0 else "#8a5300", bold=True)
        direct_label(ax, high, place, ("solid line", "broken line, dots")[k], dx=6, dy=-6, size=8, color=INK)
    direct_label(ax, 0.012 * high, top, "thick: where readings are; bands: 95 % for the mean", dy=-6, size=8.5, color=GREY)


def _differences(ax, comparison: Comparison, high_deg: float) -> None:
    low, high = comparison.dial.interval(0.95)
    value, angle = comparison.dial.value, comparison.angle_deg
    ax.axhline(0, color=INK, linewidth=1.1, zorder=2)
    ax.errorbar(angle, value, [value - low, high - value], fmt="o", color=INK, markersize=6, elinewidth=1.6, capsize=4, zorder=4)
    for x, v in zip(angle, value, strict=True):
        direct_label(ax, x, v, signed(v, "°"), dx=7, va="center", halo=True)
    direct_label(ax, high_deg, 0.0, "no difference", dx=6, size=8.5)
    ax.margins(y=0.12)


def _short(name: str, most: int = 22) -> str:
    return name if len(name) <= most else name[: most - 1] + "…"
