"""One bender, one tube, one line with six bends in space, and a law with known uncertainty."""

import numpy as np

from bendcal.benders import Bender
from bendcal.calibration import Calibration
from bendcal.law import Law
from bendcal.lines import line_from_legs
from bendcal.materials import ALLOYS
from bendcal.path import Legs
from bendcal.shop import Shop
from bendcal.tubes import Tube

__all__ = ["CAL", "LAW", "LEGS", "SHOP", "line"]

_ROOT = np.diag([0.4, 0.004, 0.2, 0.2, 0.2])
_ROOT[1, 0] = -0.003
LAW = Law.of(
    "small", "steel", [-1.5, 0.97, 16.0, 15.6, 2.5], _ROOT @ _ROOT.T, scatter_deg=0.4, marking_mm=0.3, n_offcuts=6,
    dial_range_deg=(15.0, 125.0), angle_range_deg=(12.0, 120.0),
)  # fmt: skip
SHOP = Shop(benders={"small": Bender("small", 15.5)}, tubes={"steel": Tube("steel", ALLOYS["low-carbon steel"], 4.76, 0.71)})
CAL = Calibration({("small", "steel"): LAW}, None, (), (), "", "0")
LEGS = Legs([80, 90, 120, 300, 85, 95, 110], [90, 45, 60, 30, 100, 70], [0, 90, -60, 150, 180, -35])


def line(legs: Legs = LEGS, *, trim_at: str = "B"):
    """The line called `long` with these legs."""
    return line_from_legs("long", legs.leg_mm, legs.angle_deg, legs.twist_deg, tube="steel", bender="small", trim_at=trim_at)
