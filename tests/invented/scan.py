"""Bent offcuts as an invented flatbed scanner sees them; everything in these pictures is made up.

The tube is walked in small steps from end A and every pixel is asked for the nearest step: no apex, no tangent
length and no fit is used here. Light comes from a lamp on the carriage, so that tubes are shaded by how they lie.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from PIL import Image
from scipy import ndimage
from scipy.spatial import cKDTree

#: Diffuse colour, how strong and how narrow the highlight is.
FINISHES = {
    "bright": ((0.62, 0.63, 0.65), 0.55, 14.0),
    "dull": ((0.42, 0.42, 0.43), 0.08, 3.0),
    "copper": ((0.72, 0.42, 0.28), 0.35, 10.0),
    "plated": ((0.55, 0.53, 0.42), 0.30, 6.0),
    "black": ((0.14, 0.14, 0.15), 0.15, 6.0),
}
BACKDROPS = {"white": (0.95, 0.95, 0.94), "grey": (0.78, 0.78, 0.77), "dark": (0.06, 0.06, 0.07), "blue": (0.20, 0.30, 0.62)}


@dataclass(frozen=True)
class ScannedPiece:
    """One bent piece. Lengths in mm, angles in degrees; `at_mm` is where its arc's middle lies on the glass."""

    angle_deg: float = 90.0
    radius_mm: float = 15.0
    leg_a_mm: float = 60.0
    leg_b_mm: float = 50.0
    od_mm: float = 4.76
    at_mm: tuple[float, float] = (45.0, 45.0)
    turned_deg: float = 45.0
    mirrored: bool = False
    mark_mm: float | None = None
    mark_wide_mm: float = 0.5
    flattening: float = 0.0
    outside_share: float = 0.75
    finish: str = "dull"
    saw_deg: tuple[float, float] = (0.0, 0.0)
    second_bend_deg: float = 0.0  # in leg B's middle: then it is no single bend
    bow_mm: float = 0.0  # of leg A
    uneven_arc: float = 0.0  # curvature at the start of the arc over its mean, less 1; at its end the other way
    uneven_middle: float = 0.0  # curvature at both ends of the arc over its mean, less 1; in its middle the other way
    true_od_mm: float | None = None  # where the tube is not as thick as it is sold
    rough_mm: float = 0.0  # waves of its sides (rms), each side its own
    mark_slant_deg: float = 0.0
    tilt_deg: float = 0.0  # leg B lifted from the glass by so much
    standing_mm: tuple[float, ...] = ()  # how high end A, each bend and end B stand off the page; nothing where the piece lies flat
    sets_in: float = 1.0  # diameters over which flattening sets in and ends
    eased: float = 0.0  # diameters over which curvature sets in and ends
    burr_mm: float = 0.0  # how ragged its cut ends are
    grain: int = 0  # which waves and which rags
    gap: tuple[float, float] | None = None  # a stretch [mm from end A] that is as light as the backdrop

    def walk(self, step: float = 0.04):
        """Places (n, 2), half widths outside and inside (n,), heights (n,), marked (n,) and the walked length at each."""
        turn, tan = np.radians(self.angle_deg), self.radius_mm * np.tan(np.radians(self.angle_deg) / 2)
        first, second = self.leg_a_mm - tan, self.leg_b_mm - tan
        if min(first, second) <= 0:
            raise ValueError("A leg is shorter than its part of the bend.")
        total = first + self.radius_mm * turn + second
        s = np.linspace(0, total, int(total / step) + 1)
        heading = (self._eased(s - first) - self._eased(s - first - self.radius_mm * turn)) / self.radius_mm
        if self.uneven_arc:
            u = heading / turn
            heading = heading + self.uneven_arc * turn * u * (1 - u)
        if self.uneven_middle:
            u = np.clip(heading / turn, 0, 1)
            heading = heading + self.uneven_middle * turn * np.sin(2 * np.pi * u) / (2 * np.pi)
        if self.second_bend_deg:
            start = total - second / 2
            heading = heading + np.radians(self.second_bend_deg) * np.clip((s - start) / 6.0, 0, 1)
        if self.bow_mm:
            u = np.clip(s / first, 0, 1)
            heading = heading + self.bow_mm * np.pi / first * np.cos(np.pi * u) * (u < 1)
        h = np.diff(s)
        middle = (heading[1:] + heading[:-1]) / 2
        lifted = np.clip(s - first - self.radius_mm * turn, 0, None)
        height = lifted * np.sin(np.radians(self.tilt_deg))
        if self.standing_mm:
            height = height + np.interp(s, [0.0, first + self.radius_mm * turn / 2, total], self.standing_mm)
        shrink = np.sqrt(1 - (np.diff(height) / h) ** 2)
        xy = np.zeros((len(s), 2))
        xy[1:, 0] = np.cumsum(np.cos(middle) * h * shrink)
        xy[1:, 1] = np.cumsum(np.sin(middle) * h * shrink)
        xy -= xy[np.searchsorted(s, first + self.radius_mm * turn / 2)]
        if self.mirrored:
            xy[:, 1] *= -1
        a = np.radians(self.turned_deg)
        xy = xy @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]]) + np.array(self.at_mm)
        over = self.sets_in * self.od_mm
        flat = np.clip(np.minimum(s - first + over / 2, first + self.radius_mm * turn + over / 2 - s) / over, 0, 1)
        lost = self.flattening * self.od_mm * flat
        half = (self.true_od_mm or self.od_mm) / 2
        waves = [self.rough_mm * _waves(s, (1.5, 15.0), (self.grain, side)) for side in (0, 1)]
        outside, inside = half - lost * self.outside_share + waves[0], half - lost * (1 - self.outside_share) + waves[1]
        return xy, outside, inside, height, s

    def _eased(self, x: np.ndarray) -> np.ndarray:
        """How far one has turned, times the radius, at x from where an arc would begin at once."""
        over = self.eased * self.od_mm
        if not over:
            return np.clip(x, 0, None)
        return np.where(x < over / 2, np.clip(x + over / 2, 0, None) ** 2 / (2 * over), x)

    def measured(self) -> tuple[float, float, float]:
        """Angle [deg] and both legs [mm] as a straightedge along each leg tells them: a bow or an uneven arc moves them a little."""
        xy, _, _, _, s = self.walk()
        tan, turn = self.radius_mm * np.tan(np.radians(self.angle_deg) / 2), np.radians(self.angle_deg)
        first, eased = self.leg_a_mm - tan, self.eased * self.od_mm / 2
        lines = []
        for part in (xy[s < first - eased][::-1], xy[s > first + self.radius_mm * turn + eased]):
            middle = part.mean(axis=0)
            along = np.linalg.svd(part - middle, full_matrices=False)[2][0]
            lines.append((middle, along * np.sign(along @ (part[-1] - part[0]))))
        (p, d), (q, e) = lines
        apex = p + d * np.linalg.solve(np.stack([d, -e], axis=1), q - p)[0]
        return float(180 - np.degrees(np.arccos(d @ e))), float((xy[0] - apex) @ d), float((xy[-1] - apex) @ e)


