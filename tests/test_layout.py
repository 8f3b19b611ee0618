"""Tables and paragraphs as they are printed, and errors as a page shows them."""

import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bendcal.files.folder import read_shop
from bendcal.layout import TextTable, paragraph
from bendcal.plainly import plain_errors, said_by_the_kit

CELLS = st.text(st.characters(exclude_categories=("C", "Z")), max_size=12)


def test_a_table_by_hand() -> None:
    """Figures stand right, words left, an empty column is left out, and no line ends in a blank."""
    table = TextTable({"bend": ["1", "12"], "turn": ["none", ""], "note": ["", ""], "off": ["−0.5", "+10.0"]})
    assert str(table) == "bend  turn    off\n   1  none   −0.5\n  12        +10.0"


def test_a_long_last_column_is_folded_beside_the_others() -> None:
    """A reason that is long goes on below itself, and the table stays within 80 columns."""
    told = str(TextTable({"offcut": ["S6", "S7"], "why": ["the digits were swapped " * 8, "lost"]}))
    lines = told.splitlines()
    assert max(map(len, lines)) <= 80
    assert len(lines) > 4 and all(line.startswith(" " * 8) for line in lines[2:-1])
    assert lines[-1] == "S7      lost"
    assert " ".join(told.split()).count("swapped") == 8


def test_wide_and_combining_letters_take_the_places_that_a_terminal_gives_them() -> None:
    """A name of wide letters counts double, an accent set apart not at all."""
    told = str(TextTable({"name": ["管", "e\u0301", "ab"], "x": ["1", "2", "3"]}))
    assert told == "name  x\n管    1\ne\u0301     2\nab    3"


def test_a_table_without_rows_shows_its_headings() -> None:
    """Nothing to show is shown as headings with nothing below."""
    assert str(TextTable({"bend": [], "mark mm": []})) == "bend  mark mm"
    assert str(TextTable({})) == ""


def test_a_table_for_a_page_is_escaped_and_the_same_each_time() -> None:
    """A name with signs of HTML in it cannot change the page."""
    table = TextTable({"tube": ["<b>3/16\"</b>"], "dial °": ["95.8"]})
    html = table._repr_html_()
    assert "&lt;b&gt;3/16&quot;&lt;/b&gt;" in html and "<b>" not in html
    assert html == table._repr_html_()
    assert '<td style="text-align: right">95.8</td>' in html


@given(st.lists(st.tuples(CELLS, CELLS), min_size=1, max_size=6))
def test_every_cell_is_printed_in_its_row(rows: list[tuple[str, str]]) -> None:
    """Whatever letters the cells hold, each row's texts stand in its line and in its row of the page."""
    table = TextTable({"n": [str(i) for i in range(len(rows))], "one": [a for a, _ in rows], "two": [b for _, b in rows]})
    lines = str(table).splitlines()[1:]
    assert [line.split() for line in lines] == [[str(i), *filter(None, row)] for i, row in enumerate(rows)]
    assert table._repr_html_().count("<tr>") == len(rows) + 1


def test_a_paragraph_is_set_in_below_its_first_line() -> None:
    """Only the first line carries the dash, and no line is longer than asked."""
    told = paragraph("Deburr both ends inside and outside before anything is flared.", first="- ", width=30)
    first, *rest = told.splitlines()
    assert first.startswith("- ") and all(line.startswith("  ") and len(line) <= 30 for line in rest)
    assert paragraph("about 95 % of it is 12.5 mm", width=8) == "about\n95 % of\nit is\n12.5 mm", "a unit stays with its number"
    assert paragraph("copper-nickel tube", width=14) == "copper-nickel\ntube"


def test_an_error_of_the_kit_is_told_from_one_of_the_page() -> None:
    """What a page's own line raises is for Python to show; what the kit raises is a sentence."""
    with pytest.raises(ValueError, match="no folder of this name") as by_kit:
        read_shop("no such folder")
    with pytest.raises(ValueError, match="invalid literal") as by_page:
        int("x")
    assert said_by_the_kit(by_kit.value.__traceback__)
    assert not said_by_the_kit(by_page.value.__traceback__)
    assert not said_by_the_kit(None)


def test_plain_errors_do_nothing_outside_a_notebook() -> None:
    """In a plain script the call changes nothing, and needs no IPython to be running."""
    code = "from bendcal.plainly import plain_errors; plain_errors(); int('x')"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, encoding="utf-8", check=False)
    assert done.returncode == 1 and "Traceback" in done.stderr
    plain_errors()
