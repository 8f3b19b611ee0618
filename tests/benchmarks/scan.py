"""How near a scan's readings come, and how often their intervals hold the truth: invented scans, truth known.

Bends of 20 to 120° in tubes of 4.76 to 10 mm, bright, dull, copper, plated and black, on white, grey, blue and dark
paper, 300 dpi (one in four 200 or 600), PNG or JPEG, flattened by 0 to 4 %, with noise, blur, shadow and dust; the
scanner's true scale is drawn from what `bendcal.scan.scanner` says of a CIS scanner. The renderer (tests/invented/scan.py)
shares no code with the kit. Then spoilt scans: each must be refused, or hold the truth in its intervals.

    python tests/benchmarks/scan.py [scans, 320] [first seed, 0] [spoilt scans of each kind, 32] [scans of even bends, 0]
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from PIL import Image
from scipy import ndimage

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from bendcal.scan import NotAScan, ScanReading, read_scan  # noqa: E402
from tests.invented.scan import ScannedPiece, Scanner, save_scan, scan_of  # noqa: E402

__all__ = ["CLOSE_MM", "QUANTITIES", "SPOILT", "Case", "draw", "even", "misses", "render", "spoil", "truths"]

CLOSE_MM = 0.3  # a scan that tells a radius less closely, at 95 %, says so
QUANTITIES = ("angle", "radius", "leg_a", "leg_b", "mark")


@dataclass(frozen=True)
class Case:
    """One scan: its piece, scanner, size [mm], how it is saved, and what the reader is told."""

    piece: ScannedPiece
    scanner: Scanner
    size_mm: tuple[float, float]
    quality: int | None = None
    told: tuple[tuple[str, object], ...] = ()
    others: tuple[ScannedPiece, ...] = ()
    turn_up: bool = False


def draw(rng: np.random.Generator, *, dpi: float | None = None, backdrop: str | None = None) -> Case:
    """A scan as a careful person makes it."""
    od = float(rng.choice([4.76, 6.0, 6.35, 8.0, 10.0], p=[0.4, 0.2, 0.15, 0.15, 0.1]))
    angle = float(rng.uniform(20, 120))
    radius = float(rng.uniform(2.2, 4.5) * od)
    setback = radius * np.tan(np.radians(angle) / 2)
    legs = [float(setback + rng.uniform(max(3.0 * od, 22.0), 50.0)) for _ in range(2)]
    piece = ScannedPiece(
        angle_deg=angle, radius_mm=radius, leg_a_mm=legs[0], leg_b_mm=legs[1], od_mm=od, turned_deg=float(rng.uniform(0, 360)),
        mirrored=bool(rng.integers(2)), mark_mm=float(rng.uniform(0.35, 0.75) * (legs[0] - setback)) if rng.random() < 0.7 else None,
        mark_wide_mm=float(rng.uniform(0.4, 0.8)), flattening=float(rng.uniform(0, 0.04)), outside_share=float(rng.uniform(0.5, 1.0)),
        finish=str(rng.choice(["bright", "dull", "copper", "plated", "black"], p=[0.25, 0.25, 0.2, 0.2, 0.1])),
        saw_deg=tuple(float(v) for v in rng.normal(0, 1.5, 2)), bow_mm=float(rng.normal(0, 0.03)), uneven_arc=float(rng.normal(0, 0.02)),
        true_od_mm=od * float(1 + rng.normal(0, 0.005)), rough_mm=float(rng.uniform(0, 0.02)), mark_slant_deg=float(rng.normal(0, 2.0)),
    )  # fmt: skip
    # Drawn aside, so that a seed's other draws stay what they were.
    more = rng.spawn(1)[0]
    piece = replace(piece, eased=float(more.uniform(0, 0.5)), sets_in=float(more.uniform(0.5, 1.5)), burr_mm=float(more.uniform(0, 0.06)),
        uneven_middle=float(more.normal(0, 0.01)), grain=int(more.integers(2**31)))  # fmt: skip
    if backdrop is None:
        backdrop = str(rng.choice(["white", "grey", "blue", "dark"], p=[0.45, 0.2, 0.1, 0.25]))
    if piece.finish == "black" and backdrop == "dark":
        piece = replace(piece, finish="dull")
    scanner = Scanner(
        dpi=dpi or float(rng.choice([300, 200, 600], p=[0.75, 0.2, 0.05])), scale=tuple(float(v) for v in 1 + 0.001 * rng.normal(size=2)),
        blur_px=float(rng.uniform(0.5, 1.1)), noise=float(rng.uniform(0.003, 0.02)), backdrop=backdrop, uneven=float(rng.uniform(-0.06, 0.06)),
        shadow=float(rng.uniform(0, 0.3)) if backdrop != "dark" else 0.0, lamp_deg=float(rng.choice([90, 270])), dust=int(rng.integers(0, 8)),
    )  # fmt: skip
    quality = None if rng.random() < 0.5 else int(rng.integers(70, 96))
    return placed(Case(piece, scanner, (0, 0), quality))


def placed(case: Case, room_mm: float = 9.0) -> Case:
    """The case on a page just large enough for its piece."""
    xy = replace(case.piece, at_mm=(0.0, 0.0)).walk(0.5)[0]
    low, high = xy.min(axis=0) - room_mm, xy.max(axis=0) + room_mm
    return replace(case, piece=replace(case.piece, at_mm=tuple(float(v) for v in -low)), size_mm=tuple(float(v) for v in high - low))


def render(case: Case, folder: Path, rng: np.random.Generator, name: str = "scan") -> Path:
    """The case's file."""
    pixels = scan_of([case.piece, *case.others], case.scanner, case.size_mm, rng, fine=1)
    return save_scan(folder / f"{name}.{'png' if case.quality is None else 'jpg'}", pixels, dpi=case.scanner.dpi, quality=case.quality)


