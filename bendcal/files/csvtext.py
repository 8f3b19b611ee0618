"""A CSV file as spreadsheets and editors leave it: its bytes, its marks and its rows of cells.

The kit writes UTF-8 with commas (RFC 4180). It also reads what spreadsheets write instead: a byte
order mark, UTF-16, semicolons or tabs, any line ending. What it cannot read it refuses by name.
"""

from __future__ import annotations

import codecs
import csv
import io
import os
import re
import stat
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from bendcal.faults import Fault, quoted

__all__ = ["CsvText", "csv_text", "read_bytes"]

MOST_BYTES = 20_000_000
MOST_ROWS = 50_000
MOST_COLUMNS = 500
SAVE_AS = "Open it in the spreadsheet and save it as the file type “CSV UTF-8” (comma delimited)."

_MARKS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
_OTHER_KINDS = (
    (b"PK\x03\x04", "a spreadsheet's workbook (or another packed file)"),
    (b"\xd0\xcf\x11\xe0", "an old spreadsheet's workbook"),
    (b"%PDF", "a PDF"),
    (b"\x1f\x8b", "a packed file"),
    (b"{\\rtf", "a word processor's document"),
    (b"<", "a web page or an XML file"),
)
_SEP_LINE = re.compile(r'\A"?sep=(.)"?\s*(?:\r\n|\r|\n|\Z)', re.IGNORECASE)


@dataclass(frozen=True)
class CsvText:
    """The cells of one file, and the form in which they were written.

    Parameters
    ----------
    file : its name for remarks
    rows : (row number as a spreadsheet shows it, cells as they stand), blank rows left out
    encoding, mark : how it was encoded, and the byte order mark that stood before it
    delimiter, newline : what divides cells and ends rows
    ends_whole : whether the last row has its line ending
    """

    file: str
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    encoding: str = "utf-8"
    mark: bytes = b""
    delimiter: str = ","
    newline: str = "\n"
    ends_whole: bool = True


def read_bytes(path: Path, file: str) -> bytes | Fault:
    """The bytes of a file of readable size, or the fault that stands in the way.

    Parameters
    ----------
    path : where it is
    file : its name for the fault

    Examples
    --------
    >>> print(read_bytes(Path("no such folder/tubes.csv"), "tubes.csv").found)
    no such file
    """

    def fault(found: str, remedy: str, rule: str = "") -> Fault:
        return Fault(file, None, None, found, rule, remedy)

    try:
        info = os.stat(path)
        if stat.S_ISDIR(info.st_mode):
            return fault("a folder", "Rename the folder and put the file in its place.", "A file is needed here.")
        if not stat.S_ISREG(info.st_mode):  # a pipe or a device could be read for ever
            return fault("something that is no file", "Put a CSV file in its place.", "A file is needed here.")
        if info.st_size > MOST_BYTES:
            size = f"{info.st_size / 1e6:.0f} MB"
            return fault(size, "Look whether it is the right file.", f"A table has at most {MOST_BYTES / 1e6:.0f} MB.")
        with open(path, "rb") as opened:
            return opened.read(MOST_BYTES + 1)
    except FileNotFoundError:
        return fault("no such file", "Put the file into the shop folder.")
    except PermissionError:
        return fault("a file that may not be read", "Allow reading it, or close the program that holds it.")
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error)
        return fault(f"a file that cannot be read ({why})", "Copy it to this disk and try again.")


