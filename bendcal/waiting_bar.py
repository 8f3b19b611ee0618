"""A bar that shows how far long work is: not at all while it is quick, and gone when it is done."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from pathlib import Path

__all__ = ["PageBar", "WaitingBar", "show_waiting"]

SHOWN_AFTER_S, AT_MOST_EVERY_S = 0.5, 0.1


class WaitingBar:
    """A bar within a form; it takes no room while nothing is waited for.

    Parameters
    ----------
    seconds : a clock that only goes forward

    Attributes
    ----------
    widget : to be shown somewhere

    Examples
    --------
    >>> now = [0.0]
    >>> bar = WaitingBar(seconds=lambda: now[0])
    >>> bar("Trying orders", 0.1)
    >>> now[0] = 1.0
    >>> bar("Trying orders", 0.4)
    >>> bar.widget.layout.display, bar.widget.value, bar.widget.description
    (None, 0.4, 'Trying orders, 40 %')
    """

    def __init__(self, *, seconds: Callable[[], float] = time.monotonic) -> None:
        import ipywidgets as widgets  # heavy, and only wanted in a notebook

        how = {"style": {"description_width": "initial"}, "layout": widgets.Layout(width="40em", display="none")}
        self.widget = widgets.FloatProgress(min=0.0, max=1.0, **how)
        self.widget.add_class("bendcal-waiting")
        self._seconds, self._since, self._last = seconds, None, 0.0

    def __call__(self, what: str, share: float | None) -> None:
        """Listen to long work, as :mod:`bendcal.waiting` tells it."""
        now = self._seconds()
        if share is None:
            if self._since is not None and self.widget.layout.display is None:
                self._hide()
            self._since = None
        elif self._since is None:
            self._since = self._last = now
        elif now - self._since >= SHOWN_AFTER_S and now - self._last >= AT_MOST_EVERY_S:
            self._last = now
            self.widget.description, self.widget.value = f"{what}, {share:.0%}".replace("%", " %"), share
            if self.widget.layout.display is not None:
                self._show()

    def _show(self) -> None:
        self.widget.layout.display = None

    def _hide(self) -> None:
        self.widget.layout.display = "none"


class PageBar(WaitingBar):
    """A bar below the cell that works; when it is done, its place is blank, and all else that the cell has said still stands.

    Clearing the cell's output would leave no blank, but take the cautions with it that were printed before.
    """

    def _show(self) -> None:
        from IPython.display import display

        super()._show()
        self._place = display(self.widget, display_id=True)

    def _hide(self) -> None:
        super()._hide()
        self._place.update({"text/plain": ""}, raw=True)


def show_waiting() -> None:
    """From now on long work in this notebook shows a bar.

    This does nothing outside a notebook, nor in one that the kit's own JupyterLab has not started: what a page run by
    a program holds must not hang on how busy the machine is.

    Examples
    --------
    >>> show_waiting()
    """
    try:
        from IPython import get_ipython
    except ImportError:
        return
    ours = Path(os.environ.get("PYTHONSTARTUP", "")).name == "page_start.py"
    if ours and getattr(get_ipython(), "kernel", None) is not None:
        from bendcal.waiting import listen

        listen(PageBar())
