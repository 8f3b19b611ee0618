"""A shop: everything that one shop folder says, in one frozen record."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from difflib import get_close_matches
from functools import cached_property
from pathlib import Path

from bendcal.benders import Bender
from bendcal.bodies import BenderBody, Obstacle
from bendcal.ends import PLAIN, End
from bendcal.faults import Caution, Fault, ShopFaults
from bendcal.flares import Flare, learned_end
from bendcal.lines import Line
from bendcal.offcuts import Offcut
from bendcal.stock import StockLength
from bendcal.tools import DEFAULT_ANGLE_TOOL, DEFAULT_LENGTH_TOOL, Tool
from bendcal.tubes import Tube

__all__ = ["Shop", "UnknownName", "named"]


class UnknownName(KeyError):
    """A name that the shop does not have; its text is a plain sentence."""

    def __str__(self) -> str:
        return str(self.args[0])


def named(records: Mapping[str, object], name: str, what: str):
    """Look a record up by its name, or say which names there are.

    Parameters
    ----------
    records : name → record
    name : the name asked for
    what : the noun for the message, such as ``"line"``

    Raises
    ------
    UnknownName : where there is no such record; the sentence lists the names and the nearest one

    Examples
    --------
    >>> named({"long": 1}, "long", "line")
    1
    """
    if name in records:
        return records[name]
    near = get_close_matches(str(name), list(records), n=1)
    hint = f" Did you mean {near[0]!r}?" if near else ""
    known = ", ".join(repr(key) for key in records) or "none at all"
    raise UnknownName(f"There is no {what} called {name!r} in this shop.{hint} It has: {known}.")


@dataclass(frozen=True, eq=False)
class Shop:
    """One shop's benders, tubes, tools, ends, lines and offcuts, each checked when it was read.

    Parameters
    ----------
    folder : where they were read from, or None for a shop made in memory
    benders, tubes, tools, ends, lines : name → record
    lines_aside : name → reason, of the lines that are set aside or still being entered
    offcuts : every piece in the log's order, those set aside included
    flares : practice flares, in the file's order, those set aside included
    cautions : what is not refused but looks wrong
    bodies : what of the benders can be in a tube's way
    obstacles : what lines must keep away from
    stock : tube on hand, in the file's order
    unread : what was left out because it has faults (``read_shop(folder, whole=False)``): ``ends.csv``, ``flares.csv``,
        ``stock.csv``, ``bender_bodies.csv``, ``obstacles.csv``, ``lines.csv``, a nameless row of it (``lines.csv, row 5``)
        or, for one line, ``lines/NAME.csv``, whichever file its faults stand in → the faults

    Examples
    --------
    >>> Shop().pairs()
    ()
    """

    folder: Path | None = None
    benders: Mapping[str, Bender] = field(default_factory=dict)
    tubes: Mapping[str, Tube] = field(default_factory=dict)
    offcuts: tuple[Offcut, ...] = ()
    tools: Mapping[str, Tool] = field(default_factory=dict)
    ends: Mapping[str, End] = field(default_factory=dict)
    lines: Mapping[str, Line] = field(default_factory=dict)
    flares: tuple[Flare, ...] = ()
    cautions: tuple[Caution, ...] = ()
    bodies: tuple[BenderBody, ...] = ()
    obstacles: tuple[Obstacle, ...] = ()
    stock: tuple[StockLength, ...] = ()
    lines_aside: Mapping[str, str] = field(default_factory=dict)
    unread: Mapping[str, tuple[Fault, ...]] = field(default_factory=dict)

    @cached_property
    def readings_digest(self) -> str:
        """SHA-256 over all that a fit hangs on: two shops with the same one have the same laws.

        Readings with their order in the log (benders drift), tools, tubes and benders count; notes, dates and how flat a bend is do not.
        """
        skip = {"row", "note", "date", "temper", "smallest_mm", "largest_mm"}
        numbers = [{k: v for k, v in asdict(o).items() if k not in skip} for o in self.offcuts]
        used = {(o.bender, o.tube, o.angle_tool, o.length_tool) for o in self.offcuts}
        facts = [repr(self.benders.get(b)) + repr(self.tubes.get(t)) + repr(self.tools.get(x)) + repr(self.tools.get(y)) for b, t, x, y in used]
        text = json.dumps([numbers, sorted(facts)], ensure_ascii=False, default=float, sort_keys=True)
        return hashlib.sha256(text.encode()).hexdigest()

    def pairs(self) -> tuple[tuple[str, str], ...]:
        """(bender, tube) names that have an offcut which counts, in the log's order."""
        return tuple(dict.fromkeys((o.bender, o.tube) for o in self.offcuts if o.counts))

    def offcuts_for(self, bender: str, tube: str) -> tuple[Offcut, ...]:
        """The offcuts of one bender with one tube that count, in the log's order."""
        return tuple(o for o in self.offcuts if o.counts and (o.bender, o.tube) == (bender, tube))

    def angle_tool(self, offcut: Offcut) -> Tool:
        """What the angle of `offcut` was read with; the default tool if none, or none that the shop knows, is named."""
        return self.tools.get(offcut.angle_tool, DEFAULT_ANGLE_TOOL)

    def length_tool(self, offcut: Offcut) -> Tool:
        """What the lengths of `offcut` were read with; the default tool if none, or none that the shop knows, is named."""
        return self.tools.get(offcut.length_tool, DEFAULT_LENGTH_TOOL)

    def need(self, *parts: str) -> None:
        """Stop a job that cannot do without what was left out.

        Parameters
        ----------
        parts : as `unread` names them

        Raises
        ------
        ShopFaults : with the faults of all of these

        Examples
        --------
        >>> Shop().need("stock.csv")
        """
        faults = [fault for part in parts for fault in self.unread.get(part, ())]
        if faults:
            raise ShopFaults(dict.fromkeys(faults))

    @property
    def unread_lines(self) -> dict[str, tuple[Fault, ...]]:
        """The lines that were left out because of their faults: name → faults."""
        return {part.removeprefix("lines/").removesuffix(".csv"): faults for part, faults in self.unread.items() if "/" in part}

    def line(self, name: str) -> Line:
        """The line called `name`.

        Raises ShopFaults where it has faults, UnknownName with a sentence where there is none, or where it is set aside.
        """
        self.need("lines.csv", f"lines/{name}.csv")
        if name in self.lines_aside and name not in self.lines:
            raise UnknownName(
                f"Line {name!r} is not to be made as it stands; under set_aside lines.csv says: {self.lines_aside[name]}. "
                "Finish it in the form for lines, or empty that cell."
            )
        return named(self.lines, name, "line")

    def end(self, name: str) -> End:
        """The end called `name`, as its practice flares teach it; a blank name is a plain end.

        Raises ShopFaults where ends.csv or flares.csv has faults, UnknownName where there is no such end.
        """
        if not name:
            return PLAIN
        self.need("ends.csv", "flares.csv")
        end = named(self.ends, name, "end")
        tools = [self.tools[f.length_tool] for f in self.flares if f.end == end.end and f.length_tool in self.tools]
        return learned_end(end, self.flares, tool=tools[0] if tools else DEFAULT_LENGTH_TOOL)