def csv_text(data: bytes, file: str, score: Callable[[list[str]], int], *, header: str = "Write the header row.") -> CsvText | Fault:
    """Decode a file, find its delimiter and take it apart into cells.

    Parameters
    ----------
    data : the whole file
    file : its name for remarks
    score : how many of the cells of a header row are known column names; the delimiter that
        makes most of them is the file's own
    header : what to do where there is none

    Returns
    -------
    CsvText, or the Fault that stands in the way

    Examples
    --------
    >>> csv_text(b"tube;od_mm\\nx;4,76\\n", "tubes.csv", len).rows
    ((1, ('tube', 'od_mm')), (2, ('x', '4,76')))
    """
    decoded = _decode(data, file)
    if isinstance(decoded, Fault):
        return decoded
    text, encoding, mark = decoded
    told = _SEP_LINE.match(text)  # a line that some spreadsheets write, and none shows as a row
    body = text[told.end() :] if told else text
    if not body.strip():
        return Fault(file, None, None, "an empty file", "The first row names the columns.", header)
    delimiter = told[1] if told else _delimiter(body, score)
    rows = _cells(body, delimiter, file)
    if isinstance(rows, Fault):
        return rows
    ending = re.search(r"\r\n|\r|\n", text)
    return CsvText(
        file, rows, encoding, mark, delimiter, ending[0] if ending else "\n", text.endswith(("\r", "\n"))
    )


def _decode(data: bytes, file: str) -> tuple[str, str, bytes] | Fault:
    """Text, encoding and byte order mark; or the name of what this file is instead."""

    def fault(found: str, rule: str, row: int | None = None) -> Fault:
        return Fault(file, row, None, found, rule, SAVE_AS)

    mark, encoding = next(((m, e) for m, e in _MARKS if data.startswith(m)), (b"", "utf-8"))
    body = data[len(mark) :]
    if not mark:
        for start, kind in _OTHER_KINDS:
            if data.startswith(start):
                return fault(kind, "A table is a CSV file, which is plain text.")
    if encoding == "utf-8" and b"\0" in body:
        return fault("bytes that are no text", "A table is a CSV file, which is plain text.")
    try:
        text = body.decode(encoding)
    except UnicodeDecodeError as error:
        if encoding != "utf-8":
            return fault("bytes that are no text", "A table is a CSV file, which is plain text.")
        before = body[: error.start].decode("utf-8")
        row = len(re.findall(r"\r\n|\r|\n", before)) + 1
        letter = bytes([body[error.start]]).decode("cp1252", errors="replace")
        found = f"a letter (perhaps {quoted(letter)}) that is written in another way than UTF-8"
        return fault(found, "Letters beyond plain English are kept in UTF-8, or they are lost on another machine.", row)
    if "\0" in text:
        return fault("bytes that are no text", "A table is a CSV file, which is plain text.")
    return text, encoding, mark


def _delimiter(body: str, score: Callable[[list[str]], int]) -> str:
    """The delimiter that makes the most known column names of the header; else the most cells."""
    header = next((line for line in io.StringIO(body[:100_000], newline="") if line.strip(" \t\r\n;,")), "")

    def merit(delimiter: str) -> tuple[int, int]:
        try:
            cells = next(csv.reader([header], delimiter=delimiter), [])
        except csv.Error:
            return 0, 0
        return score(cells), len(cells)

    return max((",", ";", "\t"), key=merit)


def _cells(body: str, delimiter: str, file: str) -> tuple[tuple[int, tuple[str, ...]], ...] | Fault:
    """Rows with something in them; a cell over several lines is one row, as a spreadsheet shows it."""
    rows = []
    number = 0
    try:
        reader = csv.reader(io.StringIO(body, newline=""), delimiter=delimiter, strict=True)
        for number, cells in enumerate(reader, start=1):
            if len(rows) >= MOST_ROWS or len(cells) > MOST_COLUMNS:
                found = f"{len(cells)} cells in this row" if len(cells) > MOST_COLUMNS else f"more than {MOST_ROWS} rows"
                rule = f"A table has at most {MOST_ROWS} rows and {MOST_COLUMNS} columns."
                return Fault(file, number, None, found, rule, "Look whether it is the right file.")
            if any(cell.strip() for cell in cells):
                rows.append((number, tuple(cells)))
    except csv.Error as error:
        what = str(error)
        if "field larger" in what:
            found = "a cell of more than 100 000 characters"
            return Fault(file, number + 1, None, found, "", "Look for a quotation mark that is not closed, or for a wrong file.")
        rule = 'A cell that begins with " ends with ", and a " inside it is written twice.'
        return Fault(file, number + 1, None, "a quotation mark out of place", rule, "Correct the marks in this row.")
    return tuple(rows)
