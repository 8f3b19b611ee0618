"""A line's mirror image: the same line for the other side."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from bendcal.legs import mirror_legs
from bendcal.lines import Line

__all__ = ["PLANES", "mirrored"]

#: The axis that stands square on the mirror: ``y`` mirrors left to right where y runs across the vehicle.
PLANES = ("x", "y", "z")


def mirrored(line: Line, name: str, plane: str = "y", *, at_mm: float = 0.0) -> Line:
    """The line's mirror image, to be marked out like any other.

    Legs and angles stay, every twist changes its sign (a half turn stays one), and the nodes go to
    the other side of the plane. Tube, bender, ends, labels and the trimmed end stay as they are.

    Parameters
    ----------
    line : the line of one side
    name : what the other one is called
    plane : the axis that stands square on the mirror, one of :data:`PLANES`
    at_mm : where the mirror crosses that axis [mm]

    Returns
    -------
    Line

    Raises
    ------
    ValueError : for another plane, or a name that no file can carry

    Examples
    --------
    >>> from bendcal.lines import line_from_nodes
    >>> left = line_from_nodes("left", [[0, 5, 0], [50, 5, 0], [50, 40, 0], [50, 40, 30]], tube="t", bender="b")
    >>> right = mirrored(left, "right")
    >>> right.nodes_mm[2].tolist(), left.legs.twist_deg.tolist(), right.legs.twist_deg.tolist()
    ([50.0, -40.0, 0.0], [0.0, 90.0], [0.0, -90.0])
    """
    if plane not in PLANES:
        raise ValueError(f"plane is {plane!r}; it is the axis that stands square on the mirror, one of {', '.join(PLANES)}.")
    if not np.isfinite(at_mm):
        raise ValueError(f"at_mm is {at_mm}; it is where the mirror crosses the {plane} axis, in mm.")
    axis = PLANES.index(plane)
    nodes = np.array(line.nodes_mm)
    nodes[:, axis] = 2.0 * at_mm - nodes[:, axis] + 0.0
    note = f"mirror image of {line.line}" + (f"; {line.note}" if line.note else "")
    covariance = line.shape_covariance
    if covariance is not None:
        sign = np.where(np.arange(len(covariance)) > 2 * line.bends, -1.0, 1.0)  # of legs, angles and twists
        covariance = sign[:, None] * covariance * sign
    return replace(line, line=name, note=note, legs=mirror_legs(line.legs), nodes_mm=nodes, shape_covariance=covariance, leg_from=())
