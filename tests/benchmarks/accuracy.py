"""How near the finished angle comes when it is set by the law: bendcal beside other ways, in one run.

Invented benders from the independent simulator in tests/invented, seven tubes (lots) on each,
2, 3 or 4 offcuts a tube; then targets of 15° to 120° are set and the true mean angle is
compared. Printed as root mean square errors in degrees and as ratios to the best linear
estimator that knows the true population and each bender's true scatter.

    python tests/benchmarks/accuracy.py [benders per size, 100]
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from invented.bender import springback  # noqa: E402
from invented.offcuts import PROTRACTOR, RULE, bend_offcuts  # noqa: E402
from invented.shops import draw_bender, draw_tube  # noqa: E402

import bendcal  # noqa: E402
from bendcal.benders import Bender  # noqa: E402
from bendcal.materials import alloy_for  # noqa: E402
from bendcal.offcuts import Offcut  # noqa: E402
from bendcal.shop import Shop  # noqa: E402
from bendcal.tools import Tool  # noqa: E402
from bendcal.tubes import Tube  # noqa: E402

ALLOYS = ("copper-nickel 90/10", "low-carbon steel", "stainless 304", "copper", "copper-nickel 90/10", "low-carbon steel", "copper")
SIZES = ((4.76, 0.71), (6.35, 0.71), (7.94, 0.89))
TARGETS = np.linspace(15.0, 120.0, 22)
DIALS = {1: [70.0], 2: [30.0, 110.0], 3: [25.0, 70.0, 115.0], 4: [20.0, 55.0, 90.0, 120.0]}
TOOLS = {t.tool: Tool(t.tool, t.measures, t.step, t.sd) for t in (PROTRACTOR, RULE)}


def draw(rng, size, *, kinds=("power",), bow_sd_deg=0.0, drift_sd_deg=0.0):
    """One bender and its seven tubes."""
    od, wall = size
    bender = draw_bender(rng, 1, od_mm=od, wall_mm=wall, bow_sd_deg=bow_sd_deg, drift_sd_deg=drift_sd_deg)
    tubes = [
        draw_tube(rng, f"tube {i}", alloy=alloy, od_mm=od, wall_mm=wall, kind=kinds[rng.integers(len(kinds))])
        for i, alloy in enumerate(ALLOYS)
    ]
    return bender, tubes


def line_of(bender, tube) -> tuple[float, float]:
    """a and b of the mean specimen on a dial without bow."""
    ratio, moment = (float(v) for v in springback(bender, tube))
    slope = ratio / bender.dial_gain
    return -slope * (bender.dial_zero_deg + bender.give_deg_per_nm * moment), slope


def measure(rng, bender, tubes, dials, *, name: str = "bender") -> tuple[Shop, list[dict]]:
    """Bend and read the offcuts; returns them as a shop for bendcal and as plain arrays.

    dials : for all tubes, or one array for each
    """
    offcuts, arrays = [], []
    each = dials if isinstance(dials, list) else [dials] * len(tubes)
    for tube, dials in zip(tubes, each, strict=True):
        reach = np.round(60 + 3 * bender.die_radius_mm)
        columns = bend_offcuts(bender, tube, dials, 2 * reach, np.round(reach - 1.5 * bender.die_radius_mm), rng)
        arrays.append(columns)
        for i in range(len(dials)):
            offcuts.append(Offcut(
                f"{name} {len(offcuts) + 1}", name, tube.tube, *(float(columns[c][i]) for c in (
                    "length_mm", "mark_mm", "dial_deg", "angle_deg", "leg_a_mm", "leg_b_mm")),
                angle_tool=PROTRACTOR.tool, length_tool=RULE.tool,
            ))  # fmt: skip
    known = {t.tube: Tube(t.tube, alloy_for(t.alloy), t.od_mm, t.wall_mm) for t in tubes}
    maker = Bender(name, die_radius_mm=bender.stated_radius_mm)
    return Shop(benders={name: maker}, tubes=known, offcuts=tuple(offcuts), tools=TOOLS), arrays


def population(rng, size, count: int, **draws) -> tuple[np.ndarray, np.ndarray]:
    """Mean and covariance of (a, b) of the seven tubes over many benders."""
    every = []
    for _ in range(count):
        bender, tubes = draw(rng, size, **draws)
        every.append(np.ravel([line_of(bender, tube) for tube in tubes]))
    return np.mean(every, axis=0), np.cov(np.array(every).T)


def best_linear(mean, covariance, arrays, bender) -> np.ndarray:
    """(7, 2) laws by linear minimum-mean-square estimation from the angle readings."""
    rows = len(arrays) * len(arrays[0]["dial_deg"])
    design, y = np.zeros((rows, len(mean))), np.zeros(rows)
    for k, columns in enumerate(arrays):
        part = slice(k * len(columns["dial_deg"]), (k + 1) * len(columns["dial_deg"]))
        design[part, 2 * k], design[part, 2 * k + 1] = 1.0, columns["dial_deg"]
        y[part] = columns["angle_deg"]
    noise = bender.setting_sd_deg**2 + PROTRACTOR.sd**2 + PROTRACTOR.step**2 / 12
    gain = covariance @ design.T @ np.linalg.inv(design @ covariance @ design.T + noise * np.eye(rows))
    return (mean + gain @ (y - design @ mean)).reshape(-1, 2)


def errors(laws, truths) -> np.ndarray:
    """True mean angle − target when the dial is set by `laws`, (tubes, targets) [deg]."""
    laws, truths = np.asarray(laws), np.asarray(truths)
    dial = (TARGETS - laws[:, :1]) / laws[:, 1:]
    return truths[:, :1] + truths[:, 1:] * dial - TARGETS


def main() -> None:
    """Print the table."""
    benders = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    rng = np.random.default_rng(20260401)
    moments = {size: population(rng, size, 1500) for size in SIZES}
    print(f"RMS error of the finished angle [deg], {benders * len(SIZES)} invented benders x 7 tubes, targets 15 to 120 deg")
    print(f"{'offcuts a tube':>14} {'none':>7} {'overbend':>9} {'line':>7} {'bendcal':>8} {'limit':>7} {'bendcal/limit':>14} {'95 % held':>10}")
    for count in (1, 2, 3, 4):
        found = {name: [] for name in ("none", "overbend", "line", "bendcal", "limit")}
        held = []
        for size in SIZES:
            for _ in range(benders):
                bender, tubes = draw(rng, size)
                truths = [line_of(bender, tube) for tube in tubes]
                shop, arrays = measure(rng, bender, tubes, np.array(DIALS[count]))
                cal = bendcal.calibrate(shop)
                laws = [cal.law("bender", tube.tube) for tube in tubes]
                over = [float(np.mean(c["dial_deg"] - c["angle_deg"])) for c in arrays]
                found["none"].append(errors([(0.0, 1.0)] * 7, truths))
                found["overbend"].append(errors([(-o, 1.0) for o in over], truths))
                if count > 1:
                    lines = [np.polyfit(c["dial_deg"], c["angle_deg"], 1)[::-1] for c in arrays]
                    found["line"].append(errors(lines, truths))
                found["bendcal"].append(errors([law.parameters[:2] for law in laws], truths))
                found["limit"].append(errors(best_linear(*moments[size], arrays, bender), truths))
                for law, truth in zip(laws, truths, strict=True):
                    low, high = law.dial_for(TARGETS).interval(0.95)
                    right = (TARGETS - truth[0]) / truth[1]
                    held.append((low <= right) & (right <= high))
        rms = {name: float(np.sqrt(np.mean(np.square(v)))) if v else float("nan") for name, v in found.items()}
        print(
            f"{count:>14} {rms['none']:7.3f} {rms['overbend']:9.3f} {rms['line']:7.3f} {rms['bendcal']:8.3f} "
            f"{rms['limit']:7.3f} {rms['bendcal'] / rms['limit']:14.3f} {100 * np.mean(held):9.1f}%"
        )
    newcomers(rng, benders)


def newcomers(rng, benders: int) -> None:
    """One offcut of a new tube on a known bender, and of a known tube on a new bender."""
    found = {name: [] for name in ("none", "overbend", "bendcal")}
    strange = {name: [] for name in found}
    for i in range(benders * len(SIZES)):
        size = SIZES[i % len(SIZES)]
        bender, tubes = draw(rng, size)
        four, one = np.array(DIALS[4]), np.array(DIALS[1])
        shop, arrays = measure(rng, bender, tubes, [four] * 6 + [one])
        other = draw_bender(rng, 2, od_mm=size[0], wall_mm=size[1], bow_sd_deg=0.0, drift_sd_deg=0.0)
        second, more = measure(rng, other, tubes[:1], one, name="second")
        both = Shop(
            benders={**shop.benders, **second.benders}, tubes=shop.tubes, tools=TOOLS, offcuts=(*shop.offcuts, *second.offcuts),
        )  # fmt: skip
        cal = bendcal.calibrate(both)
        for kept, name, maker, tube, columns in (
            (found, "bender", bender, tubes[6], arrays[6]), (strange, "second", other, tubes[0], more[0]),
        ):  # fmt: skip
            truth = [line_of(maker, tube)]
            over = float(columns["dial_deg"][0] - columns["angle_deg"][0])
            kept["none"].append(errors([(0.0, 1.0)], truth))
            kept["overbend"].append(errors([(-over, 1.0)], truth))
            kept["bendcal"].append(errors([cal.law(name, tube.tube).parameters[:2]], truth))
    print(f"after one offcut, {benders * len(SIZES)} cases each       {'none':>7} {'overbend':>9} {'bendcal':>8}")
    for title, kept in (("a new tube on a bender that six others were bent on", found), ("a known tube on a new bender", strange)):
        rms = [float(np.sqrt(np.mean(np.square(v)))) for v in kept.values()]
        print(f"  {title:>52} {rms[0]:7.3f} {rms[1]:9.3f} {rms[2]:8.3f}")


if __name__ == "__main__":
    main()
