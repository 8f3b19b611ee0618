"""What to measure on an offcut: the straight piece and the bent one, drawn from a reading's own numbers."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from math import cos, radians

import numpy as np
from matplotlib.axes import Axes

from bendcal.arc import developed_length_mm, leg_to_centre_mm, setback_mm
from bendcal.figures.paper import BLUE, GREY, INK, ORANGE, Picture, canvas, line, wrap, write
from bendcal.figures.shapes import around, arrow, badge, dimension, outline, towards, tube_outline
from bendcal.legs import LegTooShort
from bendcal.offcuts import Offcut
from bendcal.tubes import Tube

__all__ = ["USUAL_RADIUS", "BentOffcut", "bent_offcut", "offcut_drawing"]

_WIDTH_MM = 216.0
#: Centreline radius in outside diameters, where none is known (common practice).
USUAL_RADIUS = 3.5
_WORDS = {
    "centre": "the crossing of the centre lines",
    "outside": "the crossing of the outside edges",
    "inside": "the crossing of the inside edges",
}


@dataclass(frozen=True, eq=False)
class BentOffcut:
    """A bent offcut in its own plane: end A at the origin, leg A along x, bent anticlockwise.

    Attributes
    ----------
    leg_a_mm, leg_b_mm : to the crossing of the centrelines [mm]
    angle_deg : finished angle [deg]
    radius_mm : centreline radius [mm]
    od_mm : outside diameter [mm]
    """

    leg_a_mm: float
    leg_b_mm: float
    angle_deg: float
    radius_mm: float
    od_mm: float

    @property
    def setback_mm(self) -> float:
        """Apex to start of bend [mm]."""
        return float(setback_mm(self.angle_deg, self.radius_mm))

    @property
    def apex(self) -> np.ndarray:
        """Where the centrelines of the two legs cross."""
        return np.array([self.leg_a_mm, 0.0])

    @property
    def along_b(self) -> np.ndarray:
        """The direction of leg B, away from the apex."""
        return towards(self.angle_deg)

    @property
    def start(self) -> np.ndarray:
        """Where the bend starts on the centreline."""
        return self.apex - [self.setback_mm, 0.0]

    @property
    def stop(self) -> np.ndarray:
        """Where the bend ends on the centreline."""
        return self.apex + self.setback_mm * self.along_b

    @property
    def end_b(self) -> np.ndarray:
        """The cut end of leg B."""
        return self.apex + self.leg_b_mm * self.along_b

    def crossing(self, legs_to: str) -> np.ndarray:
        """Where the centre lines, the outside edges or the inside edges of the two legs cross."""
        beyond = {"centre": 0.0, "outside": 1.0, "inside": -1.0}[legs_to]
        return self.apex + beyond * self.od_mm / 2 / cos(radians(self.angle_deg / 2)) * towards(self.angle_deg / 2 - 90)

    @cached_property
    def centreline(self) -> np.ndarray:
        """Points (k, 2) along it from end A to end B."""
        middle = self.start + [0.0, self.radius_mm]
        arc = around(middle, self.radius_mm, -90.0, self.angle_deg - 90.0)
        return np.vstack([[0.0, 0.0], arc, self.end_b])


def bent_offcut(offcut: Offcut, tube: Tube, *, radius_mm: float | None = None) -> BentOffcut:
    """The shape of an offcut by its own numbers; legs that were not measured follow from its length.

    Parameters
    ----------
    offcut : the reading
    tube : what it was made of
    radius_mm : centreline radius [mm]; None: 3.5 outside diameters, near enough to look at

    Raises
    ------
    ValueError : for an angle that is no bend
    LegTooShort : where a leg is shorter than its part of the bend

    Examples
    --------
    >>> from bendcal.materials import ALLOYS
    >>> steel = Tube("steel", ALLOYS["low-carbon steel"], 5.0, 0.7)
    >>> piece = bent_offcut(Offcut("1", "b", "steel", 200, 90, 92, 90, 102.5, 110.0, "outside"), steel, radius_mm=15)
    >>> piece.apex.tolist(), piece.crossing("outside").round(3).tolist()
    ([100.0, 0.0], [102.5, -2.5])
    """
    radius = USUAL_RADIUS * tube.od_mm if radius_mm is None else float(radius_mm)
    angle = float(offcut.angle_deg)
    setback = float(setback_mm(angle, radius))
    straight = offcut.length_mm - float(developed_length_mm(angle, radius))
    given = [offcut.leg_a_mm, offcut.leg_b_mm]
    centre = [None if leg is None else float(leg_to_centre_mm(leg, angle, tube.od_mm, offcut.legs_to)) for leg in given]
    leg_a, leg_b = centre
    if leg_a is None:
        # Without a leg to go by, the bend is taken to start at the mark.
        leg_a = offcut.mark_mm + setback if leg_b is None else straight + 2 * setback - leg_b
    if leg_b is None:
        leg_b = straight + 2 * setback - leg_a
    for name, number, leg in (("A", 1, leg_a), ("B", 2, leg_b)):
        if leg < setback - 1e-9:
            raise LegTooShort(
                f"Offcut {offcut.offcut!r}: leg {name} is {leg:.1f} mm to the crossing of the centre lines, but a bend of "
                f"{angle:g}° with a radius of {radius:.1f} mm takes {setback:.1f} mm of it. Check the angle, the mark and the legs.",
                (number,), (setback - leg,),
            )
    return BentOffcut(leg_a, leg_b, angle, radius, tube.od_mm)


def offcut_drawing(offcut: Offcut, tube: Tube, *, radius_mm: float | None = None) -> Picture:
    """One offcut before and after bending, true to proportion, with everything that is measured on it.

    Parameters
    ----------
    offcut : the reading; its own numbers are drawn and written
    tube : what it was made of
    radius_mm : centreline radius [mm]; None: 3.5 outside diameters, near enough to look at

    Returns
    -------
    Picture

    Raises
    ------
    ValueError, LegTooShort : as :func:`bent_offcut`
    """
    bent = bent_offcut(offcut, tube, radius_mm=radius_mm)
    ends = np.vstack([bent.centreline, bent.crossing("outside")])
    low, high = ends.min(axis=0), ends.max(axis=0)
    wide, tall = high - low
    # Beside the apex there must be room for the words that name the angle.
    scale = min(180.0 / offcut.length_mm, 108.0 / wide, 88.0 / max(tall, 1.0), 86.0 / (bent.apex[0] - low[0]))
    below = 24.0  # dimensions under leg A
    height = 62.0 + max(tall * scale + below + 8.0, 72.0) + 14.0
    picture, ax = canvas(_WIDTH_MM, height)
    _straight(ax, offcut, bent, scale, top=height)
    foot = 16.0 + below - low[1] * scale
    _bent(ax, offcut, bent, scale, origin=np.array([16.0 - low[0] * scale, foot]), top=height - 57.0)
    _corner(ax, bent, offcut.legs_to, box=(141.0, 24.0, 68.0, height - 57.0 - 24.0 - 8.0))
    shows = 180.0 - bent.angle_deg
    sentence = (
        f"Finished angle: how far leg B has turned out of the line of leg A; 0° is straight, 90° is square. A protractor "
        f"laid into the corner shows {shows:g}° instead: 180° − {shows:g}° = {bent.angle_deg:g}°."
    )
    for k, words in enumerate(wrap(sentence, _WIDTH_MM - 14.0, 9.0)):
        write(ax, 7.0, 10.0 - 4.6 * k, words)
    legs = f" Legs {offcut.leg_a_mm:g} and {offcut.leg_b_mm:g} mm, measured to {_WORDS[offcut.legs_to]}." if offcut.has_legs else ""
    picture.alt = (
        f"Offcut {offcut.offcut}: {offcut.length_mm:g} mm of {tube.tube}, mark {offcut.mark_mm:g} mm from end A, "
        f"finished angle {offcut.angle_deg:g}°.{legs}"
    )
    return picture


def _straight(ax: Axes, offcut: Offcut, bent: BentOffcut, scale: float, *, top: float) -> None:
    half = bent.od_mm * scale / 2
    x0, y = 16.0, top - 30.0
    at = lambda mm: (x0 + mm * scale, y)  # noqa: E731
    write(ax, 7.0, top - 8.0, "Before bending", size=10, bold=True)
    write(ax, 7.0 + 36.0, top - 8.0, f"offcut {offcut.offcut}" if offcut.offcut else "", color=GREY)
    outline(ax, tube_outline(np.array([at(0), at(offcut.length_mm)]), half))
    badge(ax, x0 - 6.0, y, "A", dark=True)
    badge(ax, at(offcut.length_mm)[0] + 6.0, y, "B", dark=True)
    _mark(ax, at(offcut.mark_mm), 90.0, half)
    above = np.array([0.0, half])
    dimension(ax, at(0) + above, at(offcut.length_mm) + above, f"straight length {offcut.length_mm:g} mm", away=7.0)
    mark = f"mark {offcut.mark_mm:g} mm"
    if offcut.mark_mm * scale > 62.0:
        mark += " from end A"
    dimension(ax, at(0) - above, at(offcut.mark_mm) - above, mark, away=-7.0, color=BLUE, bold=True)


def _bent(ax: Axes, offcut: Offcut, bent: BentOffcut, scale: float, *, origin: np.ndarray, top: float) -> None:
    half = bent.od_mm * scale / 2
    at = lambda point: origin + np.asarray(point) * scale  # noqa: E731
    heading = "After bending" + (f" (dial {offcut.dial_deg:g}°)" if offcut.dial_deg else "")
    write(ax, 7.0, top, heading, size=10, bold=True)
    outline(ax, tube_outline(at(bent.centreline), half))
    line(ax, at([bent.start, bent.apex + [15.0 / scale, 0.0]]), color=GREY, style="--")
    line(ax, at([bent.apex, bent.stop]), color=GREY, style="--")
    badge(ax, *(at((0, 0)) - [6.0, 0.0]), "A", dark=True)
    badge(ax, *(at(bent.end_b) + 6.0 * bent.along_b), "B", dark=True)
    _mark(ax, at((offcut.mark_mm, 0.0)), 90.0, half) if offcut.mark_mm <= bent.start[0] else None
    _finished_angle(ax, at(bent.apex), bent.angle_deg, 12.0)
    to = offcut.legs_to if offcut.has_legs else "centre"
    point = bent.crossing(to)
    leg_a = f"leg A {offcut.leg_a_mm:g} mm" if offcut.leg_a_mm is not None else "leg A, to the apex"
    leg_b = f"leg B {offcut.leg_b_mm:g} mm" if offcut.leg_b_mm is not None else "leg B, to the apex"
    down = np.array([0.0, -half])
    dimension(ax, at((0, 0)) + down, at((offcut.mark_mm, 0)) + down, "mark", away=-6.0, color=BLUE)
    dimension(ax, at((0, 0)) + down, at((point[0], 0)) + down, leg_a, away=-14.0, bold=True)
    # Leg B is dimensioned where there is room: inside an open corner, outside a sharp one.
    inner = bent.angle_deg < 100.0
    side = half * (1.0 if inner else -1.0) * towards(bent.angle_deg + 90.0)
    foot = bent.apex + float((point - bent.apex) @ bent.along_b) * bent.along_b
    dimension(ax, at(foot) + side, at(bent.end_b) + side, leg_b, away=8.0 if inner else -8.0, bold=True)


def _finished_angle(ax: Axes, apex: np.ndarray, angle_deg: float, radius: float, *, words: bool = True) -> None:
    """The arc from "straight on" to leg B, with an arrow at leg B."""
    arc = around(apex, radius, 0.0, angle_deg)
    line(ax, arc[:-1], color=ORANGE, width=1.6)
    arrow(ax, arc[-3], arc[-1], color=ORANGE, width=1.6, head=8.0)
    if words:
        for k, text in enumerate(("finished", f"angle {angle_deg:g}°")):
            write(ax, apex[0] + 4.0, apex[1] - 6.5 - 4.4 * k, text, bold=True)


def _mark(ax: Axes, at: np.ndarray, direction_deg: float, half: float) -> None:
    across = (half + 2.0) * towards(direction_deg)
    line(ax, [at - across, at + across], color=BLUE, width=2.4, zorder=4)


def _corner(ax: Axes, bent: BentOffcut, legs_to: str, *, box: tuple[float, float, float, float]) -> None:
    """The bend itself, enlarged: start, end, apex and the crossing of the outside (or inside) edges."""
    edge_name = "inside" if legs_to == "inside" else "outside"
    x, y, width, height = box
    write(ax, x, y + height + 8.0, "The corner, enlarged", size=10, bold=True)
    pad = 1.2 * bent.od_mm
    near = np.vstack([bent.centreline[1:-1], bent.apex, bent.crossing(edge_name)])
    near = np.vstack([near, bent.start - [pad, 0], bent.stop + pad * bent.along_b, bent.apex + [1.6 * pad, 0]])
    low, high = near.min(axis=0) - bent.od_mm / 2, near.max(axis=0) + bent.od_mm / 2
    room = height - 17.0  # three lines of words stand below
    scale = min(width / (high - low)[0], room / (high - low)[1])
    middle = np.array([x + width / 2, y + 17.0 + room / 2])
    at = lambda point: middle + (np.asarray(point) - (low + high) / 2) * scale  # noqa: E731
    half = bent.od_mm * scale / 2
    piece = np.vstack([bent.start - [pad, 0], bent.centreline[1:-1], bent.stop + pad * bent.along_b])
    edges = tube_outline(at(piece), half)
    outline(ax, edges, edge="none")
    for edge in (edges[: len(piece)], edges[len(piece) :]):
        line(ax, edge)
    side = bent.od_mm / 2 * (-1.0 if edge_name == "inside" else 1.0)
    out_a, out_b = np.array([0, -side]), side * towards(bent.angle_deg - 90)
    crossing = bent.crossing(edge_name)
    for foot, shift in ((bent.start, out_a), (bent.stop, out_b)):
        line(ax, at([foot + shift, crossing]), color=INK, style=":", width=1.0)
        line(ax, at([foot + 1.5 * shift, foot - 1.5 * shift]), color=GREY, width=1.2, zorder=4)
    line(ax, at([bent.start - [pad, 0], bent.apex + [1.6 * pad, 0]]), color=GREY, style="--")
    line(ax, at([bent.apex, bent.stop + pad * bent.along_b]), color=GREY, style="--")
    _finished_angle(ax, at(bent.apex), bent.angle_deg, 1.3 * pad * scale, words=False)
    apex, out = at(bent.apex), at(crossing)
    ax.plot(*apex, "o", color=INK, markersize=6, zorder=6)
    ax.plot(*out, "s", color=INK, markerfacecolor="white", markersize=6, zorder=6)
    _key(ax, x, y, edge_name, legs_to)


def _key(ax: Axes, x: float, y: float, edge_name: str, legs_to: str) -> None:
    rows = (
        ("o", INK, "centre", "apex: the centre lines cross", "legs to here: centre lines cross"),
        ("s", "white", edge_name, f"the {edge_name} edges cross", f"legs to here: {edge_name} edges cross"),
    )
    for k, (marker, fill, crossing, words, here) in enumerate(rows):
        ax.plot(x + 2.0, y + 10.2 - 5.0 * k, marker, color=INK, markerfacecolor=fill, markersize=6)
        write(ax, x + 6.0, y + 9.0 - 5.0 * k, here if crossing == legs_to else words, bold=crossing == legs_to)
    line(ax, [(x + 2.0, y - 1.4), (x + 2.0, y + 2.0)], color=GREY, width=1.2)
    write(ax, x + 6.0, y - 1.0, "start and end of the bend")
