"""Sentences with inches behind their millimetres."""

import re

import pytest
from drawing import sheet
from hypothesis import given
from hypothesis import strategies as st

from bendcal.inch_words import with_inches
from bendcal.measures import length_mm
from bendcal.order import cautions, order_of_work


@pytest.mark.parametrize(
    ("said", "becomes"),
    [
        ("Cut 929.8 mm, square.", 'Cut 929.8 mm (36 19/32"), square.'),
        ("It uses 5 mm of tube.", 'It uses 5 mm (3/16") of tube.'),
        ("within ± 14.5 mm along it (95 %)", 'within ± 14.5 mm (9/16") along it (95 %)'),
        ("brake tube of 4.75 × 0.7 mm", "brake tube of 4.75 × 0.7 mm"),
        ("0.3 mm thick, 12 mm² and 25 mmHg", "0.3 mm thick, 12 mm² and 25 mmHg"),
        ('36 mm (1 13/32") long', '36 mm (1 13/32") long'),
        ("a turn of 90°, bend 3", "a turn of 90°, bend 3"),
    ],
)
def test_each_length_gets_its_inches_once(said: str, becomes: str) -> None:
    """Lengths that stand alone, and no other number; a sentence that has its inches is not given them again."""
    assert with_inches(said) == becomes
    assert with_inches(becomes) == becomes
    assert with_inches(said, False) == said


@given(st.floats(1.0, 9999.0))
def test_the_inches_are_those_of_the_number_that_is_read(mm: float) -> None:
    """Read back, what stands in brackets is within a sixty-fourth of an inch of the millimetres before it."""
    said = with_inches(f"Cut {mm:.1f} mm.")
    found = re.fullmatch(r"Cut ([0-9.]+) mm \((.+)\)\.", said)
    assert abs(length_mm(found[2]) - float(found[1])) <= 25.4 / 64 + 1e-9


def test_no_sentence_of_a_sheet_is_left_in_millimetres_alone() -> None:
    """Order of work, cautions and warnings of several sheets: every length but a tube's sides or a hair has its inches."""
    for one in (sheet("six"), sheet("ten", trim_at="A"), sheet("one")):
        for said in [step.sentence for step in order_of_work(one)] + [str(notice) for notice in cautions(one)] + list(one.warnings):
            for found in re.finditer(r"([0-9.]+) mm\b", with_inches(said)):
                after, before = with_inches(said)[found.end() :], with_inches(said)[: found.start()]
                assert after.startswith(" (") or before.endswith("× ") or float(found[1]) < 25.4 / 64, said
