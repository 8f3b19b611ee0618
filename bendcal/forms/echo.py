"""Waiting until everything that was typed has arrived.

A browser holds the latest keystrokes of a box back while earlier ones are being dealt with, but
sends a press of Enter or of a button at once: the press overtakes what was typed before it, and
"123.456" followed by Enter can be seen as "123.45". So after a press the page is asked for an
answer; when that comes, everything that was typed before has come too.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable

import ipywidgets as widgets

__all__ = ["Echo", "page_is_there"]

GIVE_UP_S = 20.0
#: What follows may take long: it begins when the kernel has told the page that the answer came, so that
#: what the page still holds back (that its player has stopped) is on its way before anything new is typed.
SETTLE_S = 0.03


class Echo:
    """Asks the page for an answer, and calls back when it is there.

    The question is a hidden player that is set going from 0; the page's tick to 1, its last, is the
    answer. One tick only, for a second one could be taken for the answer to the next question.
    Where there is no page (a test, a script) the answer is there at once.

    Attributes
    ----------
    widget : to be shown somewhere, although nothing of it is seen

    Examples
    --------
    >>> heard = []
    >>> Echo().ask(lambda: heard.append("all"), lambda: heard.append("nothing"))
    >>> heard
    ['all']
    """

    def __init__(self) -> None:
        self.widget = widgets.Play(min=0, max=1, interval=1, layout=widgets.Layout(display="none"))
        self.widget.observe(self._heard, "value")
        self._then: Callable[[], None] | None = None
        self._timer: asyncio.TimerHandle | None = None

    @property
    def waiting(self) -> bool:
        """Whether an answer is awaited."""
        return self._then is not None

    def ask(self, then: Callable[[], None], never: Callable[[], None]) -> None:
        """Call `then` when all that was typed before has arrived, or `never` if the page stays silent.

        While an answer is awaited a second question is not asked: a double press is one press.
        """
        if self.waiting:
            return
        if not page_is_there():
            then()
            return
        self._then = then
        loop = asyncio.get_running_loop()
        self._timer = loop.call_later(GIVE_UP_S, self._silent, never)
        # One after the other: in one message the player would go from 1 to 0 and back to 1, and tell of no change.
        self.widget.value = 0
        self.widget.playing = True

    def _heard(self, change: object) -> None:
        if change.new == 1 and self._timer is not None:
            self._timer.cancel()
            self.widget.playing = False
            self._timer = asyncio.get_running_loop().call_later(SETTLE_S, self._go_on)

    def _go_on(self) -> None:
        then = self._done()
        if then is not None:
            then()

    def _silent(self, never: Callable[[], None]) -> None:
        self.widget.playing = False
        if self._done() is not None:
            never()

    def _done(self) -> Callable[[], None] | None:
        then, self._then = self._then, None
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        return then


def page_is_there() -> bool:
    """Whether this runs in a notebook's kernel, in its loop."""
    try:
        from IPython import get_ipython

        asyncio.get_running_loop()
    except (ImportError, RuntimeError):
        return False
    return getattr(get_ipython(), "kernel", None) is not None
