"""Offcuts from a picture, as typed: which picture, what was understood, what stands in the way, the recording."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

from bendcal.files import OFFCUTS, Column, tidy
from bendcal.forms.understood import Understood, blockers_of, understood, understood_name, understood_row
from bendcal.offcuts import Offcut
from bendcal.scan import ScanReading, ScanReadings, read_photos, read_scan
from bendcal.scan.piece import SIDES
from bendcal.scan.recording import record
from bendcal.shop import Shop

__all__ = ["HINTS", "KINDS", "LINE", "NAMES", "READ", "RECORD", "ScanValues", "UNMOVED", "line_on_glass", "picture_files"]

UNMOVED = "unmoved photos"  # of several pages, between which surely nothing was moved
KINDS = ("scan", "photo", UNMOVED)
NAMES = {
    "picture": "Picture", "kind": "Scan or photo", "tube": "Tube", "line_mm": "100 mm line", "end_a": "End A lies",
    "piece": "Piece", "bender": "Bender", "length_mm": "Straight length", "dial_deg": "Dial", "mark_mm": "Mark",
}  # fmt: skip
HINTS = {
    "picture": "its file, such as scan.png; photos of one table: a.jpg; b.jpg", "kind": "scan", "tube": "its name", "line_mm": "by a rule; several pages: 99.8; 100.1",
    "end_a": "blank: by the mark", "piece": "its number in the picture", "bender": "its name", "length_mm": "before the bend",
    "dial_deg": "at the end of the stroke", "mark_mm": "blank: as it is seen",
}  # fmt: skip
_OF_OFFCUT = {column.name: column for column in OFFCUTS}
LINE = Column("line_mm", "length")
READ, RECORD = ("picture", "kind", "tube", "line_mm", "end_a"), ("piece", "bender", "length_mm", "dial_deg", "mark_mm")


@dataclass(frozen=True)
class ScanValues:
    """What is typed in the form's boxes, as text."""

    picture: str = ""
    kind: str = ""
    tube: str = ""
    line_mm: str = ""
    end_a: str = ""
    piece: str = ""
    bender: str = ""
    length_mm: str = ""
    dial_deg: str = ""
    mark_mm: str = ""

    def understood(self, shop: Shop, pieces: Iterable[ScanReading] = ()) -> dict[str, Understood]:
        """What each box means.

        Parameters
        ----------
        shop : the shop
        pieces : what was read from the picture

        Examples
        --------
        >>> told = ScanValues(picture="a.png", tube="th", end_a="up").understood(Shop("here", {}, {"thin": None}, {}))
        >>> told["tube"].value, told["end_a"].wrong
        ('thin', 'There is no side of that name. There is: left, right, top, bottom.')
        """
        told = {"picture": Understood(tidy(self.picture)) if tidy(self.picture) else Understood(missing=True)}
        told["kind"] = understood_name(self.kind or "scan", KINDS, "kind")
        told["tube"] = understood_name(self.tube, shop.tubes, "tube")
        told["line_mm"] = understood_row(self.line_mm or "100", LINE)
        told["end_a"] = understood_name(self.end_a, SIDES, "side", needed=False)
        told["piece"] = understood_name(self.piece, [str(p.number) for p in pieces if not p.refused], "piece that was read")
        told["bender"] = understood_name(self.bender, shop.benders, "bender")
        told |= {name: understood(getattr(self, name), _OF_OFFCUT[name]) for name in ("length_mm", "dial_deg")}
        told["mark_mm"] = understood(self.mark_mm, replace(_OF_OFFCUT["mark_mm"], filled=False))
        return told

    def blockers(self, shop: Shop, keys: Iterable[str], pieces: Iterable[ScanReading] = ()) -> list[str]:
        """Sentences that say what stands in the way, for some of the boxes.

        Parameters
        ----------
        shop : the shop
        keys : of the boxes
        pieces : what was read from the picture
        """
        return blockers_of(self.understood(shop, pieces), NAMES, keys)

    def read(self, shop: Shop) -> ScanReadings:
        """Read the picture.

        Parameters
        ----------
        shop : the shop

        Raises
        ------
        ValueError : where it cannot be read; the sentence says why
        """
        told = self.understood(shop)
        how = {"od_mm": shop.tubes[told["tube"].value].od_mm, "end_a": told["end_a"].value or None}
        files = picture_files(self.picture, Path(shop.folder))
        if told["kind"].value != "scan":
            read = read_photos(files, **how, line_mm=told["line_mm"].value, unmoved=told["kind"].value == UNMOVED)
        else:
            line = line_on_glass(self.line_mm, told["line_mm"].value)
            read = tuple(read_scan(file, **how, line_mm=line) for file in files[:2])
        if len(read) > 1:
            raise ValueError("Several pictures are read together only where they are photos of one table with several numbered pages. Read them one by one.")
        return read[0]

    def record(self, shop: Shop, readings: ScanReadings) -> Offcut:
        """Record the piece that is named.

        Parameters
        ----------
        shop : the shop
        readings : what was read from the picture

        Raises
        ------
        ValueError : where something is missing or cannot be; nothing is written then
        """
        told = self.understood(shop, readings)
        reading = next(p for p in readings if str(p.number) == told["piece"].value)
        columns = {name: told[name].value for name in ("bender", "tube", "length_mm", "dial_deg")}
        if told["mark_mm"].value is not None:
            columns["mark_mm"] = told["mark_mm"].value
        return record(shop.folder, reading, picture=readings.name, **columns)


def line_on_glass(written: str, lines: tuple[float, ...]) -> float | None:
    """The one number for a scan, or None where nothing was written.

    Parameters
    ----------
    written : what stands in the box
    lines : what was understood of it [mm]

    Raises
    ------
    ValueError : where there are several

    Examples
    --------
    >>> line_on_glass("99,8", (99.8,)), line_on_glass("", (100.0,))
    (99.8, None)
    """
    if len(lines) > 1:
        raise ValueError(f"{len(lines)} lengths of 100 mm lines are written, and a scan is held against one page on the glass. Write that page's one, or choose photo.")
    return lines[0] if tidy(written) else None


def picture_files(written: str, folder: Path) -> list[Path]:
    """The files of pictures, a semicolon between them: as they are written, or in the shop folder, or in its scans/.

    Parameters
    ----------
    written : what was typed
    folder : the shop folder

    Examples
    --------
    >>> [path.name for path in picture_files('"a.jpg"; b.jpg', Path("no such folder"))]
    ['a.jpg', 'b.jpg']
    """
    found = []
    for each in tidy(written).split(";"):
        name = Path(each.strip().strip("\"'")).expanduser()
        places = [name, folder / name, folder / "scans" / name]
        found.append(next((place for place in places if place.is_file()), name))
    return found
