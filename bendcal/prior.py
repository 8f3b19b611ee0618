"""What is believed of benders and tubes before any offcut is bent, and what is shared with what.

Section mechanics says roughly how far a tube springs back and how its radius opens. The
rest is weak: wide numbers that a few readings outvote. Every one of them stands in
:class:`Widths`, with its reason, and can be changed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bendcal.inference.pooling import Pool
from bendcal.law import PARAMETERS
from bendcal.shop import Shop
from bendcal.springback import moment_nmm, springback_ratio

__all__ = ["CAUSES", "UNKNOWNS", "WIDTHS", "Widths", "pool_of"]

#: What belongs to a bender and is the same for every tube bent on it.
CAUSES = ("dial zero", "lever give", "dial gain", "die radius", "stretch", "mark offset", "dial bow", "drift")

#: What the fit works out for each bender with each tube: the five numbers of its law, then how
#: far its bender's dial is bowed, and how far its bends drift with each further one.
UNKNOWNS = (*PARAMETERS, "bow_deg", "drift_deg_per_bend")


@dataclass(frozen=True)
class Widths:
    """Standard deviations (and a few means) of the prior. Common practice unless a source is named.

    Attributes
    ----------
    dial_zero_deg : of a bender: where its dial stands at no bend; a cast or printed dial is
        a degree or two off
    give_deg_per_nm, give_sd_deg_per_nm : of a bender: how far lever and hinge wind up for each
        N·m that the tube resists; the dial shows it as bend
    dial_gain : of a bender: relative error of the dial's degrees; about 2° in 90°
    die_known : of a bender: relative error of a die radius that somebody measured
    die_diameters, die_unknown : if nobody did: a hand bender's radius in tube diameters
        (FAA AC 43.13-1B gives 3.5 for steel: memory) and its relative error
    stretch, stretch_sd : of a bender: 1 − λ/R, the neutral line lies a little inside the centreline
    offset_sd_mm : of a bender: the mark offset, of either sign; references differ
    dial_bow_deg : of a bender: how far its dial is bowed, in the middle over a chord from 15° to
        120°; half of a usual dial step
    drift_deg_per_bend : of a bender: how its bends come out a little further, or less far, with
        each further one, as joints wear and a hand gets used to it; 1° in 100 bends
    theory : of a tube: relative error of the springback that section mechanics predicts, on
        top of the alloy's own spread. Published comparisons find analytical models 14 to
        39 % off (Science Progress, 2020, doi 10.1177/0036850420984303, abstract read)
    own_a_deg, own_b, own_radius, own_stretch, own_offset_mm : of one bender with one tube: what
        neither explains, in the law's intercept, slope, radius (relative), λ/R and mark
        offset, all times one unknown scale of median 1
    own_log_sd : how well that scale is known
    scatter_deg, scatter_log_sd : one bend's finished angle at one setting: median, and sd of its log
    reading_log_sd : the tools' uncertainties, all times one unknown scale of median 1: sd of its log
    marking_sd_mm : drawing a mark and lining it up, for one bend
    crossing_sd_mm : how far beside its leg the middle line goes that is drawn or sighted to find
        the apex; where legs cross at a small angle this moves their crossing far
    blunder_chance : that a given reading of a piece is a blunder
    blunder_angle_deg, blunder_leg_mm, blunder_dial_deg : how far blunders stray
    """

    dial_zero_deg: float = 2.0
    give_deg_per_nm: float = 0.0
    give_sd_deg_per_nm: float = 0.15
    dial_gain: float = 0.02
    die_known: float = 0.03
    die_diameters: float = 3.5
    die_unknown: float = 0.35
    stretch: float = 0.02
    stretch_sd: float = 0.02
    offset_sd_mm: float = 15.0
    dial_bow_deg: float = 0.5
    drift_deg_per_bend: float = 0.01
    theory: float = 0.25
    own_a_deg: float = 0.25
    own_b: float = 0.004
    own_radius: float = 0.01
    own_stretch: float = 0.007
    own_offset_mm: float = 0.4
    own_log_sd: float = 0.5
    scatter_deg: float = 0.4
    scatter_log_sd: float = 0.5
    reading_log_sd: float = 0.2
    marking_sd_mm: float = 0.3
    crossing_sd_mm: float = 0.2
    blunder_chance: float = 0.01
    blunder_angle_deg: float = 20.0
    blunder_leg_mm: float = 10.0
    blunder_dial_deg: float = 45.0


WIDTHS = Widths()


def pool_of(shop: Shop, pairs: Sequence[tuple[str, str]], widths: Widths = WIDTHS) -> Pool:
    """The joint prior of the laws of several pairs: which causes they share and how far each reaches.

    Section mechanics enters as a straight line about the die's nominal radius and the
    alloy's table: it is only good to some 25 %, and a straight line keeps the fit exact.

    Parameters
    ----------
    shop : its benders and tubes
    pairs : (bender, tube) names
    widths : the weak numbers

    Returns
    -------
    bendcal.inference.pooling.Pool; owners are the benders with the causes of :data:`CAUSES`, kinds are
    the tubes with the relative error of their flow stress
    """
    benders = list(dict.fromkeys(bender for bender, _ in pairs))
    tubes = list(dict.fromkeys(tube for _, tube in pairs))
    die_mm = {name: _die_mm(shop, name, [t for b, t in pairs if b == name], widths) for name in benders}
    k = len(pairs)
    size = len(UNKNOWNS)
    centre, by_owner, by_kind = np.zeros((k, size)), np.zeros((k, size, len(CAUSES))), np.zeros((k, size))
    own = np.zeros((k, size, size))
    for i, (bender, tube) in enumerate(pairs):
        centre[i, :5], by_owner[i, :5], by_kind[i, :5], own[i, :5, :5] = _one_pair(shop, die_mm[bender], tube, widths)
        by_owner[i, 5, 6] = by_owner[i, 6, 7] = 1.0
    die_sd = [widths.die_known if shop.benders[name].die_radius_mm else widths.die_unknown for name in benders]
    variance = np.array([
        [widths.dial_zero_deg, widths.give_sd_deg_per_nm, widths.dial_gain, sd, widths.stretch_sd, widths.offset_sd_mm,
         widths.dial_bow_deg, widths.drift_deg_per_bend]
        for sd in die_sd
    ])  # fmt: skip
    flow = np.array([np.hypot(widths.theory, shop.tubes[name].alloy.flow_spread) for name in tubes])
    return Pool(
        centre=centre, owner=np.array([benders.index(b) for b, _ in pairs]), kind=np.array([tubes.index(t) for _, t in pairs]),
        by_owner=by_owner, by_kind=by_kind, owner_variance=variance**2, kind_variance=flow**2, own=own,
    )  # fmt: skip


def _die_mm(shop: Shop, bender: str, tubes: Sequence[str], widths: Widths) -> float:
    """The die's nominal radius: what was measured, or a usual one for the tubes bent on it (one die for all)."""
    known = shop.benders[bender].die_radius_mm
    return known or widths.die_diameters * float(np.exp(np.mean(np.log([shop.tubes[name].od_mm for name in tubes]))))


