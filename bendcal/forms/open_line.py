"""The line that a form has open: its facts, its rows as they stand on the disk, and the shape they make so far."""

from __future__ import annotations

from pathlib import Path

from bendcal.entries import BEING_ENTERED, LineRows, lines_table, rows_of_line
from bendcal.faults import ShopFaults
from bendcal.forms.line_shape import legs_of, numbers_of
from bendcal.forms.line_values import FACTS
from bendcal.forms.shop_now import ShopNow
from bendcal.layout import TextTable
from bendcal.lines import Line, line_from_legs, line_from_nodes

__all__ = ["OpenLine"]

_HEADS = {"leg_mm": "mm", "angle_deg": "bend at its end °", "twist_deg": "twist from last bend °", "x_mm": "x mm", "y_mm": "y mm", "z_mm": "z mm", "label": "what is there"}


class OpenLine:
    """One line of a shop folder, looked at again whenever somebody changed it.

    Parameters
    ----------
    folder : the shop folder

    Attributes
    ----------
    now : the shop as it stands
    name : of the line that is open; blank for none
    rows : of its own file, or None where it has none
    trouble : why they cannot be read, or blank

    Examples
    --------
    >>> OpenLine("no such folder").names
    []
    """

    def __init__(self, folder: str | Path) -> None:
        self.now = ShopNow(folder)
        self.name = self.trouble = ""
        self.rows: LineRows | None = None
        self._table: list[dict[str, str]] = []
        self._read()

    def look(self) -> bool:
        """Read again if a file of the shop has changed; whether it was read."""
        changed = self.now.look()
        if changed:
            self._read()
        return changed

    def open(self, name: str) -> None:
        """Go on with another line; a blank name closes."""
        self.name = name
        self._read()

    def _read(self) -> None:
        self.rows, self.trouble = None, ""
        try:
            self._table = lines_table(self.now.folder) if self.now.folder.is_dir() else []
            if self.name not in self.names:
                self.name = ""
            self.rows = rows_of_line(self.now.folder, self.name) if self.name else None
        except ShopFaults as error:
            self.trouble = str(error)

    @property
    def names(self) -> list[str]:
        """All lines, those set aside included, in the order of lines.csv."""
        return [row["line"] for row in self._table]

    @property
    def last(self) -> str:
        """The line to go on with: the last one that is being entered, or else the last one."""
        entered = [row["line"] for row in self._table if row["set_aside"] == BEING_ENTERED]
        return (entered or self.names or [""])[-1]

    @property
    def facts(self) -> dict[str, str]:
        """What lines.csv says of the open line, as texts for the boxes."""
        row = next((row for row in self._table if row["line"] == self.name), {})
        given = {"given_by": self.rows.kind} if self.rows else {}
        return {name: row.get(name, "") for name in FACTS} | given

    @property
    def reason(self) -> str:
        """Why the open line is set aside, or blank."""
        return next((row["set_aside"] for row in self._table if row["line"] == self.name), "")

    @property
    def complete(self) -> bool:
        """Whether all of it was entered."""
        return bool(self.name) and self.reason != BEING_ENTERED

    @property
    def radius_mm(self) -> float | None:
        """Centreline radius of its bends [mm], as learned or else the die's; None where neither is known."""
        facts, shop = self.facts, self.now.shop
        if not self.name or shop is None:
            return None
        law = self.now.law(facts["bender"], facts["tube"])
        if law is not None:
            return float(law.parameters["radius_mm"])
        bender = shop.benders.get(facts["bender"])
        return None if bender is None else bender.die_radius_mm

    @property
    def line(self) -> Line | None:
        """The line as far as it is entered, to be drawn; None where there is no shape yet."""
        facts = self.facts
        told = {"tube": facts["tube"], "bender": facts["bender"], "trim_at": facts["trim_at"].upper() or "B"}
        legs = legs_of(self.rows) if self.rows else None
        if legs is None:
            return self.now.shop.lines.get(self.name) if self.now.shop else None
        if self.rows.kind == "legs":
            return line_from_legs(self.name, legs.leg_mm, legs.angle_deg, legs.twist_deg, **told)
        nodes = [[row["x_mm"], row["y_mm"], row["z_mm"]] for row in numbers_of(self.rows)]
        return line_from_nodes(self.name, nodes, **told)

    @property
    def table(self) -> TextTable:
        """Its rows, from end A on."""
        texts = self.rows.texts if self.rows else ()
        names = list(texts[0]) if texts else []
        one = self.rows.kind.removesuffix("s") if self.rows else "leg"
        columns = {one: [str(k) for k in range(1, len(texts) + 1)]}
        return TextTable(columns | {_HEADS[name]: [row[name] for row in texts] for name in names})

    @property
    def all_lines(self) -> TextTable:
        """Every line of the shop and how far it is."""
        return TextTable({
            "line": self.names, "tube": [row["tube"] for row in self._table], "bender": [row["bender"] for row in self._table],
            "carries": [row["service"] for row in self._table], "how far": [row["set_aside"] or "complete" for row in self._table],
        })  # fmt: skip
