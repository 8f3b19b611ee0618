"""How often the kit's intervals hold the truth: shops drawn from its own prior, and shops that it does not expect.

First shops drawn from the kit's own prior, blunders and all: what the fit computes must then be exactly
right, so each 95 % interval holds the truth 95 times in 100 and the truth's place in its posterior is
uniform (simulation-based calibration: Talts et al. 2018, arXiv 1804.06788, read).

Then shops from the independent simulator in tests/invented: other populations of benders and tubes, scatter and
wall that vary from specimen to specimen, readings rounded to half units; flow curves that are no power law,
dials that bow, an operator who drifts. There the prior is wrong, and the table says by how much the intervals
fall short and where.

    python tests/benchmarks/calibration_of_intervals.py [shops a row, 600]
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from scipy import stats

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from invented_kit import draw_from_prior  # noqa: E402

from bendcal.benders import Bender  # noqa: E402
from bendcal.calibration import calibrate  # noqa: E402
from bendcal.estimate import Estimate  # noqa: E402
from bendcal.law import PARAMETERS, Law  # noqa: E402
from bendcal.materials import alloy_for  # noqa: E402
from bendcal.offcuts import Offcut  # noqa: E402
from bendcal.shop import Shop  # noqa: E402
from bendcal.tools import Tool  # noqa: E402
from bendcal.tubes import Tube  # noqa: E402
from tests.invented import InventedShop, bend, draw_offcuts, draw_shop, springback  # noqa: E402

__all__ = ["ASKED", "LOW_DEG", "HIGH_DEG", "kit_shop", "own_prior", "place", "unexpected"]

#: What a person asks of a law.
ASKED = ("next bend", "dial_for", "take_up", "gain")
LOW_DEG, HIGH_DEG = 20.0, 120.0

#: Shops that the prior does not expect: what is told to the simulator.
UNEXPECTED = {
    "power law, straight dial": {},
    "four flow curves": {"kinds": ("power", "swift", "voce", "linear")},
    "dial bow 0.4 deg": {"bow_sd_deg": 0.4},
    "dial bow 1 deg": {"bow_sd_deg": 1.0},
    "drift 0.02 deg a bend": {"drift_sd_deg": 0.02},
    "all of these": {"kinds": ("power", "swift", "voce", "linear"), "bow_sd_deg": 1.0, "drift_sd_deg": 0.02},
}


def place(estimate: Estimate, truth: float) -> float:
    """Where the truth lies in what the estimate says: 0 below everything, 1 above, uniform if it is right.

    estimate : a scaled Student's t, as :meth:`Estimate.interval` has it
    """
    away = (truth - estimate.value) / estimate.u
    if not np.isfinite(estimate.dof):
        return float(stats.norm.cdf(away))
    return float(stats.t.cdf(away / np.sqrt((estimate.dof - 2) / estimate.dof), estimate.dof))


def take_up_and_gain(truth: np.ndarray, angle_deg: float) -> tuple[float, float]:
    """Mark to apex and gain of a true law (a, b, R, λ, m) by their definitions."""
    _, _, radius, developed, offset = truth
    tangent = radius * np.tan(np.radians(angle_deg) / 2)
    return offset + tangent, 2 * tangent - developed * np.radians(angle_deg)


def places(law: Law, truth: np.ndarray, *, dial_deg: float, finished_deg: float, target_deg: float, right_dial_deg: float) -> list[float]:
    """The truth's place in each answer of :data:`ASKED`."""
    take_up, gain = take_up_and_gain(truth, target_deg)
    return [
        place(law.finished_angle(dial_deg), finished_deg), place(law.dial_for(target_deg), right_dial_deg),
        place(law.take_up(target_deg), take_up), place(law.gain(target_deg), gain),
    ]  # fmt: skip


def own_prior(rng: np.random.Generator, shops: int, *, tubes: int, per_pair: int, blunders: bool = True) -> Iterator[list[float]]:
    """One drawn shop after another: the places of the four answers, then of the five parameters, of one of its laws.

    One law a shop, because laws of one bender err together. The answers are taken as `Estimate` has them, the
    parameters as normal with the law's means and standard deviations.
    """
    for _ in range(shops):
        drawn = draw_from_prior(rng, tubes=tubes, per_pair=per_pair, blunders=blunders)
        cal = calibrate(drawn.shop)
        pair = list(drawn.truth)[rng.integers(len(drawn.truth))]
        law, truth = cal.laws[pair], drawn.truth[pair]
        dial, target = rng.uniform(LOW_DEG, HIGH_DEG, size=2)
        asked = places(
            law, truth, dial_deg=dial, finished_deg=drawn.mean_angle(pair, dial) + drawn.scatter_deg * rng.normal(),
            target_deg=target, right_dial_deg=drawn.dial_for(pair, target),
        )  # fmt: skip
        sd = np.sqrt(np.diag(law.covariance))
        yield asked + [place(Estimate(law.parameters.iloc[i], sd[i]), truth[i]) for i in range(5)]


