"""How many offcuts the advice saves: bent as advised, one by one, beside an evenly spaced plan, in one run.

Invented benders from the independent simulator in tests/invented, some tubes (lots) at hand on each,
and two lines to be made, of two of those tubes: a short one of square bends and a long one of open
bends. The even plan bends the same number of offcuts of every tube at dial angles spread evenly over
20° to 120°, angle and both legs read of each. The advice is asked before every piece and gets the
readings of those before; where it says that the angle is enough, no legs are read. Both are fitted by
the same joint fit, so the even plan gains from what tubes share, too. Then both mark out the lines,
the mean specimens are bent by another geometry, and the distance of the far end from where it should
be is the error: that of the law alone, without the scatter of single bends. Printed for each even
plan: how many pieces the advice needs for the same root mean square error, as a share; below 1 it
saves. With 60 shops a root mean square scatters by some 8 %, a ratio by some 15 %.

Three shops: one bender with four tubes; one with seven; two benders with three tubes each, one line
on each. Two more plans are printed, for they ask for less: an even plan over those tubes only that
the lines use, and the plan that is made once, from nothing, and then bent blindly. Last, the first
shop with dials that bow, which the law does not follow.

    python tests/benchmarks/design.py [shops of each kind, 60]
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from invented.line import bend_line, nodes_of
from invented.offcuts import PROTRACTOR, RULE, bend_offcuts
from invented.shops import ALLOYS, draw_bender, draw_tube

from bendcal.benders import Bender
from bendcal.calibration import calibrate
from bendcal.design import next_offcuts, plan_offcuts
from bendcal.lines import line_from_legs
from bendcal.marks import mark_out
from bendcal.materials import alloy_for
from bendcal.offcuts import Offcut
from bendcal.shop import Shop
from bendcal.tools import Tool
from bendcal.tubes import Tube

SIZES = ((4.76, 0.71), (6.35, 0.71), (7.94, 0.89))
TOOLS = {t.tool: Tool(t.tool, t.measures, t.step, t.sd) for t in (PROTRACTOR, RULE)}
#: Legs, angles and twists of the two lines, as an axle and a chassis rail ask for.
LINES = {
    "short": ([90, 120, 100, 90], [90.0, 75.0, 90.0], [0.0, 90.0, -60.0]),
    "long": ([120, 150, 400, 130, 100], [30.0, 45.0, 45.0, 60.0], [0.0, 180.0, 60.0, -90.0]),
}
#: How many tubes each bender has, and which of all pairs the two lines are of.
SHOPS = {"one bender, 4 tubes": ((4,), (0, 1)), "one bender, 7 tubes": ((7,), (0, 1)), "two benders, 3 tubes each": ((3, 3), (0, 3))}
EVEN = (1, 2, 3, 4)
MOST = 16


def draw(rng, kind: str, first: int = 0, *, bow_sd_deg: float = 0.0):
    """The pairs of an invented bender with an invented tube, and the shop before anything was bent."""
    pairs, (counts, used) = [], SHOPS[kind]
    for at, count in enumerate(counts):
        od, wall = SIZES[(first + at) % len(SIZES)]
        bender = draw_bender(rng, at + 1, od_mm=od, wall_mm=wall, bow_sd_deg=bow_sd_deg, drift_sd_deg=0.0)
        for i in range(count):
            tube = draw_tube(rng, f"tube {at + 1}-{i}", alloy=list(ALLOYS)[i % len(ALLOYS)], od_mm=od, wall_mm=wall, kind="power")
            pairs.append((bender, tube))
    lines = {
        name: line_from_legs(name, *shape, tube=pairs[at][1].tube, bender=pairs[at][0].bender)
        for at, (name, shape) in zip(used, LINES.items(), strict=True)
    }
    shop = Shop(
        benders={b.bender: Bender(b.bender, die_radius_mm=b.stated_radius_mm) for b, _ in pairs},
        tubes={t.tube: Tube(t.tube, alloy_for(t.alloy), t.od_mm, t.wall_mm) for _, t in pairs}, tools=TOOLS, lines=lines,
    )
    return {(b.bender, t.tube): (b, t) for b, t in pairs}, shop


def bent(rng, bender, tube, dials, *, legs: bool = True) -> list[Offcut]:
    """Offcuts of one tube, bent and read."""
    reach = np.round(60 + 3 * bender.die_radius_mm)
    columns = bend_offcuts(bender, tube, dials, 2 * reach, np.round(reach - 1.5 * bender.die_radius_mm), rng)
    return [
        Offcut(
            "", bender.bender, tube.tube, *(float(columns[c][i]) for c in ("length_mm", "mark_mm", "dial_deg", "angle_deg")),
            *((float(columns[c][i]) for c in ("leg_a_mm", "leg_b_mm")) if legs else ()),
            angle_tool=PROTRACTOR.tool, length_tool=RULE.tool,
        )
        for i in range(len(columns["dial_deg"]))
    ]


def end_errors_mm(shop: Shop, pairs) -> list[float]:
    """How far each line's far end falls from where it should be, bent by what `shop` has learned."""
    cal = calibrate(shop)
    found = []
    for line in shop.lines.values():
        sheet = mark_out(shop, cal, line)
        done = bend_line(
            *pairs[line.bender, line.tube], cut_length_mm=sheet.cut_length_mm, mark_mm=sheet.mark_mm, dial_deg=sheet.dial_deg,
            twist_deg=line.legs.twist_deg, seat_a_mm=sheet.seat_a_mm, seat_b_mm=sheet.cut_length_mm - sheet.seat_b_mm,
        )
        wanted = nodes_of(line.legs.leg_mm, line.legs.angle_deg, line.legs.twist_deg)
        found.append(float(np.linalg.norm((done.nodes_mm - done.nodes_mm[0] - wanted)[-1])))
    return found


