"""The angle by a chord, as it is typed into the form for offcuts: what was understood of it, and what is kept of it."""

from __future__ import annotations

import os
import warnings
from collections.abc import Mapping
from math import ceil

from bendcal.chord import angle_from_chord
from bendcal.entries import add_row
from bendcal.estimate import Estimate
from bendcal.faults import ShopFaults
from bendcal.files import Column
from bendcal.forms.understood import Understood
from bendcal.shop import Shop

__all__ = ["CHORD", "angle_by_chord", "chord_column", "chord_note", "chord_tool_of", "keep_chord_tool", "with_chord"]

_STEP_DEG = 0.05  # a chord's uncertainty is kept in these steps, rounded up, so that a shop has few such tools

#: What its boxes are called; none of them is a column of the log.
CHORD = {"reach_mm": "Apex to each scribe", "chord_mm": "Scribe to scribe", "chord_tool": "Both measured with"}


def chord_column(name: str) -> Column:
    """What may stand in one of its boxes."""
    return Column(name, "text" if name == "chord_tool" else "length", above=None if name == "chord_tool" else 0.0)


def angle_by_chord(told: Mapping[str, Understood], u_mm: float) -> Estimate | None:
    """The angle that was measured by a chord; None where nothing of it is typed or understood.

    Parameters
    ----------
    told : what was understood of the boxes
    u_mm : standard uncertainty of one length, by the tool that was used [mm]

    Raises
    ------
    ValueError : lengths that make no triangle, or a bend too straight to be told from none
    """
    reach, chord = told["reach_mm"].value, told["chord_mm"].value
    if not (reach and chord):
        return None
    return angle_from_chord(reach, reach, chord, u_mm)


def with_chord(told: Mapping[str, Understood], u_mm: float) -> dict[str, Understood]:
    """The same with the angle worked out where it is told by a chord and not typed.

    Parameters
    ----------
    told, u_mm : as for :func:`angle_by_chord`

    Examples
    --------
    >>> typed = {"reach_mm": Understood(100.0), "chord_mm": Understood(141.4), "angle_deg": Understood(missing=True)}
    >>> with_chord(typed, 0.1)["angle_deg"].words
    '90.02° by the chord (95 %: 89.79 to 90.24)'
    """
    told = dict(told)
    try:
        angle = angle_by_chord(told, u_mm)
    except ValueError as error:
        return told | {"chord_mm": Understood(told["chord_mm"].value, wrong=f"{str(error)[0].upper()}{str(error)[1:]}.")}
    if angle is None:
        one, other = told["reach_mm"], told["chord_mm"]
        if one.value and not (other.wrong or other.value):
            told["chord_mm"] = Understood(missing=True)
        if other.value and not (one.wrong or one.value):
            told["reach_mm"] = Understood(missing=True)
    elif told["angle_deg"].missing:
        value = round(float(angle.value), 2)
        told["angle_deg"] = Understood(value, f"{value:g}° by the chord ({str(angle).partition(' (')[2]}")
        told["angle_tool"] = Understood(chord_tool_of(angle), f"{chord_tool_of(angle)}: the chord, not what stands here")
    return told


def chord_tool_of(angle: Estimate) -> str:
    """The name of a tool for angles that is as good as a chord was.

    >>> chord_tool_of(Estimate(90.0, 0.23, "°"))
    'chord-0.25'
    """
    return f"chord-{_STEP_DEG * max(1, ceil(float(angle.u) / _STEP_DEG - 1e-9)):.4g}"


def keep_chord_tool(folder: str | os.PathLike[str], name: str, shop: Shop | None) -> str:
    """Put such a tool into the shop's table of tools, if it is not there: by that the fit knows what the angle is good for.

    Parameters
    ----------
    folder : the shop folder
    name : from :func:`chord_tool_of`
    shop : as it was read; None where it cannot be read

    Returns
    -------
    its name; blank, with a warning, where the table cannot be written: then the reading counts as one of a tool that is not named
    """
    if shop is not None and name in shop.tools:
        return name
    try:
        add_row(folder, "tool", {"tool": name, "measures": "angle", "step": "0", "sd": name.removeprefix("chord-")})
    except (OSError, ShopFaults) as error:
        warnings.warn(f"{name} could not be put into tools.csv, so the angle counts as read with a tool that is not named. {error}", stacklevel=2)
        return ""
    return name


def chord_note(told: Mapping[str, Understood]) -> str:
    """The two lengths as they are kept in the note of the piece, so that no reading is lost; blank where there are none."""
    if not (told["reach_mm"].value and told["chord_mm"].value):
        return ""
    tool = f" with {told['chord_tool'].value}" if told["chord_tool"].value else ""
    return f"angle by a chord{tool}: {told['chord_mm'].value:.7g} mm across, scribes {told['reach_mm'].value:.7g} mm from the apex"
