"""The scene of one finished line as plain numbers: its tube, fittings, clips, what it keeps clear of, and where its ends may fall."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from bendcal.bodies import Obstacle
from bendcal.ends import End
from bendcal.figures.view_layout import Shape
from bendcal.landing import Landing
from bendcal.marks import MarkSheet
from bendcal.supports import Supports
from bendcal.turntable.meshes import faces_of, outline_of, revolved

__all__ = ["Body", "Ellipsoid", "KeepAway", "LineScene", "Tag", "line_scene"]

Array = NDArray[np.float64]

#: How clips, and nuts of which nobody says how large they are, are drawn, in outside diameters of the tube: near enough to look at (common practice).
_NUT_HALF, _NUT_LONG, _NUT_BACK, _CLIP_HALF, _CLIP_LONG = 1.2, 3.0, 0.7, 1.15, 1.6


@dataclass(frozen=True, eq=False)
class Body:
    """Something solid: ``fitting``, ``clip`` or ``obstacle``; `faces_mm` (k, 4, 3) [mm]."""

    kind: str
    name: str
    faces_mm: Array


@dataclass(frozen=True, eq=False)
class KeepAway:
    """What is nearer to an obstacle than wanted: all within `radius_mm` of the hull of `points_mm` (k, 3) [mm]."""

    name: str
    points_mm: Array
    radius_mm: float


@dataclass(frozen=True, eq=False)
class Ellipsoid:
    """Where an end falls with 95 %: about `at_mm` (3,), the rows of `axes_mm` (3, 3) its semi-axes [mm]."""

    name: str
    at_mm: Array
    axes_mm: Array


@dataclass(frozen=True, eq=False)
class Tag:
    """A text beside a place: ``bend``, ``end`` or ``name``; it stands off `at_mm` (3,) towards `out` (3,)."""

    kind: str
    text: str
    at_mm: Array
    out: Array


@dataclass(frozen=True, eq=False)
class LineScene:
    """All that is drawn of one line, in the coordinates of its nodes.

    Attributes
    ----------
    title : the line, its tube and its bender
    points_mm : (k, 3) along the finished centreline from seat to seat [mm]
    is_bend : (k − 1,) whether each step between them belongs to a bend
    od_mm : outside diameter of the tube [mm]
    bodies, keep_aways, ellipsoids, tags : what else is there
    sentences : the same in words, for those who do not see it
    """

    title: str
    points_mm: Array
    is_bend: NDArray[np.bool_]
    od_mm: float
    bodies: tuple[Body, ...] = ()
    keep_aways: tuple[KeepAway, ...] = ()
    ellipsoids: tuple[Ellipsoid, ...] = ()
    tags: tuple[Tag, ...] = ()
    sentences: tuple[str, ...] = field(default=())

    @property
    def centre_mm(self) -> Array:
        """The middle of the box about the line: it turns about this."""
        return (self.points_mm.min(axis=0) + self.points_mm.max(axis=0)) / 2

    @property
    def reach_mm(self) -> float:
        """The farthest of the line from there, nut and all [mm]: what has to be in the picture from every side."""
        return float(np.linalg.norm(self.points_mm - self.centre_mm, axis=1).max()) + 2 * self.od_mm

    def numbers(self) -> dict:
        """The scene as numbers and texts only, to tenths (ellipsoids to hundredths) of a millimetre, as the page draws it."""
        return {
            "title": self.title, "points": _round(self.points_mm), "bend": self.is_bend.astype(int).tolist(), "od": round(self.od_mm, 3),
            "centre": _round(self.centre_mm), "reach": round(self.reach_mm, 1),
            "bodies": [{"kind": b.kind, "name": b.name, "faces": _round(b.faces_mm)} for b in self.bodies],
            "keep": [{"name": k.name, "points": _round(k.points_mm), "radius": round(k.radius_mm, 1)} for k in self.keep_aways],
            "ellipsoids": [{"name": e.name, "at": _round(e.at_mm), "axes": _round(e.axes_mm, 2)} for e in self.ellipsoids],
            "tags": [{"kind": t.kind, "text": t.text, "at": _round(t.at_mm), "out": _round(t.out, 3)} for t in self.tags],
        }  # fmt: skip


def line_scene(
    sheet: MarkSheet, *, obstacles: Sequence[Obstacle] = (), supports: Supports | None = None, landings: Sequence[Landing] = (), sentences: Sequence[str] = (),
) -> LineScene:
    """The scene of a marked line.

    Parameters
    ----------
    sheet : what :func:`bendcal.mark_out` returned
    obstacles : what it must keep away from; of those for other lines nothing is drawn
    supports : where its clips go, or None
    landings : where its ends will fall
    sentences : more to say of it in words, such as how near it comes to the obstacles

    Returns
    -------
    LineScene

    Raises
    ------
    LegTooShort : where the bends overlap
    """
    line, od = sheet.line, sheet.tube.od_mm
    shape = Shape.of(line, sheet.tube, float(sheet.law.parameters["radius_mm"]))
    nodes = line.corner_nodes_mm
    into = {"A": nodes[1] - nodes[0], "B": nodes[-2] - nodes[-1]}
    seats = {"A": nodes[0], "B": nodes[-1]}
    tags = [Tag("end", end, seats[end], -into[end] / np.linalg.norm(into[end])) for end in "AB"]
    tags += [Tag("bend", str(k), at, (apex - at) / np.linalg.norm(apex - at)) for k, (at, apex) in enumerate(zip(shape.bend_at, shape.apex, strict=True), 1)]
    bodies = []
    for end, kind in (("A", sheet.end_a), ("B", sheet.end_b)):
        room = float(sheet.straights_mm[0 if end == "A" else -1])
        bodies += _fitting(end, kind, seats[end], into[end], od, room)
    bare = LineScene(f"{line.line}: {sheet.tube.tube} on {sheet.bender.bender}", shape.points, shape.is_bend, od)
    keeps = []
    for one in (one for one in obstacles if one.line in ("", line.line)):
        near = {"near_mm": bare.centre_mm, "reach_mm": 1.2 * bare.reach_mm}
        bodies.append(Body("obstacle", one.obstacle, faces_of(one.solid, **near)))
        if one.keep_mm > 0:
            keeps.append(KeepAway(one.obstacle, *outline_of(one.solid, keep_mm=one.keep_mm, **near)))
        tags.append(Tag("name", one.obstacle, _free_side(bodies[-1].faces_mm, shape.points), np.zeros(3)))
    for clip in supports.clips if supports else ():
        at = np.array([clip.x_mm, clip.y_mm, clip.z_mm])
        along = nodes[clip.leg] - nodes[clip.leg - 1]
        half = 0.5 * _CLIP_LONG * od
        bodies.append(Body("clip", f"clip {clip.clip}", revolved(at, along, [(-half, 0.5 * od), (-half, _CLIP_HALF * od), (half, _CLIP_HALF * od), (half, 0.5 * od)])))
        tags.append(Tag("name", f"clip {clip.clip}", at, np.array([0.0, 0.0, -1.0])))
    ellipsoids = tuple(Ellipsoid(f"end {each.end}", each.place_mm, each.axes_mm[0][:, None] * each.axes_mm[1]) for each in landings)
    told = (*_in_words(sheet, supports), *(each.sentence for each in landings), *sentences)
    return LineScene(bare.title, shape.points, shape.is_bend, od, tuple(bodies), tuple(keeps), ellipsoids, tuple(tags), told)


def _free_side(faces: Array, tube: Array) -> Array:
    """The middle of the face that is farthest from the tube: a name there covers none of it."""
    middles = faces.mean(axis=1)
    away = np.linalg.norm(middles[:, None] - tube[None], axis=2).min(axis=1)
    return middles[np.argmax(away)]


def _fitting(name: str, end: End, seat: Array, into: Array, od: float, room_mm: float) -> list[Body]:
    """The formed end, and the nut behind it where there is one, drawn simply."""
    profile = {
        "single flare": [(0.0, 0.3), (0.0, 0.75), (0.6, 0.5)],
        "double flare": [(0.0, 0.3), (0.0, 0.75), (0.15, 0.8), (0.6, 0.5)],
        "bubble flare": [(0.0, 0.3), (0.0, 0.5), (0.3, 0.8), (0.6, 0.5)],
        "olive": [(0.0, 0.5), (0.3, 0.7), (0.8, 0.7), (1.1, 0.5)],
        "plain": [],
    }[end.form]
    if not profile:
        return []
    bodies = [Body("fitting", f"{end.form} at end {name}", revolved(seat, into, [(od * x, od * r) for x, r in profile], sides=10))]
    first = _NUT_BACK * od
    last = min(first + (end.nut_length_mm or _NUT_LONG * od), room_mm)
    if last - first > 0.5 * od:
        half = end.nut_corners_mm / 2 if end.nut_corners_mm else _NUT_HALF * od
        nut = [(first, 0.5 * od), (first, 0.8 * half), (first + 0.25 * (last - first), half), (last, half), (last, 0.5 * od)]
        bodies.append(Body("fitting", f"nut at end {name}", revolved(seat, into, nut, sides=6)))
    return bodies


def _in_words(sheet: MarkSheet, supports: Supports | None) -> list[str]:
    """The line from end A to end B, and where its clips sit."""
    legs, line = sheet.legs, sheet.line
    at_a, at_b = (f", {label}," if label else "" for label in ((line.labels[0], line.labels[-1]) if line.labels else ("", "")))
    seat_b = f"the seat of end B{at_b.removesuffix(',')}, {_a(sheet.end_b.form)} end"
    corners = [f"the corner of bend {k}{f' ({label})' if label else ''}" for k, label in enumerate(line.bend_labels, start=1)]
    onto = [*corners, seat_b]
    said = [f"End A{at_a} is {_a(sheet.end_a.form)} end. A leg of {legs.leg_mm[0]:.0f} mm leads from its seat to {onto[0]}."]
    for k in range(legs.bends):
        twist = "" if k == 0 else f", turned {legs.twist_deg[k]:+.0f}° from the bend before (clockwise seen from A is +)".replace("-", "−")
        said.append(f"Bend {k + 1}: {legs.angle_deg[k]:.0f}°{twist}. Then {legs.leg_mm[k + 1]:.0f} mm to {onto[k + 1]}.")
    said += [f"Clip {clip.clip}: {clip.beside_mm:.0f} mm from {clip.beside}." for clip in (supports.clips if supports else ())]
    return said


def _a(form: str) -> str:
    return f"{'an' if form[0] in 'aeiou' else 'a'} {form}"


def _round(numbers: Array, digits: int = 1) -> list:
    return (np.round(np.asarray(numbers, float), digits) + 0.0).tolist()
