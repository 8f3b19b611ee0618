"""How near readings from a photo come, and how often their intervals hold the truth: invented photos, truth known.

One piece on a printed A4 reference page, a camera of 2400 × 3200 pixels 270 to 330 mm above it (1400 to 1950 pixels across the page), up to
20° from the upright, ends and bend up to some 0.3 mm off the page; lens 24 to 28 mm as on film with distortion −0.06 to 0.06, noise, blur, shadow, JPEG; the page printed 0.2 % too
large or too small (one standard deviation, each direction). The page is the kit's own PDF, drawn by pdftoppm; the renderer
(tests/invented/photo.py) shares no code with the kit. Then spoilt photos, of 1250 to 1750 pixels across the page: each must be refused, or
hold the truth in its intervals.

    python tests/benchmarks/photo.py [photos, 60] [first seed, 0] [spoilt photos of each kind, 4]
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from PIL import Image

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from bendcal.printing import PAPERS_MM, reference_page_pdf  # noqa: E402
from bendcal.scan import NotAScan, read_photo  # noqa: E402
from tests.benchmarks.scan import QUANTITIES, draw, misses  # noqa: E402
from tests.invented.photo import PhotoCamera, photo_of  # noqa: E402
from tests.invented.scan import ScannedPiece  # noqa: E402

__all__ = ["SPOILT", "Photo", "drawn_page", "photograph", "read_spoilt", "shot", "spoil", "stretched"]


def drawn_page(folder: Path, paper: str = "a4", dpi: int = 254) -> np.ndarray:
    """The printed reference page as (rows, columns) from 0 to 1."""
    (folder / "page.pdf").write_bytes(reference_page_pdf(paper))
    subprocess.run(["pdftoppm", "-r", str(dpi), "-gray", "-png", "-singlefile", str(folder / "page.pdf"), str(folder / "page")], check=True)
    return np.asarray(Image.open(folder / "page.png").convert("L"), np.float32) / 255


def stretched(page: np.ndarray, across: float, down: float) -> np.ndarray:
    """The page as a printer makes it that stretches by these factors, cut to the paper's size."""
    for axis, factor in enumerate((down, across)):
        at = np.clip((np.arange(page.shape[axis]) + 0.5) / factor - 0.5, 0, page.shape[axis] - 1)
        before = np.minimum(at.astype(int), page.shape[axis] - 2)
        share = np.expand_dims(at - before, 1 - axis).astype(np.float32)
        page = np.take(page, before, axis) * (1 - share) + np.take(page, before + 1, axis) * share
    return page


def shot(rng: np.random.Generator) -> tuple[ScannedPiece, PhotoCamera]:
    """A piece inside the frame, and a camera above it."""
    while True:
        piece = replace(draw(rng).piece, at_mm=(0.0, 0.0))
        xy = piece.walk(0.5)[0]
        low, high = xy.min(axis=0), xy.max(axis=0)
        room = np.array([142.0, 217.0]) - (high - low) - 20
        if (room > 0).all() and piece.finish != "black":
            break
    # Ends and bend stand a little off the page, as burrs and ripples make them; drawn aside, so that a seed's other draws stay what they were.
    piece = replace(
        piece, standing_mm=tuple(float(v) for v in np.maximum(0, rng.spawn(1)[0].normal(0, 0.15, 3))), at_mm=tuple(float(v) for v in np.array([34.0, 34.0]) + 10 - low + room * rng.random(2))
    )
    height, lean, way = rng.uniform(270, 330), np.radians(rng.uniform(0, 20)), rng.uniform(0, 2 * np.pi)
    middle = np.array([105.0, 146.0])
    at = middle + height * np.tan(lean) * np.array([np.cos(way), np.sin(way)])
    camera = PhotoCamera(
        size_px=(2400, 3200), film_mm=float(rng.uniform(24, 28)), at_mm=(*(float(v) for v in at), float(height)),
        towards_mm=tuple(float(v) for v in middle + rng.normal(0, 4, 2)), roll_deg=float(rng.normal(0, 3)), barrel=float(rng.uniform(-0.06, 0.06)),
        blur_px=float(rng.uniform(0.6, 1.2)), noise=float(rng.uniform(0.003, 0.02)), shadow=float(rng.uniform(0.1, 0.4)), uneven=float(rng.uniform(-0.2, 0.2)),
    )  # fmt: skip
    return piece, camera


def photograph(pieces, camera: PhotoCamera, page: np.ndarray, path: Path, rng: np.random.Generator, paper: str = "a4") -> Path:
    """The photo's file."""
    Image.fromarray(photo_of(pieces, camera, page, PAPERS_MM[paper], rng)).save(path, quality=int(rng.integers(80, 96)))
    return path


@dataclass(frozen=True)
class Photo:
    """One photo: its pieces (the first one is asked for), camera, how its page is printed and covered, how it is saved and cut, what is told."""

    piece: ScannedPiece
    camera: PhotoCamera
    others: tuple[ScannedPiece, ...] = ()
    printed: float = 1.0
    covered: tuple[tuple[float, float, float], ...] = ()  # x, y, radius [mm] of what lies on the page and hides it
    dirt: int = 0
    quality: int = 88
    keep: tuple[float, float, float, float] = (0.0, 0.0, 1.0, 1.0)  # left, top, right, bottom of the picture that is kept, as shares
    told: tuple[tuple[str, object], ...] = ()


