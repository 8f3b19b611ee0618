"""A drawing on demand of what stands in a table and in its boxes: a bender's bodies, obstacles with a line, the shape that a pattern makes."""

from __future__ import annotations

from collections.abc import Callable

import ipywidgets as widgets

from bendcal.bodies import BenderBody, Obstacle
from bendcal.entries import kind_of
from bendcal.figures import in_the_way, pattern_view
from bendcal.figures.paper import Picture
from bendcal.files import read_pattern
from bendcal.forms.boxes import button
from bendcal.forms.row_values import RowValues
from bendcal.forms.saying import heading, picture_html, small
from bendcal.forms.shop_now import ShopNow
from bendcal.pattern import adjust_pattern
from bendcal.solids import Solid

__all__ = ["DRAWN", "RowSketch"]

#: Noun → what the button is called; the others have no drawing.
DRAWN = {"body": "Draw the bodies", "obstacle": "Draw them with the line", "reading": "What shape does it make?"}
_OD_MM, _RADIUS_IN_OD = 4.76, 3.5  # where no tube or no bender says more
_NEW = " (in the boxes)"


class RowSketch:
    """A button, and below it the drawing; drawn when asked, for drawing at each key would hold the typing up.

    Parameters
    ----------
    noun : a key of :data:`DRAWN`, that of a pattern with its line
    draw : what the button does: it has to call :meth:`show`
    """

    def __init__(self, noun: str, draw: Callable[[], None]) -> None:
        self.noun = noun
        self.button = button(DRAWN[kind_of(noun)], draw)
        self.words, self.picture = widgets.HTML(), widgets.HTML()
        self.picture.add_class("bendcal-row-sketch")
        self.widget = widgets.VBox([self.button, self.words, self.picture])

    def show(self, now: ShopNow, values: RowValues, *, correcting: bool = False) -> None:
        """Draw what stands in the shop and, where it is whole, what is typed.

        Parameters
        ----------
        now : the shop
        values : what is typed
        correcting : whether that stands for a row that is there

        Raises
        ------
        ValueError : where nothing can be drawn; the sentence says why
        """
        if now.shop is None:
            raise ValueError(now.trouble)
        make = {"body": self._bodies, "obstacle": self._obstacles, "reading": self._pattern}[kind_of(self.noun)]
        said, picture = make(now, values, correcting)
        self.words.value = heading("As it stands") + "".join(map(small, said))
        self.picture.value = "" if picture is None else picture_html(picture)

    def clear(self) -> None:
        """Take the drawing away: what it showed has changed."""
        self.words.value = self.picture.value = ""

    def _bodies(self, now: ShopNow, values: RowValues, correcting: bool) -> tuple[list[str], Picture]:
        told, new = values.understood(), _solid(values)
        named = str(told["bender"].value or "")
        bender = named if named in now.shop.benders else next((body.bender for body in now.shop.bodies), next(iter(now.shop.benders), ""))
        if not bender:
            raise ValueError("There is no bender yet: enter one first.")
        name = str(told["body"].value or "")
        bodies = [body for body in now.shop.bodies if body.bender == bender and not (correcting and body.body == name)]
        if new is not None and named == bender:
            bodies.append(BenderBody(bender, name + _NEW, new, str(told["moves"].value or "die")))
        tubes = [piece.tube for piece in now.shop.offcuts if piece.bender == bender and piece.tube in now.shop.tubes]
        od = now.shop.tubes[tubes[-1]].od_mm if tubes else _OD_MM
        radius = now.shop.benders[bender].die_radius_mm
        said = [f"Bender {bender} with its dial at 0, and straight tube in the groove."]
        if radius is None:
            said.append("The radius of its die is not known, so the die is drawn for show.")
        return said, in_the_way.bender_bodies(bodies, die_radius_mm=radius or _RADIUS_IN_OD * od, od_mm=od)

    def _obstacles(self, now: ShopNow, values: RowValues, correcting: bool) -> tuple[list[str], Picture]:
        told, new = values.understood(), _solid(values)
        named, name = str(told["line"].value or ""), str(told["obstacle"].value or "")
        if named and named not in now.shop.lines:
            raise ValueError(f"Line {named} cannot be drawn: lines.csv has no line of that name that is finished.")
        which = named or next((one.line for one in now.shop.obstacles if one.line in now.shop.lines), next(iter(now.shop.lines), ""))
        if not which:
            raise ValueError("There is no line to draw them with yet.")
        line = now.shop.line(which)
        obstacles = [one for one in now.shop.obstacles if not (correcting and one.obstacle == name)]
        if new is not None:
            obstacles.append(Obstacle(name + _NEW, new, 0.0, line=named))
        now.learn()
        law, tube = now.law(line.bender, line.tube), now.shop.tubes[line.tube]
        radius = float(law.parameters["radius_mm"]) if law else now.shop.benders[line.bender].die_radius_mm or _RADIUS_IN_OD * tube.od_mm
        return [f"Line {which}, with what stands near it."], in_the_way.line_and_obstacles(line, obstacles, radius_mm=radius, od_mm=tube.od_mm)

    def _pattern(self, now: ShopNow, values: RowValues, correcting: bool) -> tuple[list[str], Picture | None]:
        line = self.noun.partition("/")[2]
        adjusted = adjust_pattern(read_pattern(now.shop, line))
        if not adjusted.settled:
            return list(adjusted.missing), None
        return [*adjusted.closing, *adjusted.suspects], pattern_view.measured(adjusted, name=line)


def _solid(values: RowValues) -> Solid | None:
    """The body that is typed, where all of it is."""
    told = values.understood()
    if not all(each.fine for each in told.values()) or told["shape"].value is None:
        return None
    to = [told[f"to_{axis}_mm"].value for axis in "xyz"]
    sizes = {name: told[name].value for name in ("width_mm", "height_mm", "diameter_mm", "turn_deg") if told[name].value is not None}
    try:
        return Solid(str(told["shape"].value), [told[f"{axis}_mm"].value for axis in "xyz"], None if None in to else to, **sizes)
    except ValueError:
        return None
