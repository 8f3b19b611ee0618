"""Bent offcuts on a reference page as an invented camera sees them; everything in these pictures is made up.

Every ray is followed from the camera until it meets the tube, a round body of the walk of tests/invented/scan.py, or the page; no
edge, no homography and no fit is used here. The lens is undone by repeated substitution.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from tests.invented.scan import FINISHES, ScannedPiece, saved

_BAND = 96  # rows that are worked on at once
_FINER = 8  # rays in a pixel that sees a tube's outline: one in each eighth across, and in each eighth down
TABLE = np.array([0.35, 0.27, 0.2])  # what the page lies on: its colour


@dataclass(frozen=True)
class PhotoCamera:
    """An invented camera. `at_mm`: x, y on the page and height; it looks at `towards_mm` and is turned by `roll_deg`."""

    size_px: tuple[int, int] = (1600, 2100)
    film_mm: float = 26.0
    at_mm: tuple[float, float, float] = (105.0, 150.0, 400.0)
    towards_mm: tuple[float, float] = (105.0, 148.0)
    roll_deg: float = 0.0
    barrel: float = 0.0  # k1: the picture's radius is r (1 + k1 r²)
    blur_px: float = 0.8
    noise: float = 0.01
    light: tuple[float, float, float] = (-0.35, -0.4, 0.85)
    shadow: float = 0.3
    uneven: float = 0.15
    soft: float = 0.25  # how far the shadow's border fades, in diameters
    motion_px: tuple[float, float] = (0.0, 0.0)  # how far the camera moved while it took the picture
    glare: tuple[tuple[float, float, float], ...] = ()  # x, y, radius [mm of the page] of spots burnt out to white
    hot: tuple[float, float, float, float] | None = None  # x, y, radius [mm] of a lamp's spot, and how much brighter it is
    curl_mm: float = 0.0  # how high the page's right-hand edge is lifted

    def rays(self, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """The camera's place, z up, and directions through pixels, 1 long along its axis."""
        width, height = self.size_px
        f = self.film_mm * np.hypot(width, height) / 43.27
        u, v = (x - (width - 1) / 2) / f, (y - (height - 1) / 2) / f
        if self.barrel:
            # By the distance from the lens's middle alone: undone at 10,000 of them, which is right to 1e-6 pixels between two.
            out = np.hypot(u, v)
            far = np.linspace(0, out.max(), 10_000)
            true = far
            for _ in range(30):
                true = far / (1 + self.barrel * true**2)
            shrunk = 1 / (1 + self.barrel * np.interp(out, far, true) ** 2)
            u, v = u * shrunk, v * shrunk
        eye, forward, right, down = self.axes()
        return eye, placed([forward[k] + u * right[k] + v * down[k] for k in range(3)])

    def axes(self) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """The camera's place, z up, and unit vectors forward, to the picture's right and down."""
        eye = np.array(self.at_mm, float)
        forward = np.array([*self.towards_mm, 0.0]) - eye
        forward /= np.linalg.norm(forward)
        right = np.array([1.0, 0.0, 0.0]) - forward * forward[0]
        right /= np.linalg.norm(right)
        down = np.array([forward[1] * right[2] - forward[2] * right[1], forward[2] * right[0] - forward[0] * right[2], forward[0] * right[1] - forward[1] * right[0]])
        down = down if down[1] > 0 else -down
        c, s = np.cos(np.radians(self.roll_deg)), np.sin(np.radians(self.roll_deg))
        return eye, forward, c * right + s * down, -s * right + c * down

    def sees(self, points) -> np.ndarray:
        """(n, 2) pixels of points (n, 3), z up."""
        width, height = self.size_px
        f = self.film_mm * np.hypot(width, height) / 43.27
        eye, forward, right, down = self.axes()
        off = np.asarray(points, float) - eye
        a, b = off @ right / (off @ forward), off @ down / (off @ forward)
        bent = 1 + self.barrel * (a * a + b * b)
        return np.stack([(width - 1) / 2 + f * a * bent, (height - 1) / 2 + f * b * bent], axis=1)


def placed(parts) -> np.ndarray:
    """Arrays as the last axis of one, which lie apart in memory, so that work on each of them is quick."""
    return np.moveaxis(np.stack(parts), 0, -1)


def on_ground(eye: np.ndarray, way: np.ndarray, high: float | np.ndarray = 0.0) -> np.ndarray:
    """Where rays are as high as that."""
    far = (high - eye[2]) / way[..., 2]
    return placed([eye[k] + way[..., k] * far for k in range(3)])