def truths(piece: ScannedPiece) -> dict[str, float | None]:
    """What the reader should find."""
    angle, first, second = piece.measured()
    return {"angle": angle, "radius": piece.radius_mm, "leg_a": first, "leg_b": second, "mark": piece.mark_mm}


def misses(read: ScanReading, piece: ScannedPiece) -> dict[str, tuple[float, float]]:
    """(error, standard uncertainty) of each quantity read; legs may be the other way round where no end is known to be A."""
    found = {q: getattr(read, q) for q in QUANTITIES}
    truth = truths(piece)
    if not read.end_a and abs(read.leg_a.value - truth["leg_a"]) + abs(read.leg_b.value - truth["leg_b"]) > abs(
        read.leg_a.value - truth["leg_b"]
    ) + abs(read.leg_b.value - truth["leg_a"]):
        truth["leg_a"], truth["leg_b"] = truth["leg_b"], truth["leg_a"]
    return {q: (e.value - truth[q], e.u) for q, e in found.items() if e is not None and truth[q] is not None}


# What a hurried person does. Each gives another case; some are refused, some may be read, none may be read wrongly.
def _glare(case: Case, rng) -> Case:
    xy = case.piece.walk(0.5)[0]
    spots = tuple((*(xy[rng.integers(len(xy))] + rng.normal(0, 1.5, 2)), float(rng.uniform(2, 9))) for _ in range(rng.integers(1, 4)))
    return replace(case, scanner=replace(case.scanner, glare=spots))


def _crossed(case: Case, rng) -> Case:
    other = replace(case.piece, turned_deg=case.piece.turned_deg + float(rng.uniform(20, 160)), at_mm=tuple(np.array(case.piece.at_mm) + rng.normal(0, 5, 2)))
    return replace(case, others=(other,))


def _alongside(case: Case, rng) -> Case:
    near = replace(case.piece, at_mm=tuple(np.array(case.piece.at_mm) + case.piece.od_mm * rng.uniform(0.5, 1.1) * _heading(rng)))
    return replace(case, others=(near,))


def _heading(rng) -> np.ndarray:
    turn = rng.uniform(0, 2 * np.pi)
    return np.array([np.cos(turn), np.sin(turn)])


def _cut_off(case: Case, rng) -> Case:
    keep = rng.uniform(0.6, 0.95, 2) if rng.random() < 0.5 else np.array([rng.uniform(0.6, 0.93), 1.0])
    return replace(case, size_mm=tuple(np.array(case.size_mm) * keep))


def _gap(case: Case, rng) -> Case:
    """A stretch that cannot be seen, with at least 4 mm of tube on either side: without them it is a shorter piece."""
    length = case.piece.walk()[4][-1]
    long = rng.uniform(2, 20)
    start = rng.uniform(4, max(length - long - 4, 5))
    return replace(case, piece=replace(case.piece, gap=(float(start), float(start + long))))


