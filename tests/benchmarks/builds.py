"""How well whole lines land: six-bend lines, marked by what offcuts taught, bent in invented benders.

Every bender, tube, offcut and build comes from the independent simulator in tests/invented. Printed: the largest miss of
any apex or end after the best alignment, median and 95 %, in mm and as ratios to lines marked with the true law and
bent with the same luck, each ratio with its own 95 % range (benders drawn again from those that there were, for all
builds of a bender share a law); then how often the trim allowance was enough (end A in its seat, leg 1 in line).

`bendcal` has its offcuts at dial settings spread evenly, `bendcal, planned` as many at those that `plan_offcuts` gives from
nothing. `floor` is a line marked from the same readings by an estimator that knows how benders and tubes are
drawn (knowing.py): what no other can better by much. `truth for …` is bendcal's law with some of its numbers put right.

    python tests/benchmarks/builds.py [benders, 400]
"""

from __future__ import annotations

import sys
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import accuracy  # noqa: E402
from invented.bender import TrueLaw, true_law  # noqa: E402
from invented.line import bend_line, fit_onto, ideal_marks, nodes_of  # noqa: E402
from knowing import Knowing  # noqa: E402

import bendcal  # noqa: E402
from bendcal.design import plan_offcuts  # noqa: E402
from bendcal.lines import line_from_nodes  # noqa: E402
from bendcal.margin import TWIST_SD_DEG  # noqa: E402

LINES_EACH, BUILDS_EACH = 3, 3


def draw_line(rng, radius: float) -> np.ndarray:
    """Nodes of a six-bend line with room for its bends."""
    while True:
        angle = rng.uniform(20, 110, 6)
        setback = radius * 1.1 * np.tan(np.radians(angle) / 2)
        leg = rng.uniform(30, 200, 7) + np.append(setback, 0) + np.insert(setback, 0, 0)
        nodes = nodes_of(leg, angle, np.append(0, rng.uniform(-180, 180, 5)))
        if np.linalg.norm(nodes[-1] - nodes[0]) > 100:
            return nodes


def straight_line_law(shop, tube: str) -> TrueLaw:
    """A law fitted to one tube's own offcuts the plain way: a line, then two more least squares."""
    pieces = shop.offcuts_for("bender", tube)
    dial, angle = (np.array([getattr(o, name) for o in pieces]) for name in ("dial_deg", "angle_deg"))
    slope, zero = np.polyfit(dial, angle, 1)
    tan, theta = np.tan(np.radians(angle) / 2), np.radians(angle)
    take = np.array([o.leg_a_mm - o.mark_mm for o in pieces])
    gain = np.array([o.leg_a_mm + o.leg_b_mm - o.length_mm for o in pieces])
    design = np.zeros((2 * len(pieces), 3))
    design[: len(pieces), 0], design[: len(pieces), 2] = tan, 1
    design[len(pieces) :, 0], design[len(pieces) :, 1] = 2 * tan, -theta
    radius, developed, offset = np.linalg.lstsq(design, np.concatenate([take, gain]), rcond=None)[0]
    return TrueLaw(float(zero), float(slope), float(radius), float(developed), float(offset))


PARTS = {"a and b": (0, 1), "R": (2,), "lambda": (3,), "m": (4,)}
_EMPTY: dict = {}


def planned_dials(shop, count: int) -> list[np.ndarray]:
    """For each tube the dial settings of `plan_offcuts` from nothing, `count` a tube in all: it hangs on nothing else than the key below."""
    tube = next(iter(shop.tubes.values()))
    key = (tube.od_mm, tube.wall_mm, shop.benders["bender"].die_radius_mm)
    _EMPTY[key] = replace(shop, offcuts=())
    return _planned(key, count)


@cache
def _planned(key: tuple, count: int) -> list[np.ndarray]:
    shop = _EMPTY[key]
    plan = plan_offcuts(shop, count=count * len(shop.tubes), pairs=[("bender", name) for name in shop.tubes]).offcuts
    return [np.sort(plan.dial_deg[plan.tube == name].to_numpy()) for name in shop.tubes]


def by_sheet(shop, cal, nodes, tube: str) -> tuple[dict, float]:
    """The kit's own marks, as `bend_line` takes them, and the spare tube."""
    sheet = bendcal.mark_out(shop, cal, line_from_nodes("l", nodes, tube=tube, bender="bender"))
    return {
        "cut_length_mm": sheet.cut_length_mm, "mark_mm": sheet.mark_mm, "dial_deg": sheet.dial_deg, "twist_deg": sheet.legs.twist_deg,
        "seat_a_mm": sheet.seat_a_mm, "seat_b_mm": sheet.cut_length_mm - sheet.seat_b_mm,
    }, sheet.trim_mm  # fmt: skip


