"""Text to millimetres, degrees and fractions of an inch, and back."""

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bendcal.measures import angle_deg, angle_text, inch_text, length_mm, mm_text, number, stress


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("92", 92.0), ("92.5", 92.5), ("92,5", 92.5), (" 92,5\t", 92.5), ("\u00a092.5", 92.5), ("+.5", 0.5),
        ("-3", -3.0), ("\u22123", -3.0), ("- 3", -3.0), ("92.", 92.0), ("1.2E-03", 0.0012), ("1e3", 1000.0),
        ("0,125", 0.125), ("4,7625", 4.7625), ("1.234", 1.234), ("1234", 1234.0), ("007", 7.0),
    ],
)  # fmt: skip
def test_plain_numbers_are_read(text: str, value: float) -> None:
    """A decimal point, a decimal comma, a typographic minus and blanks are all understood."""
    assert number(text) == value


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("12", 12.0), ("12 mm", 12.0), ("12mm", 12.0), ("12 MM.", 12.0), ("1,2 cm", 12.0), ("0.3 m", 300.0),
        ("3/16 in", 4.7625), ('3/16"', 4.7625), ("3/16''", 4.7625), ("3/16″", 4.7625), ("3/16”", 4.7625),
        ('1 7/8"', 47.625), ("1-7/8 in", 47.625), ("1 - 7/8 inches", 47.625), ("1⅞ in", 47.625), ('½"', 12.7),
        ('-1 7/8"', -47.625), ("13/8 in", 41.275), ("1,5in", 38.1), ("1.875 inch", 47.625), ("3⁄16 in", 4.7625),
    ],
)  # fmt: skip
def test_lengths_are_read_into_millimetres(text: str, value: float) -> None:
    """1 in is 25.4 mm exactly, so each of these is the nearest float to the exact figure."""
    assert length_mm(text) == value


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("92,5", 92.5), ("92,5°", 92.5), ("92.5 °", 92.5), ("92.5º", 92.5), ("92.5 deg", 92.5),
        ("92.5 degrees", 92.5), ("92°30'", 92.5), ("92° 30′", 92.5), ("-5°6'", -5.1), ("0", 0.0),
    ],
)  # fmt: skip
def test_angles_are_read_into_degrees(text: str, value: float) -> None:
    """With or without the sign, and with minutes as a vernier protractor shows them."""
    assert angle_deg(text) == pytest.approx(value, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "An empty cell is not a length"),
        ("   ", "An empty cell is not a length"),
        ("long", '"long" is not a length. Write a length'),
        ("1.234,5", "has a thousands separator"),
        ("1,234.5", "has a thousands separator"),
        ("1 234", "has a thousands separator"),
        ("1'234.5", "has a thousands separator"),
        ("1.234.567", "has a thousands separator"),
        ("1,234", "can be read in two ways. Write 1.2340 for 1 and a fraction, or 1234"),
        ("nan", "a value that is not known is left blank"),
        ("-inf", "a value that is not known is left blank"),
        ("Infinity", "a value that is not known is left blank"),
        ("1e999", "larger than any number that can be kept"),
        ("#REF!", "an error message of a spreadsheet"),
        ("#DIV/0!", "an error message of a spreadsheet"),
        ("#N/A", "an error message of a spreadsheet"),
        ("#WERT!", "an error message of a spreadsheet"),
        ("Err:502", "an error message of a spreadsheet"),
        ("#####", "an error message of a spreadsheet"),
        ("16-Mar", "looks like a date"),
        ("03/16/2025", "looks like a date"),
        ("2025-03-16", "looks like a date"),
        ("16. Mrz", "looks like a date"),
        ("Mar-16", "looks like a date"),
        ("3. März", "looks like a date"),
        ("3/16", "is a fraction without a unit"),
        ("1/2 mm", "is a fraction of mm"),
        ("1/0 in", "divides by nothing"),
        ("1 9/8 in", "has a fraction of 1 or more after its whole number"),
        ("92°", "is not a length: it carries the unit deg"),
        ("5 ft", "is not a length: it carries the unit ft"),
        ("=A1*2", "but a formula"),
        ("1_000", '"1_000" is not a length'),
        ("0x10", '"0x10" is not a length'),
        ("12 13", '"12 13" is not a length'),
        ("1..2", '"1..2" is not a length'),
        ("٣", '"٣" is not a length'),
        ("9" * 41, "is too long for a length"),
    ],
)
def test_what_is_no_length_is_refused_by_name(text: str, why: str) -> None:
    """Each refusal says what was found, what is wrong with it and what to write."""
    with pytest.raises(ValueError, match=re.escape(why)) as refusal:
        length_mm(text)
    assert "Write " in str(refusal.value)


