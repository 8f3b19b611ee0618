"""No press of a key or a button ends in silence: what goes wrong is said in plain words, details go to a file."""

from __future__ import annotations

import datetime
import tempfile
import traceback
from collections.abc import Callable
from functools import wraps
from pathlib import Path

from bendcal.files import is_sample
from bendcal.forms.saying import Notices
from bendcal.plainly import said_by_the_kit
from bendcal.waiting import heard_by

__all__ = ["ERRORS", "guarded"]

ERRORS = "form_errors.log"
_TOLD = (ValueError, KeyError, OSError)  # what the kit raises with a sentence for a person


def guarded(does: Callable, notices: Notices, folder: Path) -> Callable:
    """A handler that cannot fail unseen.

    Parameters
    ----------
    does : what is to be done when something is pressed or typed
    notices : where the form speaks
    folder : the shop folder; details go into a file there, or where that cannot be, into the system's scratch folder

    Returns
    -------
    the handler; it returns what `does` returns, or None where that went wrong

    Examples
    --------
    >>> notices = Notices()
    >>> guarded(lambda: 1 / 0, notices, Path("no such folder"))()
    >>> "Something in the kit itself went wrong (ZeroDivisionError)" in notices.lines["blocked"].value
    True
    """

    @wraps(does)
    def safely(*args: object, **names: object) -> object:
        try:
            with heard_by(notices.bar):
                return does(*args, **names)
        except Exception as error:  # whatever it is, a person has to see it
            if isinstance(error, _TOLD) and said_by_the_kit(error.__traceback__):
                notices.say("blocked", str(error))
                return None
            kept = _keep(folder)
            where = f" The details are in {kept}." if kept else ""
            notices.say(
                "blocked",
                f"Something in the kit itself went wrong ({type(error).__name__}). What the line below does not call recorded is not. "
                f"Your readings on the disk are untouched.{where} Menu Run, then Run All Cells, begins afresh.",
            )
            return None

    return safely


def _keep(folder: Path) -> Path | None:
    """Append the error that is being handled to the log of errors."""
    places = [Path(tempfile.gettempdir()) / f"bendcal-{ERRORS}"]
    if folder.is_dir() and not is_sample(folder):
        places.insert(0, folder / ERRORS)
    text = f"{datetime.datetime.now().isoformat(timespec='seconds')}\n{traceback.format_exc()}\n"
    for place in places:
        try:
            with open(place, "a", encoding="utf-8") as log:
                log.write(text)
            return place
        except OSError:
            continue
    return None
