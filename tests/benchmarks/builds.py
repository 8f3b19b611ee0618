"""How well whole lines land: six-bend lines, marked by what offcuts taught, bent in invented benders.

Every bender, tube, offcut and build comes from the independent simulator in tests/invented.
Printed: the largest miss of any apex or end after the best alignment, median and 95 %, in
mm and as ratios to lines marked with the true law and bent with the same luck; then how
often the trim allowance was enough (end A in its seat, leg 1 in line).

    python tests/benchmarks/builds.py [benders, 150]
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import accuracy  # noqa: E402
from invented.bender import TrueLaw, true_law  # noqa: E402
from invented.line import bend_line, fit_onto, ideal_marks, nodes_of  # noqa: E402

import bendcal  # noqa: E402
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


def straight_line_law(shop, tube: str, nominal: TrueLaw) -> TrueLaw:
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


def main() -> None:
    """Print the table."""
    benders = int(sys.argv[1]) if len(sys.argv) > 1 else 150
    for count in (3, 4):
        rng = np.random.default_rng(20260402)
        misses = {name: [] for name in ("true law", "bendcal", "plain fit", "nominal")}
        enough, trims = [], []
        for _ in range(benders):
            size = accuracy.SIZES[rng.integers(len(accuracy.SIZES))]
            bender, tubes = accuracy.draw(rng, size)
            shop, _ = accuracy.measure(rng, bender, tubes, np.array(accuracy.DIALS[count]))
            cal = bendcal.calibrate(shop)
            k = int(rng.integers(len(tubes)))
            tube, truth = tubes[k], true_law(bender, tubes[k])
            law = cal.law("bender", tube.tube)
            nominal = TrueLaw(0.0, 1.0, bender.stated_radius_mm, bender.stated_radius_mm, 0.0)
            plain = straight_line_law(shop, tube.tube, nominal)
            for _ in range(LINES_EACH):
                nodes = draw_line(rng, truth.radius_mm)
                sheet = bendcal.mark_out(shop, cal, line_from_nodes("l", nodes, tube=tube.tube, bender="bender"))
                plans = {
                    "true law": ideal_marks(nodes, truth), "plain fit": ideal_marks(nodes, plain), "nominal": ideal_marks(nodes, nominal),
                    "bendcal": {
                        "cut_length_mm": sheet.cut_length_mm, "mark_mm": sheet.mark_mm, "dial_deg": sheet.dial_deg,
                        "twist_deg": sheet.legs.twist_deg, "seat_a_mm": sheet.seat_a_mm, "seat_b_mm": sheet.cut_length_mm - sheet.seat_b_mm,
                    },
                }  # fmt: skip
                for _ in range(BUILDS_EACH):
                    luck = int(rng.integers(2**31))
                    for name, plan in plans.items():
                        try:
                            bent = bend_line(bender, tube, **plan, rng=np.random.default_rng(luck), twisting_sd_deg=TWIST_SD_DEG)
                        except ValueError:
                            misses[name].append(np.inf)
                            continue
                        misses[name].append(fit_onto(bent.nodes_mm, nodes)[1])
                        if name == "bendcal":
                            off = bent.nodes_mm[-1] - _standard(nodes)[-1]
                            along = _standard(nodes)[-1] - _standard(nodes)[-2]
                            enough.append(-off @ along / np.linalg.norm(along) <= sheet.trim_mm)
                            trims.append(sheet.trim_mm)
        print(f"{count} offcuts a tube, 7 tubes a bender, {len(enough)} builds of {benders * LINES_EACH} lines; law of {law.n_offcuts} pieces")
        best = np.percentile(misses["true law"], [50, 95])
        for name, values in misses.items():
            half, most = np.percentile(values, [50, 95])
            print(f"  {name:>10}: median {half:6.2f} mm ({half / best[0]:.2f})   95 % {most:6.2f} mm ({most / best[1]:.2f})")
        print(f"  trim enough in {100 * np.mean(enough):.1f} % of builds; trims {np.mean(trims):.1f} mm on average")


def _standard(nodes: np.ndarray) -> np.ndarray:
    """The nodes laid as a bent line comes out: end A at the origin, leg 1 along x, bend 1 towards +y."""
    ahead = (nodes[1] - nodes[0]) / np.linalg.norm(nodes[1] - nodes[0])
    side = (nodes[2] - nodes[1]) - ((nodes[2] - nodes[1]) @ ahead) * ahead
    side = side / np.linalg.norm(side)
    return (nodes - nodes[0]) @ np.stack([ahead, side, np.cross(ahead, side)], axis=1)


if __name__ == "__main__":
    main()
