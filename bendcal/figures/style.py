"""How the kit's graphs look: plain axes, direct labels, lines told apart by more than their colour."""

from __future__ import annotations

from collections.abc import Sequence

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from bendcal.figures.paper import GREY, INK, PAPER, Picture, printable

__all__ = ["clear_places", "direct_label", "graph", "labels", "signed", "spread", "title"]


def graph(width_in: float, height_in: float, rows: int = 1, columns: int = 1, **subplots) -> tuple[Picture, np.ndarray]:
    """A picture with plain axes, whatever the notebook's own settings are.

    Parameters
    ----------
    width_in, height_in : its size [inch]
    rows, columns : of axes
    subplots : passed on to ``Figure.subplots``

    Returns
    -------
    (Picture, axes (rows, columns))
    """
    with matplotlib.rc_context():
        matplotlib.rcdefaults()
        picture = Picture(figsize=(width_in, height_in), dpi=80, facecolor=PAPER, layout="constrained")
        picture.get_layout_engine().set(w_pad=0.08, h_pad=0.08)
        axes = picture.subplots(rows, columns, squeeze=False, **subplots)
    for ax in axes.flat:
        ax.set_facecolor(PAPER)
        ax.tick_params(labelsize=9, colors=INK)
        for side in ("top", "right"):
            ax.spines[side].set_visible(False)
        for side in ("left", "bottom"):
            ax.spines[side].set_color(GREY)
        ax.grid(True, color="#d5d5d5", linewidth=0.6, zorder=0)
        ax.set_axisbelow(True)
        ax.xaxis.set_major_locator(MaxNLocator(8, steps=[1, 1.5, 2, 3, 5, 10]))
    return picture, axes


def title(ax: Axes, text: str, *, size: float = 10.5) -> None:
    """A panel's title: a sentence at its upper left."""
    ax.set_title(printable(text), loc="left", fontsize=size, fontweight="bold", color=INK, parse_math=False)


def labels(ax: Axes, x: str, y: str) -> None:
    """What the two axes show, with the unit."""
    ax.set_xlabel(x, fontsize=9.5, color=INK)
    ax.set_ylabel(y, fontsize=9.5, color=INK)


def direct_label(ax: Axes, x: float, y: float, text: str, *, color: str = INK, dx: float = 0.0, dy: float = 0.0, ha: str = "left", va: str = "center", size: float = 9.0, bold: bool = False, halo: bool = False):
    """A label beside what it names, moved by (dx, dy) points."""
    box = {"facecolor": PAPER, "edgecolor": "none", "pad": 1.0, "alpha": 0.9} if halo else None
    return ax.annotate(
        printable(text), (x, y), (dx, dy), textcoords="offset points", color=color, ha=ha, va=va, fontsize=size,
        fontweight="bold" if bold else "normal", parse_math=False, bbox=box, zorder=8, annotation_clip=False,
    )


def signed(value: float, unit: str = "", *, decimals: int = 1) -> str:
    """A number with its sign, a true minus, and no sign where it rounds to nothing.

    Examples
    --------
    >>> signed(-1.25, " mm"), signed(-0.04, "°"), signed(2)
    ('−1.2 mm', '0.0°', '+2.0')
    """
    text = f"{value:+.{decimals}f}"
    return (text[1:] if float(text) == 0 else text.replace("-", "−")) + unit


def spread(wanted: Sequence[float], apart: float | Sequence[float], low: float, high: float) -> np.ndarray:
    """Places as near as possible to the wanted ones, in their order, with room between them.

    Parameters
    ----------
    wanted : (n,) where each would like to be, ascending
    apart : the distance from each to the next, one or (n − 1,)
    low, high : between these two; where there is too little room, `apart` is kept and `high` passed

    Returns
    -------
    (n,) places (least squares; isotonic regression of the places less the room before them)

    Examples
    --------
    >>> spread([10, 11, 50], 10, 0, 100).tolist()
    [5.5, 15.5, 50.0]
    """
    from scipy.optimize import isotonic_regression

    wanted = np.asarray(wanted, float)
    if not wanted.size:
        return wanted
    room = np.concatenate([[0.0], np.cumsum(np.broadcast_to(apart, wanted.size - 1))])
    base = isotonic_regression(wanted - room).x
    return np.maximum(np.minimum(base, high - room[-1]), low) + room


_WAYS = np.array([(0, 1), (0, -1), (1, 0), (-1, 0), (0.75, 0.75), (-0.75, 0.75), (0.75, -0.75), (-0.75, -0.75)])


def clear_places(
    at: np.ndarray, size: np.ndarray, keep_off: np.ndarray, *, wanted: np.ndarray | None = None, gaps: Sequence[float] = (3.0, 7.0, 12.0, 20.0), margin: float = 1.0,
) -> np.ndarray:
    """Places for labels beside their points where they touch neither each other nor what is drawn.

    Each label in turn takes the first free place out of eight directions and a few distances,
    those nearest to the wanted direction first; where none is free, the one that touches least.

    Parameters
    ----------
    at : (n, 2) the points that the labels name, in any unit that is the same both ways
    size : (n, 2) widths and heights of the labels
    keep_off : (k, 2) points that should stay visible
    wanted : (n, 2) directions that are liked best; None: upwards
    margin : how far a label stays from the points of `keep_off`
    gaps : distances to try, between a point and the near edge of its label

    Returns
    -------
    (n, 2) centres of the labels

    Examples
    --------
    >>> clear_places(np.zeros((1, 2)), np.array([[4.0, 2.0]]), np.empty((0, 2))).tolist()
    [[0.0, 4.0]]
    """
    wanted = np.tile([0.0, 1.0], (len(at), 1)) if wanted is None else np.asarray(wanted, float)
    taken: list[np.ndarray] = []  # (centre, half size) of the labels that have their place
    places = np.zeros((len(at), 2))
    for k, (point, half) in enumerate(zip(at, np.asarray(size, float) / 2, strict=True)):
        length = np.hypot(*wanted[k])
        likes = wanted[k] / length if length > 1e-9 else np.array([0.0, 1.0])
        ways = np.vstack([likes[None, :], _WAYS])
        ways = ways[np.argsort(-(ways / np.hypot(ways[:, 0], ways[:, 1])[:, None]) @ likes, kind="stable")]
        best, least = None, np.inf
        for cost, (gap, way) in enumerate((gap, way) for gap in gaps for way in ways):
            centre = point + way * (half + gap)
            touched = np.sum(np.all(np.abs(keep_off - centre) < half + margin, axis=1)) if len(keep_off) else 0
            touched += sum(20 for other in taken if np.all(np.abs(other[0] - centre) < half + other[1] + 0.5))
            if touched + 1e-3 * cost < least:
                best, least = centre, touched + 1e-3 * cost
            if not touched:
                break
        places[k] = best
        taken.append(np.array([best, half]))
    return places