def kit_shop(invented: InventedShop, rows: list[dict]) -> Shop:
    """An invented shop as the kit would have read it from its folder."""
    return Shop(
        benders={b.bender: Bender(b.bender, die_radius_mm=b.radius_on_paper_mm) for b in invented.benders},
        tubes={t.tube: Tube(t.tube, alloy_for(t.alloy), t.od_mm, t.wall_mm) for t in invented.tubes},
        tools={t.tool: Tool(t.tool, t.measures, t.step, t.sd) for t in invented.tools},
        offcuts=tuple(Offcut(**row) for row in rows),
    )


def unexpected(rng: np.random.Generator, shops: int, *, per_pair: int, **draws) -> Iterator[list[float]]:
    """One invented bender with two tubes after another: dial [deg], then the places of the four answers for one law."""
    for _ in range(shops):
        invented = draw_shop(rng, 1, 2, **draws)
        cal = calibrate(kit_shop(invented, draw_offcuts(rng, invented, per_pair=per_pair)))
        bender, tube = invented.pairs[rng.integers(2)]
        made = 2 * per_pair  # the operator has drifted this far when the line is bent
        law = cal.law(bender.bender, tube.tube)
        dial, target = rng.uniform(LOW_DEG, HIGH_DEG, size=2)
        ratio, moment = springback(bender, tube)
        mean = bend(bender, tube, [90.0])
        truth = np.array([0.0, 1.0, mean.radius_mm[0], mean.developed_radius_mm[0], mean.start_mm[0]])
        yield [dial, target] + places(
            law, truth, dial_deg=dial, finished_deg=float(bend(bender, tube, [dial], rng, made=made).angle_deg[0]), target_deg=target,
            right_dial_deg=float(bender.dial_at(target / ratio, moment, made)),
        )  # fmt: skip


def held(placed: np.ndarray, level: float = 0.95) -> np.ndarray:
    """Per cent of the truths that lie within the central interval of this level, by column."""
    return 100 * (np.abs(placed - 0.5) < level / 2).mean(axis=0)


def main() -> None:
    """Print both tables."""
    shops = int(sys.argv[1]) if len(sys.argv) > 1 else 600
    noise = 100 * np.sqrt(0.95 * 0.05 / shops)
    print(f"Per cent of the truths within the 95 % (and 50 %) interval; {shops} shops a row, so ± {noise:.1f} is chance\n")
    head = f"{'':>34}" + "".join(f"{name:>16}" for name in ASKED)
    print("Drawn from the kit's own prior, one piece in twenty with a blunder\n" + head)
    every = []
    for tubes, per_pair in ((1, 1), (1, 2), (1, 3), (1, 6), (2, 3), (4, 2), (4, 4)):
        placed = np.array(list(own_prior(np.random.default_rng([1, tubes, per_pair]), shops, tubes=tubes, per_pair=per_pair)))
        every.append(placed)
        print(f"{tubes:>8} tubes, {per_pair} offcuts of each   " + _row(placed[:, :4]))
    together = np.concatenate(every)
    print(f"{'all':>34}" + _row(together[:, :4]))
    print(f"\nPlaces of the truth, {len(together)} laws, 20 bins (chi-squared of 19 degrees of freedom: 95 % below 30.1)")
    for name, column in zip(ASKED + PARAMETERS, together.T, strict=True):
        count = np.histogram(column, bins=20, range=(0, 1))[0]
        chi2, p = stats.chisquare(count)
        print(
            f"{name:>22}  chi2 {chi2:6.1f}  p {p:.3f}   sd {column.std():.4f} (0.2887)   "
            f"lowest and highest bin {count[0]} {count[-1]} ({count.sum() / 20:.0f})"
        )

    print("\nInvented benders that the prior does not expect, two tubes each\n" + head)
    for per_pair in (3, 8):
        for name, draws in UNEXPECTED.items():
            found = np.array(list(unexpected(np.random.default_rng([2, per_pair]), shops, per_pair=per_pair, **draws)))
            print(f"{name:>25}, {per_pair} each" + _row(found[:, 2:]))
            if draws.get("bow_sd_deg", 0) >= 1:
                for column, which in ((0, "next bend"), (1, "dial_for")):
                    for low, high in ((20, 45), (45, 95), (95, 120)):
                        part = found[(found[:, column] >= low) & (found[:, column] < high)]
                        rate = held(part[:, 2 + ASKED.index(which)][:, None])[0]
                        print(f"{'':>25}  {which} at {low} to {high} deg: {rate:.1f} of {len(part)}")


def _row(placed: np.ndarray) -> str:
    return "".join(f"{a:>9.1f} ({b:.1f})" for a, b in zip(held(placed), held(placed, 0.5), strict=True))


if __name__ == "__main__":
    main()
