"""How near a flat line read from a picture comes, and how often its intervals hold the truth: invented scans or photos, truth known.

Lines of two to six bends of 15 to 110° to either side, radii 2.2 to 4.5 diameters, tubes of 4.76 to 10 mm and a wire of 2.5 mm, scanned
at 200 to 600 dpi as in scan.py (scale 0.1 % off, dust, noise, blur, shadow, bows of 0.03 mm, uneven arcs), or photographed on a
printed A4 page as in photo.py, every other end and bend up to some 1.4 mm off the page. The renderer (tests/invented) shares no code with the kit. Counted are legs, angles, radii, the straight
distance from end to end, and where end B comes to lie when the reading has gone through rows of a pattern, each row by itself. Then
spoilt pictures: each must be refused, or hold the truth.

    python tests/benchmarks/flat_pattern.py [scans, 160] [first seed, 0] [spoilt scans of each kind, 16] [photos, 0] [most minutes, 600] [spoilt photos of each kind, 0]
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from bendcal.legs import Legs  # noqa: E402
from bendcal.nodes import nodes_from_legs  # noqa: E402
from bendcal.pattern import Pattern, adjust_pattern  # noqa: E402
from bendcal.scan import NotAScan, PatternReading, read_flat_photos, read_flat_scan  # noqa: E402
from tests.benchmarks.photo import drawn_page, photograph, shot, stretched  # noqa: E402
from tests.benchmarks.scan import draw  # noqa: E402
from tests.invented.flat_line import ScannedLine, on_glass  # noqa: E402
from tests.invented.photo import PhotoCamera  # noqa: E402
from tests.invented.scan import ScannedPiece, Scanner, save_scan, scan_of  # noqa: E402

__all__ = ["SPOILT", "Case", "draw_line", "misses", "render", "spoil", "true_shape"]

QUANTITIES = ("angle", "leg", "radius", "span", "end along", "end across")


@dataclass(frozen=True)
class Case:
    """A line, its scanner, the glass [mm], how the file is saved, what the reader is told, and what else lies there."""

    line: ScannedLine
    scanner: Scanner
    size_mm: tuple[float, float]
    quality: int | None = None
    told: tuple[tuple[str, object], ...] = ()
    others: tuple[ScannedPiece, ...] = ()


def draw_line(rng: np.random.Generator, *, bends: int | None = None, most_mm: tuple[float, float] = (216.0, 297.0), careful: bool = True, **of_scan) -> Case:
    """A line that does not come near itself, as a careful person scans it."""
    like = draw(rng, **of_scan)
    od = like.piece.od_mm if rng.random() < 0.8 else 2.5
    dpi = like.scanner.dpi if od > 3 else max(like.scanner.dpi, 300.0)
    while True:
        n = bends or int(rng.integers(2, 7))
        turns = rng.uniform(15, 110, n) * rng.choice([-1, 1], n)
        radii = rng.uniform(2.2, 4.5, n) * od
        setback = radii * np.tan(np.radians(np.abs(turns)) / 2)
        straights = rng.uniform(np.full(n + 1, max(2.5 * od, 12.0)), 90.0)
        legs = straights + np.append(setback, 0) + np.append(0, setback)
        line = ScannedLine(
            od_mm=od, legs_mm=tuple(map(float, legs)), turns_deg=tuple(map(float, turns)), radii_mm=tuple(map(float, radii)), turned_deg=float(rng.uniform(0, 360)),
            mirrored=bool(rng.integers(2)), flattening=like.piece.flattening, outside_share=like.piece.outside_share, finish=like.piece.finish,
            saw_deg=like.piece.saw_deg, bows_mm=tuple(map(float, rng.normal(0, 0.03, n + 1))), uneven=tuple(map(float, rng.normal(0, 0.02, n))),
            true_od_mm=od * float(1 + rng.normal(0, 0.005)), rough_mm=like.piece.rough_mm,
        )  # fmt: skip
        line, size = on_glass(line)
        if min(size) <= min(most_mm) and max(size) <= max(most_mm) and not _near_itself(line):
            return Case(line, replace(like.scanner, dpi=dpi), size, like.quality)


def _near_itself(line: ScannedLine) -> bool:
    """Whether two parts of it that are far apart along it lie nearer than three diameters."""
    xy, _, _, _, s = line.walk(1.0)
    apart = np.linalg.norm(xy[:, None] - xy[None], axis=2)
    return bool((apart[np.abs(s[:, None] - s[None]) > 12 * line.od_mm] < 3.0 * line.od_mm).any())


def render(case: Case, folder: Path, rng: np.random.Generator) -> Path:
    """The case's file."""
    pixels = scan_of([case.line, *case.others], case.scanner, case.size_mm, rng, fine=1)
    return save_scan(folder / f"flat.{'png' if case.quality is None else 'jpg'}", pixels, dpi=case.scanner.dpi, quality=case.quality)


