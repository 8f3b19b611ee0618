"""Lines of several bends, all in one plane, for the invented scanner and camera of scan.py and photo.py; everything is made up.

As there the tube is walked in small steps from end A: a heading that turns in each bend, and no apex but the one that a straightedge
along each straight part would tell.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tests.invented.scan import ScannedPiece

__all__ = ["ScannedLine", "on_glass"]


@dataclass(frozen=True)
class ScannedLine(ScannedPiece):
    """A flat line. `legs_mm` one more than `turns_deg`; a turn is positive towards one side, negative towards the other.

    `at_mm` is where the middle of the box round its walk lies.
    """

    legs_mm: tuple[float, ...] = (60.0, 70.0, 55.0)
    turns_deg: tuple[float, ...] = (60.0, -45.0)
    radii_mm: tuple[float, ...] = (15.0, 15.0)
    bows_mm: tuple[float, ...] = ()  # of each leg, nothing for straight ones
    uneven: tuple[float, ...] = ()  # of each arc, as uneven_arc of a piece
    slight: tuple[float, float] | None = None  # a slight bend more: where along the walk (share), and degrees
    lifted_from: float | None = None  # from this share of the walk on it rises by tilt_deg
    squashed: tuple[int, float] | None = None  # a bend's number from 0, and the share of its diameter that it has lost

    def _straights(self) -> np.ndarray:
        setback = np.array(self.radii_mm) * np.tan(np.radians(np.abs(self.turns_deg)) / 2)
        straights = np.array(self.legs_mm) - np.append(setback, 0.0) - np.append(0.0, setback)
        if straights.min() <= 0:
            raise ValueError("A leg is shorter than its part of the bends.")
        return straights

    def _stretches(self) -> tuple[np.ndarray, np.ndarray]:
        """(n + 1, 2) walked lengths at which each straight begins and ends, (n, 2) each arc."""
        straights, arcs = self._straights(), np.array(self.radii_mm) * np.radians(np.abs(self.turns_deg))
        ends = np.cumsum(np.column_stack([straights, np.append(arcs, 0.0)]).ravel())[:-1]
        marks = np.append(0.0, ends)
        return np.column_stack([marks[:-1:2], marks[1::2]]), np.column_stack([marks[1:-1:2], marks[2::2]])

    def walk(self, step: float = 0.04):
        """Places (n, 2), half widths on either side (n,), heights (n,) and the walked length at each, as a piece's."""
        straights, arcs = self._stretches()
        total = straights[-1, 1]
        s = np.linspace(0, total, int(total / step) + 1)
        heading = np.zeros_like(s)
        left, right = np.zeros_like(s), np.zeros_like(s)
        half = (self.true_od_mm or self.od_mm) / 2
        for k, ((start, stop), turn) in enumerate(zip(arcs, self.turns_deg, strict=True)):
            u = np.clip((s - start) / (stop - start), 0, 1)
            if self.uneven:
                u = u + self.uneven[k] * u * (1 - u)
            heading += np.radians(turn) * u
            flat = np.clip(np.minimum(s - start + self.od_mm / 2, stop + self.od_mm / 2 - s) / self.od_mm, 0, 1)
            share = self.squashed[1] if self.squashed and self.squashed[0] == k else self.flattening
            outside, inside = share * self.od_mm * flat * self.outside_share, share * self.od_mm * flat * (1 - self.outside_share)
            left += outside if turn > 0 else inside
            right += inside if turn > 0 else outside
        for (start, stop), bow in zip(straights, self.bows_mm, strict=False):
            u = (s - start) / (stop - start)
            heading += np.where((u > 0) & (u < 1), bow * np.pi / (stop - start) * np.cos(np.pi * u), 0.0)
        if self.slight is not None:
            heading += np.radians(self.slight[1]) * np.clip((s - self.slight[0] * total) / 6.0, 0, 1)
        rising = np.zeros_like(s) if self.lifted_from is None else np.clip(s - self.lifted_from * total, 0, None)
        high = rising * np.sin(np.radians(self.tilt_deg))
        if self.standing_mm:
            high = high + np.interp(s, [0.0, *arcs.mean(axis=1), total], self.standing_mm)
        level = np.sqrt(1 - (np.diff(high) / np.diff(s)) ** 2)
        middle, h = (heading[1:] + heading[:-1]) / 2, np.diff(s)
        xy = np.zeros((len(s), 2))
        xy[1:, 0], xy[1:, 1] = np.cumsum(np.cos(middle) * h * level), np.cumsum(np.sin(middle) * h * level)
        if self.mirrored:
            xy[:, 1] *= -1
        a = np.radians(self.turned_deg)
        xy = xy @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
        xy += np.array(self.at_mm) - (xy.min(axis=0) + xy.max(axis=0)) / 2
        waves = [self.rough_mm * np.sin(2 * np.pi * s / period + phase) for period, phase in ((3.7, 0.3), (5.3, 2.1))]
        return xy, half - left + waves[0], half - right + waves[1], high, s

    def measured(self) -> tuple[np.ndarray, np.ndarray]:
        """(n,) angles [deg] and (n + 1,) legs [mm] as a straightedge along each straight part tells them."""
        xy, _, _, _, s = self.walk()
        lines = []
        for start, stop in self._stretches()[0]:
            part = xy[(s > start) & (s < stop)]
            middle = part.mean(axis=0)
            along = np.linalg.svd(part - middle, full_matrices=False)[2][0]
            lines.append((middle, along * np.sign(along @ (part[-1] - part[0]))))
        apexes = []
        for (p, d), (q, e) in zip(lines[:-1], lines[1:], strict=True):
            apexes.append(p + d * np.linalg.solve(np.stack([d, -e], axis=1), q - p)[0])
        angles = [np.degrees(np.arccos(np.clip(d @ e, -1, 1))) for (_, d), (_, e) in zip(lines[:-1], lines[1:], strict=True)]
        between = [float(np.linalg.norm(b - a)) for a, b in zip(apexes[:-1], apexes[1:], strict=True)]
        first, last = float((apexes[0] - xy[0]) @ lines[0][1]), float((xy[-1] - apexes[-1]) @ lines[-1][1])
        return np.array(angles), np.array([first, *between, last])


def on_glass(line: ScannedLine, room_mm: float = 9.0) -> tuple[ScannedLine, tuple[float, float]]:
    """The line in the middle of a glass just large enough for it, and the size of that [mm]."""
    xy = line.walk(0.5)[0]
    size = xy.max(axis=0) - xy.min(axis=0) + 2 * room_mm
    return replace(line, at_mm=tuple(float(v) for v in size / 2)), tuple(float(v) for v in size)
