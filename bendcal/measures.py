"""Measures as people write them: millimetres, degrees and fractions of an inch, to and from text.

Inside the kit there are only millimetres and degrees. At its edge a cell may say ``92,5``,
``92.5°``, ``3/16 in`` or ``1 7/8"``. What could be read in two ways (``1,234``) is refused rather
than guessed, unless the file it comes from shows which of the two is meant.
"""

from __future__ import annotations

import re
from fractions import Fraction
from math import isfinite

from bendcal.faults import quoted

__all__ = ["NotAMeasure", "angle_deg", "angle_text", "inch_text", "length_mm", "mm_text", "number", "stress"]

MM_PER_INCH = Fraction(254, 10)  # exact, by definition (international inch, 1959)
LONGEST_TEXT = 40

# Whole numbers and fractions, so that a converted reading is the nearest float and not a near one.
_LENGTHS = {"mm": Fraction(1), "cm": Fraction(10), "m": Fraction(1000), "in": MM_PER_INCH}
_ANGLES = {"deg": Fraction(1)}
_STRESSES = {
    "GPa": {"GPa": Fraction(1), "MPa": Fraction(1, 1000)},
    "MPa": {"GPa": Fraction(1000), "MPa": Fraction(1)},
}
# How people spell a unit -> its one name here. Lower case; full stops are taken off before.
_SPELLINGS = {
    "mm": "mm", "millimetre": "mm", "millimetres": "mm", "millimeter": "mm", "millimeters": "mm",
    "cm": "cm", "m": "m",
    "in": "in", "inch": "in", "inches": "in", '"': "in", "″": "in", "”": "in", "“": "in", "''": "in",
    "°": "deg", "º": "deg", "˚": "deg", "deg": "deg", "degs": "deg", "degree": "deg", "degrees": "deg",
    "gpa": "GPa", "mpa": "MPa", "ft": "ft", "foot": "ft", "feet": "ft", "rad": "rad", "%": "%",
}  # fmt: skip
_VULGAR = {
    "½": "1/2", "¼": "1/4", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8",
}  # fmt: skip

_PLAIN = re.compile(r"[+-]? ?([0-9]+([.,][0-9]*)?|[.,][0-9]+)([eE][+-]?[0-9]{1,3})?")
_FRACTION = re.compile(r"([+-]?) *(?:([0-9]+)(?: *- *| +))?([0-9]+) */ *([0-9]+)")
_MINUTES = re.compile(r"([+-]?)([0-9]+) ?[°º˚] ?([0-9]{1,2}) ?['′’]")
_GROUPS = re.compile(r"[+-]? ?[0-9]{1,3}(?:[., '’][0-9]{3})+(?:[.,][0-9]+)?")
_TWO_WAYS = re.compile(r"[+-]? ?[1-9][0-9]{0,2}([.,])[0-9]{3}")
# Months as the spreadsheets of several languages write them, from their first three letters on.
_MONTHS = (
    "january february march april may june july august september october november december "
    "januar jänner februar märz mrz mai juni juli oktober dezember janvier février mars avril juin juillet août septembre octobre novembre décembre "
    "enero febrero marzo abril mayo junio julio agosto septiembre octubre noviembre diciembre gennaio febbraio aprile maggio giugno luglio settembre "
    "ottobre dicembre januari februari maart mei augustus"
).split()
_MONTH = "(?i:" + "|".join(sorted({name[:n] for name in _MONTHS for n in range(3, len(name) + 1)}, key=len, reverse=True)) + ")"
_DATE = re.compile(
    rf"[0-9]{{1,4}}([-/.])[0-9]{{1,2}}\1[0-9]{{1,4}}(?:[ T].*)?|[0-9]{{1,2}}[-. ]{{1,2}}{_MONTH}\.?(?:[-. ]{{1,2}}[0-9]{{2,4}})?"
    rf"|{_MONTH}[-. ][0-9]{{1,4}}"
)
_SPREADSHEET_ERROR = re.compile(r"#[^\W\d_]+(?:[/ ]?[A-Z0-9]+)*[!?/]?|#+|Err:[0-9]+")


class NotAMeasure(ValueError):
    """A text that is not the measure it should be: the text, why (read after "it"), and the remedy."""

    def __init__(self, text: str, why: str, remedy: str) -> None:
        super().__init__(text, why, remedy)
        self.text, self.why, self.remedy = text, why, remedy

    def __str__(self) -> str:
        return f"{quoted(self.text) if self.text.strip() else 'An empty cell'} {self.why}. {self.remedy}"


