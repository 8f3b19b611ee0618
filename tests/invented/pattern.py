"""A finished line measured as a person would do it: rule along the legs, protractor in the corners, tape across.

Nothing here imports the kit. Readings scatter by their tool's sd and are rounded to its step.
"""

from __future__ import annotations

import numpy as np

from .line import dihedral_deg
from .offcuts import InventedTool

#: A twist taken by eye along the leg, and the way of a nut [deg].
BY_EYE_DEG = 2.0


def measure_line(
    nodes_mm,
    rng,
    *,
    angle_tool: InventedTool,
    length_tool: InventedTool,
    datums: dict[str, tuple[float, float, float]],
    taped: tuple[tuple[str, str], ...],
    fitting_sd_mm: float = 1.0,
    tape_sd_mm: float = 1.0,
) -> list[dict]:
    """Rows of patterns/<line>.csv for a line with these nodes, (k+2, 3).

    datums : name → place beside the line, exact; taped : pairs of places with a tape between them
    Every leg, angle and twist is measured, both ends are points, and the nut's way at end B.
    """
    nodes = np.asarray(nodes_mm, dtype=float)
    last = len(nodes) - 1
    names = ["A", *(str(k) for k in range(1, last)), "B"]
    places = dict(zip(names, nodes, strict=True)) | {name: np.array(at, float) for name, at in datums.items()}

    def read(true: float, sd: float, step: float) -> float:
        return float(np.round((true + sd * rng.normal()) / step) * step)

    table = [_row("datum", name, x_mm=at[0], y_mm=at[1], z_mm=at[2], note="a bolt head") for name, at in datums.items()]
    for end, name in ((0, "A"), (last, "B")):
        x, y, z = (read(float(value), fitting_sd_mm, 1.0) for value in nodes[end])
        table.append(_row("point", name, x_mm=x, y_mm=y, z_mm=z, sd=fitting_sd_mm, note="seat in the fitting"))
    ways = np.diff(nodes, axis=0)
    for k, leg in enumerate(np.linalg.norm(ways, axis=1)):
        length = read(float(leg), length_tool.sd, length_tool.step)
        table.append(_row("leg", names[k], names[k + 1], length_mm=length, tool=length_tool.tool))
    for k in range(1, last):
        into, out = ways[k - 1] / np.linalg.norm(ways[k - 1]), ways[k] / np.linalg.norm(ways[k])
        bend = float(np.degrees(2 * np.arctan2(np.linalg.norm(out - into), np.linalg.norm(out + into))))
        table.append(_row("angle", names[k], angle_deg=read(bend, angle_tool.sd, angle_tool.step), tool=angle_tool.tool))
    for k in range(1, last - 1):
        twist = read(dihedral_deg(*nodes[k - 1 : k + 3]), BY_EYE_DEG, 1.0)
        table.append(_row("twist", names[k], names[k + 1], angle_deg=twist, sd=BY_EYE_DEG, note="by eye along the leg"))
    for one, other in taped:
        apart = float(np.linalg.norm(places[one] - places[other]))
        table.append(_row("distance", one, other, length_mm=read(apart, tape_sd_mm, 1.0), sd=tape_sd_mm, note="tape"))
    x, y, z = (round(float(part), 2) for part in ways[-1] / np.linalg.norm(ways[-1]) + np.radians(BY_EYE_DEG) * rng.normal(size=3))
    table.append(_row("direction", "B", x_mm=x, y_mm=y, z_mm=z, sd=BY_EYE_DEG, note="the way the nut goes in"))
    return table


def _row(what: str, start: str, stop: str = "", **more) -> dict:
    """One row with every column."""
    blank = dict.fromkeys(("length_mm", "angle_deg", "x_mm", "y_mm", "z_mm", "sd"), None)
    return {"what": what, "from": start, "to": stop} | blank | {"tool": "", "set_aside": "", "note": ""} | more
