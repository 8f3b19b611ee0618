"""A line to be made: which tube, which bender, what it carries, and its shape."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bendcal.file_names import unfit_name
from bendcal.path import Legs, corner_rows, legs_from_nodes, nodes_from_legs

#: What a line carries; brake and clutch lines get their own cautions.
SERVICES = ("brake", "clutch", "fuel", "other")


@dataclass(frozen=True, eq=False)
class Line:
    """One rigid line from end A to end B.

    Parameters
    ----------
    line : its name, which is also the name of its file
    tube, bender : names in the shop
    service : `brake`, `clutch`, `fuel` or `other`
    end_a, end_b : names of ends in the shop, or blank
    trim_at : `A` or `B`, the end at which spare tube is left on
    note : text
    legs : Legs of n bends
    nodes_mm : (k, 3) [mm], as given (the line may pass straight through some),
        or None: then built from the legs in the standard frame
    labels : k texts, one for each node (blank where it has none), or none at all
    shape_covariance : (3n + 1, 3n + 1) [mm, deg] of legs, angles and twists in that order, where
        the shape was measured (a pattern); None for a shape that is as it is given
    leg_from : for each leg the file and the rows that say it, where the line was read from a file of its own

    Raises ValueError that names the field, or where nodes and legs differ.

    >>> Line("rear", "t", "b", "brake", "", "", "B", "", Legs([50, 40], [90], [0])).bends
    1
    """

    line: str
    tube: str
    bender: str
    service: str
    end_a: str
    end_b: str
    trim_at: str
    note: str
    legs: Legs
    nodes_mm: NDArray[np.float64] | None = None
    labels: tuple[str, ...] = ()
    shape_covariance: NDArray[np.float64] | None = None
    leg_from: tuple[str, ...] = ()
    corner_rows: NDArray[np.intp] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        name = self.line
        if why := unfit_name(name):
            raise ValueError(f"line name {name!r}: {why} Choose another name.")
        if self.service not in SERVICES:
            raise ValueError(
                f"line {name}: service is {self.service!r}, it must be one of {', '.join(SERVICES)}"
            )
        if self.trim_at not in ("A", "B"):
            raise ValueError(f"line {name}: trim_at is {self.trim_at!r}, it must be A or B")
        nodes = nodes_from_legs(self.legs) if self.nodes_mm is None else self.nodes_mm
        nodes = np.array(nodes, dtype=float)
        labels = tuple(self.labels)
        if labels and len(labels) != len(nodes):
            raise ValueError(
                f"line {name}: {len(labels)} labels for {len(nodes)} nodes: give one each, or none"
            )
        rows = np.arange(self.bends + 2)
        if self.nodes_mm is not None:
            try:
                rows = corner_rows(self.legs, nodes)
            except ValueError as fault:
                raise ValueError(f"line {name}: {fault}") from None
        self._keep_covariance()
        for array in (nodes, rows):
            array.setflags(write=False)
        object.__setattr__(self, "nodes_mm", nodes)
        object.__setattr__(self, "labels", labels)
        object.__setattr__(self, "corner_rows", rows)

    def _keep_covariance(self) -> None:
        """A read-only copy of the shape's covariance, if it can be one."""
        if self.shape_covariance is None:
            return
        covariance, size = np.array(self.shape_covariance, dtype=float), 3 * self.bends + 1
        if covariance.shape != (size, size):
            raise ValueError(
                f"line {self.line}: shape_covariance is {covariance.shape}; legs, angles and twists of {self.bends} bends are {size} numbers, "
                f"so it must be {size} by {size}"
            )
        if not (np.isfinite(covariance).all() and np.allclose(covariance, covariance.T, rtol=1e-6, atol=1e-9) and (np.diag(covariance) >= 0).all()):
            raise ValueError(f"line {self.line}: shape_covariance is no covariance: it must be symmetric, with finite numbers and no variance below 0")
        covariance.setflags(write=False)
        object.__setattr__(self, "shape_covariance", covariance)

    @property
    def bends(self) -> int:
        """Number of bends, n."""
        return self.legs.bends

    @property
    def corner_nodes_mm(self) -> NDArray[np.float64]:
        """(n + 2, 3) [mm]: end A, every apex, end B, where the line lies."""
        return self.nodes_mm[self.corner_rows]

    @property
    def bend_labels(self) -> tuple[str, ...]:
        """The label of each bend's node, n texts; blank where it has none."""
        if not self.labels:
            return ("",) * self.bends
        return tuple(self.labels[i] for i in self.corner_rows[1:-1])


def line_from_nodes(
    line: str,
    nodes_mm: ArrayLike,
    *,
    tube: str,
    bender: str,
    service: str = "other",
    end_a: str = "",
    end_b: str = "",
    trim_at: str = "B",
    note: str = "",
    labels: Sequence[str] = (),
    shape_covariance: NDArray[np.float64] | None = None,
) -> Line:
    """A line from its nodes; those it passes straight through are no bends.

    Parameters
    ----------
    line, tube, bender, service, end_a, end_b, trim_at, note, shape_covariance : as in `Line`
    nodes_mm : (k, 3) [mm], seat of A, every apex, seat of B
    labels : k texts, or none

    Raises ValueError that names the line and the node, counted from 1.

    >>> line_from_nodes("x", [[0, 0, 0], [9, 0, 0], [9, 9, 0]], tube="t", bender="b").bends
    1
    """
    try:
        legs = legs_from_nodes(nodes_mm, labels=labels)
    except ValueError as fault:
        raise ValueError(f"line {line}: {fault}") from None
    nodes = np.asarray(nodes_mm, dtype=float)
    return Line(
        line, tube, bender, service, end_a, end_b, trim_at, note, legs, nodes, tuple(labels), shape_covariance
    )


def line_from_legs(
    line: str,
    leg_mm: ArrayLike,
    angle_deg: ArrayLike,
    twist_deg: ArrayLike,
    *,
    tube: str,
    bender: str,
    service: str = "other",
    end_a: str = "",
    end_b: str = "",
    trim_at: str = "B",
    note: str = "",
) -> Line:
    """A line from its legs, angles and twists, laid in the standard frame.

    Parameters
    ----------
    line, tube, bender, service, end_a, end_b, trim_at, note : as in `Line`
    leg_mm : (n + 1,) [mm]
    angle_deg, twist_deg : (n,) [deg], the first twist 0

    Raises ValueError that names the line and the leg or bend, counted from 1.

    >>> line_from_legs("x", [9, 9], [90], [0], tube="t", bender="b").nodes_mm.shape
    (3, 3)
    """
    try:
        legs = Legs(leg_mm, angle_deg, twist_deg)
    except ValueError as fault:
        raise ValueError(f"line {line}: {fault}") from None
    return Line(line, tube, bender, service, end_a, end_b, trim_at, note, legs)