SPOILT = {
    "glare": _glare,
    "crossed": _crossed,
    "alongside": _alongside,
    "cut off by the border": _cut_off,
    "two bends": lambda c, rng: replace(c, piece=replace(c.piece, second_bend_deg=float(rng.uniform(3, 40)))),
    "a bowed leg": lambda c, rng: replace(c, piece=replace(c.piece, bow_mm=float(rng.uniform(0.3, 2.0)))),
    "a leg lifted": lambda c, rng: replace(c, piece=replace(c.piece, tilt_deg=float(rng.uniform(4, 20)))),
    "kinked": lambda c, rng: replace(c, piece=replace(c.piece, flattening=float(rng.uniform(0.15, 0.5)))),
    "another diameter": lambda c, rng: replace(c, told=(("od_mm", c.piece.od_mm * float(rng.choice([0.75, 0.84, 1.2, 1.33]))),)),
    "another dpi": lambda c, rng: replace(c, told=(("dpi", c.scanner.dpi * float(rng.choice([0.5, 0.667, 1.5, 2.0]))),)),
    "hardly told from the paper": lambda c, rng: replace(c, scanner=replace(c.scanner, noise=0.08, backdrop="grey"), piece=replace(c.piece, finish="bright")),
    "a stretch as light as the paper": _gap,
    "very blurred": lambda c, rng: replace(c, scanner=replace(c.scanner, blur_px=float(rng.uniform(4, 12)))),
    "upside-down light": lambda c, rng: replace(c, scanner=replace(c.scanner, shadow=0.7, uneven=0.3)),
    "JPEG as small as it gets": lambda c, rng: replace(c, quality=int(rng.integers(5, 25))),
    "nearly straight": lambda c, rng: placed(replace(c, piece=replace(c.piece, angle_deg=float(rng.uniform(0.5, 10))))),
}


def spoil(rng: np.random.Generator, how: str) -> Case:
    """A careful scan, spoilt."""
    return SPOILT[how](draw(rng, dpi=300.0 if how != "very blurred" else 200.0), rng)


def read(case: Case, path: Path) -> tuple[ScanReading, ...]:
    """What is read from the case's file."""
    told = {"od_mm": case.piece.od_mm, **dict(case.told)}
    return read_scan(path, **told).read


def even(case: Case) -> Case:
    """The same with a piece that is two straight legs and one arc of one radius, smooth and nowhere flattened."""
    piece = replace(case.piece, uneven_arc=0.0, uneven_middle=0.0, eased=0.0, flattening=0.0, rough_mm=0.0, bow_mm=0.0)
    return placed(replace(case, piece=piece))


def main() -> None:
    """Print all tables."""
    told = [int(a) for a in sys.argv[1:5]]
    scans, seed, spoilt, evens = told + [320, 0, 32, 0][len(told) :]
    _careful(scans, seed)
    if evens:
        print("\nTwo straight legs and one arc of one radius, 300 dpi:\n")
        _careful(evens, seed, dpi=300.0, made=even)
    with tempfile.TemporaryDirectory() as folder:
        speed(Path(folder))
        _all_spoilt(Path(folder), spoilt, seed)


