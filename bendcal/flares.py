"""Flares: how much tube an end really uses, learned from practice flares."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf

import numpy as np

from bendcal.ends import End
from bendcal.estimate import Estimate
from bendcal.tools import DEFAULT_LENGTH_TOOL, Tool

__all__ = ["Flare", "learned_end", "tube_used"]

#: What is believed of the scatter from flare to flare before any is made: a typical value, worth this
#: many flares (common practice: a clamp is set by eye against the tool's step).
_SCATTER_MM, _WORTH = 0.5, 3.0

#: How far the stated ``uses_mm`` is trusted where ``uses_sd_mm`` is 0 or blank [mm].
_STATED_SD_MM = 2.0


@dataclass(frozen=True)
class Flare:
    """One practice flare, measured before and after.

    Parameters
    ----------
    end : the name of the end as formed
    before_mm : length of the straight piece, cut square and deburred, before it was flared [mm]
    after_mm : from the other cut end to the seat of the finished flare [mm]
    length_tool : the name of the tool that both were measured with
    set_aside : the reason why it does not count, or blank
    note, date : free text
    row : its row in the file; None if it has none

    Raises
    ------
    ValueError : where a length is not positive, or the flare made the tube longer by more than 1 mm

    Examples
    --------
    >>> Flare("M10", 100.0, 94.5).used_mm
    5.5
    """

    end: str
    before_mm: float
    after_mm: float
    length_tool: str = ""
    set_aside: str = ""
    note: str = ""
    date: str = ""
    row: int | None = None

    def __post_init__(self) -> None:
        if not (self.before_mm > 0 and self.after_mm > 0):
            raise ValueError(f"Flare of {self.end!r}: both lengths must be more than 0; found {self.before_mm} and {self.after_mm}.")
        if not self.set_aside and self.after_mm > self.before_mm + 1.0:
            raise ValueError(
                f"Flare of {self.end!r}: {self.before_mm} mm before and {self.after_mm} mm after; a flare uses tube. "
                "Were the two exchanged?"
            )

    @property
    def used_mm(self) -> float:
        """Tube used beyond the seat [mm]."""
        return self.before_mm - self.after_mm


def tube_used(flares: Sequence[Flare], end: End, *, tool: Tool = DEFAULT_LENGTH_TOOL) -> Estimate:
    """Tube that the *next* flare of this end will use beyond its seat.

    The scatter from flare to flare is not known: it is averaged over, so with few flares the
    interval is that of a t distribution. What ``ends.csv`` states counts as one weak reading.

    Parameters
    ----------
    flares : practice flares of this end; those set aside do not count
    end : the end, with what is stated of it
    tool : what both lengths were measured with

    Returns
    -------
    Estimate [mm]; its u holds the scatter of one flare and what is left of the mean's

    Source: normal model with unknown mean and variance, conjugate prior (for example Gelman et
    al., Bayesian Data Analysis, 3.3: memory); held in the tests against the classical limits.

    Examples
    --------
    >>> end = End("M10", "double flare", 6.0)
    >>> print(tube_used([Flare("M10", 100.0, after) for after in (94.4, 94.6, 94.1, 94.5, 94.4)], end))
    5.6 mm (95 %: 4.2 to 7.0)
    """
    used = np.array([flare.used_mm for flare in flares if flare.end == end.end and not flare.set_aside])
    n = len(used)
    # Two readings make one flare; their error cannot be told from the flare's own scatter.
    typical = _SCATTER_MM**2 + 2 * tool.u**2
    stated = (end.uses_sd_mm or _STATED_SD_MM) ** 2
    worth = typical / stated  # of the stated length, in flares
    mean = (worth * end.uses_mm + used.sum()) / (worth + n)
    if n == 0:
        return Estimate(end.uses_mm, float(np.sqrt(stated)), "mm", inf)
    dof = _WORTH + n
    squares = _WORTH * typical + ((used - used.mean()) ** 2).sum() + worth * n / (worth + n) * (used.mean() - end.uses_mm) ** 2
    scale2 = squares / dof * (1 + 1 / (worth + n))
    # The spread of a t distribution, so that u is a standard deviation.
    return Estimate(float(mean), float(np.sqrt(scale2 * dof / (dof - 2))), "mm", dof)


def learned_end(end: End, flares: Sequence[Flare], *, tool: Tool = DEFAULT_LENGTH_TOOL) -> End:
    """The end with ``uses_mm`` and ``uses_sd_mm`` as its practice flares teach them.

    Parameters
    ----------
    end, flares, tool : as for :func:`tube_used`

    Returns
    -------
    End; the same where there is no flare of it
    """
    if not any(flare.end == end.end and not flare.set_aside for flare in flares):
        return end
    used = tube_used(flares, end, tool=tool)
    return replace(end, uses_mm=float(used.value), uses_sd_mm=float(used.u))
