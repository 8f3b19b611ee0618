"""What is believed of a bender with a tube before any offcut is bent.

Section mechanics says roughly how far a tube springs back and how its radius opens. The
rest is weak: wide numbers that a few readings outvote. Every one of them stands in
:class:`Widths`, with its reason, and can be changed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bendcal.benders import Bender
from bendcal.springback import springback_ratio
from bendcal.tubes import Tube

__all__ = ["WIDTHS", "LawPrior", "Widths", "law_prior"]


@dataclass(frozen=True)
class Widths:
    """Standard deviations (and a few means) of the prior. Common practice unless a source is named.

    Attributes
    ----------
    dial_zero_deg : where the dial stands at no bend; a cast or printed dial is a few degrees off
    dial_gain : relative error of the dial's degrees; about 2° in 90°
    theory : relative error of the springback that section mechanics predicts. Published
        comparisons find analytical models 14 to 39 % off (Science Progress, 2020,
        doi 10.1177/0036850420984303, abstract read)
    die_known : relative error of a die radius that somebody measured
    die_diameters, die_unknown : if nobody did: a hand bender's radius in tube diameters
        (FAA AC 43.13-1B gives 3.5 for steel: memory) and its relative error
    radius_own : relative difference of a finished radius from die radius over springback ratio
    stretch, stretch_sd : 1 − λ/R: the neutral line lies a little inside the centreline
    offset_sd_mm : the mark offset, of either sign; references differ by bender
    scatter_median_deg, scatter_log_sd : one bend's finished angle at one setting
    marking_sd_mm : drawing a mark and lining it up, for one bend
    """

    dial_zero_deg: float = 2.5
    dial_gain: float = 0.02
    theory: float = 0.30
    die_known: float = 0.03
    die_diameters: float = 3.5
    die_unknown: float = 0.35
    radius_own: float = 0.03
    stretch: float = 0.02
    stretch_sd: float = 0.02
    offset_sd_mm: float = 15.0
    scatter_median_deg: float = 0.4
    scatter_log_sd: float = 0.5
    marking_sd_mm: float = 0.3


WIDTHS = Widths()


@dataclass(frozen=True, eq=False)
class LawPrior:
    """Mean (5,) and covariance (5, 5) of a law's parameters, in the order of ``law.PARAMETERS``."""

    mean: np.ndarray
    covariance: np.ndarray


def law_prior(bender: Bender, tube: Tube, widths: Widths = WIDTHS) -> LawPrior:
    """The prior of the law of one bender with one tube.

    Parameters
    ----------
    bender : its die radius may be unknown
    tube : its section and alloy give the springback
    widths : the weak numbers

    Returns
    -------
    LawPrior; the five numbers move together as mechanics ties them: a stronger tube has a
    smaller b and a larger R, a larger die a smaller b and a larger R

    Examples
    --------
    >>> from bendcal.materials import ALLOYS
    >>> tube = Tube("brake", ALLOYS["low-carbon steel"], 4.76, 0.71)
    >>> prior = law_prior(Bender("small", die_radius_mm=15.0), tube)
    >>> bool(0.85 < prior.mean[1] < 1.0)
    True
    """
    die = bender.die_radius_mm or widths.die_diameters * tube.od_mm
    die_sd = widths.die_known if bender.die_radius_mm else widths.die_unknown
    flow_sd = np.hypot(widths.theory, tube.alloy.flow_spread)

    def radius_and_ratio(log_die: float, log_flow: float) -> np.ndarray:
        ratio = springback_ratio(tube, die * np.exp(log_die), flow=np.exp(log_flow))
        return np.array([die * np.exp(log_die) / ratio, ratio])

    step = 1e-4
    radius, ratio = radius_and_ratio(0.0, 0.0)
    by_die = (radius_and_ratio(step, 0.0) - radius_and_ratio(-step, 0.0)) / (2 * step)
    by_flow = (radius_and_ratio(0.0, step) - radius_and_ratio(0.0, -step)) / (2 * step)
    kept = 1.0 - widths.stretch
    # One column for each independent cause: zero, gain, die, flow stress, radius, stretch, offset.
    causes = np.zeros((5, 7))
    causes[0, 0] = widths.dial_zero_deg
    causes[1, 1] = ratio * widths.dial_gain
    causes[1:4, 2] = die_sd * np.array([by_die[1], by_die[0], kept * by_die[0]])
    causes[1:4, 3] = flow_sd * np.array([by_flow[1], by_flow[0], kept * by_flow[0]])
    causes[2:4, 4] = radius * widths.radius_own * np.array([1.0, kept])
    causes[3, 5] = radius * widths.stretch_sd
    causes[4, 6] = widths.offset_sd_mm
    return LawPrior(np.array([0.0, ratio, radius, kept * radius, 0.0]), causes @ causes.T)
