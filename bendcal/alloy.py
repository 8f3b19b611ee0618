"""One alloy: how stiff, how strong, and how it hardens as it is bent.

The stress of a bent fibre follows three stretches, joined without a step: elastic up to the
yield stress Y, level at Y until hardening overtakes it, then Hollomon's power law Kεⁿ:
``stress = min(E ε, max(Y, K εⁿ))``. Where the power law already lies above Y at the elastic
line it takes over at once. With n = 0 this is perfect plasticity.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import e, isfinite, log

import numpy as np

__all__ = ["NUMBERS", "Alloy"]

NUMBERS = ("e_gpa", "yield_mpa", "k_mpa", "n")


@dataclass(frozen=True)
class Alloy:
    """One alloy in one condition, with the numbers that springback depends on.

    Parameters
    ----------
    alloy : name
    e_gpa : modulus of elasticity E [GPa]
    yield_mpa : yield or 0.2 % proof stress Y [MPa]
    k_mpa : strength coefficient K, the true stress at a true strain of 1 [MPa]
    n : hardening exponent, from 0 up to but not including 1
    flow_spread : relative standard uncertainty of the flow stress at bending strains
        (some 5 to 20 %), for a tube of which only the alloy's name is known
    sources : for each of these numbers, its source and status
    brake_caution : a sentence if this alloy is not simply fit for brake lines

    Raises
    ------
    ValueError : where a number is missing, not positive, or in another unit than this asks for

    Examples
    --------
    >>> Alloy("mild steel", 209, 170, 600, 0.21, 0.25).n
    0.21
    """

    alloy: str
    e_gpa: float
    yield_mpa: float
    k_mpa: float
    n: float
    flow_spread: float
    sources: dict[str, str] = field(default_factory=dict, compare=False)
    brake_caution: str | None = None

    def __post_init__(self) -> None:
        def refuse(name: str, rule: str) -> None:
            raise ValueError(f"Alloy {self.alloy!r}: {name} is {getattr(self, name)}; {rule}.")

        for name in (*NUMBERS, "flow_spread"):
            value = getattr(self, name)
            if value is None or not isfinite(value):
                refuse(name, "it must be a number")
            if value <= 0 and name != "n":
                refuse(name, "it must be more than 0")
        if not 10 <= self.e_gpa <= 600:
            refuse("e_gpa", "in GPa every tube metal lies between 10 and 600 (steel: about 209)")
        if not 0 <= self.n < 1:
            refuse("n", "it must be at least 0 and less than 1 (soft metals: 0.2 to 0.5)")
        for name in ("yield_mpa", "k_mpa"):
            # Stronger than a twentieth of its stiffness is no metal: psi or Pa were entered.
            if getattr(self, name) > 50 * self.e_gpa:
                refuse(name, "that is too strong for any metal of this e_gpa; give it in MPa")

    def stress_mpa(self, strain, *, flow: float = 1.0):
        """Stress of a fibre stretched or squeezed by `strain` for the first time.

        Parameters
        ----------
        strain : any shape [1]; the stress has its sign
        flow : factor on Y and K, for a stronger or weaker batch

        Returns
        -------
        stress [MPa], shape of `strain`

        Examples
        --------
        >>> steel = Alloy("mild steel", 209, 170, 600, 0.21, 0.25)
        >>> round(float(steel.stress_mpa(0.12)), 1)
        384.4
        """
        size = np.abs(np.asarray(strain, float))
        plastic = flow * np.maximum(self.yield_mpa, self.k_mpa * size**self.n)
        return np.sign(strain) * np.minimum(1000 * self.e_gpa * size, plastic)

    def limits(self, flow=1.0) -> tuple:
        """The strains where the elastic stretch ends and where the power law begins.

        Parameters
        ----------
        flow : factor on Y and K, any shape

        Returns
        -------
        two strains [1] of the shape of `flow`, the first not above the second; the second is
        infinite where the power law never overtakes the yield stress

        Examples
        --------
        >>> elastic, hardens = Alloy("mild steel", 209, 170, 600, 0.21, 0.25).limits()
        >>> round(float(elastic), 5), round(float(hardens), 4)
        (0.00081, 0.0025)
        """
        e_mpa, flow = 1000 * self.e_gpa, np.asarray(flow, float)
        if self.n == 0:
            elastic = flow * max(self.yield_mpa, self.k_mpa) / e_mpa
            return elastic, np.full_like(elastic, np.inf)
        crossing = (flow * self.k_mpa / e_mpa) ** (1 / (1 - self.n))
        log_overtaken = log(self.yield_mpa / self.k_mpa) / self.n
        overtaken = np.inf if log_overtaken > 700 else np.exp(log_overtaken)
        # Where Y lies below the crossing it is never felt: both limits are the crossing.
        elastic = np.maximum(crossing, flow * self.yield_mpa / e_mpa)
        return elastic, np.maximum(elastic, overtaken)

    @property
    def ultimate_mpa(self) -> float:
        """Tensile strength that K and n imply, K nⁿ e⁻ⁿ (Considère) [MPa]."""
        return self.k_mpa * (self.n / e) ** self.n