@pytest.mark.parametrize("text", ["about 120", "mark 120", "12 about", "dial-90"])
def test_a_word_beside_a_figure_is_no_date(text: str) -> None:
    """Only a month's name makes a date of a word and a number."""
    with pytest.raises(ValueError, match="is not a length") as refusal:
        length_mm(text)
    assert "date" not in str(refusal.value)


def test_a_unit_of_another_kind_is_refused() -> None:
    """A length is no angle, a radian is not read, and a plain number has no unit."""
    with pytest.raises(ValueError, match="carries the unit mm"):
        angle_deg("12 mm")
    with pytest.raises(ValueError, match="carries the unit rad"):
        angle_deg("1.57 rad")
    with pytest.raises(ValueError, match="carries the unit deg"):
        number("92°")
    with pytest.raises(ValueError, match="has 75 minutes, and a degree has 60"):
        angle_deg("92°75'")


def test_the_decimal_sign_of_a_file_settles_what_could_be_read_in_two_ways() -> None:
    """1,234 is 1.234 where the comma is known to be decimal; then 1.234 is what is refused."""
    assert number("1,234", decimal=",") == 1.234
    assert number("1.234", decimal=".") == 1.234
    with pytest.raises(ValueError, match=re.escape("Write 1,2340 for 1 and a fraction, or 1234")):
        number("1.234", decimal=",")
    with pytest.raises(ValueError, match="can be read in two ways"):
        number("1,234", decimal=".")


def test_stresses_are_read_in_either_unit() -> None:
    """138 GPa is 138 000 MPa."""
    assert stress("138 GPa", "MPa") == 138_000.0
    assert stress("62 MPa", "GPa") == 0.062
    assert stress("138", "GPa") == 138.0
    with pytest.raises(ValueError, match="carries the unit mm"):
        stress("138 mm", "GPa")


def test_inches_are_printed_as_reduced_fractions() -> None:
    """The nearest mark of the rule, reduced; what rounds up to a whole inch is one."""
    assert inch_text(47.625) == '1 7/8"'
    assert inch_text(25.4 * 31.9 / 32) == '1"'
    assert inch_text(25.4 * 1.995) == '2"'
    assert inch_text(-25.4 * 3 / 16) == '-3/16"'
    assert inch_text(-0.01) == '0"'
    assert inch_text(10.0, denominator=64) == '25/64"'
    assert inch_text(10.0, denominator=1) == '0"'
    assert inch_text(math.nan) == "unknown"
    for wrong in (0, -8, 2.5, True):
        with pytest.raises(ValueError, match="a whole number of parts"):
            inch_text(10.0, denominator=wrong)


def test_millimetres_and_degrees_are_printed_rounded() -> None:
    """Nothing is printed as minus zero, and what is not known is printed as unknown."""
    assert mm_text(47.66) == "47.7 mm"
    assert mm_text(-0.04) == "0.0 mm"
    assert mm_text(12.0, decimals=0) == "12 mm"
    assert mm_text(math.inf) == "unknown"
    assert angle_text(-12.25, decimals=2) == "-12.25°"
    assert angle_text(math.nan) == "unknown"


@given(st.floats(-1e5, 1e5))
def test_printed_lengths_read_back_to_the_last_printed_figure(mm: float) -> None:
    """Reading what was printed returns the value within half of the last place."""
    assert length_mm(mm_text(mm, decimals=2)) == pytest.approx(mm, abs=0.005001)
    assert angle_deg(angle_text(mm)) == pytest.approx(mm, abs=0.05001)


@given(st.floats(-1e5, 1e5), st.sampled_from([1, 2, 8, 10, 16, 32, 64, 100]))
def test_printed_fractions_read_back_to_half_a_mark(mm: float, denominator: int) -> None:
    """Reading a printed fraction returns the nearest mark: at most half a mark away."""
    assert length_mm(inch_text(mm, denominator=denominator)) == pytest.approx(mm, abs=25.4 / denominator / 2 + 1e-6)


@given(st.floats(-1e12, 1e12))
def test_every_figure_of_a_number_is_read(value: float) -> None:
    """The shortest text that means a float, with either decimal sign, is read as that very float."""
    assert number(repr(value), decimal=".") == value
    assert number(repr(value).replace(".", ","), decimal=",") == value


@given(st.one_of(st.text(), st.text("0123456789.,-+/°'\"½ eEin m", max_size=12)))
def test_any_text_is_read_or_refused_with_a_sentence(text: str) -> None:
    """No text brings anything but a finite number or a ValueError with a whole sentence."""
    for read in (number, length_mm, angle_deg):
        try:
            assert math.isfinite(read(text))
        except ValueError as refusal:
            assert str(refusal).endswith(".")
            assert len(str(refusal)) < 400
            assert str(refusal).isprintable()
