"""What lies between a press and its deed: all that was typed arrives first, and nothing is typed or pressed meanwhile."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from bendcal.forms.echo import Echo
from bendcal.forms.guard import guarded
from bendcal.forms.saying import Notices

__all__ = ["Pressing"]


class Pressing:
    """Does what was pressed, one after the other.

    Parameters
    ----------
    notices : where the form speaks
    folder : gives the shop folder, where details of an error go
    lock : called with True before, and with False after
    focus : called afterwards with what the deed returned: the box that needs attention, or None
    after : called last, to show things as they are now
    nothing : what has not happened where the page does not answer

    Examples
    --------
    >>> told = []
    >>> pressing = Pressing(Notices(), Path, told.append, told.append)
    >>> pressing.press(lambda: "dial_deg")
    >>> told
    [True, False, 'dial_deg']
    """

    def __init__(
        self, notices: Notices, folder: Callable[[], Path], lock: Callable[[bool], None], focus: Callable[[object], None],
        after: Callable[[], None] | None = None, *, nothing: str = "nothing was recorded",
    ) -> None:  # fmt: skip
        self.notices, self.folder, self.lock, self.focus, self.after, self.nothing = notices, folder, lock, focus, after, nothing
        self.echo = Echo()

    def safe(self, does: Callable) -> Callable:
        """A handler that cannot fail unseen."""
        return lambda *args: guarded(does, self.notices, self.folder())(*args)

    def press(self, does: Callable[[], object]) -> None:
        """Do it when all that was typed has arrived; a second press meanwhile is none."""
        if self.echo.waiting:
            return
        self.lock(True)

        def then() -> None:
            attention = None
            try:
                attention = self.safe(does)()
            finally:
                self.lock(False)
                self.focus(attention)
            if self.after is not None:
                self.safe(self.after)()

        def never() -> None:
            self.lock(False)
            self.notices.say("blocked", f"The page did not answer, so {self.nothing}. Press again.")

        self.echo.ask(then, never)

    def on_press(self, does: Callable[[], object]) -> Callable[[], None]:
        """A handler for a button, or for Enter in a box."""
        return self.safe(lambda: self.press(does))