def _beside(piece: ScannedPiece, far_mm: float, rng) -> ScannedPiece:
    way = rng.uniform(0, 2 * np.pi)
    return replace(piece, at_mm=(piece.at_mm[0] + far_mm * np.cos(way), piece.at_mm[1] + far_mm * np.sin(way)))


def _on_tube(piece: ScannedPiece, rng) -> np.ndarray:
    xy = piece.walk(0.5)[0]
    return xy[rng.integers(len(xy))]


def _leaning(camera: PhotoCamera, lean_deg: float, rng) -> PhotoCamera:
    """The camera moved aside, as far from the middle of the page as before."""
    way, far = rng.uniform(0, 2 * np.pi), 1.15 * camera.at_mm[2]
    x, y = (105.0, 146.0) + far * np.sin(np.radians(lean_deg)) * np.array([np.cos(way), np.sin(way)])
    return replace(camera, at_mm=(float(x), float(y), float(far * np.cos(np.radians(lean_deg)))))


def _lit(photo: Photo, **light) -> Photo:
    return replace(photo, camera=replace(photo.camera, **light))


def _bent(photo: Photo, **piece) -> Photo:
    return replace(photo, piece=replace(photo.piece, **piece))


def _half_outside(photo: Photo, rng) -> Photo:
    xy = photo.piece.walk(0.5)[0]
    aside = 34.0 - float(np.quantile(xy[:, 0], rng.uniform(0.1, 0.6)))
    return _bent(photo, at_mm=(photo.piece.at_mm[0] + aside, photo.piece.at_mm[1]))


def _lifted(photo: Photo, rng, low_mm: float = 5.0, high_mm: float = 12.0) -> Photo:
    setback = photo.piece.radius_mm * np.tan(np.radians(photo.piece.angle_deg) / 2)
    return _bent(photo, tilt_deg=float(np.degrees(np.arcsin(min(0.5, rng.uniform(low_mm, high_mm) / (photo.piece.leg_b_mm - setback))))))


SPOILT: dict[str, Callable[[Photo, np.random.Generator], Photo]] = {
    "page curled": lambda p, rng: _lit(p, curl_mm=float(rng.uniform(2, 20))),
    "marks covered": lambda p, rng: replace(p, covered=tuple((*mm, 12.0) for mm in rng.choice([(21, 21), (105, 21), (189, 21), (189, 143), (189, 264), (105, 264), (21, 264), (21, 143)], rng.integers(1, 4), replace=False))),
    "page cut off": lambda p, rng: replace(p, keep=tuple(np.where(rng.random(4) < 0.4, rng.uniform(0.05, 0.3, 4), 0.0) * (1, 1, -1, -1) + (0, 0, 1, 1))),
    "aslant": lambda p, rng: replace(p, camera=_leaning(p.camera, float(rng.uniform(24, 45)), rng)),
    "moved": lambda p, rng: _lit(p, motion_px=tuple(float(v) for v in rng.normal(0, 4, 2))),
    "glare": lambda p, rng: _lit(p, glare=tuple((*_on_tube(p.piece, rng), float(rng.uniform(2, 8))) for _ in range(rng.integers(1, 4)))),
    "a lamp's spot": lambda p, rng: _lit(p, hot=(*_on_tube(p.piece, rng), float(rng.uniform(15, 50)), float(rng.uniform(0.3, 1.5)))),
    "a hard shadow": lambda p, rng: _lit(p, shadow=float(rng.uniform(0.5, 0.85)), soft=float(rng.uniform(0.02, 0.1))),
    "JPEG of quality 20": lambda p, rng: replace(p, quality=int(rng.integers(8, 25))),
    "another line told": lambda p, rng: replace(p, told=(("line_mm", 100 * float(rng.choice([0.9, 0.94, 1.06, 1.1]))),)),
    "half outside of the frame": _half_outside,
    "two pieces that touch": lambda p, rng: replace(p, others=(_beside(p.piece, p.piece.od_mm * float(rng.uniform(0.7, 1.1)), rng),)),
    "a leg lifted": _lifted,
    "a leg lifted a little": lambda p, rng: _lifted(p, rng, 0.5, 5.0),
    "a slight second bend": lambda p, rng: _bent(p, second_bend_deg=float(rng.uniform(2, 10))),
    "dirt": lambda p, rng: replace(p, dirt=int(rng.integers(20, 300))),
    "another diameter told": lambda p, rng: replace(p, told=(("od_mm", p.piece.od_mm * float(rng.choice([0.75, 0.84, 1.2, 1.33]))),)),
}


def spoil(rng: np.random.Generator, how: str, size_px: tuple[int, int] = (2140, 2850)) -> Photo:
    """A careful photo, spoilt."""
    piece, camera = shot(rng)
    return SPOILT[how](Photo(piece, replace(camera, size_px=size_px), printed=float(1 + 0.002 * rng.normal())), rng)


