"""How near readings from a photo come, and how often their intervals hold the truth: invented photos, truth known.

One piece on a printed A4 reference page, a camera of 2400 × 3200 pixels 270 to 330 mm above it (1500 to 1900 pixels across the page), up to
20° from the upright, lens 24 to 28 mm as on film with distortion −0.06 to 0.06, noise, blur, shadow, JPEG; the page printed 0.2 % too
large or too small (one standard deviation, each direction). The page is the kit's own PDF, drawn by pdftoppm; the renderer
(tests/invented/photo.py) shares no code with the kit.

    python tests/benchmarks/photo.py [photos, 60] [first seed, 0]
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
from PIL import Image
from scipy import ndimage

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from bendcal.printing import PAPERS_MM, reference_page_pdf  # noqa: E402
from bendcal.scan import NotAScan, read_photo  # noqa: E402
from tests.benchmarks.scan import QUANTITIES, draw, misses  # noqa: E402
from tests.invented.photo import PhotoCamera, photo_of  # noqa: E402
from tests.invented.scan import ScannedPiece  # noqa: E402

__all__ = ["drawn_page", "photograph", "shot", "stretched"]


def drawn_page(folder: Path, paper: str = "a4", dpi: int = 254) -> np.ndarray:
    """The printed reference page as (rows, columns) from 0 to 1."""
    (folder / "page.pdf").write_bytes(reference_page_pdf(paper))
    subprocess.run(["pdftoppm", "-r", str(dpi), "-gray", "-png", "-singlefile", str(folder / "page.pdf"), str(folder / "page")], check=True)
    return np.asarray(Image.open(folder / "page.png").convert("L"), float) / 255


def stretched(page: np.ndarray, across: float, down: float) -> np.ndarray:
    """The page as a printer makes it that stretches by these factors, cut to the paper's size."""
    y, x = np.mgrid[0 : page.shape[0], 0 : page.shape[1]]
    return ndimage.map_coordinates(page, [(y + 0.5) / down - 0.5, (x + 0.5) / across - 0.5], order=1, mode="nearest")


def shot(rng: np.random.Generator) -> tuple[ScannedPiece, PhotoCamera]:
    """A piece inside the frame, and a camera above it."""
    while True:
        piece = replace(draw(rng).piece, at_mm=(0.0, 0.0))
        xy = piece.walk(0.5)[0]
        low, high = xy.min(axis=0), xy.max(axis=0)
        room = np.array([142.0, 217.0]) - (high - low) - 20
        if (room > 0).all() and piece.finish != "black":
            break
    piece = replace(piece, at_mm=tuple(float(v) for v in np.array([34.0, 34.0]) + 10 - low + room * rng.random(2)))
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
    Image.fromarray(photo_of(pieces, camera, page, PAPERS_MM[paper], rng, fine=1)).save(path, quality=int(rng.integers(80, 96)))
    return path


def main() -> None:
    """Print the table."""
    told = [int(a) for a in sys.argv[1:3]]
    photos, seed = told + [60, 0][len(told) :]
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
