"""Three invented shops on which the fit is held against the recorded NUTS runs."""

from __future__ import annotations

import numpy as np

from bendcal.benders import Bender
from bendcal.materials import ALLOYS
from bendcal.offcuts import Offcut
from bendcal.shop import Shop
from bendcal.tools import Tool
from bendcal.tubes import Tube

__all__ = ["SHOPS"]

_TOOLS = {"protractor": Tool("protractor", "angle", 0.5, 0.4), "rule": Tool("rule", "length", 0.5, 0.3)}
_TUBES = {
    "nickel": Tube("nickel", ALLOYS["copper-nickel 90/10"], 4.76, 0.71),
    "steel": Tube("steel", ALLOYS["low-carbon steel"], 4.76, 0.71),
    "wide": Tube("wide", ALLOYS["copper-nickel 90/10"], 6.35, 0.71),
}


def _shop(seed: int, benders: list[Bender], laws: dict, dials: dict, *, legs: bool = True) -> Shop:
    """Readings by the three equations of an offcut, with scatter 0.4° and the tools above."""
    rng = np.random.default_rng(seed)
    offcuts = []
    for (bender, tube), (a, b, radius, developed, offset) in laws.items():
        for dial in dials[bender, tube]:
            theta = a + b * dial + rng.normal(0, 0.4)
            tan, slip = np.tan(np.radians(theta) / 2), rng.normal(0, 0.4)
            leg_a = 100 + offset + radius * tan + slip + rng.normal(0, 0.33)
            leg_b = 120 - offset - developed * np.radians(theta) + radius * tan - slip + rng.normal(0, 0.46)
            offcuts.append(Offcut(
                str(len(offcuts) + 1), bender, tube, 220.0, 100.0, float(dial), round(2 * (theta + rng.normal(0, 0.4))) / 2,
                round(2 * leg_a) / 2 if legs else None, round(2 * leg_b) / 2 if legs else None,
                angle_tool="protractor", length_tool="rule",
            ))  # fmt: skip
    return Shop(benders={b.bender: b for b in benders}, tubes=_TUBES, offcuts=tuple(offcuts), tools=_TOOLS)


def few_with_a_blunder() -> Shop:
    """One bender, two tubes, three offcuts each; one angle has its digits swapped."""
    laws = {("small", "nickel"): (-1.2, 0.975, 15.6, 15.2, 3.0), ("small", "steel"): (-1.6, 0.968, 15.8, 15.4, 3.2)}
    dials = {("small", "nickel"): [35, 75, 110], ("small", "steel"): [30, 60, 105]}
    shop = _shop(1, [Bender("small", 15.0)], laws, dials)
    pieces = list(shop.offcuts)
    wrong = pieces[4]
    swapped = Offcut(**{**wrong.__dict__, "angle_deg": 75.0})
    return Shop(benders=shop.benders, tubes=shop.tubes, tools=shop.tools, offcuts=(*pieces[:4], swapped, *pieces[5:]))


def crossed() -> Shop:
    """Two benders, three tubes, five of the six pairs bent, two to four offcuts each; one die unknown."""
    laws = {
        ("small", "nickel"): (-0.8, 0.978, 15.5, 15.1, 2.0), ("small", "steel"): (-1.1, 0.972, 15.7, 15.3, 2.2),
        ("large", "nickel"): (1.0, 0.955, 20.9, 20.3, -4.0), ("large", "steel"): (0.6, 0.948, 21.2, 20.6, -3.8),
        ("large", "wide"): (0.2, 0.962, 20.8, 20.2, -4.1),
    }  # fmt: skip
    dials = {
        ("small", "nickel"): [25, 60, 90, 120], ("small", "steel"): [45, 95], ("large", "nickel"): [40, 100],
        ("large", "steel"): [30, 75, 115], ("large", "wide"): [50, 92],
    }  # fmt: skip
    return _shop(2, [Bender("small", 15.0), Bender("large")], laws, dials)


def angles_only() -> Shop:
    """One bender of unknown die, three tubes, a single offcut of one of them, and no leg measured."""
    laws = {
        ("small", "nickel"): (-1.2, 0.975, 15.6, 15.2, 3.0), ("small", "steel"): (-1.6, 0.968, 15.8, 15.4, 3.2),
        ("small", "wide"): (-1.0, 0.982, 15.4, 15.0, 3.0),
    }  # fmt: skip
    dials = {("small", "nickel"): [30, 60, 90, 120], ("small", "steel"): [40, 80, 115], ("small", "wide"): [70]}
    return _shop(3, [Bender("small")], laws, dials, legs=False)


SHOPS = {"few_with_a_blunder": few_with_a_blunder, "crossed": crossed, "angles_only": angles_only}
