"""Work that may take long says how far it is, to whoever listens; without a listener it costs nothing."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import wraps

__all__ = ["Listener", "heard_by", "listen", "long_work", "tick"]

#: Called with what is being done and which share of it is done, from 0 to 1; with a blank and None when all is done.
Listener = Callable[[str, float | None], None]

_now: dict = {"listener": None, "depth": 0}


def listen(listener: Listener | None) -> Listener | None:
    """From now on tell this listener; returns the one before.

    Parameters
    ----------
    listener : who is told, or None for nobody
    """
    before, _now["listener"] = _now["listener"], listener
    return before


@contextmanager
def heard_by(listener: Listener) -> Iterator[None]:
    """Tell this listener for a while.

    Examples
    --------
    >>> told = []
    >>> with heard_by(lambda what, share: told.append((what, share))):
    ...     long_work(lambda: tick("Bending", 1, 4))()
    >>> told
    [('Bending', 0.25), ('', None)]
    """
    before = listen(listener)
    try:
        yield
    finally:
        listen(before)


def tick(what: str, done: float, of: float) -> None:
    """Say how far something is; a listener that fails must not stop the work, so it is not told again.

    Parameters
    ----------
    what : is being done, as a phrase
    done, of : how much of how much at most
    """
    if _now["listener"] is not None:
        _tell(what, min(done / of, 1.0) if of else 1.0)


def long_work(does: Callable) -> Callable:
    """A function that may take long: whoever listens is told when the outermost of such functions is done."""

    @wraps(does)
    def working(*args: object, **names: object) -> object:
        _now["depth"] += 1
        try:
            return does(*args, **names)
        finally:
            _now["depth"] -= 1
            if not _now["depth"] and _now["listener"] is not None:
                _tell("", None)

    return working


def _tell(what: str, share: float | None) -> None:
    try:
        _now["listener"](what, share)
    except Exception:  # a page that is closed, or a bar that cannot be shown: the work goes on
        _now["listener"] = None
