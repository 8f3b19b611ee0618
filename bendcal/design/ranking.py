"""Which offcut next: the one that lowers the expected error of the lines' ends the most.

What a further piece will teach does not hang on what it will read, only on where it is bent
and what is measured of it; so every piece that could be bent is weighed before any is.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from bendcal.design.advice import Advice, Plan, next_sentence, plan_sentence, stop_sentence
from bendcal.design.optimal import exchanged, gains, updated
from bendcal.design.outlook import (
    LOOK_AHEAD,
    after,
    alone,
    chain,
    effort_of,
    lines_table,
    look_ahead,
    pays,
    standing,
)
from bendcal.design.prospects import Prospects, prospects_of
from bendcal.lines import Line
from bendcal.prior import WIDTHS, Widths
from bendcal.shop import Shop
from bendcal.waiting import long_work, tick

__all__ = ["next_offcuts", "plan_offcuts"]

#: No plan is longer.
_MOST = 60


@long_work
def next_offcuts(
    shop: Shop, *, lines: Sequence[str | Line] | None = None, pairs: Sequence[tuple[str, str]] | None = None,
    dials_deg: ArrayLike | None = None, count: int = 5, ahead: int = 6, pays_mm: float = 1.0, chance: float = 0.95,
    weights: Mapping[str, float] | None = None, widths: Widths = WIDTHS,
) -> Advice:
    """Which offcuts to bend next, given all readings so far (or none).

    The law-caused variance of where the lines' ends fall, summed over the lines, is what a
    piece is judged by. The best set of `ahead` pieces is looked for, and the best of them
    comes first: the one piece that is best alone often has no place in a good set (one end
    of the dial is worth little without the other). A line whose tube was never bent on its
    bender must have a piece: there is no law to mark it by. Where no line has a bend, single
    bends at 20° to 120° stand in.

    Parameters
    ----------
    shop : what :func:`bendcal.read_shop` returned
    lines : the lines still to be made, names or Lines; None for all of the shop
    pairs : (bender, tube) of which offcuts can be bent; None for the pairs of the lines and
        those that have offcuts and share a bender or a tube with a line
    dials_deg : dial settings to choose from [deg]; None for every 5° over what the lines need
        and 20° more on either side
    count : how many rows to show
    ahead : of how many pieces to think; 1 for what is best if no other follows
    pays_mm : further offcuts pay when the best three together would shrink a trim allowance,
        or the allowance sideways, by so much [mm]
    chance : of the trim being enough, as in :func:`bendcal.mark_out`
    weights : line → how much it counts; 1 where it is not named
    widths : what is believed before any offcut

    Returns
    -------
    Advice

    Raises
    ------
    UnknownName : for a line, bender or tube that the shop does not have
    ValueError : where nothing says which tube is bent on which bender, or nothing can be bent

    Source: expected posterior covariance of a linear Gaussian model (K. Chaloner &
    I. Verdinelli, Statistical Science 10, 1995, 273: memory); see :mod:`bendcal.design.optimal`.

    Examples
    --------
    >>> from bendcal.benders import Bender
    >>> from bendcal.materials import ALLOYS
    >>> from bendcal.tubes import Tube
    >>> tube = Tube("brake", ALLOYS["low-carbon steel"], 4.76, 0.71)
    >>> shop = Shop(benders={"small": Bender("small", 15.0)}, tubes={"brake": tube})
    >>> advice = next_offcuts(shop, pairs=[("small", "brake")], dials_deg=[30, 60, 90, 120])
    >>> advice.stop, sorted(set(advice.ranked.dial_deg))
    (False, [30.0, 90.0, 120.0])
    """
    z = _allowance(chance)
    _check(pays_mm=pays_mm, count=count, ahead=ahead)
    prospects = prospects_of(shop, lines=lines, pairs=pairs, dials_deg=dials_deg, weights=weights, widths=widths)
    picks = _best_set(prospects, max(ahead, count, 1))
    rows = chain(prospects, picks, z).drop(columns="largest_trim_mm")
    end, trim = standing(prospects, prospects.covariance, z)
    lines_now = lines_table(prospects, z, {"end_u_mm": end, "trim_mm": trim})
    stop = not prospects.unbent() and not pays(prospects, prospects.covariance, z, pays_mm)
    if stop:
        then_end, then_trim = standing(prospects, look_ahead(prospects, prospects.covariance), z)
        sentence = stop_sentence(prospects, lines_now, then_end, then_trim, ahead=LOOK_AHEAD, pays_mm=pays_mm)
    else:
        sentence = next_sentence(prospects, picks[0], rows.iloc[0])
    return Advice(rows[:count], alone(prospects, z)[:count], lines_now, stop, sentence)


@long_work
def plan_offcuts(
    shop: Shop, *, count: int | None = None, target_trim_mm: float | None = None, lines: Sequence[str | Line] | None = None,
    pairs: Sequence[tuple[str, str]] | None = None, dials_deg: ArrayLike | None = None, pays_mm: float = 1.0,
    chance: float = 0.95, exchange: bool = True, weights: Mapping[str, float] | None = None, widths: Widths = WIDTHS,
) -> Plan:
    """Choose a set of offcuts to bend, from the readings so far or from nothing.

    Each piece is the best at its turn; then each is taken out once more and exchanged for a
    better one where there is one. Asking again with :func:`next_offcuts` after each piece
    can only better the plan, for then its readings count too.

    Parameters
    ----------
    count : how many; None for as many as `target_trim_mm` needs, or else as pay
    target_trim_mm : stop once no line's trim allowance is larger [mm]
    shop, lines, pairs, dials_deg, pays_mm, chance, weights, widths : as in :func:`next_offcuts`
    exchange : whether to better the set after choosing it piece by piece

    Returns
    -------
    Plan; every line's own tube is in it, or has been bent before, unless `count` is too small

    Raises
    ------
    UnknownName, ValueError : as in :func:`next_offcuts`, and where `count` or `target_trim_mm`
        is negative
    """
    z = _allowance(chance)
    _check(pays_mm=pays_mm, count=count, target_trim_mm=target_trim_mm)
    prospects = prospects_of(shop, lines=lines, pairs=pairs, dials_deg=dials_deg, weights=weights, widths=widths)
    least = standing(prospects, np.zeros_like(prospects.covariance), z)[1]
    hopeless = target_trim_mm is not None and least.max() > target_trim_mm

    def enough(covariance: np.ndarray) -> bool:
        if target_trim_mm is not None and not hopeless:
            return bool(standing(prospects, covariance, z)[1].max() <= target_trim_mm)
        return (count is None or hopeless) and not pays(prospects, covariance, z, pays_mm)

    picks = _best_set(prospects, _MOST if count is None else count, enough=enough, exchange=exchange)
    while exchange and target_trim_mm is not None and not hopeless and picks:
        fewer = _best_set(prospects, len(picks) - 1)
        if len(fewer) < len(prospects.unbent()) or not enough(after(prospects, fewer)):
            break
        picks = fewer
    offcuts = chain(prospects, picks, z)
    offcuts = offcuts[["bender", "tube", "dial_deg", "readings", "gain", "largest_trim_mm"]]
    offcuts.insert(0, "step", np.arange(1, len(offcuts) + 1))
    end, trim = standing(prospects, prospects.covariance, z)
    then_end, then_trim = standing(prospects, after(prospects, picks), z)
    table = lines_table(prospects, z, {
        "end_u_before_mm": end, "end_u_after_mm": then_end, "trim_before_mm": trim, "trim_after_mm": then_trim,
    })  # fmt: skip
    bent = sum(o.counts for o in shop.offcuts)
    return Plan(offcuts, table, plan_sentence(prospects, offcuts, table, bent=bent, target_trim_mm=target_trim_mm))


def _best_set(
    prospects: Prospects, most: int, *, enough: Callable[[np.ndarray], bool] | None = None, exchange: bool = True
) -> list[int]:
    """Up to `most` pieces, until it is enough: the best at each turn, then exchanged; the best first."""
    covariance, unbent, picks, allowed = prospects.covariance, prospects.unbent(), [], []
    effort = effort_of(prospects)
    design, noise, aim = prospects.design, prospects.noise, prospects.weighted_aim
    while len(picks) < most and (unbent or enough is None or not enough(covariance)):
        tick("Choosing offcuts", len(picks), most)
        may = _of_pairs(prospects, unbent)
        each = gains(covariance, design, noise, aim=aim) / effort
        best = int(np.argmax(np.where(may, each, -1.0)))
        pair = prospects.table.bender[best], prospects.table.tube[best]
        # The first piece of a line's own tube may be exchanged for another of that tube only.
        allowed.append(_of_pairs(prospects, {pair} & unbent))
        unbent = unbent - {pair}
        picks.append(best)
        covariance = updated(covariance, design[best], noise[best])
    if exchange and picks:
        found = exchanged(design, noise, prospects.covariance, np.array(picks), aim=aim, effort=effort, allowed=np.array(allowed))
        # What is better for all lines together can be worse for the one that has to come below its target.
        if enough is None or enough(found.covariance) or not enough(covariance):
            picks = found.picks.tolist()
    return picks


def _of_pairs(prospects: Prospects, only: set[tuple[str, str]]) -> np.ndarray:
    """(N,) which candidates are of these pairs; all of them where none is named."""
    return np.array([not only or pair in only for pair in zip(prospects.table.bender, prospects.table.tube, strict=True)])


def _check(**numbers: float | None) -> None:
    for name, value in numbers.items():
        if value is not None and not value >= 0:
            raise ValueError(f"{name} is {value}; it must be 0 or more.")


def _allowance(chance: float) -> float:
    """How many standard uncertainties of spare tube are enough with that probability."""
    if not 0.5 <= chance < 1:
        raise ValueError(f"chance is {chance}; it must be at least 0.5 and less than 1, such as 0.95.")
    return float(ndtri(chance))
