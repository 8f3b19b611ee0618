"""Errors on a notebook's page: the kit's own in plain words, everybody else's as Python shows them; and a bar for long work."""

from __future__ import annotations

from types import TracebackType

from bendcal.page_start import out_of_order
from bendcal.waiting_bar import show_waiting

__all__ = ["plain_errors", "said_by_the_kit"]

#: What the kit raises with a sentence for a person.
_TOLD = (ValueError, KeyError, OSError)


def plain_errors() -> None:
    """From now on this notebook shows an error of the kit as its sentence alone.

    So does a cell that is run before those that it needs. It stays an error: *Run All Cells* stops there.
    Long work shows a bar meanwhile. Outside a notebook this does nothing.

    Examples
    --------
    >>> plain_errors()
    """
    try:
        from IPython import get_ipython
    except ImportError:
        return
    shell = get_ipython()
    if shell is not None:
        shell.set_custom_exc((*_TOLD, NameError), _show)
        show_waiting()


def said_by_the_kit(traceback: TracebackType | None) -> bool:
    """Whether an error was raised by the kit itself, on purpose or passed on, not by the page's own lines.

    Parameters
    ----------
    traceback : the error's
    """
    last = ""
    while traceback is not None:
        last = traceback.tb_frame.f_globals.get("__name__", "")
        traceback = traceback.tb_next
    return last.partition(".")[0] == "bendcal"


def _show(shell, kind, error, traceback, tb_offset=None):
    """IPython's hook: what it returns is what the page shows."""
    by_kit = said_by_the_kit(traceback)
    if isinstance(error, NameError) and not by_kit and error.name:
        told = [out_of_order(error)]
        shell._showtraceback(kind, error, told)
        return told
    if isinstance(error, NameError) or not by_kit:
        shell.showtraceback((kind, error, traceback), tb_offset=tb_offset)
        return None
    told = [f"In the way: {error}"]
    shell._showtraceback(kind, error, told)
    return told
