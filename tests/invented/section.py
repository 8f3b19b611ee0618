"""The section of a round tube in bending: its moment, summed over rings and angles."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

KINDS = ("power", "swift", "voce", "linear", "perfect")


@dataclass(frozen=True)
class FlowLaw:
    """Plastic stress [MPa] over strain; whatever is stiffer than the elastic line is elastic.

    kind and numbers, with e for strain:
    ``power`` (K, n): K·e^n; ``swift`` (K, e0, n): K·(e0 + e)^n;
    ``voce`` (Y, S, c): S − (S − Y)·exp(−c·e); ``linear`` (Y, H): Y + H·e; ``perfect`` (Y,): Y.

    >>> float(FlowLaw("linear", (200.0, 1000.0)).plastic_mpa(0.1))
    300.0
    """

    kind: str
    numbers: tuple[float, ...]

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ValueError(f"A flow law is one of {', '.join(KINDS)}, not {self.kind!r}.")

    def plastic_mpa(self, strain):
        """Stress once it flows, at a strain of any shape."""
        strain = np.asarray(strain, dtype=float)
        if self.kind == "power":
            k, n = self.numbers
            return k * strain**n
        if self.kind == "swift":
            k, e0, n = self.numbers
            return k * (e0 + strain) ** n
        if self.kind == "voce":
            y, s, c = self.numbers
            return s - (s - y) * np.exp(-c * strain)
        if self.kind == "linear":
            y, h = self.numbers
            return y + h * strain
        return np.full_like(strain, self.numbers[0])

    def stress_mpa(self, strain, *, e_mpa, factor=1.0):
        """Stress on first loading: the elastic line up to where it meets factor × plastic stress."""
        return np.minimum(e_mpa * np.asarray(strain, dtype=float), factor * self.plastic_mpa(strain))


def second_moment_mm4(od_mm, wall_mm):
    """Second moment of a round tube [mm⁴].

    >>> round(float(second_moment_mm4(2.0, 1.0)), 6) == round(float(np.pi / 4), 6)
    True
    """
    od = np.asarray(od_mm, dtype=float)
    return np.pi / 64 * (od**4 - (od - 2 * np.asarray(wall_mm, dtype=float)) ** 4)


def moment_nmm(od_mm, wall_mm, radius_mm, *, e_mpa, flow: FlowLaw, factor=1.0, angles=64, rings=4):
    """Moment [N·mm] that holds a tube at a centreline radius, plane sections staying plane.

    A quarter of the section is summed in polar coordinates: Gauss points through the wall, the
    midpoint rule around it (which is nearly exact for so smooth and even an integrand). `od_mm`,
    `wall_mm`, `radius_mm` and `factor` (on the plastic stress) may be arrays of one shape, say
    one entry per specimen.

    >>> e = 1000.0  # while all of it is elastic, M = E·I/R
    >>> m = moment_nmm(10, 1, 1e6, e_mpa=e, flow=FlowLaw("perfect", (1e9,)))
    >>> round(float(m * 1e6 / (e * second_moment_mm4(10, 1))), 9)
    1.0
    """
    od, wall, radius, factor = np.broadcast_arrays(
        *(np.asarray(v, dtype=float) for v in (od_mm, wall_mm, radius_mm, factor))
    )
    od, wall, radius, factor = (v[..., None, None] for v in (od, wall, radius, factor))
    sine = np.sin((np.arange(angles) + 0.5) * (np.pi / 2 / angles))[:, None]
    at, weight = np.polynomial.legendre.leggauss(rings)
    ring = (od - wall) / 2 + wall / 2 * at
    stress = flow.stress_mpa(ring * sine / radius, e_mpa=e_mpa, factor=factor)
    quarter = (stress * ring**2 * sine * weight * wall / 2).sum(axis=(-2, -1)) * (np.pi / 2 / angles)
    return 4 * quarter
