"""A pattern: a line's shape from what can be measured of it, adjusted together by least squares."""

from bendcal.pattern.adjusted import (
    AdjustedPattern,
    Angle,
    Datum,
    Direction,
    Distance,
    Leg,
    Pattern,
    PatternFault,
    Point,
    Suspect,
    Twist,
    adjust_pattern,
)
from bendcal.pattern.judged import Reading, readings_of, short_name

__all__ = [
    "AdjustedPattern", "Angle", "Datum", "Direction", "Distance", "Leg", "Pattern", "PatternFault", "Point", "Reading",
    "Suspect", "Twist", "adjust_pattern", "readings_of", "short_name",
]  # fmt: skip
