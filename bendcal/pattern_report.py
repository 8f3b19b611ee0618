"""A measured pattern as small tables in plain words: what was measured, the shape it makes, how the readings fit."""

from __future__ import annotations

import numpy as np

from bendcal.estimate import Estimate
from bendcal.layout import TextTable
from bendcal.pattern import AdjustedPattern, Angle, Datum, Direction, Distance, Pattern, Point, Twist, readings_of, short_name
from bendcal.pattern.observations import Observation

__all__ = ["fit_table", "pattern_table", "shape_table"]


def pattern_table(pattern: Pattern) -> TextTable:
    """The measurements of a line as they were written down, set aside or not.

    Parameters
    ----------
    pattern : what :func:`bendcal.files.patterns.read_pattern` returned

    Examples
    --------
    >>> from bendcal.pattern import Leg
    >>> pattern_table(Pattern([Leg("A", 1, 80, 0.5), Angle(1, 90, 0.5), Leg(1, "B", 70, 0.5)]))
    measured    value  give or take
    leg A to 1  80 mm        0.5 mm
    angle 1       90°          0.5°
    leg 1 to B  70 mm        0.5 mm
    """
    rows = pattern.observations
    return TextTable({
        "measured": [short_name(seen) for seen in rows],
        "value": [_value(seen) for seen in rows],
        "give or take": [_spread(seen) for seen in rows],
        "set aside": [seen.set_aside for seen in rows],
    })  # fmt: skip


def shape_table(adjusted: AdjustedPattern) -> TextTable:
    """Legs, angles and twists of the best shape, each with its 95 % range; from end A on, a row for each place.

    Parameters
    ----------
    adjusted : what :func:`bendcal.pattern.adjust_pattern` returned
    """
    legs = adjusted.legs
    places = [*map(str, range(1, legs.bends + 1)), "B"]
    twists = _both(adjusted.twist_deg)
    return TextTable({
        "to": places,
        "leg mm": _both(adjusted.leg_mm),
        "angle °": [*_both(adjusted.angle_deg), ""],
        "twist before °": ["", *twists[1:], ""] if legs.bends else [""],
    })  # fmt: skip


def fit_table(adjusted: AdjustedPattern) -> TextTable:
    """How far each reading is from what all the others say, the farthest first.

    Parameters
    ----------
    adjusted : what :func:`bendcal.pattern.adjust_pattern` returned
    """
    rows = sorted(readings_of(adjusted), key=lambda row: -abs(row.times) if np.isfinite(row.times) else 0.0)
    return TextTable({
        "measured": [row.name for row in rows],
        "off what the others say": [_signed(row.off, row.unit) if np.isfinite(row.times) else "not checked" for row in rows],
        "times the uncertainty": [f"{abs(row.times):.1f}" if np.isfinite(row.times) else "" for row in rows],
        "": ["does not fit" if row.suspect else "" for row in rows],
    })  # fmt: skip


def _both(estimate: Estimate) -> list[str]:
    """Each value with half its 95 % range."""
    value, half = np.atleast_1d(estimate.value), np.atleast_1d(estimate.interval(0.95)[1]) - np.atleast_1d(estimate.value)
    return [f"{_number(v)} ± {h:.1f}" for v, h in zip(value, half, strict=True)]


def _number(value: float) -> str:
    return f"{round(float(value), 1) + 0.0:.1f}".replace("-", "−")


def _signed(value: float, unit: str) -> str:
    text = f"{value:+.1f}".replace("-", "−")
    return f"{text.lstrip('+−') if float(f'{value:.1f}') == 0 else text}{unit}"


def _value(seen: Observation) -> str:
    if isinstance(seen, Distance):
        return f"{seen.mm:g} mm"
    if isinstance(seen, (Angle, Twist)):
        return f"{seen.deg:g}°".replace("-", "−")
    if isinstance(seen, Direction):
        return f"({seen.x:g}, {seen.y:g}, {seen.z:g})".replace("-", "−")
    told = ", ".join(f"{axis} {value:g}" for axis, value in zip("xyz", seen.xyz_mm, strict=True) if value is not None)
    return f"{told} mm".replace("-", "−")


def _spread(seen: Observation) -> str:
    if isinstance(seen, (Angle, Twist, Direction)):
        return f"{seen.sd_deg:.2g}°"
    if isinstance(seen, Datum) and seen.sd_mm == 0:
        return ""
    return f"{seen.sd_mm:.2g} mm" if isinstance(seen, (Distance, Point)) else ""
