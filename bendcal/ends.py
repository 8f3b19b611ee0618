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
    nut_mm : straight tube that the nut alone needs behind the seat, its own length and the way that it
        slides back [mm]; None where it was not measured
    nut_flats_mm : how wide the nut is across its flats: the size of its spanner [mm]; None where nobody says
    nut_length_mm : how long the nut itself is [mm]; None where nobody says

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
    nut_mm: float | None = None
    nut_flats_mm: float | None = None
    nut_length_mm: float | None = None

    def __post_init__(self) -> None:
        if self.form not in FORMS:
            raise ValueError(f"End {self.end!r}: form {self.form!r} is none of {', '.join(FORMS)}.")
        for name in ("uses_mm", "uses_sd_mm", "straight_mm"):
            if not getattr(self, name) >= 0:
                raise ValueError(f"End {self.end!r}: {name} is {getattr(self, name)}; it must be 0 or more.")
        for name in ("nut_mm", "nut_flats_mm", "nut_length_mm"):
            value = getattr(self, name)
            if value is not None and not value > 0:
                raise ValueError(f"End {self.end!r}: {name} is {value}; it must be more than 0, or left out.")
        if self.nut_mm is not None and self.nut_length_mm is not None and self.nut_length_mm > self.nut_mm:
            raise ValueError(f"End {self.end!r}: nut_length_mm is {self.nut_length_mm}; it must be no more than nut_mm ({self.nut_mm:g}), which holds the nut and its way back.")

    @property
    def is_flare(self) -> bool:
        """Whether the tube itself is formed into a flare (and the nut must be on before it)."""
        return self.form.endswith("flare")

    @property
    def behind_mm(self) -> float:
        """Straight tube that must be left behind the seat, for the nut and for the tool [mm].

        >>> End("M10", "double flare", 5.0, straight_mm=20.0, nut_mm=26.0).behind_mm
        26.0
        """
        return max(self.straight_mm, self.nut_mm or 0.0)

    @property
    def nut_corners_mm(self) -> float | None:
        """How wide the nut is across its corners: those of a regular hexagon [mm].

        >>> round(End("M10", "double flare", 5.0, nut_flats_mm=11.0).nut_corners_mm, 2)
        12.7
        """
        return None if self.nut_flats_mm is None else self.nut_flats_mm * 2 / 3**0.5


PLAIN = End("plain", "plain", 0.0)
