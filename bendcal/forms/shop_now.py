"""A shop folder as it stands at this moment, read again when somebody changed it, with what its offcuts teach."""

from __future__ import annotations

import os
from pathlib import Path

from bendcal.calibration import Calibration, calibrate
from bendcal.design import next_offcuts
from bendcal.faults import ShopFaults
from bendcal.files import read_facts, read_shop
from bendcal.law import Law
from bendcal.shop import Shop

__all__ = ["ShopNow"]


class ShopNow:
    """One shop folder, looked at again and again; another notebook may be writing into it too.

    Parameters
    ----------
    folder : the shop folder

    Attributes
    ----------
    shop : Shop as it was last read, or None where it cannot be read
    trouble : why it cannot be read, or blank
    cal : Calibration of its offcuts, or None where none can be made
    why_not : why there is no calibration, or blank

    Examples
    --------
    >>> now = ShopNow("no such folder")
    >>> now.shop is None, now.look()
    (True, False)
    """

    def __init__(self, folder: str | os.PathLike[str]) -> None:
        self.folder = Path(folder).expanduser()
        self.shop: Shop | None = None
        self.trouble = self.why_not = ""
        self.cal: Calibration | None = None
        self._seen: tuple = ("not looked yet",)
        self._learned = ""
        self.look()

    @property
    def changed(self) -> bool:
        """Whether a file of the shop has changed since it was last read."""
        return self._files() != self._seen

    def look(self) -> bool:
        """Read the shop again if a file of it has changed; whether it was read."""
        seen = self._files()
        if seen == self._seen:
            return False
        self._seen = seen
        try:
            self.shop, self.trouble = read_shop(self.folder, whole=False), ""
        except ShopFaults as error:
            self.shop, self.trouble = None, str(error)
        return True

    def learn(self) -> Calibration | None:
        """What the offcuts teach; fitted again only where their readings have changed."""
        if self.shop is None:
            self.cal, self.why_not = None, self.trouble
        elif self._learned != self.shop.readings_digest:
            try:
                self.cal, self.why_not = calibrate(self.shop, warm=self.cal.warm if self.cal else None), ""
            except ValueError as error:
                self.cal, self.why_not = None, str(error)
            self._learned = self.shop.readings_digest
        return self.cal

    def law(self, bender: str, tube: str) -> Law | None:
        """The law of that bender with that tube as last learned, or None."""
        return None if self.cal is None else self.cal.laws.get((bender, tube))

    def advice(self, bender: str, tube: str) -> str:
        """Which offcut to bend next, in a sentence; for the shop's lines, or without any for this pair."""
        if self.shop is None or bender not in self.shop.benders or tube not in self.shop.tubes:
            return ""
        try:
            return next_offcuts(self.shop, pairs=None if self.shop.lines else [(bender, tube)], count=1).sentence
        except (ValueError, KeyError) as error:
            return str(error)

    def names(self, noun: str) -> list[str]:
        """The names of benders, tubes, tools or ends, even where something else in the folder is faulty; of lines, those set aside included, where it can be read."""
        if noun == "line":
            return [] if self.shop is None else [*self.shop.lines, *self.shop.lines_aside]
        if self.shop is not None and f"{noun}s.csv" not in self.shop.unread:
            return list(getattr(self.shop, f"{noun}s"))
        named = getattr(read_facts(self.folder, [], []), f"{noun}s")
        return list((named.names or {}).values())

    def _files(self) -> tuple:
        """Name, size and time of every table: what changes when anybody writes."""
        found = []
        for folder in (self.folder, self.folder / "lines", self.folder / "patterns"):
            try:
                with os.scandir(folder) as entries:
                    found += [(e.name, e.stat().st_size, e.stat().st_mtime_ns) for e in entries if e.name.lower().endswith(".csv")]
            except OSError:
                continue
        return tuple(sorted(found))