def _careful(scans: int, seed: int, *, dpi: float | None = None, made: Callable[[Case], Case] = lambda case: case) -> None:
    rows: list[tuple[str, str, float, float, float, float]] = []
    refused: list[str] = []
    with tempfile.TemporaryDirectory() as folder:
        for k in range(scans):
            rng = np.random.default_rng([7, seed + k])
            case = made(draw(rng, dpi=dpi))
            path = render(case, Path(folder), rng)
            found = read_scan(path, od_mm=case.piece.od_mm)
            if not found.read:
                refused.append(f"{seed + k} {case.piece.finish} on {case.scanner.backdrop}, {case.piece.angle_deg:.0f}°: {' '.join(found.refused)}")
                continue
            for q, (error, u) in misses(found.read[0], case.piece).items():
                rows.append((q, case.scanner.backdrop, case.piece.angle_deg, case.scanner.dpi, error, u))
    print(f"{scans} scans, {len(refused)} refused; per cent of the truths within the 95 % interval (chance: ± {100 * np.sqrt(0.0475 / max(scans, 1)):.1f})\n")
    print(f"{'':>10}{'held':>8}{'error 95 %':>12}{'mean':>9}{'median u':>10}{'z sd':>7}{'light 300 dpi, bends over 45°: held, error 95 %':>52}{'dark: held, error 95 %':>26}")
    for q in QUANTITIES:
        part = np.array([(e, u) for n, _, _, _, e, u in rows if n == q])
        if not len(part):
            continue
        light = np.array([(e, u) for n, b, a, d, e, u in rows if n == q and b != "dark" and a > 45 and d == 300])
        dark = np.array([(e, u) for n, b, _, _, e, u in rows if n == q and b == "dark"])
        print(
            f"{q:>10}{_held(part):>8.1f}{_far(part):>12.3f}{part[:, 0].mean():>9.3f}{np.median(part[:, 1]):>10.3f}{(part[:, 0] / part[:, 1]).std():>7.2f}"
            f"{_held(light):>42.1f}{_far(light):>10.3f}{_held(dark):>16.1f}{_far(dark):>10.3f}"
        )
    close = np.array([(e, u) for n, _, _, d, e, u in rows if n == "radius" and d == 300])
    told = close[1.96 * close[:, 1] <= CLOSE_MM] if len(close) else close
    if len(told):
        print(f"radii at 300 dpi that are told to within {CLOSE_MM} mm: {len(told)} of {len(close)}; error at 95 % {_far(told):.3f}, at most {np.abs(told[:, 0]).max():.2f} mm")
    for line in refused:
        print("refused:", line)


def _all_spoilt(folder: Path, spoilt: int, seed: int) -> None:
    print("\nSpoilt scans: read rightly (all within 4 u), refused, read wrongly; of the numbers read, per cent within their 95 %")
    total, within = np.zeros(3, int), []
    for how in SPOILT:
        right, no, wrong = 0, 0, []
        for k in range(spoilt):
            rng = np.random.default_rng([8, seed + k, len(how)])
            case = spoil(rng, how)
            path = render(case, folder, rng)
            try:
                pieces = read(case, path)
            except NotAScan:
                pieces = ()
            ratios = [{q: round(e / u, 1) for q, (e, u) in misses(p, case.piece).items()} for p in pieces]
            within += [abs(z) < 1.96 for r in ratios for z in r.values()]
            far = [{q: z for q, z in r.items() if abs(z) > 4} for r in ratios]
            if not pieces:
                no += 1
            elif any(far):
                wrong.append((k, far))
            else:
                right += 1
        print(f"{how:>34}{right:>5}{no:>5}{len(wrong):>5}  {wrong or ''}", flush=True)
        total += (right, no, len(wrong))
    if within:
        print(f"{'together':>34}{total[0]:>5}{total[1]:>5}{total[2]:>5}  {100 * np.mean(within):.1f} %")


def speed(folder: Path) -> None:
    """Print how long an A4 page at 300 dpi with six pieces takes, beside opening it and blurring it once."""
    pieces = [
        ScannedPiece(angle_deg=30.0 + 15 * k, leg_a_mm=60, leg_b_mm=55, mark_mm=30, at_mm=(68.0 + 85 * (k % 2), 50.0 + 85 * (k // 2)), turned_deg=20.0)
        for k in range(6)
    ]
    path = save_scan(folder / "a4.png", scan_of(pieces, Scanner(), (210.0, 297.0), np.random.default_rng(0), fine=1))
    times = []
    for work in (lambda: ndimage.gaussian_filter(np.asarray(Image.open(path), np.float32), (1, 1, 0)), lambda: read_scan(path, od_mm=4.76)):
        work()
        begun = time.perf_counter()
        found = work()
        times.append(time.perf_counter() - begun)
    print(f"\nA4 at 300 dpi, {len(found.read)} of {len(pieces)} pieces read: {times[1] / times[0]:.1f} x the time of opening and blurring it ({times[0]:.2f} s)")


def _held(part: np.ndarray) -> float:
    return float(100 * np.mean(np.abs(part[:, 0]) < 1.96 * part[:, 1])) if len(part) else float("nan")


def _far(part: np.ndarray) -> float:
    return float(np.quantile(np.abs(part[:, 0]), 0.95)) if len(part) else float("nan")


if __name__ == "__main__":
    main()