def one_bender(rng, aside, count: int, trims: list) -> dict[str, list[float]]:
    """The misses of some lines of one tube of one bender, marked in every way; `aside` draws what only some ways need."""
    size = accuracy.SIZES[rng.integers(len(accuracy.SIZES))]
    bender, tubes = accuracy.draw(rng, size)
    shop, arrays = accuracy.measure(rng, bender, tubes, np.array(accuracy.DIALS[count]))
    there, arrays_there = accuracy.measure(aside, bender, tubes, planned_dials(shop, count))
    shops = {"bendcal": (shop, bendcal.calibrate(shop)), "bendcal, planned": (there, bendcal.calibrate(there))}
    k = int(rng.integers(len(tubes)))
    tube, truth = tubes[k], true_law(bender, tubes[k])
    laws = {
        "true law": truth, "floor": TrueLaw(*Knowing(bender, tubes, arrays).laws[k]),
        "floor, planned": TrueLaw(*Knowing(bender, tubes, arrays_there).laws[k]), "plain fit": straight_line_law(shop, tube.tube),
        "nominal": TrueLaw(0.0, 1.0, bender.stated_radius_mm, bender.stated_radius_mm, 0.0),
    }
    learnt = shops["bendcal"][1].law("bender", tube.tube).parameters.to_numpy()
    for name, which in PARTS.items():
        numbers = learnt.copy()
        numbers[list(which)] = truth.numbers[list(which)]
        laws[f"truth for {name}"] = TrueLaw(*numbers)
    misses: dict[str, list[float]] = {}
    for _ in range(LINES_EACH):
        nodes = draw_line(rng, truth.radius_mm)
        plans, spare = {name: ideal_marks(nodes, law) for name, law in laws.items()}, {}
        for name, (one, cal) in shops.items():
            plans[name], spare[name] = by_sheet(one, cal, nodes, tube.tube)
        for _ in range(BUILDS_EACH):
            luck = int(rng.integers(2**31))
            for name, plan in plans.items():
                try:
                    bent = bend_line(bender, tube, **plan, rng=np.random.default_rng(luck), twisting_sd_deg=TWIST_SD_DEG)
                except ValueError:
                    misses.setdefault(name, []).append(np.inf)
                    continue
                misses.setdefault(name, []).append(fit_onto(bent.nodes_mm, nodes)[1])
                if name == "bendcal":
                    off = bent.nodes_mm[-1] - _standard(nodes)[-1]
                    along = _standard(nodes)[-1] - _standard(nodes)[-2]
                    trims.append((-off @ along / np.linalg.norm(along) <= spare[name], spare[name]))
    return misses


def ranges(values: np.ndarray, true: np.ndarray, share: float, again: np.ndarray) -> tuple[float, float, float, float]:
    """(benders, builds) of misses → their percentile [mm], its ratio to that of the true law, and the 95 % range of that ratio."""
    ratios = np.percentile(values[again], share, axis=(1, 2)) / np.percentile(true[again], share, axis=(1, 2))
    value = np.percentile(values, share)
    return value, value / np.percentile(true, share), *np.percentile(ratios, [2.5, 97.5])


def main() -> None:
    """Print the table."""
    benders = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    again = np.random.default_rng(1).integers(benders, size=(400, benders))
    order = ("true law", "floor", "floor, planned", "bendcal", "bendcal, planned", *(f"truth for {name}" for name in PARTS), "plain fit", "nominal")
    for count in (3, 4):
        rng, trims = np.random.default_rng(20260402), []
        found = [one_bender(rng, np.random.default_rng([count, i]), count, trims) for i in range(benders)]
        misses = {name: np.array([one[name] for one in found]) for name in order}
        print(f"{count} offcuts a tube, 7 tubes a bender, {misses['bendcal'].size} builds of {benders * LINES_EACH} lines")
        for name in order:
            half, most = (ranges(misses[name], misses["true law"], share, again) for share in (50, 95))
            told = [f"{what} {mm:6.2f} mm ({ratio:.3f}, {low:.3f} to {high:.3f})" for what, (mm, ratio, low, high) in (("median", half), ("95 %", most))]
            bad = ~np.isfinite(misses[name])
            rms = np.sqrt(np.mean(misses[name][~bad] ** 2) / np.mean(misses["true law"][~bad] ** 2))
            print(f"  {name:>17}: {'   '.join(told)}   rms ratio {rms:.3f}{f'; {bad.sum()} could not be bent' if bad.any() else ''}", flush=True)
        enough, spare = np.array(trims, float).T
        print(f"  trim enough in {100 * enough.mean():.1f} % of builds; trims {spare.mean():.1f} mm on average")


def _standard(nodes: np.ndarray) -> np.ndarray:
    """The nodes laid as a bent line comes out: end A at the origin, leg 1 along x, bend 1 towards +y."""
    ahead = (nodes[1] - nodes[0]) / np.linalg.norm(nodes[1] - nodes[0])
    side = (nodes[2] - nodes[1]) - ((nodes[2] - nodes[1]) @ ahead) * ahead
    side = side / np.linalg.norm(side)
    return (nodes - nodes[0]) @ np.stack([ahead, side, np.cross(ahead, side)], axis=1)


if __name__ == "__main__":
    main()
