"""What the parts of the form for lines share: the line that is open, and how something is done when it is pressed."""

from __future__ import annotations

from collections.abc import Callable

from bendcal.forms.open_line import OpenLine
from bendcal.forms.pressing import Pressing

__all__ = ["LinePart"]


class LinePart:
    """A part of the form for lines.

    Parameters
    ----------
    opened : gives the line that is open
    pressing : does what is pressed
    may_write : raises ValueError where nothing may be written
    """

    def __init__(self, opened: Callable[[], OpenLine], pressing: Pressing, may_write: Callable[[], None]) -> None:
        self.opened, self.pressing, self.may_write = opened, pressing, may_write
