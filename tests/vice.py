"""A bender that stands still and always bends the same way, worked step by step by hands that do as a sheet says.

Written for the tests, without twists: the tube carries a line along it, the hands turn it, and each bend goes
towards the side that faces the die then. Whatever order is worked, the finished shape follows from what was done.
"""

from __future__ import annotations

import numpy as np

from bendcal.marks import MarkSheet

__all__ = ["worked"]


def worked(sheet: MarkSheet) -> np.ndarray:
    """Ends and apexes (n + 2, 3) of the tube, seat to seat, after the steps of a sheet, in the order in which they are told."""
    _, _, radius, developed, offset = (float(v) for v in sheet.law.parameters)
    line_at, done = 0.0, []  # where the drawn line is, from the side that the tube bends to, clockwise seen from end A
    for step in sheet.steps:
        k = step.bend - 1
        line_at = step.line_deg if step.turn_deg is None else line_at + step.turn_deg
        angle = float(sheet.law.mean_angle(sheet.dial_deg[k]).value)
        arc = developed * np.radians(angle)
        # The mark lies on the reference: with end A leading the bend starts m beyond it, else it ends m before it.
        start = sheet.mark_mm[k] + offset if step.feed == "A" else sheet.mark_mm[k] - offset - arc
        done.append((start, arc, angle, -line_at))
    at, place = sheet.seat_a_mm, np.zeros(3)
    along, drawn = np.array([1.0, 0.0, 0.0]), np.array([0.0, 1.0, 0.0])
    nodes = [place]
    for start, arc, angle, inside_deg in sorted(done):
        right = np.cross(along, drawn)  # a quarter turn clockwise from the line, seen along the tube from end A
        inside = np.cos(np.radians(inside_deg)) * drawn + np.sin(np.radians(inside_deg)) * right
        setback = radius * np.tan(np.radians(angle) / 2)
        apex = place + (start - at + setback) * along
        turn = _about(np.cross(along, inside), angle)
        along, drawn = turn @ along, turn @ drawn
        place, at = apex + setback * along, start + arc
        nodes.append(apex)
    nodes.append(place + (sheet.seat_b_mm - at) * along)
    return np.array(nodes)


def _about(axis: np.ndarray, angle_deg: float) -> np.ndarray:
    """The rotation about an axis of length 1 (Rodrigues)."""
    x, y, z = axis
    k = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    t = np.radians(angle_deg)
    return np.eye(3) + np.sin(t) * k + (1 - np.cos(t)) * k @ k