def true_shape(line: ScannedLine, turned: bool) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Legs [mm], angles [deg], twists [deg] and radii [mm] from one end, or from the other."""
    angles, legs = line.measured()
    sense, radii = np.sign(line.turns_deg), np.array(line.radii_mm)
    if turned:
        angles, legs, sense, radii = angles[::-1], legs[::-1], sense[::-1], radii[::-1]
    return legs, angles, np.append(0.0, np.where(sense[1:] == sense[:-1], 0.0, 180.0)), radii


def misses(read: PatternReading, line: ScannedLine) -> dict[str, list[tuple[float, float]]] | None:
    """(error, standard uncertainty) of all that is told, by quantity; None where even the bends are others than they are."""
    ends = line.walk()[0][[0, -1]]
    turned = bool(np.linalg.norm(read.ends_mm[0] - ends[0]) > np.linalg.norm(read.ends_mm[0] - ends[1]))
    legs, angles, twists, radii = true_shape(line, turned)
    if len(legs) != read.bends + 1 or not np.array_equal(twists, read.twist_deg):
        return None
    adjusted = adjust_pattern(Pattern(replace(read, end_a=read.end_a or "left").observations()))
    told, true = nodes_from_legs(adjusted.legs)[-1], nodes_from_legs(Legs(legs, angles, twists))[-1]
    n = read.bends
    numbers = np.concatenate([adjusted.legs.leg_mm, adjusted.legs.angle_deg])
    by = np.stack([(_end(numbers + h, twists) - _end(numbers - h, twists)) / 2e-4 for h in np.diag(np.full(2 * n + 1, 1e-4))], axis=1)
    u = np.sqrt(np.diag(by @ adjusted.covariance[: 2 * n + 1, : 2 * n + 1] @ by.T))
    out = {"angle": list(zip(read.angle.value - angles, read.angle.u, strict=True)), "leg": list(zip(read.leg.value - legs, read.leg.u, strict=True))}
    out["radius"] = list(zip(read.radius.value - radii, read.radius.u, strict=True))
    out["span"] = [(float(read.span.value - np.linalg.norm(true)), read.span.u)]
    return out | {"end along": [(float((told - true)[0]), float(u[0]))], "end across": [(float((told - true)[1]), float(u[1]))]}


def _span_miss(read: PatternReading, line: ScannedLine) -> tuple[float, float]:
    ends = line.walk()[0][[0, -1]]
    return float(read.span.value - np.linalg.norm(ends[1] - ends[0])), read.span.u


def _end(numbers: np.ndarray, twists: np.ndarray) -> np.ndarray:
    n = len(twists)
    return nodes_from_legs(Legs(numbers[: n + 1], numbers[n + 1 :], twists))[-1, :2]


# What a hurried person does.
def _changed(**line) -> Callable[[Case, np.random.Generator], Case]:
    return lambda case, rng: replace(case, line=replace(case.line, **{name: value(case, rng) for name, value in line.items()}))


def _fitted(case: Case) -> Case:
    line, size = on_glass(case.line)
    return replace(case, line=line, size_mm=size)


def _spots(case: Case, rng) -> Case:
    xy = case.line.walk(0.5)[0]
    spots = tuple((*(xy[rng.integers(len(xy))] + rng.normal(0, 1.5, 2)), float(rng.uniform(2, 9))) for _ in range(rng.integers(1, 5)))
    return replace(case, scanner=replace(case.scanner, glare=spots))


def _gap(case: Case, rng) -> Case:
    length, long = case.line.walk(1.0)[4][-1], rng.uniform(2, 25)
    start = rng.uniform(4, length - long - 4)
    return replace(case, line=replace(case.line, gap=(float(start), float(start + long))))


def _crossing(case: Case, rng) -> Case:
    """A line that goes round and over its own first leg."""
    side, od = float(rng.choice([-1, 1])), case.line.od_mm
    legs = (80.0 + 6 * od, 70.0 + 6 * od, 60.0 + 6 * od, 90.0 + 6 * od)
    line = replace(case.line, legs_mm=legs, turns_deg=(95 * side, 95 * side, 95 * side), radii_mm=(3 * od,) * 3, bows_mm=(), uneven=())
    return _fitted(replace(case, line=line))


def _other_piece(case: Case, rng) -> Case:
    other = ScannedPiece(od_mm=case.line.od_mm, finish=case.line.finish, leg_a_mm=30 + 3 * case.line.od_mm, leg_b_mm=25 + 3 * case.line.od_mm, radius_mm=3 * case.line.od_mm,
                         turned_deg=float(rng.uniform(0, 360)), at_mm=tuple(float(v) for v in rng.uniform(0.2, 0.8, 2) * case.size_mm))  # fmt: skip
    return replace(case, others=(other,))


def _not_round(case: Case, rng) -> Case:
    n = len(case.line.turns_deg)
    return _fitted(replace(case, line=replace(case.line, uneven=tuple(float(rng.choice([-1, 1]) * rng.uniform(0.25, 0.9)) if k == rng.integers(n) else 0.0 for k in range(n)))))


def _close_bends(case: Case, rng) -> Case:
    """Two bends with hardly anything straight between."""
    line, k = case.line, int(rng.integers(len(case.line.turns_deg) - 1))
    setback = np.array(line.radii_mm) * np.tan(np.radians(np.abs(line.turns_deg)) / 2)
    legs = list(line.legs_mm)
    legs[k + 1] = float(setback[k] + setback[k + 1] + rng.uniform(0.05, 1.2) * line.od_mm)
    return _fitted(replace(case, line=replace(line, legs_mm=tuple(legs))))


def _bowed(case: Case, rng) -> Case:
    n = len(case.line.legs_mm)
    return replace(case, line=replace(case.line, bows_mm=tuple(float(rng.choice([-1, 1]) * rng.uniform(0.2, 2.5)) if k == rng.integers(n) else 0.0 for k in range(n))))


SPOILT = {
    "glare": _spots,
    "crosses itself": _crossing,
    "a piece beside or over it": _other_piece,
    "cut off by the border": lambda c, rng: replace(c, size_mm=tuple(float(v) for v in np.array(c.size_mm) * rng.uniform(0.75, 0.97, 2))),
    "a slight bend more": lambda c, rng: _fitted(_changed(slight=lambda c, rng: (float(rng.uniform(0.1, 0.9)), float(rng.choice([-1, 1]) * rng.uniform(0.7, 14))))(c, rng)),
    "a bowed leg": lambda c, rng: _fitted(_bowed(c, rng)),
    "a bend that is not round": _not_round,
    "two bends close together": _close_bends,
    "lifted from somewhere on": lambda c, rng: _changed(lifted_from=lambda c, rng: float(rng.uniform(0.1, 0.8)), tilt_deg=lambda c, rng: float(rng.uniform(3, 20)))(c, rng),
    "kinked": lambda c, rng: _changed(squashed=lambda c, rng: (int(rng.integers(len(c.line.turns_deg))), float(rng.uniform(0.15, 0.5))))(c, rng),
    "another diameter": lambda c, rng: replace(c, told=(("od_mm", c.line.od_mm * float(rng.choice([0.75, 0.84, 1.2, 1.33]))),)),
    "another dpi": lambda c, rng: replace(c, told=(("dpi", c.scanner.dpi * float(rng.choice([0.5, 0.667, 1.5, 2.0]))),)),
    "a stretch as light as the paper": _gap,
    "very blurred": lambda c, rng: replace(c, scanner=replace(c.scanner, blur_px=float(rng.uniform(4, 12)))),
    "hardly told from the paper": lambda c, rng: replace(c, scanner=replace(c.scanner, noise=0.08, backdrop="grey"), line=replace(c.line, finish="bright")),
    "JPEG as small as it gets": lambda c, rng: replace(c, quality=int(rng.integers(5, 25))),
}  # fmt: skip


def spoil(rng: np.random.Generator, how: str) -> Case:
    """A careful scan, spoilt."""
    while True:
        try:
            case = SPOILT[how](draw_line(rng, bends=int(rng.integers(2, 5)), dpi=300.0, most_mm=(160.0, 220.0)), rng)
        except ValueError:  # a leg with no straight left
            continue
        if how in ("crosses itself", "cut off by the border") or not _near_itself(case.line):
            return case


def main() -> None:
    """Print the tables."""
    told = [int(a) for a in sys.argv[1:7]]
    scans, seed, spoilt, photos, minutes, spoilt_photos = told + [160, 0, 16, 0, 600, 0][len(told) :]
    until = time.monotonic() + 60 * minutes
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        if scans:
            _careful(folder, scans, seed, until)
        if spoilt:
            _all_spoilt(folder, spoilt, seed)
        if photos:
            _photographed(folder, photos, seed, until)
        if spoilt_photos:
            _spoilt_photos(folder, spoilt_photos, seed, until)


def _careful(folder: Path, scans: int, seed: int, until: float) -> None:
    rows, refused, wrong, seconds = [], [], [], []
    for k in range(seed, seed + scans):
        if time.monotonic() > until:
            scans = k - seed
            break
        rng = np.random.default_rng([17, k])
        case = draw_line(rng)
        path = render(case, folder, rng)
        begun = time.perf_counter()
        read = read_flat_scan(path, od_mm=case.line.od_mm)
        seconds.append(time.perf_counter() - begun)
        _count(k, read, case.line, f"{case.line.od_mm} {case.line.finish} on {case.scanner.backdrop}, {case.scanner.dpi:g} dpi", case.scanner.dpi, rows, refused, wrong)
    print(f"{scans} scans, {len(refused)} refused, {len(wrong)} with other bends than there are; {np.median(seconds):.1f} s each")
    _table(rows)
    print("at 300 dpi:")
    _table([row for row in rows if row[2] == 300])
    print("\n".join(refused + wrong))


def _count(k: int, read: PatternReading, line: ScannedLine, words: str, dpi: float, rows: list, refused: list, wrong: list) -> None:
    if read.refused:
        refused.append(f"  {k} {words}: {' '.join(read.refused)}")
        return
    found = misses(read, line)
    if found is None:
        wrong.append(f"  WRONG {k} {words}: {read.bends} bends, twists {read.twist_deg}")
        return
    rows += [(q, k, dpi, error, u) for q, some in found.items() for error, u in some]


def _table(rows: list) -> None:
    for q in QUANTITIES:
        part = np.array([(e, u) for name, _, _, e, u in rows if name == q])
        if not len(part):
            continue
        z, seeds = part[:, 0] / part[:, 1], [k for name, k, _, _, _ in rows if name == q]
        print(
            f"{q:>11}: {len(part):5} held {100 * np.mean(np.abs(z) < 1.96):5.1f}, error 95 % {np.quantile(np.abs(part[:, 0]), 0.95):.3f}, mean {part[:, 0].mean():+.3f}, "
            f"median u {np.median(part[:, 1]):.3f}, z sd {z.std():.2f}, worst {np.abs(z).max():.1f} (seed {seeds[int(np.argmax(np.abs(z)))]})"
        )


def _all_spoilt(folder: Path, count: int, seed: int) -> None:
    print("\nSpoilt scans: read rightly (all within 4 u), refused, read wrongly; of the numbers read, per cent within their 95 %")

    def spoilt(how: str, k: int) -> tuple[ScannedLine, Callable[[], PatternReading]]:
        rng = np.random.default_rng([18, k, len(how)])
        case = spoil(rng, how)
        return case.line, lambda: read_flat_scan(render(case, folder, rng), **{"od_mm": case.line.od_mm, **dict(case.told)})

    outcomes = [_outcomes(how, range(seed, seed + count), spoilt) for how in SPOILT]
    total, within, merged = np.sum([o[0] for o in outcomes], axis=0), [each for o in outcomes for each in o[1]], sum(o[2] for o in outcomes)
    print(f"{'together':>34}{total[0]:>5}{total[1]:>5}{total[2]:>5}  {_held(within)}; {merged} read with other bends than there are, and judged by the distance of their ends")


def _outcomes(how: str, seeds, spoilt: Callable[[str, int], tuple[ScannedLine, Callable[[], PatternReading]]]) -> tuple[np.ndarray, list[bool], int]:
    """Counts of right, refused and wrong pictures, whether each number lay within its 95 %, and how many were read with other bends; printed as a row."""
    counts, within, merged, wrong = np.zeros(3, int), [], 0, []
    for k in seeds:
        line, reading = spoilt(how, k)
        try:
            read = reading()
        except NotAScan:
            read = None
        if read is None or read.refused:
            counts[1] += 1
            continue
        found = misses(read, line)
        if found is None:  # other bends than there are may still make the same shape: two that touch are one round bend
            found, merged = {"span": [_span_miss(read, line)]}, merged + 1
        # A bend that is not round, or in which a slight one more lies, has no radius to be held against.
        ratios = [(q, round(float(e / u), 1)) for q, some in found.items() for e, u in some if q != "radius" or how not in ("a bend that is not round", "a slight bend more")]
        far = [pair for pair in ratios if abs(pair[1]) > 4]
        within += [abs(z) < 1.96 for _, z in ratios]
        counts[2 if far else 0] += 1
        wrong += [(k, far)] if far else []
    print(f"{how:>34}{counts[0]:>5}{counts[1]:>5}{counts[2]:>5}  {_held(within)}  {wrong or ''}", flush=True)
    return counts, within, merged


def _held(within: list[bool]) -> str:
    return f"{100 * np.mean(within):.1f} %" if within else "none read"


def _photographed(folder: Path, photos: int, seed: int, until: float) -> None:
    rows, refused, wrong = [], [], []
    page = drawn_page(folder)
    for k in range(seed, seed + photos):
        if time.monotonic() > until:
            photos = k - seed
            break
        rng = np.random.default_rng([19, k])
        line, camera = photographed(rng)
        path = photograph([line], camera, stretched(page, *(1 + 0.002 * rng.normal(size=2))), folder / "photo.jpg", rng)
        try:
            read = read_flat_photos([path], od_mm=line.od_mm)
        except NotAScan as error:
            refused.append(f"  {k}: {error}")
            continue
        _count(k, read, line, line.finish, 0.0, rows, refused, wrong)
    print(f"\n{photos} photos, {len(refused)} refused, {len(wrong)} with other bends than there are")
    _table(rows)
    print("\n".join(refused + wrong))


def _spoilt_photos(folder: Path, count: int, seed: int, until: float) -> None:
    print("\nSpoilt photos: read rightly (all within 4 u), refused, read wrongly; of the numbers read, per cent within their 95 %")
    page = drawn_page(folder)

    def spoilt(how: str, k: int) -> tuple[ScannedLine, Callable[[], PatternReading]]:
        rng = np.random.default_rng([20, k, len(how)])
        line, camera = photographed(rng, how)
        told = line.od_mm * (float(rng.choice([0.75, 0.84, 1.2, 1.33])) if how == "another diameter" else 1.0)
        path = photograph([line], camera, stretched(page, *(1 + 0.002 * rng.normal(size=2))), folder / "photo.jpg", rng)
        return line, lambda: read_flat_photos([path], od_mm=told)

    for how in SPOILT_PHOTOS:
        if time.monotonic() > until:
            print(f"{how}: no time")
        else:
            _outcomes(how, range(seed, seed + count), spoilt)


SPOILT_PHOTOS = ("a hard dark shadow", "glare", "a slight bend more", "a bowed leg", "a bend that is not round", "two bends close together", "lifted from somewhere on", "kinked", "another diameter")


def photographed(rng: np.random.Generator, how: str = "") -> tuple[ScannedLine, PhotoCamera]:
    """A line inside the frame, and a camera above it; spoilt, where it is told how."""
    while True:
        case = draw_line(rng, bends=int(rng.integers(2, 5)), most_mm=(140.0, 215.0), dpi=300.0)
        try:
            case = SPOILT[how](case, rng) if how in SPOILT_PHOTOS[2:-1] else case
        except ValueError:  # a leg with no straight left
            continue
        line = case.line if case.size_mm[0] <= case.size_mm[1] else replace(case.line, turned_deg=case.line.turned_deg + 90)
        if line.od_mm > 3 and line.finish != "black" and min(case.size_mm) <= 140 and max(case.size_mm) <= 215 and not (how and _near_itself(line)):
            break
    _, camera = shot(rng)
    if how == "a hard dark shadow":
        camera = replace(camera, shadow=float(rng.uniform(0.5, 0.85)), soft=float(rng.uniform(0.02, 0.12)))
    size = np.array(on_glass(line)[1])
    room = np.maximum(np.array([142.0, 217.0]) - size, 0.0)
    line = replace(line, at_mm=tuple(float(v) for v in np.array([105.0, 145.0]) + 0.5 * room * rng.uniform(-0.8, 0.8, 2)))
    line = replace(line, standing_mm=tuple(float(v) for v in np.maximum(0, rng.spawn(1)[0].normal(0, 0.7, len(line.legs_mm) + 1))))
    if how == "glare":
        xy = line.walk(0.5)[0]
        camera = replace(camera, glare=tuple((*(float(v) for v in xy[rng.integers(len(xy))] + rng.normal(0, 1.5, 2)), float(rng.uniform(2, 9))) for _ in range(rng.integers(1, 5))))
    return line, camera


if __name__ == "__main__":
    main()