def photo_of(pieces, camera: PhotoCamera, page: np.ndarray, page_mm: tuple[float, float], rng: np.random.Generator) -> np.ndarray:
    """The photo as (height, width, 3) bytes; `page` is the printed page as (rows, columns) from 0 to 1."""
    width, height = camera.size_px
    out = np.empty((height, width, 3), np.float32)
    walks = [(piece, *piece.walk(0.1)) for piece in pieces]
    lit = page.astype(np.float32) * shadow_of(walks, camera, page.shape, page_mm)
    # Well away from page and pieces there is only the table, and no ray is followed.
    left, first, right, last = _worth_following(walks, camera, page_mm)
    out[:] = TABLE
    for top in range(first, last, _BAND):
        # A row more on either side, so that an outline between two bands is seen.
        rows = np.arange(max(first, top - 1), min(top + _BAND + 1, last))
        eye, way = camera.rays(*np.meshgrid(np.arange(left, right), rows))
        on_page, along = _met(eye, way, camera.curl_mm, page_mm[0])
        colour = _page_colour(along, lit, page_mm, camera)
        for piece, xy, _, _, high, s in walks:
            lay(colour, piece, xy, high, s, eye, way, on_page, camera)
        for gx, gy, r in camera.glare:
            spot = np.clip((r - np.hypot(on_page[..., 0] - gx, on_page[..., 1] - gy)) / 0.5 + 0.5, 0, 1)[..., None]
            colour = colour * (1 - spot) + spot
        inner = (rows >= top) & (rows < top + _BAND)
        out[rows[inner], left:right] = colour[inner]
    out = ndimage.gaussian_filter(out, (camera.blur_px, camera.blur_px, 0))
    if any(camera.motion_px):
        out = sum(_moved(_moved(out, camera.motion_px[1] * t, 0), camera.motion_px[0] * t, 1) for t in np.linspace(-0.5, 0.5, 9)) / 9
    return np.concatenate([saved(out[top : top + _BAND], camera.noise, rng) for top in range(0, height, _BAND)])


def _moved(picture: np.ndarray, by: float, axis: int) -> np.ndarray:
    """The picture moved along an axis, between pixels by what lies on either side; at its border the last pixel goes on."""
    whole, count = int(np.floor(by)), picture.shape[axis]
    first, second = (picture.take(np.clip(np.arange(count) - whole - k, 0, count - 1), axis) for k in (0, 1))
    return first + np.float32(by - whole) * (second - first)


def _worth_following(walks, camera: PhotoCamera, page_mm: tuple[float, float]) -> tuple[int, int, int, int]:
    """Left, top, right and bottom of the part of the picture that has page and pieces in it, and 15 mm of table about them."""
    spots = np.concatenate([[(0.0, 0.0)], [page_mm], *(xy for _, xy, *_ in walks)])
    (x, y), (to_x, to_y) = spots.min(axis=0) - 15, spots.max(axis=0) + 15
    round_it = [(a + (b - a) * t, c + (d - c) * t, 0.0) for a, b, c, d in ((x, to_x, y, y), (x, to_x, to_y, to_y), (x, x, y, to_y), (to_x, to_x, y, to_y)) for t in np.linspace(0, 1, 9)]
    seen = camera.sees(round_it)
    low, high = np.clip(np.floor(seen.min(axis=0)), 0, camera.size_px), np.clip(np.ceil(seen.max(axis=0)), 0, camera.size_px)
    return int(low[0]), int(low[1]), int(high[0]), int(high[1])


def _met(eye, way, curl_mm: float, width_mm: float) -> tuple[np.ndarray, np.ndarray]:
    """Where rays meet the page, and where that is on its print: a page that is curled up to its right is longer than it looks."""
    on_page = on_ground(eye, way)
    if not curl_mm:
        return on_page, on_page
    begins, wide = 0.7 * width_mm, 0.3 * width_mm
    for _ in range(12):
        high = curl_mm * (np.clip(on_page[..., 0] - begins, 0, None) / wide) ** 2
        on_page = on_ground(eye, way, high)
    x = np.linspace(0, 3 * wide, 2000)
    length = np.concatenate([[0.0], np.cumsum(np.hypot(1.0, np.diff(curl_mm * (x / wide) ** 2) / np.diff(x)) * np.diff(x))])
    printed = on_page.copy()
    printed[..., 0] += np.interp(on_page[..., 0] - begins, x, length - x)
    return on_page, printed


