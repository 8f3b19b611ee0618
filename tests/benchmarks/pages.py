"""How near readings come that go across several pages and photos, and how often their intervals hold the truth: invented photos, truth known.

Three printed A4 pages side by side on a table, each 2 to 8 mm over the one before, turned by up to 3°; one bent piece with legs of 110
to 260 mm across at least two of them, its ends and bend up to some 0.3 mm off the pages; two photos of 2400 × 1860 pixels (5 to 6 pixels a
millimetre) from 300 to 320 mm above, up to 10° from the upright, that share the middle page, and a third of all pages from twice as far
(3000 × 1500); lens 24 to 28 mm as on film (not told) with distortion −0.05 to 0.05. All pages are printed 0.2 % too large or too small (one
standard deviation, each direction), each by itself another 0.03 %, and fed unevenly: rows lie up to some 0.03 mm aside, in waves of 80 to
300 mm. The pages are the kit's own PDF, drawn by pdftoppm; the renderer (tests/invented/laid_pages.py) shares no code with the kit. Then
spoilt tables: a page pushed between the first photo and the others, a page that bulges, and one that is printed smaller: each must be
refused, or hold the truth in its intervals.

    python tests/benchmarks/pages.py [tables, 60] [first seed, 0] [spoilt tables of each kind, 8]
    python tests/benchmarks/pages.py speed
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
from PIL import Image

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from bendcal.fiducials import SIDE_MM, reference_page  # noqa: E402
from bendcal.printing import table_pages_pdf  # noqa: E402
from bendcal.scan import NotAScan, ScanReading, read_photos  # noqa: E402
from bendcal.scan.photos import laid_photos  # noqa: E402
from tests.benchmarks.scan import QUANTITIES, misses  # noqa: E402
from tests.invented.laid_pages import LaidPaper, table_photo  # noqa: E402
from tests.invented.photo import PhotoCamera  # noqa: E402
from tests.invented.scan import ScannedPiece  # noqa: E402

A4_MM = (210.0, 297.0)
SPOILT = ("pushed", "bulging", "smaller")


def drawn_pages(folder: Path) -> list[np.ndarray]:
    """Pages 1 to 3 as they are printed, as (rows, columns) from 0 to 1."""
    (folder / "pages.pdf").write_bytes(table_pages_pdf("a4", [1, 2, 3]))
    subprocess.run(["pdftoppm", "-r", "254", "-gray", "-png", str(folder / "pages.pdf"), str(folder / "page")], check=True)
    return [np.asarray(Image.open(folder / f"page-{k}.png").convert("L"), float) / 255 for k in (1, 2, 3)]


def table(rng: np.random.Generator, printed: list[np.ndarray]) -> list[LaidPaper]:
    """Three pages as a careful person lays them."""
    common, x, papers = 1 + 0.002 * rng.normal(size=2), 0.0, []
    for k, page in enumerate(printed):
        stretch = tuple(float(v) for v in common * (1 + 0.0003 * rng.normal(size=2)))
        laid = (x, float(rng.uniform(-6, 6)) if k else 0.0), float(rng.uniform(-2, 2)) if k else 0.0
        fed = float(rng.normal(0, 0.03)), float(rng.uniform(80, 300)), float(rng.uniform(0, 2 * np.pi))
        papers.append(LaidPaper(page, A4_MM, *laid, stretch, uneven=fed))
        x += 210.0 - float(rng.uniform(4, 8))
    return papers


def fits(piece: ScannedPiece, papers: list[LaidPaper]) -> bool:
    """Whether a piece lies on white paper, between marks and words, with 4 mm to spare."""
    walk = piece.walk(1.0)[0]
    room = 4.0 + piece.od_mm / 2
    on = np.zeros(len(walk), bool)
    for k, paper in enumerate(papers):
        page = reference_page("a4", k + 1)
        own = np.stack(paper.own(walk[:, 0], walk[:, 1]), axis=1)
        sides = (room if k == 0 else 0.0, A4_MM[0] - (room if k == len(papers) - 1 else 0.0))
        on |= (own[:, 0] > sides[0]) & (own[:, 0] < sides[1]) & (own[:, 1] > room) & (own[:, 1] < A4_MM[1] - room)
        for left, top, right, bottom in [*page.words_mm, *((x, y, x + SIDE_MM, y + SIDE_MM) for x, y in page.marks_mm.values())]:
            if ((own > (left - room, top - room)) & (own < (right + room, bottom + room))).all(axis=1).any():
                return False
    return bool(on.all())


def laid_piece(rng: np.random.Generator, papers: list[LaidPaper]) -> ScannedPiece:
    """A piece across at least two pages."""
    while True:
        od = float(rng.choice([4.76, 6.0, 8.0]))
        angle, radius = float(rng.uniform(20, 100)), float(rng.uniform(2.5, 4.0) * od)
        legs = rng.uniform(110, 260, 2)
        piece = ScannedPiece(
            angle_deg=angle, radius_mm=radius, leg_a_mm=float(legs[0]), leg_b_mm=float(legs[1]), od_mm=od, turned_deg=float(rng.uniform(0, 360)),
            mirrored=bool(rng.integers(2)), mark_mm=float(rng.uniform(0.3, 0.8) * (legs[0] - radius * np.tan(np.radians(angle) / 2))),
            flattening=float(rng.uniform(0, 0.04)), finish=str(rng.choice(["bright", "dull", "copper", "plated"])), standing_mm=tuple(float(v) for v in np.maximum(0, rng.normal(0, 0.15, 3))),
            at_mm=(float(rng.uniform(60, 560)), float(rng.uniform(40, 250))), true_od_mm=od * float(1 + rng.normal(0, 0.005)),
            uneven_arc=float(rng.normal(0, 0.02)), uneven_middle=float(rng.normal(0, 0.01)), eased=float(rng.uniform(0, 0.5)), bow_mm=float(rng.normal(0, 0.03)),
        )  # fmt: skip
        if np.ptp(piece.walk(1.0)[0][:, 0]) > 215 and fits(piece, papers):
            return piece


def cameras(rng: np.random.Generator) -> list[PhotoCamera]:
    """Two photos by one lens, and one of all pages from further away."""
    film, barrel, shots = float(rng.uniform(24, 28)), float(rng.uniform(-0.05, 0.05)), []
    for middle in (180.0, 435.0):
        height, lean, way = rng.uniform(300, 320) * film / 26, np.radians(rng.uniform(0, 10)), rng.uniform(0, 2 * np.pi)
        at = np.array([middle, 150.0]) + height * np.tan(lean) * np.array([np.cos(way), np.sin(way)])
        shots.append(PhotoCamera(
            size_px=(2400, 1860), film_mm=film, at_mm=(float(at[0]), float(at[1]), float(height)), towards_mm=(middle + float(rng.normal(0, 4)), 149.0 + float(rng.normal(0, 3))),
            roll_deg=float(rng.normal(0, 1)), barrel=barrel, blur_px=float(rng.uniform(0.6, 1.1)), noise=float(rng.uniform(0.003, 0.015)),
            shadow=float(rng.uniform(0.1, 0.4)), uneven=float(rng.uniform(-0.2, 0.2)),
        ))  # fmt: skip
    far = replace(
        shots[0], size_px=(3000, 1500), at_mm=(float(rng.normal(307, 20)), float(rng.normal(150, 20)), float(rng.uniform(630, 680) * film / 26)),
        towards_mm=(float(rng.normal(307, 5)), 149.0), roll_deg=float(rng.normal(0, 1)),
    )  # fmt: skip
    return [*shots, far]


def spoilt(kind: str, papers: list[LaidPaper], rng: np.random.Generator) -> list[list[LaidPaper]]:
    """The table as the first photo finds it, and as those after it do."""
    k = int(rng.integers(3))
    if kind == "pushed":
        x, y = papers[1].at_mm
        way = rng.uniform(0, 2 * np.pi)
        far = rng.uniform(1, 4)
        return [papers, [papers[0], replace(papers[1], at_mm=(x + far * float(np.cos(way)), y + far * float(np.sin(way))), turned_deg=papers[1].turned_deg + float(rng.normal(0, 0.5))), papers[2]]]
    change = {"bulge_mm": float(rng.uniform(4, 15))} if kind == "bulging" else {"stretch": tuple(float(v * rng.uniform(0.95, 0.99)) for v in papers[k].stretch)}
    return [[replace(p, **change) if j == k else p for j, p in enumerate(papers)]] * 2


def across(read: ScanReading, piece: ScannedPiece) -> tuple[float, float]:
    """Error and standard uncertainty of the straight distance between both ends."""
    turn, a, b = np.radians(read.angle.value), read.leg_a.value, read.leg_b.value
    span = np.sqrt(a * a + b * b + 2 * a * b * np.cos(turn))
    by = np.array([np.radians(-a * b * np.sin(turn)), 0.0, a + b * np.cos(turn), b + a * np.cos(turn)]) / span
    ends = piece.walk()[0][[0, -1]]
    return float(span - np.linalg.norm(ends[1] - ends[0])), float(np.sqrt(by @ read.covariance @ by))


def one(folder: Path, printed: list[np.ndarray], seed: int, kind: str = "") -> tuple[dict[str, tuple[float, float]], str]:
    """Errors and uncertainties of one table, or why nothing was read."""
    rng = np.random.default_rng([21, seed, len(kind)])
    papers = table(rng, printed)
    piece = laid_piece(rng, papers)
    before, after = spoilt(kind, papers, rng) if kind else [papers] * 2
    files = []
    for k, camera in enumerate(cameras(rng)):
        files.append(folder / f"{k}.jpg")
        Image.fromarray(table_photo([piece], camera, after if k else before, rng)).save(files[-1], quality=int(rng.integers(85, 96)))
    try:
        (readings,) = read_photos(files, od_mm=piece.od_mm)
    except NotAScan as error:
        return {}, str(error)
    if len(readings.read) != 1:
        return {}, f"{piece.finish}: {' '.join(readings.refused)}"
    return misses(readings.read[0], piece) | {"across": across(readings.read[0], piece)}, ""


def speed(folder: Path, printed: list[np.ndarray]) -> None:
    """How long three photos of 12 megapixels take (processor time), against opening them."""
    rng = np.random.default_rng(5)
    papers = table(rng, printed)
    piece = laid_piece(rng, papers)
    files = []
    for k, middle in enumerate((170.0, 310.0, 450.0)):
        camera = PhotoCamera(size_px=(4000, 3000), at_mm=(middle, 160.0, 410.0), towards_mm=(middle, 150.0), barrel=-0.02)
        files.append(folder / f"{k}.jpg")
        Image.fromarray(table_photo([piece], camera, papers, rng)).save(files[-1], quality=92)
    best = {"opened": np.inf, "joined": np.inf, "joined and read": np.inf}
    for _ in range(3):
        for what, job in (
            ("opened", lambda: [np.asarray(Image.open(f).convert("RGB")) for f in files]), ("joined", lambda: laid_photos(files, od_mm=piece.od_mm, unmoved=True)),
            ("joined and read", lambda: read_photos(files, od_mm=piece.od_mm, unmoved=True)),
        ):  # fmt: skip
            start = time.process_time()
            job()
            best[what] = min(best[what], time.process_time() - start)
    print(", ".join(f"{what} {t:.2f} s ({t / best['opened']:.1f} ×)" for what, t in best.items()))


def main() -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        printed = drawn_pages(folder)
        if sys.argv[1:] == ["speed"]:
            speed(folder, printed)
            return
        told = [int(a) for a in sys.argv[1:4]]
        count, first, bad = told + [60, 0, 8][len(told) :]
        rows, refused = [], []
        for seed in range(first, first + count):
            errors, why = one(folder, printed, seed)
            rows += [(q, seed, e, u) for q, (e, u) in errors.items()]
            refused += [f"{seed}: {why}"] if why else []
        print(f"{count} tables, {len(refused)} refused; per cent of the truths within the 95 % interval (chance: ± {100 * np.sqrt(0.0475 / max(count, 1)):.1f})")
        for q in (*QUANTITIES, "across") if rows else ():
            part = np.array([(e, u) for n, _, e, u in rows if n == q])
            z = part[:, 0] / part[:, 1]
            print(
                f"{q:>8}: held {100 * np.mean(np.abs(z) < 1.96):5.1f}, error 95 % {np.quantile(np.abs(part[:, 0]), 0.95):.3f}, mean {part[:, 0].mean():+.3f}, "
                f"median u {np.median(part[:, 1]):.3f}, z sd {z.std():.2f}, worst {np.abs(z).max():.1f} (seed {[k for n, k, _, _ in rows if n == q][int(np.argmax(np.abs(z)))]})"
            )
        print("\n".join(refused))
        for kind in SPOILT:
            outcomes = [one(folder, printed, seed, kind) for seed in range(first, first + bad)]
            wrong = [seed for seed, (errors, _) in enumerate(outcomes, first) if any(abs(e) > 4 * u for e, u in errors.values())]
            read = [errors for errors, _ in outcomes if errors]
            held = [abs(e) < 1.96 * u for errors in read for e, u in errors.values()]
            print(f"{kind}: {bad} tables, {bad - len(read)} refused, {len(read)} read ({100 * np.mean(held) if held else 0:.0f} % within), wrongly: {wrong}")
            print("\n".join(f"   {why[:150]}" for _, why in outcomes if why))


if __name__ == "__main__":
    main()