def _waves(x: np.ndarray, periods: tuple[float, float], which: tuple[int, int], count: int = 8) -> np.ndarray:
    """Waves of mean square 1 with periods anywhere between these, as chance will have them."""
    rng = np.random.default_rng(which)
    period = np.exp(rng.uniform(*np.log(periods), count))
    phase = rng.uniform(0, 2 * np.pi, count)
    return np.sqrt(2 / count) * sum(np.sin(2 * np.pi * x / p + f) for p, f in zip(period, phase, strict=True))


@dataclass(frozen=True)
class Scanner:
    """An invented scanner: what it is told (`dpi`) and what it really does (`scale` = real pixels over told ones)."""

    dpi: float = 300.0
    scale: tuple[float, float] = (1.0, 1.0)
    blur_px: float = 0.7
    noise: float = 0.01
    backdrop: str = "white"
    uneven: float = 0.03  # of the backdrop's light, from one side to the other
    shadow: float = 0.15  # how dark the tube's shadow is on the lid
    lamp_deg: float = 90.0  # where the light comes from on the glass: along the carriage
    lens_mm: float | None = None  # a CCD's way of light; None looks straight up everywhere
    glare: tuple[tuple[float, float, float], ...] = ()  # x, y, radius [mm] of spots burnt out to white
    dust: int = 0
    extra: dict = field(default_factory=dict)