def even_errors(rng, pairs, shop, each: int, used) -> list[float]:
    """The lines' errors after an evenly spaced plan over the pairs `used`."""
    dials = np.linspace(20.0, 120.0, each) if each > 1 else np.array([70.0])
    pieces = [o for pair in used for o in bent(rng, *pairs[pair], dials)]
    return end_errors_mm(replace(shop, offcuts=tuple(pieces)), pairs)


def advised_errors(rng, pairs, shop, most: int) -> tuple[np.ndarray, float]:
    """(most, lines) errors after each advised piece, NaN until all lines can be marked; when it said stop (NaN: never)."""
    table, stopped = np.full((most, len(shop.lines)), np.nan), np.nan
    for made in range(most):
        advice = next_offcuts(shop, pairs=list(pairs))
        if advice.stop and np.isnan(stopped):
            stopped = made
        row = advice.ranked.iloc[0]
        shop = replace(shop, offcuts=(
            *shop.offcuts, *bent(rng, *pairs[row.bender, row.tube], [row.dial_deg], legs=row.readings != "angle"),
        ))
        if {line.tube for line in shop.lines.values()} <= {o.tube for o in shop.offcuts}:
            table[made] = end_errors_mm(shop, pairs)
    return table, stopped


def planned_errors(rng, pairs, shop, count: int) -> list[float]:
    """The lines' errors after a plan made from nothing and bent as it stands."""
    plan = plan_offcuts(shop, count=count, pairs=list(pairs)).offcuts
    pieces = [
        o for row in plan.itertuples()
        for o in bent(rng, *pairs[row.bender, row.tube], [row.dial_deg], legs=row.readings != "angle")
    ]
    return end_errors_mm(replace(shop, offcuts=tuple(pieces)), pairs)


def rms(values, axis=None):
    """Root mean square."""
    return np.sqrt(np.mean(np.square(values), axis=axis))


def needed(curve: np.ndarray, target: float) -> float:
    """How many pieces bring the RMS error `curve` (after 1, 2, … pieces) down to `target` and keep it there.

    Between two counts by a straight line in logarithms; NaN where it never does.
    """
    good = curve <= target
    if not good[-1]:
        return float("nan")
    last = len(curve) - int(np.argmin(good[::-1])) if not good.all() else 0  # pieces at the last count that was worse
    if last == 0 or not np.isfinite(curve[last - 1]):
        return float(last + 1)
    share = np.log(curve[last - 1] / target) / np.log(curve[last - 1] / curve[last])
    return float(np.exp(np.log(last) + share * np.log((last + 1) / last)))


def compare(rng, kind: str, shops: int, *, most: int = MOST, evens=EVEN, plans=(4, 6, 8), bow_sd_deg: float = 0.0) -> dict:
    """All plans on the same shops: RMS errors by (plan, offcuts), the advised ones as a curve."""
    advised, stops, found = [], [], {}
    for i in range(shops):
        pairs, shop = draw(rng, kind, i, bow_sd_deg=bow_sd_deg)
        used = [(line.bender, line.tube) for line in shop.lines.values()]
        table, stopped = advised_errors(rng, pairs, shop, most)
        advised.append(table)
        stops.append(stopped)
        for each in evens:
            found.setdefault(("even over all tubes", each * len(pairs)), []).append(even_errors(rng, pairs, shop, each, pairs))
        for each in (2 * n for n in evens if plans):
            found.setdefault(("even over those used", each * len(used)), []).append(even_errors(rng, pairs, shop, each, used))
        for count in plans:
            found.setdefault(("planned from nothing", count), []).append(planned_errors(rng, pairs, shop, count))
    return {"advised": rms(np.array(advised), axis=(0, 2)), "stop": np.array(stops)} | {
        key: float(rms(np.array(values))) for key, values in found.items()
    }


def report(result: dict) -> None:
    """Print one comparison."""
    curve, stop = result.pop("advised"), result.pop("stop")
    print("  RMS error of the lines' ends after so many advised offcuts [mm]:")
    print("    " + "  ".join(f"{i}: {v:.2f}" for i, v in enumerate(curve, 1) if np.isfinite(v)))
    for (name, count), error in sorted(result.items()):
        as_many = f"{curve[count - 1]:.2f} mm" if count <= len(curve) else "not tried"
        print(
            f"  {name:>22}: {count:>3} offcuts {error:6.2f} mm; advised as many {as_many}, "
            f"as good after {needed(curve, error):.1f}, ratio {needed(curve, error) / count:.2f}"
        )
    print(f"  it said stop after {np.nanmedian(stop):.0f} offcuts (median); not within {len(curve)} on {np.isnan(stop).mean():.0%}")


def main() -> None:
    """Print the tables."""
    shops = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    for seed, kind in enumerate(SHOPS):
        print(f"{kind}; {shops} invented shops, straight dials")
        report(compare(np.random.default_rng(20260402 + seed), kind, shops))
    kind = next(iter(SHOPS))
    print(f"{kind}; {shops} invented shops, dials that bow (sd 0.5 deg in the middle)")
    report(compare(np.random.default_rng(20260412), kind, shops, bow_sd_deg=0.5))


if __name__ == "__main__":
    main()
