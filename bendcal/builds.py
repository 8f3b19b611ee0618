"""Builds: a line bent many times over on paper, with everything going as wrong as it may."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bendcal.margin import TWIST_SD_DEG
from bendcal.marks import MarkSheet
from bendcal.path import nodes_from_legs, place_nodes

__all__ = ["Builds", "simulate_builds"]


@dataclass(frozen=True, eq=False)
class Builds:
    """Where a line's apexes and ends fell in K builds, end A in its seat and leg 1 in line.

    Attributes
    ----------
    nodes_mm : (K, n + 2, 3) in the line's standard frame
    wanted_mm : (n + 2, 3) where they belong
    """

    nodes_mm: np.ndarray
    wanted_mm: np.ndarray

    @property
    def end_off_mm(self) -> np.ndarray:
        """(K, 3) end B − its seat."""
        return self.nodes_mm[:, -1] - self.wanted_mm[-1]

    def short_by_mm(self) -> np.ndarray:
        """(K,) how much of end B's own leg is missing: positive where the seat is not reached."""
        along = self.wanted_mm[-1] - self.wanted_mm[-2]
        return -self.end_off_mm @ (along / np.linalg.norm(along))


def simulate_builds(
    sheet: MarkSheet, count: int, *, rng: np.random.Generator, twist_sd_deg: float = TWIST_SD_DEG
) -> Builds:
    """Bend a sheet `count` times, drawing the law and every bend anew.

    Parameters
    ----------
    sheet : what :func:`bendcal.mark_out` made
    count : K
    rng : where chance comes from
    twist_sd_deg : standard deviation of each twist but the first [deg]

    Returns
    -------
    Builds

    A shape that was measured (a pattern) is drawn too: what a build then misses is where its seat may really be.

    Source: JCGM 101:2008, 5 and 7, propagation of distributions by Monte Carlo; the scatter
    of a bend is drawn as a scaled t with the law's degrees of freedom.
    """
    law, legs, n = sheet.law, sheet.legs, sheet.legs.bends
    p = rng.multivariate_normal([*law.parameters, 0.0], law.spread, size=count, method="eigh")
    a, b, radius, developed, offset, bow = (column[:, None] for column in p.T)
    wide = np.ones((count, 1))
    if np.isfinite(law.dof):
        wide = np.sqrt((law.dof - 2) / rng.chisquare(law.dof, size=(count, 1)))
    angle = a + b * sheet.dial_deg + bow * law.bow.at(sheet.dial_deg) + law.scatter_deg * wide * rng.normal(size=(count, n))
    theta = np.radians(angle)
    arc, setback = developed * theta, radius * np.tan(theta / 2)
    start = sheet.mark_mm + sheet.feed * offset + law.marking_mm * rng.normal(size=(count, n))
    start = start - np.where(sheet.feed < 0, arc, 0.0)
    edge = np.ones((count, 1))
    seat_a = sheet.seat_a_mm + sheet.end_a.uses_sd_mm * rng.normal(size=(count, 1))
    seat_b = sheet.seat_b_mm + sheet.end_b.uses_sd_mm * rng.normal(size=(count, 1))
    leg = np.concatenate([start, seat_b * edge], axis=1) - np.concatenate([seat_a * edge, start + arc], axis=1)
    leg[:, 1:] += setback
    leg[:, :-1] += setback
    twist = legs.twist_deg + twist_sd_deg * rng.normal(size=(count, n))
    twist[:, :1] = legs.twist_deg[:1]
    if sheet.line.shape_covariance is not None:
        # Where a seat is not where the pattern says, the line is off by as much the other way.
        off = rng.multivariate_normal(np.zeros(3 * n + 1), sheet.line.shape_covariance, size=count, method="eigh")
        leg, angle, twist = leg + off[:, : n + 1], angle + off[:, n + 1 : 2 * n + 1], twist + off[:, 2 * n + 1 :]
    return Builds(place_nodes(leg, angle, twist), nodes_from_legs(legs))
