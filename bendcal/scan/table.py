"""Pages on a table and the cameras above them, found together: every corner of every mark in every photo is fitted at once.

A page lies at a place and a turn on the table (three numbers, the first page's are 0) and may be printed a little too large or too
small, across and down; a camera has the ten numbers of `camera`, the first four of them shared by photos of one size and focal
length; and each photo shows all marks a little too large or too small (ink spreads, light does, and so errs what finds their
corners), which would else be taken for scatter. All of it is one least-squares problem with beliefs about lenses and prints (bundle adjustment), robust against single
corners, with its derivatives by the chain rule from those of OpenCV's projection.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import optimize

from bendcal.fiducials import ReferencePage
from bendcal.scan.camera import CORNER_PX, GROWN_PX, Camera, believed_lens, lens_arrays, outward_of_marks, scatter_px, usual_px
from bendcal.scan.sighting import Sighting, image_library, page_of

__all__ = ["PAGE_U", "PlacedPage", "Start", "Table", "adjusted"]

PAGE_U = 0.0005  # of its size: how far one page's print may differ from the next one's (assumed)
_LENS, _POSE, _PLACE = 4, 6, 3
#: No lens is further from what is believed of it, in standard deviations, and no print is stretched by more: beyond lie answers that no table has.
_LENS_OFF, _PRINT_OFF = 10.0, 0.1


@dataclass(frozen=True, eq=False)
class PlacedPage:
    """A page on the table: where its top left corner lies [mm], how far it is turned [rad], and by how much it is stretched (across, down).

    Examples
    --------
    >>> from bendcal.fiducials import reference_page
    >>> PlacedPage(reference_page("a4"), 100.0, 50.0, np.pi / 2).on_table(np.array([[10.0, 0.0]])).round(6).tolist()
    [[100.0, 60.0]]
    """

    page: ReferencePage
    x_mm: float = 0.0
    y_mm: float = 0.0
    turn: float = 0.0
    stretch: tuple[float, float] = (1.0, 1.0)

    @property
    def turned(self) -> np.ndarray:
        c, s = np.cos(self.turn), np.sin(self.turn)
        return np.array([[c, -s], [s, c]])

    def on_table(self, points_mm: np.ndarray) -> np.ndarray:
        """(n, 2) points of the page, on the table [mm].

        Parameters
        ----------
        points_mm : (n, 2) from the page's top left corner, as they are in its file
        """
        return (np.asarray(points_mm, float) * self.stretch) @ self.turned.T + (self.x_mm, self.y_mm)


@dataclass(frozen=True, eq=False)
class Start:
    """Where the adjustment begins: (10,) numbers of each photo's camera, and each page's place, the first one's being 0."""

    cameras: tuple[np.ndarray, ...]
    pages: Mapping[str, PlacedPage]


@dataclass(frozen=True, eq=False)
class Table:
    """Pages and cameras as they were found.

    Attributes
    ----------
    pages : name → where it lies
    cameras : of each photo, in millimetres of the table
    numbers : (m,) lenses, then poses of the cameras: what `cameras` is made of
    covariance : (m, m) of these
    lens_of : (photos,) which lens each has
    off_px : for each photo, mark → (4, 2) how far its corners are seen from where they should be
    stretch_u : how many of its standard deviations each page's own stretch is off (across, down)
    """

    pages: dict[str, PlacedPage]
    cameras: tuple[Camera, ...]
    numbers: np.ndarray
    covariance: np.ndarray
    lens_of: tuple[int, ...]
    off_px: tuple[dict[int, np.ndarray], ...]
    stretch_u: dict[str, tuple[float, float]]

    def rms_px(self, page: str | None = None) -> float:
        """How far corners are seen from where they should be: of one page, or of all [px].

        Parameters
        ----------
        page : its name, or None
        """
        off = [four for photo in self.off_px for mark, four in photo.items() if page in (None, str(page_of(mark)))]
        return float(np.sqrt(np.mean(np.square(off)))) if off else 0.0

    @property
    def spread_px(self) -> float:
        """The scatter of most corners, whatever a few do [px]."""
        off = np.concatenate([four.ravel() for photo in self.off_px for four in photo.values()])
        return usual_px(off)

    def cameras_of(self, numbers: np.ndarray) -> list[np.ndarray]:
        """(10,) of each camera, from all of these numbers.

        Parameters
        ----------
        numbers : (m,) as `numbers`
        """
        first = _LENS * (max(self.lens_of) + 1)
        return [np.append(numbers[_LENS * lens :][:_LENS], numbers[first + _POSE * k :][:_POSE]) for k, lens in enumerate(self.lens_of)]


