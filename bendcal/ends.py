"""The end of a line: how it is formed, and how much tube that takes."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["FORMS", "PLAIN", "End"]

FORMS = ("single flare", "double flare", "bubble flare", "olive", "plain")


@dataclass(frozen=True)
class End:
    """One way in which the shop finishes a tube end.

    Parameters
    ----------
    end : the name by which the shop calls it
    form : one of :data:`FORMS`
    uses_mm : tube used beyond the seat [mm]
    uses_sd_mm : its standard uncertainty [mm]
    straight_mm : straight tube needed behind the seat for the nut and the flaring tool [mm]
    note : free text

    Raises
    ------
    ValueError : where the form is unknown or a length is negative

    Examples
    --------
    >>> End("M10 double", "double flare", 6.5).uses_mm
    6.5
    """

    end: str
    form: str
    uses_mm: float
    uses_sd_mm: float = 0.0
    straight_mm: float = 0.0
    note: str = ""

    def __post_init__(self) -> None:
        if self.form not in FORMS:
            raise ValueError(f"End {self.end!r}: form {self.form!r} is none of {', '.join(FORMS)}.")
        for name in ("uses_mm", "uses_sd_mm", "straight_mm"):
            if not getattr(self, name) >= 0:
                raise ValueError(f"End {self.end!r}: {name} is {getattr(self, name)}; it must be 0 or more.")

    @property
    def is_flare(self) -> bool:
        """Whether the tube itself is formed into a flare (and the nut must be on before it)."""
        return self.form.endswith("flare")


PLAIN = End("plain", "plain", 0.0)
