"""Whole populations of invented benders and tubes, to ask how often the kit is right.

How they spread (none of it measured; chosen as wider than a careful shop and narrower than a
broken bender):

| what | drawn from |
|---|---|
| tube outside diameter | 4.76, 6.35, 7.94 or 9.53 mm with a 0.71 or 0.89 mm wall, one size per bender |
| die radius | 2.6 to 4.2 diameters, uniform; written down with an error of sd 0.3 mm, rounded to 0.5 mm |
| dial zero | normal, sd 1.5° |
| dial gain | normal about 1, sd 0.012 |
| lever give | 0.2° to 2.5° for a low-carbon steel tube of that size, uniform, in proportion to the moment |
| dial bow | normal, sd `bow_sd_deg` (0 unless asked for) |
| drift | normal, sd `drift_sd_deg` per bend (0 unless asked for) |
| mark offset | normal, sd 3 mm |
| stretch | 0.5 % to 4 %, uniform; ± 0.4 % by tube |
| setting, marking | sd 0.2° to 0.5°; sd 0.2 to 0.4 mm, uniform |
| strength of a lot | the alloy's K times exp(normal, sd 0.15), n ± 0.03; from specimen to specimen sd 2 % |
| wall of a lot | ± 0.03 mm; from specimen to specimen sd 0.015 mm |
| shape of the flow curve | a power law, or one of three others through the same stresses, by `kinds` |

K and n about which the lots spread: low-carbon steel 600 MPa, 0.21, copper 530, 0.44 and stainless
304 1400, 0.44 (Callister, as quoted by others: secondary); 90/10 copper-nickel 621, 0.35 (derived
from the strip's ultimate strength and elongation, Copper Development Association).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .bender import InventedBender, InventedTube
from .offcuts import PROTRACTOR, RULE, InventedTool, bend_offcuts, rows
from .section import FlowLaw, moment_nmm

ALLOYS = {  # name as in tubes.csv: (E GPa, K MPa, n)
    "copper-nickel 90/10": (124.0, 621.0, 0.35),
    "low-carbon steel": (209.0, 600.0, 0.21),
    "stainless 304": (193.0, 1400.0, 0.44),
    "copper": (117.0, 530.0, 0.44),
}
SIZES_MM = (4.76, 6.35, 7.94, 9.53)
WALLS_MM = (0.71, 0.89)


@dataclass(frozen=True)
class InventedShop:
    """Benders, tubes, and which tube goes into which bender."""

    benders: tuple[InventedBender, ...]
    tubes: tuple[InventedTube, ...]
    pairs: tuple[tuple[InventedBender, InventedTube], ...]
    tools: tuple[InventedTool, ...] = (PROTRACTOR, RULE)


def shaped_flow(kind: str, k_mpa: float, n: float) -> FlowLaw:
    """A flow curve of another shape through the stresses of the power law K·e^n near 2 % and 20 % strain.

    >>> round(float(shaped_flow("linear", 600.0, 0.21).plastic_mpa(0.2) / (600 * 0.2**0.21)), 9)
    1.0
    """
    low, high = k_mpa * 0.02**n, k_mpa * 0.20**n
    if kind == "power":
        return FlowLaw("power", (k_mpa, n))
    if kind == "swift":
        e0 = 0.005
        m = np.log(high / low) / np.log((e0 + 0.20) / (e0 + 0.02))
        return FlowLaw("swift", (float(high / (e0 + 0.20) ** m), e0, float(m)))
    if kind == "voce":
        c = 12.0
        rise = (high - low) / (np.exp(-0.02 * c) - np.exp(-0.20 * c))
        top = high + rise * np.exp(-0.20 * c)
        return FlowLaw("voce", (float(top - rise), float(top), c))
    slope = (high - low) / 0.18
    return FlowLaw("linear", (float(low - 0.02 * slope), float(slope)))


def draw_bender(
    rng, number: int, *, od_mm: float, wall_mm: float, bow_sd_deg: float, drift_sd_deg: float
) -> InventedBender:
    """One bender for one size of tube."""
    radius = od_mm * rng.uniform(2.6, 4.2)
    e, k, n = ALLOYS["low-carbon steel"]
    pull = float(moment_nmm(od_mm, wall_mm, radius, e_mpa=1000 * e, flow=FlowLaw("power", (k, n)))) / 1000
    return InventedBender(
        bender=f"bender {number}",
        die_radius_mm=radius,
        stated_radius_mm=round(2 * (radius + 0.3 * rng.normal())) / 2,
        mark_offset_mm=3.0 * rng.normal(),
        dial_zero_deg=1.5 * rng.normal(),
        dial_gain=1 + 0.012 * rng.normal(),
        give_deg_per_nm=rng.uniform(0.2, 2.5) / pull,
        dial_bow_deg=bow_sd_deg * rng.normal(),
        drift_deg_per_bend=drift_sd_deg * rng.normal(),
        stretch=rng.uniform(0.005, 0.04),
        setting_sd_deg=rng.uniform(0.2, 0.5),
        marking_sd_mm=rng.uniform(0.2, 0.4),
    )


def draw_tube(rng, name: str, *, alloy: str, od_mm: float, wall_mm: float, kind: str) -> InventedTube:
    """One lot of tube."""
    e, k, n = ALLOYS[alloy]
    return InventedTube(
        tube=name,
        alloy=alloy,
        od_mm=od_mm,
        wall_mm=wall_mm,
        e_gpa=e,
        flow=shaped_flow(kind, k * float(np.exp(0.15 * rng.normal())), n + 0.03 * rng.normal()),
        wall_error_mm=0.03 * rng.normal(),
        stretch=0.004 * rng.normal(),
    )


def draw_shop(
    rng,
    n_benders: int,
    n_tubes: int = 2,
    *,
    kinds: tuple[str, ...] = ("power",),
    alloys: tuple[str, ...] = tuple(ALLOYS),
    bow_sd_deg: float = 0.0,
    drift_sd_deg: float = 0.0,
) -> InventedShop:
    """Draw benders, each with `n_tubes` tubes of its own size and of different alloys.

    kinds : shapes of flow curve to draw from, each as often as it is named
    alloys : names to draw from, at least `n_tubes` of them
    """
    benders, tubes, pairs = [], [], []
    for i in range(n_benders):
        od, wall = SIZES_MM[rng.choice(len(SIZES_MM))], WALLS_MM[rng.choice(len(WALLS_MM))]
        bender = draw_bender(rng, i + 1, od_mm=od, wall_mm=wall, bow_sd_deg=bow_sd_deg, drift_sd_deg=drift_sd_deg)
        benders.append(bender)
        for j in rng.permutation(len(alloys))[:n_tubes]:
            kind = kinds[rng.choice(len(kinds))]
            tube = draw_tube(rng, f"tube {i + 1} {alloys[j]}", alloy=alloys[j], od_mm=od, wall_mm=wall, kind=kind)
            tubes.append(tube)
            pairs.append((bender, tube))
    return InventedShop(tuple(benders), tuple(tubes), tuple(pairs))


def draw_offcuts(
    rng, shop: InventedShop, *, per_pair: int = 8, low_deg: float = 20.0, high_deg: float = 120.0
) -> list[dict]:
    """Rows of offcuts.csv: every pair bent at dial angles spread evenly over the span, in mixed order."""
    angle_tool, length_tool = shop.tools
    table: list[dict] = []
    made = {bender.bender: 0 for bender in shop.benders}
    for bender, tube in shop.pairs:
        dial = np.round(rng.permutation(np.linspace(low_deg, high_deg, per_pair)))
        reach = np.round(60 + 3 * bender.die_radius_mm)
        columns = bend_offcuts(
            bender, tube, dial, 2 * reach, np.round(reach - 1.5 * bender.die_radius_mm), rng,
            angle_tool=angle_tool, length_tool=length_tool, made=made[bender.bender],
        )  # fmt: skip
        made[bender.bender] += per_pair
        names = {"angle_tool": angle_tool.tool, "length_tool": length_tool.tool}
        table += rows(columns, bender=bender.bender, tube=tube.tube, prefix=f"{len(table) + 1}-", **names)
    return table


def shop_tables(shop: InventedShop, offcuts: list[dict]) -> dict[str, list[dict]]:
    """The tables of a shop folder for `write_tables`, saying on each row that it is invented."""
    said = {"made_by": "invented; tests/invented"}
    bender_columns = ("dial_step_deg", "dial_max_deg", "min_leg_mm", "min_between_mm", "min_last_mm", "note")
    return {
        "benders.csv": [
            {"bender": b.bender, "die_radius_mm": b.radius_on_paper_mm}
            | {c: getattr(b, c) for c in bender_columns}
            | said
            for b in shop.benders
        ],
        "tubes.csv": [
            {c: getattr(t, c) for c in ("tube", "alloy", "od_mm", "wall_mm", "temper", "note")} | said
            for t in shop.tubes
        ],
        "tools.csv": [{c: getattr(t, c) for c in ("tool", "measures", "step", "sd")} | said for t in shop.tools],
        "offcuts.csv": [row | said for row in offcuts],
    }