def read_spoilt(photo: Photo, page: np.ndarray, path: Path, rng: np.random.Generator) -> tuple:
    """What is read from a spoilt photo."""
    paper = stretched(page, photo.printed, photo.printed)
    y, x = np.ogrid[0 : page.shape[0], 0 : page.shape[1]]
    y, x = y * (210.0 / page.shape[1]), x * (210.0 / page.shape[1])
    for cx, cy, r in photo.covered:
        paper = np.where(np.hypot(x - cx, y - cy) < r, 0.35, paper)
    for _ in range(photo.dirt):
        at, size = rng.uniform((30, 30), (180, 255)), rng.uniform(0.2, 1.2)
        part = np.s_[max(0, int((at[1] - size) * page.shape[0] / 297)) : int((at[1] + size) * page.shape[0] / 297), max(0, int((at[0] - size) * page.shape[1] / 210)) : int((at[0] + size) * page.shape[1] / 210)]
        paper[part] = np.where(np.hypot(x[:, part[1]] - at[0], y[part[0]] - at[1]) < size, paper[part] * rng.uniform(0.2, 0.9), paper[part])
    pixels = photo_of([photo.piece, *photo.others], photo.camera, paper, PAPERS_MM["a4"], rng)
    left, top, right, bottom = (np.array(photo.keep) * np.tile(pixels.shape[1::-1], 2)).astype(int)
    Image.fromarray(pixels[top:bottom, left:right]).save(path, quality=photo.quality)
    try:
        return read_photo(path, **{"od_mm": photo.piece.od_mm, **dict(photo.told)}).read
    except NotAScan:
        return ()


def spoilt_ones(each: int, seed: int, page: np.ndarray, folder: Path) -> None:
    """Print the table of spoilt photos."""
    print("\nSpoilt photos: read rightly (all within 4 u), refused, read wrongly; of the numbers read, per cent within their 95 %")
    total, within = np.zeros(3, int), []
    for how in SPOILT:
        counts, wrong = np.zeros(3, int), []
        for k in range(seed, seed + each):
            rng = np.random.default_rng([10, k, len(how)])
            photo = spoil(rng, how)
            ratios = [{q: round(e / u, 1) for q, (e, u) in misses(p, photo.piece).items()} for p in read_spoilt(photo, page, folder / "photo.jpg", rng)]
            within += [abs(z) < 1.96 for r in ratios for z in r.values()]
            far = [{q: z for q, z in r.items() if abs(z) > 4} for r in ratios]
            outcome = 1 if not ratios else 2 if any(far) else 0
            counts[outcome] += 1
            if outcome == 2:
                wrong.append((k, far))
        print(f"{how:>28}{counts[0]:>5}{counts[1]:>5}{counts[2]:>5}  {wrong or ''}", flush=True)
        total += counts
    held = f"{100 * np.mean(within):.1f} %" if within else ""
    print(f"{'together':>28}{total[0]:>5}{total[1]:>5}{total[2]:>5}  {held}")


def main() -> None:
    """Print the table."""
    given = [int(a) for a in sys.argv[1:4]]
    photos, seed, each = given + [60, 0, 4][len(given) :]
    rows, refused = [], []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        page = drawn_page(folder)
        for k in range(seed, seed + photos):
            rng = np.random.default_rng([9, k])
            piece, camera = shot(rng)
            printed = stretched(page, *(1 + 0.002 * rng.normal(size=2)))
            path = photograph([piece], camera, printed, folder / "photo.jpg", rng)
            try:
                found = read_photo(path, od_mm=piece.od_mm)
            except NotAScan as error:
                refused.append(f"{k}: {error}")
                continue
            if len(found.read) != 1:
                refused.append(f"{k} {piece.finish}: {' '.join(found.refused)}")
                continue
            rows += [(q, k, e, u) for q, (e, u) in misses(found.read[0], piece).items()]
    if rows:
        careful_ones(photos, rows, refused)
    if each:
        with tempfile.TemporaryDirectory() as name:
            spoilt_ones(each, seed, drawn_page(Path(name)), Path(name))


def careful_ones(photos: int, rows: list[tuple[str, int, float, float]], refused: list[str]) -> None:
    """Print the table of careful photos."""
    print(f"{photos} photos, {len(refused)} refused; per cent of the truths within the 95 % interval (chance: ± {100 * np.sqrt(0.0475 / photos):.1f})")
    for q in QUANTITIES:
        part = np.array([(e, u) for n, _, e, u in rows if n == q])
        z = part[:, 0] / part[:, 1]
        print(
            f"{q:>8}: held {100 * np.mean(np.abs(z) < 1.96):5.1f}, error 95 % {np.quantile(np.abs(part[:, 0]), 0.95):.3f}, mean {part[:, 0].mean():+.3f}, "
            f"median u {np.median(part[:, 1]):.3f}, z sd {z.std():.2f}, worst {np.abs(z).max():.1f} (seed {[k for n, k, _, _ in rows if n == q][int(np.argmax(np.abs(z)))]})"
        )
    print("\n".join(refused))


if __name__ == "__main__":
    main()
