"""Shops drawn from the kit's own prior, so that what they truly are is known."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import brentq

from bendcal.benders import Bender
from bendcal.bow import bow_at, bow_shape
from bendcal.materials import ALLOYS
from bendcal.offcuts import Offcut
from bendcal.prior import WIDTHS, pool_of
from bendcal.shop import Shop
from bendcal.tools import Tool
from bendcal.tubes import Tube

__all__ = ["DrawnShop", "draw_from_prior", "with_reading"]

_ALLOYS = ("copper-nickel 90/10", "low-carbon steel", "stainless 304", "copper")
_SIZES = ((4.76, 0.71), (6.35, 0.71), (8.0, 1.0))
_TOOLS = {"protractor": Tool("protractor", "angle", 0.0, 0.4), "rule": Tool("rule", "length", 0.0, 0.3)}


@dataclass(frozen=True, eq=False)
class DrawnShop:
    """A shop, the true law of each pair (5,), its bender's bow and the bow's shape, and the true scatter of one bend [deg]."""

    shop: Shop
    truth: dict[tuple[str, str], np.ndarray]
    bow_deg: dict[str, float]
    bow_shape: dict[str, tuple[float, float, float]]
    scatter_deg: float

    def mean_angle(self, pair: tuple[str, str], dial_deg: float) -> float:
        """The angle about which the bender's next bends at `dial_deg` finish."""
        law = self.truth[pair]
        return float(law[0] + law[1] * dial_deg + self.bow_deg[pair[0]] * bow_at(self.bow_shape[pair[0]], dial_deg))

    def dial_for(self, pair: tuple[str, str], angle_deg: float) -> float:
        """The setting whose bends finish at `angle_deg` on average."""
        near = angle_deg / self.truth[pair][1]
        return float(brentq(lambda dial: self.mean_angle(pair, dial) - angle_deg, near - 20.0, near + 20.0))


def draw_from_prior(rng, *, tubes: int = 2, per_pair: int = 4, benders: int = 1, blunders: bool = False) -> DrawnShop:
    """One shop with every cause, scale and reading drawn from the model, blunders on demand."""
    w = WIDTHS
    kinds = {f"tube {i}": Tube(f"tube {i}", ALLOYS[_ALLOYS[i % 4]], *_SIZES[i // 2 % 3]) for i in range(tubes)}
    makers = {f"bender {j}": Bender(f"bender {j}", 16.0 + 4 * j) for j in range(benders)}
    pairs = [(b, t) for b in makers for t in kinds]
    pool = pool_of(Shop(benders=makers, tubes=kinds), pairs)
    beta = rng.normal(size=pool.owner_variance.shape) * np.sqrt(pool.owner_variance)
    flow = rng.normal(size=tubes) * np.sqrt(pool.kind_variance)
    own = np.exp(w.own_log_sd * rng.normal())
    reading = np.exp(w.reading_log_sd * rng.normal())
    scatter = w.scatter_deg * np.exp(w.scatter_log_sd * rng.normal())
    truth, offcuts, bow = {}, [], {}
    # What a bow is told against is the line through the settings that were bent, so these come first.
    dials = {pair: [float(round(rng.uniform(20, 120))) for _ in range(per_pair)] for pair in pairs}
    shape = {b: bow_shape([d for pair in pairs if pair[0] == b for d in dials[pair]]) for b in makers}
    for k, pair in enumerate(pairs):
        law = pool.centre[k] + pool.by_owner[k] @ beta[pool.owner[k]] + pool.by_kind[k] * flow[pool.kind[k]]
        law[:5] += own * np.linalg.cholesky(pool.own[k, :5, :5]) @ rng.normal(size=5)
        truth[pair], bow[pair[0]] = law[:5], law[5]
        for i in range(per_pair):
            dial = dials[pair][i]
            still = (tubes - k % tubes) * per_pair - i  # bends until the bender's next
            theta = law[0] + law[1] * dial + law[5] * bow_at(shape[pair[0]], dial) - law[6] * still + scatter * rng.normal()
            tan, length_u = np.tan(np.radians(theta) / 2), 0.3 * reading
            slip = np.hypot(0.3, w.marking_sd_mm) * reading * rng.normal()
            # Both middle lines beside their legs: the apex moves along the legs.
            beside = w.crossing_sd_mm * reading * rng.normal(size=2) / np.sin(np.radians(max(theta, 5.0)))
            across = np.cos(np.radians(theta))
            angle = theta + 0.4 * reading * rng.normal()
            leg_a = 100 + law[4] + law[2] * tan + slip + beside[0] - across * beside[1] + length_u * rng.normal()
            leg_b = 120 - law[4] - law[3] * np.radians(theta) + law[2] * tan - slip + beside[1] - across * beside[0] + length_u * np.sqrt(2) * rng.normal()
            noted = dial
            if blunders:
                stray = rng.uniform() / w.blunder_chance
                noted += w.blunder_dial_deg * rng.normal() / law[1] * (4 <= stray < 5)
                angle += w.blunder_angle_deg * rng.normal() * (stray < 1)
                leg_a += w.blunder_leg_mm * rng.normal() * (1 <= stray < 2 or 3 <= stray < 4)
                leg_b += w.blunder_leg_mm * rng.normal() * (2 <= stray < 4)
            offcuts.append(Offcut(
                f"{k}-{i}", *pair, 220.0, 100.0, noted, angle, leg_a, leg_b, angle_tool="protractor", length_tool="rule",
            ))  # fmt: skip
    return DrawnShop(Shop(benders=makers, tubes=kinds, offcuts=tuple(offcuts), tools=_TOOLS), truth, bow, shape, scatter)


def with_reading(shop: Shop, offcut: str, **changed) -> Shop:
    """The same shop, one piece's readings replaced."""
    return replace(shop, offcuts=tuple(replace(o, **changed) if o.offcut == offcut else o for o in shop.offcuts))