def _one_pair(shop: Shop, die: float, tube_name: str, widths: Widths):
    """Of a law: centre (5,), by bender (5, 8), by the tube's flow stress (5,), own covariance (5, 5)."""
    tube = shop.tubes[tube_name]
    step = 1e-4
    ratio = float(springback_ratio(tube, die))
    by_die = float(springback_ratio(tube, die * (1 + step)) - springback_ratio(tube, die * (1 - step))) / (2 * step)
    moment_nm = float(moment_nmm(tube, die)) / 1000
    radius, kept = die / ratio, 1.0 - widths.stretch
    back = 1.0 - ratio
    radius_by_die = radius * (1.0 - by_die / ratio)
    centre = np.array([-ratio * widths.give_deg_per_nm * moment_nm, ratio, radius, kept * radius, 0.0])
    by_owner = np.zeros((5, len(CAUSES)))
    by_owner[0, 0] = by_owner[1, 2] = ratio
    by_owner[0, 1] = -ratio * moment_nm
    by_owner[1:4, 3] = by_die, radius_by_die, kept * radius_by_die
    by_owner[3, 4], by_owner[4, 5] = -radius, 1.0
    opens = radius * back / ratio
    by_kind = np.array([-ratio * widths.give_deg_per_nm * moment_nm, -back, opens, kept * opens, 0.0])
    causes = np.zeros((5, 5))
    causes[0, 0], causes[1, 1], causes[4, 4] = widths.own_a_deg, widths.own_b, widths.own_offset_mm
    causes[2, 2], causes[3, 2], causes[3, 3] = radius * widths.own_radius, kept * radius * widths.own_radius, radius * widths.own_stretch
    return centre, by_owner, by_kind, causes @ causes.T