def _page_colour(on_page, lit, page_mm, camera) -> np.ndarray:
    u, v = on_page[..., 0] / page_mm[0] * lit.shape[1] - 0.5, on_page[..., 1] / page_mm[1] * lit.shape[0] - 0.5
    level = ndimage.map_coordinates(lit, np.array([v, u]), order=1, mode="constant", cval=-1.0)
    on_page = on_page.astype(np.float32)
    light = 1 - np.float32(camera.uneven) * np.clip(on_page[..., 0] / page_mm[0], -1, 2)
    if camera.hot is not None:
        x, y, r, more = camera.hot
        light = light * (1 + np.float32(more) * np.exp(-0.5 * ((on_page[..., 0] - x) ** 2 + (on_page[..., 1] - y) ** 2) / r**2))
    print_, table = 0.03 + 0.9 * level, level < 0
    seen = []
    for white, bare in zip(np.array([1.0, 0.99, 0.97], np.float32), TABLE, strict=True):
        paper = print_ * white
        paper[table] = bare
        seen.append(np.clip(paper * light, 0, 1))
    return placed(seen)


def shadow_of(walks, camera, shape, page_mm) -> np.ndarray:
    """How light the page is: 1, less where a tube keeps the light off."""
    if not walks:
        return np.ones(shape, np.float32)
    dark = np.zeros((shape[0] // 4 + 1, shape[1] // 4 + 1))
    per_mm = shape[1] / page_mm[0] / 4
    for piece, xy, *_ in walks:
        mask = np.ones_like(dark, bool)
        i = np.clip(np.floor(xy * per_mm).astype(int), 0, np.array(dark.shape)[::-1] - 1)
        mask[i[:, 1], i[:, 0]] = False
        near = ndimage.distance_transform_edt(mask) / per_mm < piece.od_mm / 2
        lean = -np.array(camera.light[:2]) / camera.light[2] * piece.od_mm * 0.6 * per_mm
        moved = ndimage.shift(near.astype(np.float32), lean[::-1], order=1)
        dark = np.maximum(dark, ndimage.gaussian_filter(moved, camera.soft * piece.od_mm * per_mm))
    lit = np.ones(shape, np.float32)
    rows, cols = (slice(max(0, v.min() - 1), v.max() + 2) for v in np.nonzero(dark > 1e-4))
    darker = 1 - camera.shadow * ndimage.zoom(dark[rows, cols], 4, order=1, grid_mode=True, mode="nearest")
    part = lit[4 * rows.start :, 4 * cols.start :][: len(darker), : darker.shape[1]]
    part[:] = darker[: len(part), : part.shape[1]]
    return lit


def lay(colour, piece: ScannedPiece, xy, high, s, eye, way, on_page, camera) -> None:
    """Colour the pixels whose rays meet the tube, lying on the page but for what is lifted; a pixel on its outline takes a share of it."""
    r = (piece.true_od_mm or piece.od_mm) / 2
    # A ray that meets the tube meets the page so near to it: by how far it goes sideways while it comes down from the tube's top.
    rim = np.concatenate([way[0], way[-1], way[:, 0], way[:, -1]])
    aslant = np.sqrt(((rim[:, 0] ** 2 + rim[:, 1] ** 2) / rim[:, 2] ** 2).max())
    about = r + float((2.02 * r + high.max()) * aslant)
    low, far = xy.min(axis=0) - about, xy.max(axis=0) + about
    x, y = on_page[..., 0], on_page[..., 1]
    rows, cols = np.nonzero((x > low[0]) & (x < far[0]) & (y > low[1]) & (y < far[1]))
    # Rays that meet the page far from the tube are left out, by millimetres: the others are followed.
    places = np.full(np.ceil(far - low).astype(int) + 2, -1)
    places[tuple((xy - low).astype(int).T)] = np.arange(len(xy))
    close, beside = ndimage.distance_transform_edt(places < 0, return_indices=True)
    cells = tuple((on_page[rows, cols, :2] - low).astype(int).T)
    near = close[cells] < about + 2
    rows, cols, begun = rows[near], cols[near], places[tuple(beside)][cells][near]
    if not len(rows):
        return
    hit, seen = _followed(piece, r, xy, high, s, eye, way[rows, cols], camera, begun)
    part = np.s_[max(0, rows.min() - 1) : rows.max() + 2, max(0, cols.min() - 1) : cols.max() + 2]
    met, rim = np.zeros((2, *colour.shape[:2]), bool)
    met[rows[hit], cols[hit]] = True
    rim[part] = ndimage.binary_dilation(met[part], np.ones((3, 3))) & ~ndimage.binary_erosion(met[part], np.ones((3, 3)), border_value=1)
    outline = rim[rows, cols]
    full = np.flatnonzero(hit & ~outline)
    colour[rows[full], cols[full]] = seen[full]
    rows, cols, begun = rows[outline], cols[outline], begun[outline]
    if not len(rows):
        return
    # How the way changes from pixel to pixel, for rays between them.
    a, b = np.clip(rows, 1, way.shape[0] - 2), np.clip(cols, 1, way.shape[1] - 2)
    down, right = (way[a + 1, b] - way[a - 1, b]) / 2, (way[a, b + 1] - way[a, b - 1]) / 2
    share, sum_of = np.zeros(len(rows)), np.zeros((len(rows), 3))
    for k in range(_FINER):
        dx, dy = (k + 0.5) / _FINER - 0.5, (5 * k % _FINER + 0.5) / _FINER - 0.5
        hit, seen = _followed(piece, r, xy, high, s, eye, way[rows, cols] + dx * right + dy * down, camera, begun)
        share += hit / _FINER
        sum_of += seen / _FINER
    colour[rows, cols] = colour[rows, cols] * (1 - share[:, None]) + sum_of


def _nearest(xy, tangent, x, y, k) -> np.ndarray:
    """The step of the walk that is nearest to each place, from a step not far from it."""
    step, last = np.hypot(*(xy[1] - xy[0])), len(xy) - 1
    for _ in range(2):
        at, ahead = xy[k], tangent[k]
        k = np.clip(k + np.rint(((x - at[:, 0]) * ahead[:, 0] + (y - at[:, 1]) * ahead[:, 1]) / step).astype(int), 0, last)
    k, left = k.copy(), np.arange(len(k))
    while len(left):
        some = np.clip(k[left] + [[-1], [0], [1]], 0, last)
        best = ((x[left] - xy[some, 0]) ** 2 + (y[left] - xy[some, 1]) ** 2).argmin(axis=0)
        better = some[best, np.arange(len(left))]
        left, better = left[better != k[left]], better[better != k[left]]
        k[left] = better
    return k


def _followed(piece: ScannedPiece, r: float, xy, high, s, eye, way, camera, begun) -> tuple[np.ndarray, np.ndarray]:
    """Which of some rays meet the tube, and the colour that they see there, black where they do not; `begun`: for each a step of the walk not far from it."""
    tangent = np.gradient(xy, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    directions = way / np.linalg.norm(way, axis=1, keepdims=True)
    t = (2.02 * r + high.max() - eye[2]) / directions[:, 2]
    hit, index = np.zeros(len(t), bool), begun.copy()
    i = np.arange(len(t))
    for _ in range(40):
        if not len(i):
            break
        p = eye + directions[i] * t[i, None]
        k = _nearest(xy, tangent, p[:, 0], p[:, 1], index[i])
        off, ahead = p[:, :2] - xy[k], tangent[k]
        along = off[:, 0] * ahead[:, 0] + off[:, 1] * ahead[:, 1]
        across = off[:, 0] * ahead[:, 1] - off[:, 1] * ahead[:, 0]
        distance = np.hypot(across, p[:, 2] - high[k] - r) - r
        past = np.where(k == 0, -along, np.where(k == len(xy) - 1, along, -1.0))
        distance = np.maximum(distance, past)
        index[i] = k
        now = distance < 0.004
        hit[i[now]] = True
        t[i] += np.where(now, 0.0, np.maximum(distance, 0.003))
        i = i[~now & (p[:, 2] > 0)]
    i = np.flatnonzero(hit)
    p, k = eye + directions[i] * t[i, None], index[i]
    off = p[:, :2] - xy[k]
    along = (off * tangent[k]).sum(axis=1)
    across = off[:, 0] * tangent[k, 1] - off[:, 1] * tangent[k, 0]
    up = p[:, 2] - high[k] - r
    normal = np.stack([across * tangent[k, 1], -across * tangent[k, 0], up], axis=1)
    face = ((k == 0) & (along < -0.001)) | ((k == len(xy) - 1) & (along > 0.001))
    normal[face] = np.column_stack([tangent[k[face]] * np.sign(along[face])[:, None], np.zeros(face.sum())])
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-9)
    light = np.array(camera.light) / np.linalg.norm(camera.light)
    diffuse, strong, narrow = FINISHES[piece.finish]
    half = light - directions[i]
    half /= np.linalg.norm(half, axis=1, keepdims=True)
    lit = 0.3 + 0.7 * np.clip(normal @ light, 0, 1) * (normal[:, 2] > -0.2)
    shine = strong * np.clip((normal * half).sum(axis=1), 0, 1) ** (4 * narrow)
    seen = np.array(diffuse) * lit[:, None] + shine[:, None]
    if piece.mark_mm is not None:
        pen = (np.abs(s[k] + along - piece.mark_mm) < piece.mark_wide_mm / 2) & ~face
        seen[pen] = (0.05, 0.05, 0.08)
    bore = face & (np.hypot(across, up) < 0.7 * r)
    seen[bore] = 0.04
    out = np.zeros((len(way), 3))
    out[i] = np.clip(seen, 0, 1)
    return hit, out
