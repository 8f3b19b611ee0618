"""An invented hand bender with an invented tube in it: what the dial says and what comes out.

The dial of a loaded bender reads

    dial = zero + gain · φ + give · M + bow · (1 − ((φ − 67.5) / 52.5)²) + drift · (bends made)

with φ the loaded angle and M the tube's moment: the lever gives in proportion to the pull. On
release the tube unloads elastically and keeps its neutral length, so θ = φ · R_die / R with
R_die / R = 1 − M · R_die / (E · I). Nothing of this is taken from the kit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .section import FlowLaw, moment_nmm, second_moment_mm4

LOW_DEG, HIGH_DEG = 15.0, 120.0  # the span over which a bender's law is drawn as a straight line


@dataclass(frozen=True)
class InventedTube:
    """One lot of tube. `wall_mm` is what it is sold as; lengths in mm, e in GPa.

    wall_error_mm: the lot's mean wall minus `wall_mm`; wall_sd_mm, flow_sd: from specimen to
    specimen (flow_sd is relative, log-normal); stretch: what the tube adds to the bender's own;
    slip_mm: how far this tube moves in the clamp before it bends, added to the mark offset.
    """

    tube: str
    alloy: str
    od_mm: float
    wall_mm: float
    e_gpa: float
    flow: FlowLaw
    wall_error_mm: float = 0.0
    wall_sd_mm: float = 0.015
    flow_sd: float = 0.02
    stretch: float = 0.0
    slip_mm: float = 0.0
    temper: str = ""
    note: str = ""


@dataclass(frozen=True)
class InventedBender:
    """One bender with one die, and its operator's scatter.

    die_radius_mm is the truth, stated_radius_mm what the shop writes down (None: the truth
    rounded to half a millimetre). setting_sd_deg: how well the operator stops at a dial angle;
    marking_sd_mm: how well the mark is drawn and brought to the reference.
    """

    bender: str
    die_radius_mm: float
    mark_offset_mm: float = 0.0
    dial_zero_deg: float = 0.0
    dial_gain: float = 1.0
    give_deg_per_nm: float = 0.0
    dial_bow_deg: float = 0.0
    drift_deg_per_bend: float = 0.0
    stretch: float = 0.01
    setting_sd_deg: float = 0.35
    marking_sd_mm: float = 0.3
    stated_radius_mm: float | None = None
    dial_step_deg: float | None = 1.0
    dial_max_deg: float | None = 180.0
    min_leg_mm: float | None = None
    min_between_mm: float | None = None
    min_last_mm: float | None = None
    note: str = ""

    @property
    def radius_on_paper_mm(self) -> float:
        """The die radius as the shop's file has it."""
        if self.stated_radius_mm is not None:
            return self.stated_radius_mm
        return round(2 * self.die_radius_mm) / 2

    def dial_at(self, loaded_deg, moment_nm, made=0):
        """What the dial reads at a loaded angle, with a moment in the tube."""
        loaded = np.asarray(loaded_deg, dtype=float)
        bow = self.dial_bow_deg * (1 - ((loaded - 67.5) / 52.5) ** 2)
        straight = self.dial_zero_deg + self.dial_gain * loaded
        return (
            straight + bow + self.give_deg_per_nm * np.asarray(moment_nm) + self.drift_deg_per_bend * np.asarray(made)
        )

    def loaded_at(self, dial_deg, moment_nm, made=0):
        """The loaded angle at a dial reading: dial_at the other way round, by Newton's rule."""
        loaded = np.asarray(dial_deg, dtype=float) + 0.0 * np.asarray(moment_nm)
        for _ in range(50):
            slope = self.dial_gain - 2 * self.dial_bow_deg * (loaded - 67.5) / 52.5**2
            step = (self.dial_at(loaded, moment_nm, made) - dial_deg) / slope
            loaded = loaded - step
            if np.max(np.abs(step), initial=0.0) < 1e-12:
                break
        return loaded


@dataclass(frozen=True)
class Bends:
    """Bends as they really are, one entry each: start_mm is where the arc begins, less the mark."""

    angle_deg: np.ndarray
    radius_mm: np.ndarray
    developed_radius_mm: np.ndarray
    start_mm: np.ndarray


