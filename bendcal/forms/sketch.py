"""A drawing on demand of what is typed into the form for offcuts: the piece with its dimensions, and two ways to its angle."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import ipywidgets as widgets

from bendcal.chord import chord_mm
from bendcal.figures.angle_ways import angle_ways
from bendcal.figures.bench import offcut_drawing
from bendcal.forms.boxes import button
from bendcal.forms.saying import heading, picture_html, small
from bendcal.forms.understood import Understood
from bendcal.materials import ALLOYS
from bendcal.offcuts import Offcut
from bendcal.tubes import Tube

__all__ = ["EXAMPLE_TUBE", "Sketch"]

EXAMPLE_TUBE = Tube("any tube", ALLOYS["low-carbon steel"], 4.75, 0.71)  # where no tube is chosen yet

#: Stands in for what is not typed yet; an invented piece.
_EXAMPLE = {"length_mm": 180.0, "mark_mm": 70.0, "dial_deg": 92.0, "angle_deg": 87.0}
_CALLED = {"length_mm": "the straight length", "mark_mm": "the mark", "dial_deg": "the dial", "angle_deg": "the angle"}
_REACH_MM = 100.0


class Sketch:
    """A button, and below it what is typed as a drawing; drawn when asked, for drawing at each key would hold the typing up.

    Parameters
    ----------
    draw : what the button does: it has to call :meth:`show`

    Examples
    --------
    >>> sketch = Sketch(lambda: None)
    >>> typed = {name: Understood() for name in (*_EXAMPLE, "leg_a_mm", "leg_b_mm", "legs_to", "offcut", "reach_mm", "chord_mm")}
    >>> sketch.show(typed, EXAMPLE_TUBE, None)
    >>> sketch.picture.value.count("<img"), "the straight length" in sketch.words.value
    (2, True)
    """

    def __init__(self, draw: Callable[[], None]) -> None:
        self.button = button("Draw what to measure", draw)
        self.words, self.picture = widgets.HTML(), widgets.HTML()
        self.picture.add_class("bendcal-sketch")
        self.widget = widgets.VBox([self.button, self.words, self.picture])

    def show(self, told: Mapping[str, Understood], tube: Tube, radius_mm: float | None) -> None:
        """Draw what was understood of the boxes.

        Parameters
        ----------
        told : for each box
        tube : the tube of the piece
        radius_mm : centreline radius of its bends, None where it is not known [mm]

        Raises
        ------
        ValueError, LegTooShort : where what is typed makes no bend; the sentence says why
        """
        typed = {name: told[name].value for name in (*_EXAMPLE, "leg_a_mm", "leg_b_mm")}
        lent = [name for name in _EXAMPLE if typed[name] is None]
        typed |= {name: _EXAMPLE[name] for name in lent}
        piece = Offcut(told["offcut"].value or "", "", tube.tube, legs_to=told["legs_to"].value or "centre", **typed)
        reach, across, angle = told["reach_mm"].value or _REACH_MM, told["chord_mm"].value, float(typed["angle_deg"])
        if across and abs(across - chord_mm(reach, reach, angle)) > 1.0 + 0.02 * reach:
            across = None  # an angle was typed that this chord does not tell: that is asked elsewhere
        pictures = [offcut_drawing(piece, tube, radius_mm=radius_mm), angle_ways(angle, reach_mm=reach, chord_mm=across, od_mm=tube.od_mm, radius_mm=radius_mm)]
        invented = f"Not typed yet, so drawn for an invented piece: {', '.join(_CALLED[name] for name in lent)}." if lent else "Drawn for what is typed."
        self.words.value = heading("What to measure") + small(invented)
        self.picture.value = "".join(picture_html(each) for each in pictures)

    def clear(self) -> None:
        """Take the drawing away: the piece that it showed is recorded."""
        self.words.value = self.picture.value = ""
