"""Run by each notebook's kernel as it starts: a cell that is run before those that it needs says so, whichever it is.

It loads nothing of the kit: a kernel that is slow to start answers its page too late, and forms are not found.
"""

from __future__ import annotations

__all__ = ["out_of_order"]


def out_of_order(error: NameError) -> str:
    """What to do about a name that no cell has made yet.

    Parameters
    ----------
    error : as Python raised it

    Examples
    --------
    >>> out_of_order(NameError("name 'shop' is not defined", name="shop"))
    'In the way: This cell uses “shop”, which a cell above it makes. Menu Run, then Run All Cells: that runs them in their order.'
    """
    return f"In the way: This cell uses “{error.name}”, which a cell above it makes. Menu Run, then Run All Cells: that runs them in their order."


def _begin() -> None:
    """Until a page's own cells tell errors better (``plainly``)."""
    from IPython import get_ipython

    def show(shell, kind, error, traceback, tb_offset=None, say=out_of_order):
        if traceback.tb_next is not None and traceback.tb_next.tb_next is not None or not error.name:  # not the cell's own line
            shell.showtraceback((kind, error, traceback), tb_offset=tb_offset)
            return None
        told = [say(error)]
        shell._showtraceback(kind, error, told)
        return told

    shell = get_ipython()
    if shell is not None:
        shell.set_custom_exc((NameError,), show)


if __name__ == "__main__":
    _begin()
    del out_of_order, _begin, annotations
