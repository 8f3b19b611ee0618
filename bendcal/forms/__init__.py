"""Forms for those who do not write Python: each function here makes one, and a notebook's cell shows it.

What a form knows stands in its values, which need no browser; the boxes only link to them.
"""

from __future__ import annotations

import os

import ipywidgets as widgets

from bendcal.forms.begin_form import BeginForm
from bendcal.forms.line_form import LineForm
from bendcal.forms.offcut_form import OffcutForm
from bendcal.forms.row_form import FactsForm, RowForm

__all__ = ["begin_own_shop", "enter_facts", "enter_lines", "enter_offcuts", "enter_pattern", "read_flat_line", "read_offcuts"]


def begin_own_shop(folder: str | os.PathLike[str]) -> widgets.Widget:
    """A form that begins a shop of one's own beside the sample.

    Parameters
    ----------
    folder : the shop folder that the page is set to
    """
    return BeginForm(folder).widget


def enter_facts(folder: str | os.PathLike[str]) -> widgets.Widget:
    """Forms for tools, benders and what is in the way at them, tubes, ends, practice flares, tube on hand, and obstacles near the lines.

    Parameters
    ----------
    folder : the shop folder
    """
    return FactsForm(folder).widget


def enter_pattern(folder: str | os.PathLike[str], line: str) -> widgets.Widget:
    """The form for what was measured of a line: one measurement at a time, and the shape that all of them make.

    Parameters
    ----------
    folder : the shop folder
    line : its name in lines.csv
    """
    return RowForm(folder, f"reading/{line}").widget


def enter_lines(folder: str | os.PathLike[str], line: str = "") -> widgets.Widget:
    """The form for lines: what each is made of, then leg by leg or node by node, drawn as it grows.

    Parameters
    ----------
    folder : the shop folder
    line : what to begin with
    """
    return LineForm(folder, line).widget


def enter_offcuts(folder: str | os.PathLike[str], bender: str = "", tube: str = "") -> widgets.Widget:
    """The form for offcuts: typed, understood, recorded, and taught by at once.

    Parameters
    ----------
    folder : the shop folder
    bender, tube : what to begin with
    """
    return OffcutForm(folder, bender, tube).widget


def read_flat_line(folder: str | os.PathLike[str], line: str = "", bender: str = "", tube: str = "") -> widgets.Widget:
    """The form for a flat old line or wire from a scan or a photo: read, looked at, recorded as a pattern.

    Parameters
    ----------
    folder : the shop folder
    line, bender, tube : what to begin with
    """
    from bendcal.forms.flat_form import FlatForm  # opens pictures, so it is loaded by this form alone

    return FlatForm(folder, line, bender, tube).widget


def read_offcuts(folder: str | os.PathLike[str], bender: str = "", tube: str = "") -> widgets.Widget:
    """The form for offcuts from a scan or a photo: read, looked at, recorded.

    Parameters
    ----------
    folder : the shop folder
    bender, tube : what to begin with
    """
    from bendcal.forms.scan_form import ScanForm  # opens pictures, so it is loaded by this form alone

    return ScanForm(folder, bender, tube).widget