def scan_of(pieces, scanner: Scanner, size_mm: tuple[float, float], rng: np.random.Generator, *, fine: int = 2, printed=None) -> np.ndarray:
    """The scan as (height, width, 3) bytes; `printed`: a printed page on the glass, as (rows, columns) from 0 to 1, its pixels a millimetre, where its corner lies [mm], and how far it is turned [deg]."""
    px = 25.4 / scanner.dpi / fine
    width, height = (int(round(v / px / fine)) * fine for v in size_mm)
    ys, xs = np.arange(height)[:, None], np.arange(width)
    light = 1 - scanner.uneven * (xs / width + 0.5 * (ys / height) ** 2)
    picture = np.array(BACKDROPS[scanner.backdrop])[None, None] * light[:, :, None]
    if printed is not None:
        page, per_mm, (left, top), turned = printed
        u, v = (xs + 0.5) * px / scanner.scale[0] - left, (ys + 0.5) * px / scanner.scale[1] - top
        c, s = np.cos(np.radians(turned)), np.sin(np.radians(turned))
        picture = picture * ndimage.map_coordinates(page, [(c * v - s * u) * per_mm - 0.5, (c * u + s * v) * per_mm - 0.5], order=1, mode="constant", cval=1.0)[:, :, None]
    blurs = []
    for piece in pieces:
        blurs.append(_lay(picture, piece, scanner, px))
    for x, y, r in scanner.glare:
        spot = np.clip((r - np.hypot(xs * px - x, ys * px - y)) / 0.3 + 0.5, 0, 1)[:, :, None]
        picture = picture * (1 - spot) + np.array(scanner.extra.get("glare", (1.0, 1.0, 1.0))) * spot
    if fine > 1:
        picture = picture.reshape(height // fine, fine, width // fine, fine, 3).mean(axis=(1, 3))
    sharp = ndimage.gaussian_filter(picture, (scanner.blur_px, scanner.blur_px, 0))
    out_of_focus = sum((b for b in blurs if b is not None), 0.0)
    if np.ndim(out_of_focus):
        out_of_focus = out_of_focus.reshape(height // fine, fine, width // fine, fine).mean(axis=(1, 3))[:, :, None]
        soft = ndimage.gaussian_filter(picture, (5, 5, 0))
        sharp = sharp * (1 - out_of_focus) + soft * out_of_focus
    for _ in range(scanner.dust):
        y, x = rng.integers(0, sharp.shape[0]), rng.integers(0, sharp.shape[1])
        sharp[y : y + rng.integers(2, 6), x : x + rng.integers(2, 6)] *= rng.uniform(0.3, 0.9)
    return np.concatenate([saved(sharp[top : top + 64], scanner.noise, rng) for top in range(0, len(sharp), 64)])


def saved(part: np.ndarray, noise: float, rng: np.random.Generator) -> np.ndarray:
    """Part of a picture with noise, as bytes."""
    level = rng.normal(size=part.shape)
    level *= noise
    level += part
    np.clip(level, 0, 1, out=level)
    level *= 255
    level += 0.5
    return level.astype(np.uint8)


def _lay(picture: np.ndarray, piece: ScannedPiece, scanner: Scanner, px: float) -> np.ndarray | None:
    """Lay one piece into the picture; where it is out of focus is returned."""
    xy, outside, inside, height, s = piece.walk()
    kx, ky = scanner.scale
    shape = picture.shape[:2]
    pixels_x, pixels_y = (np.arange(n) + 0.5 for n in (shape[1], shape[0]))
    lens = 1.0 if scanner.lens_mm is None else scanner.lens_mm / (scanner.lens_mm + piece.od_mm / 2)
    middle = shape[1] * px / 2
    real_x, real_y = (pixels_x * px / kx - middle) / lens + middle, pixels_y * px / ky
    pad = 2 * piece.od_mm  # a shadow reaches so far
    cols = np.flatnonzero((real_x > xy[:, 0].min() - pad) & (real_x < xy[:, 0].max() + pad))
    rows = np.flatnonzero((real_y > xy[:, 1].min() - pad) & (real_y < xy[:, 1].max() + pad))
    if not len(cols) or not len(rows):
        return None
    rows, cols = (np.arange(part[0] // 4 * 4, part[-1] + 1) for part in (rows, cols))
    box = np.s_[rows[0] : rows[-1] + 1, cols[0] : cols[-1] + 1]
    # Only pixels near the walk are asked for their nearest step.
    ri = np.clip(np.searchsorted(real_y[rows], xy[:, 1]), 0, len(rows) - 1)
    ci = np.clip(np.searchsorted(real_x[cols], xy[:, 0]), 0, len(cols) - 1)
    ri, ci = np.nonzero(_near(ri, ci, (len(rows), len(cols)), piece.od_mm * 0.8 / px))
    points = np.stack([real_x[cols[ci]], real_y[rows[ri]]], axis=1)
    _, near = cKDTree(xy).query(points, workers=1)
    tangent = np.gradient(xy, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    off = points - xy[near]
    t = tangent[near]
    along = (off * t).sum(axis=1)
    side = (off[:, 0] * t[:, 1] - off[:, 1] * t[:, 0]) * (-1 if piece.mirrored else 1)  # positive: outside of the bend
    half = np.where(side > 0, outside[near], inside[near])
    across = np.abs(side)
    walked = s[near] + along
    slant = np.tan(np.radians(piece.saw_deg))
    ragged = [piece.burr_mm and piece.burr_mm * _waves(side / piece.od_mm, (0.3, 2.0), (piece.grain, 2 + end)) for end in (0, 1)]
    past = np.maximum(-(walked - side * slant[0] - ragged[0]), walked - s[-1] - side * slant[1] - ragged[1])
    cover = np.clip((half - across) / px + 0.5, 0, 1) * np.clip(-past / px + 0.5, 0, 1)
    # Shade: a cylinder's normal at this place, lit by the lamp from one side and from below.
    lean = np.clip(side / half, -1, 1) * (-1 if piece.mirrored else 1)
    normal = np.stack([lean * t[:, 1], -lean * t[:, 0], np.sqrt(np.maximum(1 - lean**2, 0))], axis=1)
    lamp = np.radians(scanner.lamp_deg)
    lit = np.array([0.55 * np.cos(lamp), 0.55 * np.sin(lamp), 0.83])
    diffuse, strong, narrow = FINISHES[piece.finish]
    cosine = np.clip(normal @ lit, 0, 1)
    glossy = strong * np.clip(normal @ ((lit + [0, 0, 1]) / np.linalg.norm(lit + [0, 0, 1])), 0, 1) ** (4 * narrow)
    colour = np.array(diffuse)[None] * (0.12 + 0.88 * cosine)[:, None] + glossy[:, None]
    if piece.mark_mm is not None:
        pen = np.clip((piece.mark_wide_mm / 2 - np.abs(walked - piece.mark_mm - side * np.tan(np.radians(piece.mark_slant_deg)))) / px + 0.5, 0, 1)[:, None]
        colour = colour * (1 - pen) + np.array((0.05, 0.05, 0.08)) * pen
    if piece.gap is not None:
        lost = ((walked > piece.gap[0]) & (walked < piece.gap[1]))[:, None]
        colour = np.where(lost, np.array(BACKDROPS[scanner.backdrop])[None], colour)
    whole = np.zeros((len(rows), len(cols)))
    whole[ri, ci] = cover
    away = scanner.shadow * ndimage.gaussian_filter(
        ndimage.shift(whole[::4, ::4], -0.35 * piece.od_mm / px / 4 * np.array([np.sin(lamp), np.cos(lamp)]), order=1), 0.25 * piece.od_mm / px / 4
    )
    part = picture[box]
    part *= 1 - ndimage.zoom(away, 4, order=1)[: len(rows), : len(cols), None]
    part[ri, ci] = part[ri, ci] * (1 - cover)[:, None] + np.clip(colour, 0, 1) * cover[:, None]
    if not piece.tilt_deg:
        return None
    lifted = np.zeros(shape)
    lifted[box][ri, ci] = np.clip(height[near] / 4.0, 0, 1)
    return lifted


def _near(rows: np.ndarray, cols: np.ndarray, shape: tuple[int, int], far: float) -> np.ndarray:
    """Which pixels lie less than so far [pixels] from any of these."""
    out = int(np.ceil(far))
    y, x = np.ogrid[-out : out + 1, -out : out + 1]
    disc = np.sqrt(y * y + x * x) < far
    near = np.zeros((shape[0] + 2 * out, shape[1] + 2 * out), bool)
    for r, c in np.unique(np.stack([rows, cols], axis=1), axis=0):
        near[r : r + 2 * out + 1, c : c + 2 * out + 1] |= disc
    return near[out:-out, out:-out]


def save_scan(path, pixels: np.ndarray, *, dpi: float | tuple[float, float] | None = 300.0, quality: int | None = None):
    """Write the scan as the ending of `path` says; `quality` for JPEG. Returns the path."""
    options = {} if dpi is None else {"dpi": dpi if isinstance(dpi, tuple) else (dpi, dpi)}
    if str(path).endswith(".png"):
        options["compress_level"] = 1  # quick to write
    if quality is not None:
        options["quality"] = quality
    Image.fromarray(pixels).save(path, **options)
    return path
