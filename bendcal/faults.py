"""Faults and cautions: what stands in the way, where it stands, and what to do about it.

A fault stops the work; a caution does not, but names a row that deserves a second look. Both
carry the same six facts, so that a report reads the same wherever it comes from. Rows are
counted as a spreadsheet shows them: the header is row 1.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

__all__ = ["Caution", "Fault", "ShopFaults", "quoted"]

SHOWN_FAULTS = 40  # a longer report is not read to its end
SHOWN_CHARACTERS = 60  # of a cell that is quoted in a sentence


def quoted(text: object) -> str:
    r"""A cell's text in quotation marks, short enough to print and with nothing invisible.

    Parameters
    ----------
    text : anything; it is turned into text first

    Examples
    --------
    >>> quoted("92,5\t")
    '"92,5\\t"'
    """
    full = str(text)
    return f'"{_visible(full[:SHOWN_CHARACTERS])}{"…" if len(full) > SHOWN_CHARACTERS else ""}"'


def _visible(text: str) -> str:
    """Text in which a character that does not show is written out, as \\x01 is."""
    return "".join(c if c.isprintable() else repr(c)[1:-1] for c in text)


def _full_stop(text: str, *, capital: bool = True) -> str:
    text = text.strip()
    if not text:
        return ""
    # A file's or a column's name keeps its own letters, wherever it stands.
    first = text[0].upper() if capital and text.split()[0].strip(",.:;").isalpha() else text[0]
    return first + text[1:] + ("" if text[-1] in ".!?" else ".")


@dataclass(frozen=True)
class _Remark:
    """What was found, where, which rule it meets, and what to do."""

    file: str
    row: int | None
    column: str | None
    found: str
    rule: str
    remedy: str

    @property
    def place(self) -> str:
        """File, row and column, as far as each is known."""
        parts = [self.file] if self.file else []
        if self.row is not None:
            parts.append(f"row {self.row}")
        if self.column:
            parts.append(f"column {self.column}")
        return ", ".join(parts)

    @property
    def sentence(self) -> str:
        """The whole remark for a person to read."""
        found = _full_stop(f"found {self.found}", capital=False) if self.found else ""
        told = " ".join(part for part in (found, _full_stop(self.rule), _full_stop(self.remedy)) if part)
        return _visible(f"{self.place}: {told}" if self.place else told)


@dataclass(frozen=True)
class Fault(_Remark):
    """Something that must be put right before the work can go on.

    Parameters
    ----------
    file : name of the file, relative to the shop folder
    row : row as a spreadsheet shows it, header = 1; None if the whole file is meant
    column : the header's name; None if no single column is meant
    found : what was found, as a phrase
    rule : the rule that it breaks, as a sentence
    remedy : what to do, as a sentence

    Examples
    --------
    >>> Fault("tubes.csv", 3, "od_mm", '"thin"', "A length is a number.", "Write it in mm.").sentence
    'tubes.csv, row 3, column od_mm: found "thin". A length is a number. Write it in mm.'
    """


@dataclass(frozen=True)
class Caution(_Remark):
    """Something implausible that is not refused; the same fields as a Fault.

    Examples
    --------
    >>> Caution("offcuts.csv", 7, "angle_deg", "a springback of 31 %", "", "Look again.").sentence
    'offcuts.csv, row 7, column angle_deg: found a springback of 31 %. Look again.'
    """


class ShopFaults(ValueError):
    """Every fault that was found, in one report.

    Parameters
    ----------
    faults : the Fault objects, in the order in which a person would meet them

    Examples
    --------
    >>> print(ShopFaults([Fault("tubes.csv", None, None, "no such file", "", "Make one.")]))
    1 fault must be put right first:
      1. tubes.csv: found no such file. Make one.
    """

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults: tuple[Fault, ...] = tuple(faults)
        super().__init__(self.faults)

    def __str__(self) -> str:
        count = len(self.faults)
        lines = [f"{count} fault{'' if count == 1 else 's'} must be put right first:"]
        for number, fault in enumerate(self.faults[:SHOWN_FAULTS], start=1):
            lines.append(f"  {number}. {fault.sentence}")
        if count > SHOWN_FAULTS:
            lines.append(f"  … and {count - SHOWN_FAULTS} more; they are all in .faults")
        return "\n".join(lines)
