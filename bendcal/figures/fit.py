"""A law and the readings that taught it: springback, mark to apex, and gain."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from matplotlib.axes import Axes

from bendcal.arc import gain_slope_mm_per_deg, leg_to_centre_mm, setback_slope_mm_per_deg
from bendcal.calibration import Calibration
from bendcal.estimate import Estimate
from bendcal.figures.paper import BLUE, GREY, INK, ORANGE, Picture, printable, text_width_mm
from bendcal.figures.style import clear_places, direct_label, graph, labels, signed, spread, title
from bendcal.law import Law
from bendcal.offcuts import Offcut
from bendcal.shop import Shop

__all__ = ["law_fit", "residuals"]

_KINDS = (("angle", "angle_deg", "Finished angle", "°"), ("leg_a", "leg_a_mm", "Leg A", " mm"), ("leg_b", "leg_b_mm", "Leg B", " mm"))
_FAR = 3.0  # standard uncertainties: beyond this a reading is worth a second look


def law_fit(law: Law, shop: Shop, *, lengths: bool = True) -> Picture:
    """One law with its readings and its uncertainty.

    The upper panel shows the springback (dial − finished angle) against the dial: the mean of
    many bends with its 95 % band, the 95 % band of the next single bend, and the readings with
    ± one standard uncertainty of the tool. Below it stand mark to apex, and gain.

    Parameters
    ----------
    law : the law to show
    shop : where its offcuts and tools are; those set aside are shown hollow
    lengths : whether to show mark to apex and gain as well

    Returns
    -------
    Picture
    """
    pieces = [o for o in shop.offcuts if (o.bender, o.tube) == (law.bender, law.tube)]
    if lengths:
        picture, axes = graph(8.5, 7.0, 2, 2, height_ratios=(1.25, 1.0))
        spec = axes[0, 0].get_gridspec()
        axes[0, 1].remove()
        top = axes[0, 0]
        top.set_subplotspec(spec[0, :])
        _take_up(axes[1, 0], law, shop, pieces)
        _gain(axes[1, 1], law, shop, pieces)
    else:
        picture, axes = graph(8.5, 4.0)
        top = axes[0, 0]
    _springback(top, law, shop, pieces)
    picture.draw_without_rendering()  # settles the layout, so that names can be placed
    good = [o for o in pieces if o.counts]
    back = [o.dial_deg - o.angle_deg for o in good]
    _name_readings(top, [o.dial_deg for o in good], back, [shop.angle_tool(o).u for o in good], [o.offcut for o in good])
    aside = [o for o in pieces if not o.counts]
    picture.alt = (
        f"{law.bender} with {law.tube}: springback {float(law.springback(90.0).value):.1f}° at dial 90°, "
        f"from {law.n_offcuts} offcuts; {len(aside)} set aside."
    )
    return picture


def _reach(law: Law, covered: tuple[float, float] | None) -> tuple[float, float, np.ndarray]:
    """From where to where to draw: 0° to a little beyond what is covered, at least 130°."""
    high = max(130.0, (covered[1] if covered else 0.0) + 12.0)
    return 0.0, high, np.linspace(0.0, high, 131)


def _outside(ax: Axes, covered: tuple[float, float] | None, low: float, high: float) -> None:
    """Hatch what no reading covers."""
    ax.set_xlim(low, high)
    spans = [(low, covered[0]), (covered[1], high)] if covered else [(low, high)]
    for start, stop in spans:
        if stop > start:
            ax.axvspan(start, stop, facecolor="#f1f1f1", edgecolor="#c4c4c4", hatch="///", linewidth=0, zorder=0.5)
    start, stop = spans[-1]
    words = "no readings beyond here" if covered else "no readings yet"
    ax.text(
        stop, 0.03, words, transform=ax.get_xaxis_transform(), rotation=90, ha="right", va="bottom", fontsize=8.5,
        color=INK, zorder=1, bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0},
    )  # fmt: skip


def _springback(ax: Axes, law: Law, shop: Shop, pieces: Sequence[Offcut]) -> None:
    low, high, dial = _reach(law, law.dial_range_deg)
    mean, bend = law.springback(dial), law.finished_angle(dial)
    band = mean.interval(0.95)
    wide = [dial - side for side in bend.interval(0.95)]
    ax.fill_between(dial, *wide, color="#e4e9f1", zorder=1, linewidth=0)
    for side in wide:
        ax.plot(dial, side, color=BLUE, linewidth=0.9, linestyle=":", zorder=2)
    ax.fill_between(dial, *band, color="#a9bfdc", zorder=2, linewidth=0)
    ax.plot(dial, mean.value, color=BLUE, linewidth=1.8, zorder=3)
    good = [o for o in pieces if o.counts]
    aside = [o for o in pieces if not o.counts]
    back = [o.dial_deg - o.angle_deg for o in good]
    bottom = min([0.0, *wide[1], *back])
    top = max([*wide[0], *back]) + 0.6
    ax.set_ylim(bottom - 0.2, top + 0.08 * (top - bottom))
    _readings(ax, [o.dial_deg for o in good], back, [shop.angle_tool(o).u for o in good])
    for o in aside:
        _set_aside(ax, o.dial_deg, o.dial_deg - o.angle_deg, f"{o.offcut}, set aside", "°")
    _outside(ax, law.dial_range_deg, low, high)
    _name_bands(ax, dial, mean, wide)
    title(ax, f"{law.bender} with {law.tube}: how far the tube springs back")
    labels(ax, "dial [°]", "springback: dial − finished [°]")


def _name_bands(ax: Axes, dial: np.ndarray, mean: Estimate, wide: list[np.ndarray]) -> None:
    """Name the line and the two bands where they end, without one name on the other."""
    last = -1
    names = (
        (float(wide[0][last]), "95 % of next bends", "normal"), (float(mean.interval(0.95)[1][last]), "95 % for the mean", "normal"),
        (float(mean.value[last]), "mean of many bends", "bold"),
    )  # fmt: skip
    low, high = ax.get_ylim()
    order = sorted(range(3), key=lambda k: names[k][0])
    places = spread([names[k][0] for k in order], 0.062 * (high - low), low, high)
    for k, place in zip(order, places, strict=True):
        direct_label(ax, dial[last], place, names[k][1], dx=5, color=BLUE, bold=names[k][2] == "bold")


def _readings(ax: Axes, x: Sequence[float], y: Sequence[float], u: Sequence[float]) -> None:
    ax.errorbar(x, y, u, fmt="o", color=INK, markersize=5, elinewidth=1.1, capsize=2.5, zorder=5)


def _name_readings(ax: Axes, x: Sequence[float], y: Sequence[float], u: Sequence[float], names: Sequence[str]) -> None:
    """Write each offcut's name where it hides no reading; the picture's layout must be settled."""
    if not names:
        return
    points = ax.figure.dpi / 72
    bars = np.linspace(-1, 1, 9)[None, :] * np.asarray(u, float)[:, None] + np.asarray(y, float)[:, None]
    bars = np.column_stack([np.repeat(x, 9), bars.ravel()])
    at, keep_off = (ax.transData.transform(xy) / points for xy in (np.column_stack([x, y]), bars))
    size = np.array([[text_width_mm(printable(name), 8.0) * 72 / 25.4, 8.0] for name in names])
    for name, here, place in zip(names, zip(x, y, strict=True), clear_places(at, size, keep_off, gaps=(6.0, 10.0, 16.0)) - at, strict=True):
        direct_label(ax, *here, name, dx=place[0], dy=place[1], ha="center", va="center", size=8)


def _set_aside(ax: Axes, x: float, y: float, words: str, unit: str) -> None:
    """A reading that does not count: hollow and crossed; an arrow where it lies off the picture."""
    low, high = ax.get_ylim()
    style = {"color": ORANGE, "markersize": 8, "zorder": 6, "clip_on": False}
    if low <= y <= high:
        ax.plot([x], [y], "o", markerfacecolor="white", **style)
        ax.plot([x], [y], "x", **style)
        direct_label(ax, x, y, words, dx=7, size=8.5, halo=True)
        return
    edge, marker, dy = (high, "^", -9) if y > high else (low, "v", 9)
    ax.plot([x], [edge], marker, markerfacecolor="white", **style)
    direct_label(ax, x, edge, f"{words}: {signed(y, unit)}, off the picture", dx=8, dy=dy / 2, size=8.5, halo=True)


def _lengths(
    ax: Axes, law: Law, estimate: Callable, pieces: Sequence[Offcut], reading: Callable, error: Callable, y_label: str, heading: str
) -> None:
    low, high, angle = _reach(law, law.angle_range_deg)
    expected = estimate(angle)
    ax.fill_between(angle, *expected.interval(0.95), color="#a9bfdc", zorder=2, linewidth=0)
    ax.plot(angle, expected.value, color=BLUE, linewidth=1.8, zorder=3)
    measured = [o for o in pieces if o.has_legs]
    good = [o for o in measured if o.counts]
    read = [reading(o) for o in good]
    _readings(ax, [o.angle_deg for o in good], read, [error(o) for o in good])
    band = expected.interval(0.95)
    ends = [float(np.min(band[0])), float(np.max(band[1])), *read]
    pad = 0.06 * (max(ends) - min(ends))
    ax.set_ylim(min(ends) - pad, max(ends) + pad)
    for o in measured:
        if not o.counts:
            _set_aside(ax, o.angle_deg, reading(o), o.offcut, " mm")
    _outside(ax, law.angle_range_deg, low, high)
    title(ax, heading)
    labels(ax, "finished angle [°]", y_label)


def _take_up(ax: Axes, law: Law, shop: Shop, pieces: Sequence[Offcut]) -> None:
    radius = float(law.parameters["radius_mm"])

    def error(o: Offcut) -> float:
        # The angle's error moves the apex, so it stands in this bar as well.
        return float(np.hypot(shop.length_tool(o).u, setback_slope_mm_per_deg(o.angle_deg, radius) * shop.angle_tool(o).u))

    _lengths(
        ax, law, law.take_up, pieces, lambda o: _centre(o, shop)[0] - o.mark_mm, error,
        "mark to apex [mm]", "Mark to apex (take-up)",
    )  # fmt: skip


def _gain(ax: Axes, law: Law, shop: Shop, pieces: Sequence[Offcut]) -> None:
    radius, developed = (float(law.parameters[name]) for name in ("radius_mm", "developed_radius_mm"))

    def error(o: Offcut) -> float:
        by_angle = float(gain_slope_mm_per_deg(o.angle_deg, radius, developed)) * shop.angle_tool(o).u
        return float(np.hypot(np.sqrt(3) * shop.length_tool(o).u, by_angle))

    _lengths(
        ax, law, law.gain, pieces, lambda o: sum(_centre(o, shop)) - o.length_mm, error,
        "both legs − straight length [mm]", "What a corner saves (gain)",
    )  # fmt: skip


def _centre(o: Offcut, shop: Shop) -> tuple[float, float]:
    od = shop.tubes[o.tube].od_mm
    return tuple(float(leg_to_centre_mm(leg, o.angle_deg, od, o.legs_to)) for leg in (o.leg_a_mm, o.leg_b_mm))


def residuals(cal: Calibration, bender: str, tube: str) -> Picture:
    """The residuals of one bender with one tube, in standard uncertainties, each with its value.

    Parameters
    ----------
    cal : the calibration
    bender, tube : names

    Returns
    -------
    Picture; a reading more than 3 standard uncertainties off is a crossed square with its offcut's name in bold

    Raises
    ------
    UnknownName : where the calibration has no law of that pair
    """
    law = cal.law(bender, tube)
    table = cal.residuals
    mine = table[(table["bender"] == bender) & (table["tube"] == tube)].sort_values("dial_deg", kind="stable")
    rows = np.arange(len(mine))[::-1]
    picture, axes = graph(8.5, 1.7 + 0.27 * len(mine), 1, 3, sharey=True)
    reach = max(4.0, 1.15 * float(np.nanmax(np.abs(mine[[f"z_{kind[0]}" for kind in _KINDS]].to_numpy(float)), initial=0.0)))
    far_off = np.zeros(len(mine), bool)
    for ax, (short, name, heading, unit) in zip(axes[0], _KINDS, strict=True):
        z, value = mine[f"z_{short}"].to_numpy(float), mine[f"resid_{name}"].to_numpy(float)
        ax.axvspan(-2, 2, color="#e4e9f1", zorder=0.5, linewidth=0)
        ax.axvline(0, color=GREY, linewidth=1.0, zorder=1)
        ax.set_xlim(-reach, 1.55 * reach)  # the room on the right holds the values
        for y, zi, v in zip(rows, z, value, strict=True):
            if not np.isfinite(zi):
                direct_label(ax, 0, y, "not read", ha="center", size=8.5, color=GREY, halo=True)
                continue
            far = abs(zi) > _FAR
            ax.plot([0, zi], [y, y], color=GREY, linewidth=0.9, zorder=2)
            ax.plot([zi], [y], "s" if far else "o", color=ORANGE if far else BLUE, markersize=7 if far else 5.5, zorder=3)
            if far:
                ax.plot([zi], [y], "x", color=INK, markersize=6, zorder=4)
            direct_label(ax, 1.52 * reach, y, signed(v, unit), ha="right", size=8.5, bold=far)
        far_off |= np.nan_to_num(np.abs(z)) > _FAR
        title(ax, heading)
        labels(ax, "in standard uncertainties", "")
        ax.set_xticks([t for t in (-4, -2, 0, 2, 4) if abs(t) <= reach])
        ax.grid(False)
        ax.tick_params(axis="y", length=0)
    names = [f"{name}, dial {dial:g}°" for name, dial in zip(mine["offcut"], mine["dial_deg"], strict=True)]
    axes[0, 0].set_yticks(rows, [printable(name) for name in names], fontsize=8.5, parse_math=False)
    for label, far in zip(axes[0, 0].get_yticklabels(), far_off, strict=True):
        label.set_fontweight("bold" if far else "normal")
    axes[0, 0].set_ylim(-0.7, len(mine) - 0.3)
    picture.suptitle(
        printable(f"{bender} with {tube}: reading − law. About 19 of 20 belong in the shaded strip."), x=0.01, ha="left",
        fontsize=10, color=INK, parse_math=False,
    )  # fmt: skip
    picture.alt = (
        f"Residuals of {law.n_offcuts} offcuts of {bender} with {tube}; "
        f"{int(far_off.sum())} with a reading more than {_FAR:g} standard uncertainties off."
    )
    return picture
