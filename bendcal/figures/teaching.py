"""How the fit thinks: what is shared with what, what was believed before, what each offcut taught."""

from __future__ import annotations

import numpy as np

from bendcal.calibration import Calibration
from bendcal.figures.paper import BLUE, GREY, INK, ORANGE, PALE, Picture, block, canvas, line, wrap, write
from bendcal.figures.style import graph, labels, title
from bendcal.law import PARAMETERS, Law
from bendcal.prior import CAUSES, pool_of
from bendcal.shop import Shop

__all__ = ["before_and_after", "shared_causes", "taught"]

_WORDS = {
    "a_deg": ("intercept a", "°"), "b": ("slope b", ""), "radius_mm": ("centreline radius R", "mm"),
    "developed_radius_mm": ("developed radius λ", "mm"), "mark_offset_mm": ("mark offset m", "mm"),
}  # fmt: skip


def shared_causes(cal: Calibration) -> Picture:
    """Which laws share which bender and which tube.

    Parameters
    ----------
    cal : what :func:`bendcal.calibrate` returned

    Returns
    -------
    Picture: benders on the left, tubes on the right, a law for each pair in between
    """
    pairs = list(cal.laws)
    benders, tubes = (list(dict.fromkeys(names)) for names in zip(*pairs, strict=True))
    rows = max(len(benders), len(tubes), len(pairs))
    step, height = 22.0, 22.0 * rows + 14.0
    picture, ax = canvas(215.0, height)
    top = height - 9.0
    for x, text in ((2.0, "belongs to the bender"), (84.0, "one law for each pair"), (160.0, "belongs to the tube")):
        write(ax, x, top, text, size=9.5, bold=True)

    def column(count: int) -> np.ndarray:
        return (top - 6.0) - step * (np.arange(count) + 0.5) * rows / count

    places = {}
    for side, x, width, names, said in (
        ("bender", 2.0, 58.0, benders, ", ".join(CAUSES)), ("tube", 160.0, 53.0, tubes, "how its strength differs from the alloy's table"),
    ):  # fmt: skip
        for name, y in zip(names, column(len(names)), strict=True):
            block(ax, x, y - 9.5, width, 19.0, fill=PALE)
            write(ax, x + 2.5, y + 5.2, name, size=9.0, bold=True)
            for k, part in enumerate(wrap(said, width - 4.0, 8.2)[:3]):
                write(ax, x + 2.5, y + 1.0 - 3.8 * k, part, size=8.2, color=GREY)
            places[side, name] = (x + width if side == "bender" else x, y)
    for (bender, tube), y in zip(pairs, column(len(pairs)), strict=True):
        law = cal.laws[bender, tube]
        block(ax, 84.0, y - 6.0, 52.0, 12.0, fill="#ffffff", edge=BLUE, line_width=1.2)
        write(ax, 86.5, y + 1.3, "a, b, R, λ, m", size=9.0, bold=True, color=BLUE)
        pieces = "1 offcut" if law.n_offcuts == 1 else f"{law.n_offcuts} offcuts"
        write(ax, 86.5, y - 3.3, f"{pieces}, and a little of its own", size=8.2, color=GREY)
        line(ax, [places["bender", bender], (84.0, y)], color=INK, width=1.1)
        line(ax, [places["tube", tube], (136.0, y)], color=ORANGE, width=1.1, style=(0, (5, 2)))
    picture.alt = "; ".join(f"the law of {b} with {t} shares that bender and that tube" for b, t in pairs)
    return picture


def before_and_after(shop: Shop, law: Law) -> Picture:
    """What was believed of a law before any offcut of the shop, and what is known now.

    Parameters
    ----------
    shop : its benders and tubes
    law : one of its laws

    Returns
    -------
    Picture: a panel for each of the five numbers
    """
    pool = pool_of(shop, [(law.bender, law.tube)])
    before, before_u = pool.centre[0, :5], np.sqrt(np.diag(pool.marginal_covariance()[0])[:5])
    after, after_u = law.parameters.to_numpy(), np.sqrt(np.diag(law.covariance.to_numpy()))
    picture, axes = graph(9.0, 2.9, 1, 5)
    for i, (ax, name) in enumerate(zip(axes[0], PARAMETERS, strict=True)):
        words, unit = _WORDS[name]
        reach = 2.6 * before_u[i]
        centre = before[i]
        x = np.unique(np.concatenate([
            np.linspace(centre - reach, centre + reach, 240), after[i] + after_u[i] * np.linspace(-4, 4, 161),
        ]))  # fmt: skip
        wide = np.exp(-0.5 * ((x - before[i]) / before_u[i]) ** 2)
        sharp = np.exp(-0.5 * ((x - after[i]) / after_u[i]) ** 2)
        ax.fill_between(x, wide, color=GREY, alpha=0.35, linewidth=0, zorder=1)
        ax.plot(x, wide, color=GREY, linestyle=(0, (4, 2)), linewidth=1.2, zorder=2)
        ax.plot(x, sharp, color=BLUE, linewidth=1.8, zorder=3)
        ax.set_yticks([])
        ax.spines["left"].set_visible(False)
        ax.grid(False)
        ax.locator_params(axis="x", nbins=4)
        title(ax, words, size=9.0)
        labels(ax, f"{after[i]:.{3 if name == 'b' else 2}f} ± {after_u[i]:.{4 if name == 'b' else 2}f} {unit}".rstrip().replace("-", "−"), "")
    picture.alt = "; ".join(
        f"{_WORDS[name][0]}: before {before[i] + 0.0:.3g} ± {before_u[i]:.2g}, now {after[i]:.4g} ± {after_u[i]:.2g}"
        for i, name in enumerate(PARAMETERS)
    )  # fmt: skip
    return picture


def taught(cal: Calibration, bender: str, tube: str) -> Picture:
    """How much of what each offcut shows was news, against the dial at which it was bent.

    Parameters
    ----------
    cal : what :func:`bendcal.calibrate` returned
    bender, tube : the pair

    Returns
    -------
    Picture: a bar for each piece, its leverage in per cent; blunders are hatched
    """
    law = cal.law(bender, tube)
    table = cal.residuals
    mine = table[(table["bender"] == law.bender) & (table["tube"] == law.tube)].sort_values("dial_deg", kind="stable")
    picture, axes = graph(8.5, 2.8)
    ax = axes[0, 0]
    place = np.arange(len(mine))
    for x, (_, piece) in zip(place, mine.iterrows(), strict=True):
        doubted = piece["blunder_chance"] >= 0.5
        ax.bar(x, 100 * piece["leverage"], color="#ffffff" if doubted else BLUE, edgecolor=BLUE, hatch="////" if doubted else None, width=0.65, zorder=3)
    ax.set_xticks(place, [f"{o}\n{d:.0f}°" for o, d in zip(mine["offcut"], mine["dial_deg"], strict=True)], fontsize=9)
    ax.set_ylim(0, max(40.0, 115 * float(mine["leverage"].max())))
    ax.grid(False, axis="x")
    title(ax, "How much each offcut taught that the others had not")
    labels(ax, "offcut, and the dial at which it was bent", "share of its own [%]")
    picture.alt = "; ".join(f"offcut {o} taught {100 * v:.0f} % of its own" for o, v in zip(mine["offcut"], mine["leverage"], strict=True))
    return picture
