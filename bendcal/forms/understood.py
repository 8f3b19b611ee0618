"""What was understood of a typed text: said beside the box before anything is kept."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import isclose

from bendcal.files import Column, cell_value, name_key, tidy
from bendcal.measures import NotAMeasure, inch_text

__all__ = ["Understood", "blockers_of", "understood", "understood_name", "understood_row"]

_FINEST = 64  # parts of an inch that a rule is divided into, at the most
_UNITS = {"angle": "°", "GPa": " GPa", "MPa": " MPa", "number": ""}


@dataclass(frozen=True)
class Understood:
    """One typed text and what it means.

    Attributes
    ----------
    value : a number in mm or degrees, a text, or None where nothing was understood or typed
    words : what stands beside the box, such as ``4.7625 mm (3/16")``
    wrong : why it was not understood and what to write instead, or blank
    missing : whether it is still to be filled in
    """

    value: object = None
    words: str = ""
    wrong: str = ""
    missing: bool = False

    @property
    def fine(self) -> bool:
        """Whether nothing stands in the way."""
        return not self.wrong and not self.missing


def understood(text: str, column: Column) -> Understood:
    """What a typed text means in a column.

    Parameters
    ----------
    text : as typed: a decimal point or comma, a unit, a fraction of an inch
    column : what may stand there

    Examples
    --------
    >>> understood("3/16 in", Column("od_mm", "length")).words
    '4.7625 mm (3/16")'
    >>> understood("92,5", Column("dial_deg", "angle")).words
    '92.5°'
    >>> understood("1.234,5", Column("dial_deg", "angle")).value is None
    True
    """
    text = tidy(text)
    if not text and column.filled:
        return Understood(missing=True)
    try:
        value = cell_value(text, column)
    except NotAMeasure as error:
        return Understood(wrong=str(error))
    if not text:
        return Understood(value)
    if column.kind in ("text", "choice"):
        return Understood(value, "" if value == text else str(value))
    if column.kind == "length":
        return Understood(value, _length(value))
    return Understood(value, f"{value:.6g}{_UNITS[column.kind]}")


def understood_name(text: str, names: Iterable[str], noun: str, *, needed: bool = True) -> Understood:
    """Which of a shop's names a typed text means: the name itself, or so much of its beginning that no other is meant.

    Parameters
    ----------
    text : as typed
    names : those that there are
    noun : what they are names of, for the sentence
    needed : whether it may not be left blank

    Examples
    --------
    >>> understood_name("st", ["steel-3/16", "cuni-3/16"], "tube").value
    'steel-3/16'
    """
    text, names = tidy(text), list(names)
    if not text:
        return Understood(missing=True) if needed else Understood("")
    key = name_key(text)
    same = [name for name in names if name_key(name) == key]
    like = same or [name for name in names if name_key(name).startswith(key)]
    if len(like) == 1:
        return Understood(like[0], "" if like[0] == text else like[0])
    if like:
        return Understood(wrong=f"{', '.join(like)} begin like that. Type a little more of the name.")
    there = ", ".join(names) if names else "none yet; enter one first, on the start page"
    return Understood(wrong=f"There is no {noun} of that name. There is: {there}.")


def blockers_of(told: Mapping[str, Understood], names: Mapping[str, str], keys: Iterable[str]) -> list[str]:
    """Sentences that say what stands in the way, for some boxes of a form.

    Parameters
    ----------
    told : box → what was understood in it
    names : box → what is written beside it
    keys : of the boxes

    Examples
    --------
    >>> blockers_of({"dial": Understood(missing=True)}, {"dial": "Dial"}, ["dial"])
    ['Dial: still to fill in.']
    """
    return [f"{names[key]}: {told[key].wrong or 'still to fill in'}." for key in keys if not told[key].fine]


def understood_row(text: str, column: Column) -> Understood:
    """What one or several values mean, a semicolon between them; the value is a tuple.

    Parameters
    ----------
    text : as typed
    column : what each may be

    Examples
    --------
    >>> row = understood_row("99,8; 100.1", Column("line_mm", "length"))
    >>> row.value, row.words
    ((99.8, 100.1), '99.8 mm (about 3 59/64"); 100.1 mm (about 3 15/16")')
    >>> understood_row("99.8, 100.1", Column("line_mm", "length")).wrong
    '"99.8, 100.1" is not one number. Put a semicolon between several: 99.8; 100.1.'
    """
    parts = [tidy(part) for part in tidy(text).rstrip("; ").split(";")]
    if len(parts) > 1 and "" in parts:
        return Understood(wrong=f"Number {parts.index('') + 1} of {len(parts)} is blank. Write each, with a semicolon between them.")
    told = [understood(part, column) for part in parts]
    for part, each in zip(parts, told, strict=True):
        if not each.fine:
            listed = [v for v in part.replace(", ", " ").split() if v[:1].isdigit()]
            if len(listed) > 1 and all(understood(v, column).fine for v in listed):
                return Understood(wrong=f'"{part}" is not one number. Put a semicolon between several: {"; ".join(listed)}.')
            return each
    return Understood(tuple(each.value for each in told), "; ".join(each.words for each in told))


def _length(mm: float) -> str:
    """Millimetres as they will be kept, and the same on an inch rule."""
    inches = inch_text(mm, denominator=_FINEST)
    exact = isclose(mm * _FINEST / 25.4, round(mm * _FINEST / 25.4), rel_tol=0.0, abs_tol=1e-6)
    return f"{mm:.7g} mm ({'' if exact else 'about '}{inches})"
