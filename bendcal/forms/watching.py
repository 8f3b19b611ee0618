"""Looking into the shop folder now and then, so that a form shows what another notebook wrote without being touched."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from bendcal.forms.echo import page_is_there
from bendcal.forms.shop_now import ShopNow

__all__ = ["EVERY_S", "watch"]

EVERY_S = 2.0
_watching: dict[str, object] = {}  # kind of form → the latest one; a cell that is run again leaves the old one alone


def watch(kind: str, now: Callable[[], ShopNow], busy: Callable[[], bool], refresh: Callable[[], None]) -> Callable[[], None]:
    """Refresh a form whenever somebody else changed a file of its shop.

    Parameters
    ----------
    kind : of the form; only the latest of a kind is watched
    now : gives the shop as the form last saw it
    busy : whether something is being recorded just now
    refresh : shows the shop as it is on the disk

    Returns
    -------
    what is done each time; where there is no page it is for the caller to do

    Examples
    --------
    >>> watch("none", lambda: ShopNow("no such folder"), lambda: False, lambda: print("refreshed"))()
    """
    token = object()
    _watching[kind] = token

    def look() -> None:
        if not busy() and now().changed:
            refresh()

    def again() -> None:
        if _watching.get(kind) is token:
            look()
            asyncio.get_running_loop().call_later(EVERY_S, again)

    if page_is_there():
        asyncio.get_running_loop().call_later(EVERY_S, again)
    return look
