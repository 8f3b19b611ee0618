"""What new marks are worth after some bends were measured: taken as read, weighed, or known to the truth; in one run.

Six-bend lines in invented benders (tests/invented), marked from four offcuts a tube. After two and after four bends the
angles and legs of those that are made are read by a protractor (0.4°, steps of 0.5°) and a rule (0.3 mm and 0.3 mm for
sighting the apexes, steps of 0.5 mm); the rest is marked anew and bent with the same luck. Printed: how far end B lands from its seat
when end A sits in its own and leg 1 lies in line, and the worst miss of any apex or end after the best alignment. Then the
same with one of the bends that are made set wrong by 3° to 6°, and by 1° to 3°.

    python tests/benchmarks/replanned.py [benders, 100]
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import accuracy  # noqa: E402
import builds  # noqa: E402
from invented.bender import true_law  # noqa: E402
from invented.line import bend_line, fit_onto  # noqa: E402
from invented.offcuts import PROTRACTOR, RULE  # noqa: E402

import bendcal  # noqa: E402
from bendcal.lines import line_from_nodes  # noqa: E402
from bendcal.nodes import measure_nodes  # noqa: E402
from bendcal.replan import Made, replan  # noqa: E402

SIGHTING_SD_MM = 0.3


def one_line(rng, done: int, slip: tuple[float, float] | None) -> dict[str, tuple[float, float]]:
    """(end miss, misfit) [mm] by how it was marked anew."""
    bender, tubes = accuracy.draw(rng, accuracy.SIZES[rng.integers(len(accuracy.SIZES))])
    shop, _ = accuracy.measure(rng, bender, tubes, np.array(accuracy.DIALS[4]))
    cal, tube = bendcal.calibrate(shop), tubes[rng.integers(len(tubes))]
    nodes, wrong = builds.draw_line(rng, true_law(bender, tube).radius_mm), np.zeros(6)
    sheet = bendcal.mark_out(shop, cal, line_from_nodes("l", nodes, tube=tube.tube, bender="bender"))
    luck = int(rng.integers(2**31))
    if slip is not None:
        wrong[rng.integers(done)] = rng.choice([-1, 1]) * rng.uniform(*slip)

    def bent(one):
        return bend_line(
            bender, tube, cut_length_mm=sheet.cut_length_mm, mark_mm=one.mark_mm, dial_deg=np.where(np.arange(6) < done, sheet.dial_deg, one.dial_deg) + wrong,
            twist_deg=one.legs.twist_deg, seat_a_mm=one.seat_a_mm, seat_b_mm=max(sheet.cut_length_mm - one.seat_b_mm, 0.0),
            rng=np.random.default_rng(luck), twisting_sd_deg=1.0,
        ).nodes_mm  # fmt: skip

    leg, angle, _ = measure_nodes(bent(sheet))
    read_angle, read_leg = PROTRACTOR.read(angle, rng), RULE.read(leg + SIGHTING_SD_MM * rng.normal(size=leg.shape), rng)
    read, truth = ({k + 1: Made(float(a[k]), float(b[k])) for k in range(done)} for a, b in ((read_angle, read_leg), (angle, leg)))
    marked = {
        "left as it was": sheet, "as read": replan(shop, cal, sheet, read, exact=True).sheet,
        "weighed": replan(shop, cal, sheet, read).sheet, "truth known": replan(shop, cal, sheet, truth, exact=True).sheet,
    }
    aim, found = builds._standard(nodes), {}
    for name, one in marked.items():
        came_out = bent(one)
        found[name] = float(np.linalg.norm(came_out[-1] - aim[-1])), fit_onto(came_out, nodes)[1]
    return found


def main() -> None:
    """Print the tables."""
    benders = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    for slip in (None, (3.0, 6.0), (1.0, 3.0)):
        for done in (2, 4):
            rng, found, failed = np.random.default_rng([20260501, done]), [], 0
            for _ in range(benders):
                try:
                    found.append(one_line(rng, done, slip))
                except (ValueError, RuntimeError):  # the rest does not fit any more
                    failed += 1
            print(f"{done} of 6 bends made{f', one set wrong by {slip[0]:g} to {slip[1]:g} deg' if slip else ''}; {len(found)} lines, {failed} that cannot be finished")
            for name in found[0]:
                end, misfit = np.array([one[name] for one in found]).T
                print(
                    f"  {name:>15}: end B rms {np.sqrt(np.mean(end**2)):5.2f} mm, median {np.median(end):5.2f}, 95 % {np.percentile(end, 95):5.2f};   "
                    f"worst node rms {np.sqrt(np.mean(misfit**2)):5.2f} mm, median {np.median(misfit):5.2f}, 95 % {np.percentile(misfit, 95):5.2f}", flush=True,
                )  # fmt: skip


if __name__ == "__main__":
    main()