def number(text: str, *, decimal: str | None = None) -> float:
    """Read a plain number without a unit.

    Parameters
    ----------
    text : the cell; a decimal point or a decimal comma, no thousands separators
    decimal : ``"."`` or ``","`` if it is known which of the two the file uses, else None;
        it settles what ``1,234`` means

    Raises
    ------
    NotAMeasure : a ValueError whose sentence says why and what to write

    Examples
    --------
    >>> number("92,5"), number(" 7.2e-3 ")
    (92.5, 0.0072)
    """
    return _read(text, {}, decimal, "a plain number", "92.5")


def length_mm(text: str, *, decimal: str | None = None) -> float:
    """Read a length into millimetres; without a unit it is millimetres already.

    Parameters
    ----------
    text : the cell, such as ``12``, ``12 mm``, ``1.2 cm``, ``3/16 in``, ``1 7/8"``
    decimal : as for :func:`number`

    Raises
    ------
    NotAMeasure : a ValueError whose sentence says why and what to write

    Examples
    --------
    >>> length_mm("12,5"), length_mm('1 7/8"'), length_mm("1-7/8 in")
    (12.5, 47.625, 47.625)
    """
    return _read(text, _LENGTHS, decimal, "a length", '92.5, or with its unit 3/16 in')


def angle_deg(text: str, *, decimal: str | None = None) -> float:
    """Read an angle into degrees; without a unit it is degrees already.

    Parameters
    ----------
    text : the cell, such as ``92.5``, ``92,5°``, ``92.5 deg``, ``92°30'``
    decimal : as for :func:`number`

    Raises
    ------
    NotAMeasure : a ValueError whose sentence says why and what to write

    Examples
    --------
    >>> angle_deg("92,5°"), angle_deg("92°30'")
    (92.5, 92.5)
    """
    return _read(text, _ANGLES, decimal, "an angle in degrees", "92.5")


def stress(text: str, unit: str, *, decimal: str | None = None) -> float:
    """Read a modulus or a strength; without a unit it is in `unit` already.

    Parameters
    ----------
    text : the cell, such as ``138`` or ``138 GPa``
    unit : ``"GPa"`` or ``"MPa"``, the unit of the value returned
    decimal : as for :func:`number`

    Raises
    ------
    NotAMeasure : a ValueError whose sentence says why and what to write

    Examples
    --------
    >>> stress("138 GPa", "GPa"), stress("0.11 GPa", "MPa")
    (138.0, 110.0)
    """
    return _read(text, _STRESSES[unit], decimal, f"a value in {unit}", f"138 {unit}")


def mm_text(mm: float, *, decimals: int = 1) -> str:
    """Print a length in millimetres.

    Parameters
    ----------
    mm : length [mm]; one that is not finite is printed as ``unknown``
    decimals : how many to print

    Examples
    --------
    >>> mm_text(47.625), mm_text(-0.04)
    ('47.6 mm', '0.0 mm')
    """
    return f"{_rounded(mm, decimals)} mm" if isfinite(mm) else "unknown"


def angle_text(deg: float, *, decimals: int = 1) -> str:
    """Print an angle in degrees.

    Parameters
    ----------
    deg : angle [deg]; one that is not finite is printed as ``unknown``
    decimals : how many to print

    Examples
    --------
    >>> angle_text(92.46)
    '92.5°'
    """
    return f"{_rounded(deg, decimals)}°" if isfinite(deg) else "unknown"


def inch_text(mm: float, *, denominator: int = 32) -> str:
    """Print a length as whole inches and a reduced fraction, rounded to the nearest mark.

    Parameters
    ----------
    mm : length [mm]; one that is not finite is printed as ``unknown``
    denominator : parts into which the rule divides an inch

    Raises
    ------
    ValueError : where `denominator` is not a whole number of at least 1

    Examples
    --------
    >>> inch_text(47.625), inch_text(-4.8), inch_text(25.3), inch_text(0.1)
    ('1 7/8"', '-3/16"', '1"', '0"')
    """
    if isinstance(denominator, bool) or not isinstance(denominator, int) or denominator < 1:
        raise ValueError(f"An inch is divided into a whole number of parts, at least 1; {denominator!r} is not.")
    if not isfinite(mm):
        return "unknown"
    parts = round(Fraction(abs(mm)) / MM_PER_INCH * denominator)
    sign = "-" if mm < 0 and parts else ""
    whole, rest = divmod(parts, denominator)
    if not rest:
        return f'{sign}{whole}"'
    fraction = Fraction(rest, denominator)
    return f'{sign}{f"{whole} " if whole else ""}{fraction.numerator}/{fraction.denominator}"'