@dataclass(frozen=True)
class TrueLaw:
    """The five true numbers, in the order in which the kit gives them."""

    a_deg: float
    b: float
    radius_mm: float
    developed_radius_mm: float
    mark_offset_mm: float

    @property
    def numbers(self) -> np.ndarray:
        """(a, b, R, λ, m)."""
        return np.array([self.a_deg, self.b, self.radius_mm, self.developed_radius_mm, self.mark_offset_mm])

    def angle_deg(self, dial_deg):
        """Finished angle at a dial angle."""
        return self.a_deg + self.b * np.asarray(dial_deg, dtype=float)

    def dial_deg(self, angle_deg):
        """Dial angle for a finished angle."""
        return (np.asarray(angle_deg, dtype=float) - self.a_deg) / self.b


def springback(bender: InventedBender, tube: InventedTube, *, factor=1.0, wall_mm=None):
    """(R_die / R, moment [N·m]) for specimens with a flow factor and a wall; None: the lot's mean.

    >>> soft = InventedTube("t", "a", 5.0, 0.7, 200.0, FlowLaw("perfect", (1e-9,)))
    >>> round(float(springback(InventedBender("b", 20.0), soft)[0]), 6)  # no strength, no springback
    1.0
    """
    wall = tube.wall_mm + tube.wall_error_mm if wall_mm is None else wall_mm
    e_mpa = 1000 * tube.e_gpa
    moment = moment_nmm(tube.od_mm, wall, bender.die_radius_mm, e_mpa=e_mpa, flow=tube.flow, factor=factor)
    ratio = 1 - moment * bender.die_radius_mm / (e_mpa * second_moment_mm4(tube.od_mm, wall))
    return ratio, moment / 1000


def bend(bender: InventedBender, tube: InventedTube, dial_deg, rng=None, *, made=0, one_specimen=False) -> Bends:
    """Make a bend at each dial angle; without `rng` every specimen, setting and mark is the mean one.

    dial_deg : dial angles asked for, shape (k,) [deg]
    rng : numpy Generator or RandomState
    made : bends made before the first of these, for the operator's drift
    one_specimen : all bends in the same piece of tube (a line), not one piece each (offcuts)
    """
    dial = np.atleast_1d(np.asarray(dial_deg, dtype=float))
    count = len(dial)
    mean_wall = tube.wall_mm + tube.wall_error_mm
    if rng is None:
        factor, wall = np.ones(count), np.full(count, mean_wall)
        setting = marking = np.zeros(count)
    else:
        pieces = 1 if one_specimen else count
        factor = np.broadcast_to(np.exp(tube.flow_sd * rng.normal(size=pieces)), count)
        wall = np.broadcast_to(mean_wall + tube.wall_sd_mm * rng.normal(size=pieces), count)
        setting = bender.setting_sd_deg * rng.normal(size=count)
        marking = bender.marking_sd_mm * rng.normal(size=count)
    ratio, moment = springback(bender, tube, factor=factor, wall_mm=wall)
    loaded = bender.loaded_at(dial + setting, moment, made + np.arange(count))
    radius = bender.die_radius_mm / ratio
    return Bends(
        angle_deg=loaded * ratio,
        radius_mm=radius,
        developed_radius_mm=radius * (1 - bender.stretch - tube.stretch),
        start_mm=bender.mark_offset_mm + tube.slip_mm + marking,
    )


def true_law(bender: InventedBender, tube: InventedTube) -> TrueLaw:
    """The law of the mean specimen, fresh operator: the straight line that fits 15 … 120° on the dial best.

    Where the dial has no bow this is no fit: the finished angle is a straight line then.
    """
    dial = np.linspace(LOW_DEG, HIGH_DEG, 211)
    angle = bender.loaded_at(dial, springback(bender, tube)[1]) * springback(bender, tube)[0]
    b, middle = np.polyfit(dial - dial.mean(), angle, 1)
    one = bend(bender, tube, [90.0])
    return TrueLaw(
        a_deg=float(middle - b * dial.mean()),
        b=float(b),
        radius_mm=float(one.radius_mm[0]),
        developed_radius_mm=float(one.developed_radius_mm[0]),
        mark_offset_mm=float(one.start_mm[0]),
    )