class _Problem:
    """The equations: which numbers each corner hangs on."""

    def __init__(self, sightings: Sequence[Sighting], start: Start, scale: Mapping[str, float], widths: tuple[float, float]) -> None:
        self.names, self.sightings = list(start.pages), sightings
        kinds = list(dict.fromkeys((s.size_px, s.film_mm) for s in sightings))
        self.lens_of = tuple(kinds.index((s.size_px, s.film_mm)) for s in sightings)
        self.first_pose = _LENS * len(kinds)
        self.first_place = self.first_pose + _POSE * len(sightings)
        self.first_stretch = self.first_place + _PLACE * (len(self.names) - 1)  # common (2), then each page's own (2)
        self.first_grown = self.first_stretch + 2 + 2 * len(self.names)
        self.count = self.first_grown + len(sightings)
        lenses = [believed_lens(*kind) for kind in kinds]
        self.believed = np.concatenate([b for b, _ in lenses] + [np.zeros(self.count - self.first_stretch)])
        self.width = np.concatenate([w for _, w in lenses] + [np.repeat(widths[0], 2), np.repeat(widths[1], 2 * len(self.names)), np.repeat(GROWN_PX, len(sightings))])
        self.which = np.append(np.arange(self.first_pose), np.arange(self.first_stretch, self.count))
        self.marks = [[m for m in s.corners_px if str(page_of(m)) in start.pages] for s in sightings]
        self.page = [np.repeat([self.names.index(str(page_of(m))) for m in marks], 4) for marks in self.marks]
        self.at = [np.concatenate([page_of(m).corners_mm(m) * scale[str(page_of(m))] for m in marks]) for marks in self.marks]
        self.seen = [np.concatenate([s.corners_px[m] for m in marks]) for s, marks in zip(sightings, self.marks, strict=True)]
        self.outward = [outward_of_marks(np.concatenate([s.corners_px[m] for m in marks])) for s, marks in zip(sightings, self.marks, strict=True)]
        self.start = np.zeros(self.count)
        for k, numbers in enumerate(start.cameras):
            self.start[_LENS * self.lens_of[k] :][:_LENS] = numbers[:_LENS]
            self.start[self.first_pose + _POSE * k :][:_POSE] = numbers[_LENS:]
        for k, placed in enumerate(list(start.pages.values())[1:]):
            self.start[self.first_place + _PLACE * k :][:_PLACE] = placed.x_mm, placed.y_mm, placed.turn

    def bounds(self) -> tuple[np.ndarray, np.ndarray]:
        """(count,) each, the least and the largest that every number may be."""
        low, high = np.full(self.count, -np.inf), np.full(self.count, np.inf)
        reach = np.append(_LENS_OFF * self.width[: self.first_pose], np.full(self.count - self.first_stretch, _PRINT_OFF))
        low[self.which], high[self.which] = self.believed - reach, self.believed + reach
        low[self.first_grown :], high[self.first_grown :] = -np.inf, np.inf
        return low, high

    def places(self, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(pages, 3) places and turns, (pages, 2) stretches less 1."""
        place = np.vstack([np.zeros(_PLACE), x[self.first_place : self.first_stretch].reshape(-1, _PLACE)])
        common, own = x[self.first_stretch :][:2], x[self.first_stretch + 2 : self.first_grown].reshape(-1, 2)
        return place, common + own

    def __call__(self, x: np.ndarray, *, slopes: bool = False) -> np.ndarray:
        """All residuals in their standard deviations, or their derivatives by all numbers."""
        cv2 = image_library()
        place, stretch = self.places(x)
        rows, off = [], []
        for k, (page, at, seen) in enumerate(zip(self.page, self.at, self.seen, strict=True)):
            turn, scaled = place[page, 2], at * (1 + stretch[page])
            c, s = np.cos(turn), np.sin(turn)
            way = np.stack([np.stack([c, -s], axis=1), np.stack([s, c], axis=1)], axis=1)  # (n, 2, 2)
            table = (way @ scaled[:, :, None])[:, :, 0] + place[page, :2]
            lens, pose = x[_LENS * self.lens_of[k] :][:_LENS], x[self.first_pose + _POSE * k :][:_POSE]
            matrix, bent = lens_arrays(lens)
            solid = np.column_stack([table, np.zeros(len(table))])
            drawn, by = cv2.projectPoints(solid, pose[:3], pose[3:], matrix, bent)
            off.append((drawn[:, 0] + x[self.first_grown + k] * self.outward[k] - seen).ravel() / CORNER_PX)
            if not slopes:
                continue
            row = np.zeros((len(by), self.count))
            at_lens, at_pose = _LENS * self.lens_of[k], self.first_pose + _POSE * k
            row[:, at_lens] = (by[:, 6] + by[:, 7]) * np.exp(lens[0])
            row[:, at_lens + 1 : at_lens + 4] = by[:, 8:11]
            row[:, at_pose : at_pose + _POSE] = by[:, :6]
            row[:, self.first_grown + k] = self.outward[k].ravel()
            by_table = (by[:, 3:6] @ cv2.Rodrigues(pose[:3])[0][:, :2]).reshape(-1, 2, 2)  # what a pixel moves by when a point of the table does
            across = np.stack([-s * scaled[:, 0] - c * scaled[:, 1], c * scaled[:, 0] - s * scaled[:, 1]], axis=1)
            by_stretch = by_table @ (way * at[:, None, :])
            by_place = np.concatenate([by_table, by_table @ across[:, :, None]], axis=2)
            for j in np.unique(page):
                here = np.repeat(page == j, 2)
                if j:
                    row[np.ix_(here, self.first_place + _PLACE * (j - 1) + np.arange(_PLACE))] = by_place[page == j].reshape(-1, _PLACE)
                own = self.first_stretch + 2 + 2 * j
                for column in (self.first_stretch, own):
                    row[np.ix_(here, column + np.arange(2))] = by_stretch[page == j].reshape(-1, 2)
            rows.append(row / CORNER_PX)
        if not slopes:
            return np.concatenate([*off, (x[self.which] - self.believed) / self.width])
        beliefs = np.zeros((len(self.which), self.count))
        beliefs[np.arange(len(self.which)), self.which] = 1 / self.width
        return np.vstack([*rows, beliefs])


def adjusted(sightings: Sequence[Sighting], start: Start, *, scale: Mapping[str, float], print_u: float, page_u: float = PAGE_U) -> Table:
    """Pages and cameras that fit all marks best.

    Parameters
    ----------
    sightings : what each photo shows; marks of pages that `start` does not hold are left out
    start : about where all of them are
    scale : name of each page → what its 100 mm line measures over 100 mm
    print_u : standard uncertainty of that, as a share, in each direction, common to all pages
    page_u : how far one page may differ from the others in it
    """
    problem = _Problem(sightings, start, scale, (print_u, page_u))
    how = {"jac": lambda x: problem(x, slopes=True), "x_scale": "jac"}
    # Plain squares come near in a few steps; from there the robust fit needs few more. Where a page was moved they may go astray instead.
    near = optimize.least_squares(problem, problem.start, method="lm", max_nfev=50, **how).x
    low, high = problem.bounds()
    if not ((near > low) & (near < high)).all():
        near = optimize.least_squares(problem, np.clip(problem.start, low, high), bounds=(low, high), max_nfev=100, **how).x
    found = optimize.least_squares(problem, near, bounds=(low, high), loss="soft_l1", f_scale=3.0, max_nfev=100, **how)
    x = found.x
    off = np.split(problem(x)[: -len(problem.which)] * CORNER_PX, np.cumsum([2 * len(p) for p in problem.page])[:-1])
    off_px = tuple(dict(zip(marks, each.reshape(-1, 4, 2), strict=True)) for marks, each in zip(problem.marks, off, strict=True))
    # Beliefs are as wide as they are, however much corners scatter.
    seen, believed = found.jac[: -len(problem.which)] / max(1.0, scatter_px(np.concatenate(off)) / CORNER_PX), found.jac[-len(problem.which) :]
    covariance = np.linalg.inv(seen.T @ seen + believed.T @ believed)
    place, stretch = problem.places(x)
    pages = {
        name: PlacedPage(start.pages[name].page, *(float(v) for v in place[j]), tuple(float(v) for v in scale[name] * (1 + stretch[j])))
        for j, name in enumerate(problem.names)
    }
    own = x[problem.first_stretch + 2 : problem.first_grown].reshape(-1, 2) / page_u
    m = problem.first_place
    cameras = []
    for k, lens in enumerate(problem.lens_of):
        which = np.append(_LENS * lens + np.arange(_LENS), problem.first_pose + _POSE * k + np.arange(_POSE))
        cameras.append(Camera(x[which], covariance[np.ix_(which, which)], float(np.sqrt(np.mean(np.square(off[k]))))))
    return Table(pages, tuple(cameras), x[:m], covariance[:m, :m], problem.lens_of, off_px, {n: tuple(float(v) for v in own[j]) for j, n in enumerate(problem.names)})
