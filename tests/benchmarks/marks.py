"""What marking out a line costs, beside the bare arithmetic of the same numbers, in one run. Ratios count, not seconds.

The bare arithmetic is plain numpy on plain arrays, with nothing named, checked, kept or explained: from legs, angles
and twists and the law's numbers to marks, dial settings, cut length and spare tube, with the standard uncertainty of
each mark and angle and of where the end falls. Both are held to one another before they are timed.

    python tests/benchmarks/marks.py
"""

from __future__ import annotations

import sys
import timeit
from math import ceil
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT)]

import bendcal  # noqa: E402
from bendcal.lines import line_from_legs  # noqa: E402
from bendcal.marks import MarkSheet, mark_out  # noqa: E402

SHOP = bendcal.read_shop(ROOT / "sample_measurements")
CAL = bendcal.calibrate(SHOP)
BENDS = (1, 3, 10, 30, 100)


def zigzag(bends: int):
    """A line of `bends` bends that goes on its way without meeting itself."""
    rng = np.random.default_rng(bends)
    return line_from_legs(
        f"zigzag {bends}", rng.uniform(90, 140, bends + 1), rng.uniform(20, 80, bends),
        np.concatenate([[0.0], rng.uniform(-170, 170, bends - 1)]), tube="steel-3/16", bender="small",
    )  # fmt: skip


def bare(leg, angle, twist, p, spread, shape, scatter, marking, twist_sd) -> tuple:
    """Marks [mm], dial settings [deg], cut length and spare tube [mm], u of marks, angles and the end along its leg."""
    a, b, radius, developed, offset = p
    n = len(angle)
    theta = np.radians(angle)
    tan = np.tan(theta / 2)
    dial = (angle - a) / b
    x = (dial - 67.5) / 52.5
    bow = shape[0] + shape[1] * x + shape[2] * x**2
    setback, arc = radius * tan, developed * theta
    straight = leg.copy()
    straight[1:] -= setback
    straight[:-1] -= setback
    start = np.cumsum(straight[:-1])
    start[1:] += np.cumsum(arc[:-1])
    end = start + arc
    # u of the marks and of the finished angles
    by = np.zeros((n, 6))
    gone = np.cumsum(2 * tan) - 2 * tan
    by[:, 2], by[:, 3], by[:, 4] = -gone - tan, np.cumsum(theta) - theta, -1.0
    mark_u = np.sqrt(((by @ spread) * by).sum(axis=1) + marking**2)
    by_angle = np.zeros((n, 6))
    by_angle[:, 0], by_angle[:, 1], by_angle[:, 5] = 1.0, dial, bow
    angle_u = np.sqrt(((by_angle @ spread) * by_angle).sum(axis=1) + scatter**2)
    # where the legs point: one turn after the other
    along, frame = np.empty((n + 1, 3)), np.eye(3)
    along[0] = frame[0]
    normals = np.empty((n, 3))
    c, s = np.cos(theta), np.sin(theta)
    ct, st = np.cos(np.radians(twist)), np.sin(np.radians(twist))
    ahead, side = np.array([1.0, 0.0, 0.0]), np.array([0.0, 1.0, 0.0])
    up = np.array([0.0, 0.0, 1.0])
    for k in range(n):
        side, up = ct[k] * side + st[k] * up, ct[k] * up - st[k] * side
        normals[k] = up
        ahead, side = c[k] * ahead + s[k] * side, c[k] * side - s[k] * ahead
        along[k + 1] = ahead
    arm = np.cumsum((along * leg[:, None])[::-1], axis=0)[::-1][1:]
    # the end by legs, angles and twists, and those by the law, each bend's scatter and each mark
    last = along[-1]
    per_angle = np.radians(_cross(normals, arm) @ last)
    per_twist = np.radians(_cross(along[:-1], arm) @ last)
    per_twist[0] = 0.0
    per_leg = along @ last
    per_degree = np.pi / 180
    by_setback = radius * 0.5 / np.cos(theta / 2) ** 2 * per_degree
    # what one degree more at each bend, one mm more of each mark, and the law's numbers do to the end along its leg
    outward = (per_leg[:-1] + per_leg[1:]) * by_setback - per_leg[1:] * developed * per_degree + per_angle
    shift = per_leg[:-1] - per_leg[1:]
    law = np.array([
        outward.sum(), outward @ dial, ((per_leg[:-1] + per_leg[1:]) * tan).sum(), -(per_leg[1:] * theta).sum(), shift.sum(), outward @ bow,
    ])  # fmt: skip
    variance = law @ spread @ law + scatter**2 * (outward @ outward) + marking**2 * (shift @ shift) + twist_sd**2 * (per_twist @ per_twist)
    length_u = np.sqrt(variance)
    trim = ceil(1.6448536269514722 * length_u)
    return start - offset, dial, end[-1] + straight[-1] + trim, trim, mark_u, angle_u, length_u


def _cross(a, b):
    return np.stack([a[:, 1] * b[:, 2] - a[:, 2] * b[:, 1], a[:, 2] * b[:, 0] - a[:, 0] * b[:, 2], a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]], axis=1)


def inputs(sheet: MarkSheet) -> tuple:
    """What :func:`bare` wants, as plain arrays."""
    law, legs = sheet.law, sheet.legs
    return (
        np.array(legs.leg_mm), np.array(legs.angle_deg), np.array(legs.twist_deg), law.parameters.to_numpy(), law.spread, law.bow.shape,
        law.scatter_deg, law.marking_mm, 1.0,
    )  # fmt: skip


def agree(sheet: MarkSheet) -> None:
    """Both give the same numbers."""
    mark, dial, cut, trim, mark_u, angle_u, length_u = bare(*inputs(sheet))
    for found, wanted in (
        (sheet.mark_mm, mark), (sheet.dial_deg, dial), (sheet.cut_length_mm, cut), (sheet.trim_mm, trim), (sheet.mark_u_mm, mark_u),
        (sheet.angle_u_deg, angle_u), (sheet.length_u_mm, length_u),
    ):  # fmt: skip
        np.testing.assert_allclose(found, wanted, rtol=1e-9, atol=1e-9)


def each_us(work) -> float:
    """Time of one run in microseconds, the least of several."""
    count = max(1, int(0.02 / max(timeit.timeit(work, number=1), 1e-6)))
    return 1e6 * min(timeit.repeat(work, number=count, repeat=15)) / count


def main() -> None:
    """Print the ratios."""
    print(f"{'bends':>6} {'bare, us':>10} {'mark_out, us':>13} {'ratio':>7} {'marks as a table, us':>21}")
    for bends in BENDS:
        line = zigzag(bends)
        sheet = mark_out(SHOP, CAL, line)
        agree(sheet)
        plain = inputs(sheet)
        one, two = each_us(lambda plain=plain: bare(*plain)), each_us(lambda line=line: mark_out(SHOP, CAL, line))
        whole = each_us(lambda line=line: mark_out(SHOP, CAL, line).marks)
        print(f"{bends:>6} {one:>10.0f} {two:>13.0f} {two / one:>7.2f} {whole:>21.0f}")


if __name__ == "__main__":
    main()