def _rounded(value: float, decimals: int) -> str:
    text = f"{value:.{decimals}f}"
    return text.lstrip("-") if float(text) == 0 else text


def _read(text: str, units: dict[str, Fraction], decimal: str | None, what: str, example: str) -> float:
    """Take text apart into a figure and a unit; refuse by name what is known to go wrong."""
    text = str(text)
    tidy = " ".join(text.replace("−", "-").replace("⁄", "/").split())
    wanted = f"Write {what}, such as {example}."
    if not tidy:
        raise NotAMeasure(text, f"is not {what}", wanted)
    if len(tidy) > LONGEST_TEXT:
        raise NotAMeasure(text, f"is too long for {what}", wanted)
    if _SPREADSHEET_ERROR.fullmatch(tidy):
        raise NotAMeasure(text, "is an error message of a spreadsheet", f"Mend the formula there. {wanted}")
    if units is _ANGLES and (minutes := _MINUTES.fullmatch(tidy)):
        return _from_minutes(text, *minutes.groups())
    taken = _figure_and_unit(tidy)
    if taken is None:
        raise NotAMeasure(text, f"is not {what}{_hint(tidy)}", wanted)
    figure, unit = taken
    if unit and unit not in units:
        raise NotAMeasure(text, f"is not {what}: it carries the unit {unit}", wanted)
    if "/" in figure and unit != "in":
        of = f"of {unit}" if unit else "without a unit"
        raise NotAMeasure(text, f"is a fraction {of}: only inches, with their unit, are read in fractions", wanted)
    exact = _from_fraction(text, figure, wanted) if "/" in figure else _from_plain(text, figure, decimal, wanted)
    try:
        return float(exact * units.get(unit, Fraction(1)))
    except OverflowError:
        raise NotAMeasure(text, "is larger than any number that can be kept", wanted) from None


def _figure_and_unit(tidy: str) -> tuple[str, str] | None:
    """The figure and the unit's one name ("" without a unit); None if the text is not made so."""
    for glyph, plain in _VULGAR.items():
        tidy = tidy.replace(glyph, f" {plain}")
    tidy = tidy.strip()
    for pattern in (_FRACTION, _PLAIN, _GROUPS):
        if figure := pattern.match(tidy):
            spelled = tidy[figure.end() :].strip().lower().rstrip(".")
            if not spelled or spelled in _SPELLINGS:
                return figure[0], _SPELLINGS.get(spelled, "")
    return None


def _hint(tidy: str) -> str:
    """What a text that is no figure probably is."""
    if tidy.lower().strip("+-") in ("nan", "inf", "infinity", "na", "n/a", "none", "null"):
        return " (a value that is not known is left blank)"
    if _DATE.fullmatch(tidy):
        made = "; it looks like a date, which a spreadsheet makes out of 3/16 or 3.16"
        return f"{made} (format the column as text there and type the value again)"
    return " but a formula (save its value instead)" if tidy.startswith("=") else ""


def _from_plain(text: str, figure: str, decimal: str | None, wanted: str) -> Fraction:
    """A number with a decimal point or comma; one that means two things is not guessed at."""
    if not _PLAIN.fullmatch(figure):
        raise NotAMeasure(text, "has a thousands separator, which means different things in different places", wanted)
    two_ways = _TWO_WAYS.fullmatch(figure)
    if two_ways and two_ways[1] != (decimal or "."):
        whole, rest = re.split("[.,]", figure)
        remedy = f"Write {whole}{decimal or '.'}{rest}0 for {whole} and a fraction, or {whole}{rest} for the whole number."
        raise NotAMeasure(text, "can be read in two ways", remedy)
    return Fraction(figure.replace(",", ".").replace(" ", ""))


def _from_fraction(text: str, figure: str, wanted: str) -> Fraction:
    """A fraction or a mixed number, in the unit that follows it."""
    sign, whole, above, below = _FRACTION.match(figure).groups()
    if int(below) == 0:
        raise NotAMeasure(text, "divides by nothing", wanted)
    if whole and int(above) >= int(below):
        raise NotAMeasure(text, "has a fraction of 1 or more after its whole number", wanted)
    value = int(whole or 0) + Fraction(int(above), int(below))
    return -value if sign == "-" else value


def _from_minutes(text: str, sign: str, degrees: str, minutes: str) -> float:
    """Degrees and minutes of arc, as a vernier protractor shows them."""
    if int(minutes) >= 60:
        raise NotAMeasure(text, f"has {minutes} minutes, and a degree has 60", "Write 92.5 or 92°30'.")
    value = int(degrees) + int(minutes) / 60
    return -value if sign == "-" else value
