"""Pages on a table and cameras above it, found together from invented marks; what does not fit is named."""

import re
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from bendcal.fiducials import reference_page
from bendcal.scan import places
from bendcal.scan.camera import Camera, lens_arrays
from bendcal.scan.connected import begun, clear_pages, unproved
from bendcal.scan.doubts import laid_table
from bendcal.scan.judging import raised
from bendcal.scan.photos import _EVEN_U, _found
from bendcal.scan.sighting import PageNotFound, Sighting, page_of
from bendcal.scan.table import Table, _Problem
from bendcal.scan.tube_model import ARC, BELIEFS, LEG_1, Fitted, Shape
from tests.invented.laid_pages import LaidPaper
from tests.invented.photo import PhotoCamera

cv2 = pytest.importorskip("cv2")

BLANK = np.ones((2, 2))
PAPERS = {
    ("a4", 1): LaidPaper(BLANK, (210.0, 297.0)),
    ("a4", 2): LaidPaper(BLANK, (210.0, 297.0), (205.0, 4.0), 1.5),
    ("a4", 3): LaidPaper(BLANK, (210.0, 297.0), (411.0, 2.0), -2.0),
}
LENS = PhotoCamera(size_px=(4000, 3000), barrel=0.0)
CAMERAS = [replace(LENS, at_mm=(180.0, 210.0, 430.0), towards_mm=(190.0, 150.0)), replace(LENS, at_mm=(440.0, 90.0, 440.0), towards_mm=(430.0, 150.0), roll_deg=3.0)]
Papers = dict[tuple[str, int], LaidPaper]


def seen(papers: Callable[[int], Papers] | Papers = PAPERS, cameras=CAMERAS, *, noise: float = 0.0, rng: np.random.Generator | None = None) -> list[Sighting]:
    """What invented cameras see of the marks, each corner moved by a little noise [px]."""
    rng = rng or np.random.default_rng(3)
    found = []
    for k, camera in enumerate(cameras):
        corners = {}
        for (paper, number), laid in (papers(k) if callable(papers) else papers).items():
            page = reference_page(paper, number)
            for mark in page.marks_mm:
                here = page.corners_mm(mark)
                high = laid.bulge_mm * np.sin(np.pi * here / page.size_mm).prod(axis=1)
                at = camera.sees(np.column_stack([laid.on_table(here), high]))
                if ((at > 2) & (at < np.array(camera.size_px) - 3)).all():
                    corners[mark] = at + noise * rng.normal(size=(4, 2))
        found.append(Sighting(f"{'abcdefgh'[k]}.jpg", camera.size_px, 26.0, corners))
    return found


def without(sightings: list[Sighting], photo: int, number: int) -> list[Sighting]:
    """The same, but for a page in one photo."""
    return [replace(s, corners_px={m: at for m, at in s.corners_px.items() if k != photo or page_of(m).number != number}) for k, s in enumerate(sightings)]


def laid(sightings: list[Sighting], **more) -> Table:
    """The adjusted table."""
    return laid_table(sightings, **{"print_u": 0.002} | more)[0]


def test_pages_are_found_where_they_lie() -> None:
    """Exact marks: every page to 0.001 mm and 0.001°, both cameras to 0.01 mm; the marks of a page that is half outside of a photo help."""
    table = laid(seen())
    assert list(table.pages) == ["page 1 (A4)", "page 2 (A4)", "page 3 (A4)"]
    for placed, truth in zip(table.pages.values(), PAPERS.values(), strict=True):
        assert (placed.x_mm, placed.y_mm) == pytest.approx(truth.at_mm, abs=1e-3)
        assert np.degrees(placed.turn) == pytest.approx(truth.turned_deg, abs=1e-3)
    for camera, truth in zip(table.cameras, CAMERAS, strict=True):
        assert camera.place_mm == pytest.approx(truth.at_mm, abs=1e-2)
    assert table.lens_of == (0, 0) and table.rms_px() < 1e-3


def test_slopes_are_those_of_differences() -> None:
    """The Jacobian by the chain rule agrees with differences to 1e-6 of its largest entry, stretched pages and all."""
    sightings = seen(noise=0.3)
    scale = dict.fromkeys(clear_pages(sightings), 1.01)
    problem = _Problem(sightings, begun(sightings, clear_pages(sightings), scale), scale, (0.002, 0.0005))
    x = problem.start + 1e-3 * np.random.default_rng(1).normal(size=problem.count)
    steps = np.eye(problem.count) * 1e-6
    byhand = np.stack([(problem(x + h) - problem(x - h)) / 2e-6 for h in steps], axis=1)
    assert np.abs(problem(x, slopes=True) - byhand).max() < 1e-6 * np.abs(byhand).max()


def test_points_are_projected_as_opencv_does() -> None:
    """A turned and shifted camera with distortion, points of the page and of a plane 3 mm above it: within a billionth of a pixel of projectPoints."""
    numbers = np.array([8.1, 2010.0, 1490.0, -0.04, 0.05, -0.08, 0.3, -190.0, -140.0, 430.0])
    points = np.random.default_rng(2).uniform(0, 400, (50, 2))
    for height in (0.0, 3.0):
        solid = np.column_stack([points, np.full(len(points), -height)])
        byhand = cv2.projectPoints(solid, numbers[4:7], numbers[7:], *lens_arrays(numbers))[0][:, 0]
        assert Camera(numbers, np.zeros((10, 10)), 0.0).pixels(points, height) == pytest.approx(byhand, abs=1e-9)


def test_two_homographies_of_opencv_agree() -> None:
    """Page 2 as page 1 sees it, by OpenCV's homographies of each page's own marks: the adjusted place and turn, to 0.02 mm and 0.02°."""
    sighting = seen(cameras=CAMERAS[:1])[0]
    flat = []
    for number in (1, 2):
        marks = [m for m in sighting.corners_px if page_of(m).number == number]
        at = np.concatenate([page_of(m).corners_mm(m) for m in marks])
        flat.append(cv2.findHomography(at, np.concatenate([sighting.corners_px[m] for m in marks]))[0])
    between = np.linalg.inv(flat[0]) @ flat[1]
    between /= between[2, 2]
    placed = laid([sighting]).pages["page 2 (A4)"]
    assert between[:2, 2] == pytest.approx([placed.x_mm, placed.y_mm], abs=0.02)
    assert np.degrees(np.arctan2(between[1, 0], between[0, 0])) == pytest.approx(np.degrees(placed.turn), abs=0.02)


ENDS = np.array([[60.0, 90.0], [560.0, 190.0]])


@pytest.fixture(autouse=True)
def coarse_cells(monkeypatch: pytest.MonkeyPatch) -> None:
    """Which photo sees what is asked at two far places only."""
    monkeypatch.setattr(places, "_CELL_MM", 25.0)


def far_apart(table: Table, cameras: list[PhotoCamera]) -> tuple[float, float]:
    """How far it is from one of these places to the other, half a tube above the table, each seen by its own camera; and how surely [mm]."""
    cells = places.places_of(table, [c.size_px for c in cameras], plane_mm=2.38)
    view = places.view_of(table, cells)
    high = np.column_stack([ENDS, np.full(2, 2.38)])
    found = np.stack([table.cameras[k].on_page(cameras[k].sees(high[k : k + 1]), height_mm=2.38)[0] for k in (0, 1)])
    assert cells.photo_at(found - cells.start_mm).tolist() == [0, 1]
    length = float(np.linalg.norm(found[1] - found[0]))
    others = [float(np.linalg.norm(np.diff(warp(found - cells.start_mm), axis=0))) - length for warp, _ in view.others]
    return length, float(np.hypot(np.linalg.norm(others), _EVEN_U * length))


def test_distances_across_pages_hold_their_uncertainty() -> None:
    """Forty tables with 0.2 pixels of noise, prints stretched by 0.2 %: distances from page 1 to page 3, half a tube above the table, lie within 1.96 u in 35 or more, and are 0.3 mm to 1.5 mm uncertain."""
    rng = np.random.default_rng(8)
    within, us = 0, []
    for _ in range(40):
        stretch = tuple(1 + 0.002 * rng.normal(size=2))
        cameras = [replace(c, barrel=float(rng.uniform(-0.04, 0.04)), at_mm=tuple(np.array(c.at_mm) + rng.normal(0, 25, 3))) for c in CAMERAS]
        cameras[1] = replace(cameras[1], barrel=cameras[0].barrel)
        papers = {name: replace(paper, stretch=stretch, turned_deg=paper.turned_deg + float(rng.normal())) for name, paper in PAPERS.items()}
        table = laid(seen(papers, cameras, noise=0.2, rng=rng))
        length, u = far_apart(table, cameras)
        within += abs(length - np.linalg.norm(ENDS[1] - ENDS[0])) < 1.96 * u
        us.append(u)
    assert within >= 35 and 0.3 < np.median(us) < 1.5, (within, np.median(us))


def test_marks_that_are_all_seen_too_large_shift_nothing() -> None:
    """Every corner 0.4 pixels further out from its mark's middle: pages lie within 0.02 mm of where they do without, and no scatter is left."""
    sightings = seen()
    grown = [
        replace(s, corners_px={m: at + 0.4 * (at - at.mean(axis=0)) / np.linalg.norm(at - at.mean(axis=0), axis=1, keepdims=True) for m, at in s.corners_px.items()}) for s in sightings
    ]  # fmt: skip
    one, other = laid(sightings), laid(grown)
    assert other.rms_px() < 0.02
    for page in one.pages:
        assert (other.pages[page].x_mm, other.pages[page].y_mm) == pytest.approx((one.pages[page].x_mm, one.pages[page].y_mm), abs=0.02)


@pytest.mark.parametrize("noise", [0.1, 0.5])
def test_scatter_of_marks_does_not_widen_what_is_believed_of_the_print(noise: float) -> None:
    """However corners scatter, half a metre across the pages is as uncertain as prints that may be 0.2 % off make it: 1 mm, not some of it times the scatter."""
    length, u = far_apart(laid(seen(noise=noise)), CAMERAS)
    assert length == pytest.approx(np.linalg.norm(ENDS[1] - ENDS[0]), abs=0.5) and 0.6 < u < 1.1, u


def test_a_table_begins_with_the_first_page_that_is_there() -> None:
    """Pages 3 and 2 alone: page 2 is where the table begins."""
    table = laid(seen({name: paper for name, paper in PAPERS.items() if name[1] > 1}))
    first = table.pages["page 2 (A4)"]
    assert next(iter(table.pages)) == "page 2 (A4)" and (first.x_mm, first.y_mm, first.turn) == (0, 0, 0)


def test_one_misread_mark_is_left_out() -> None:
    """A mark that is seen 30 pixels beside its place: all is found as without it."""
    sightings = seen(noise=0.1)
    sightings[0].corners_px[3] = sightings[0].corners_px[3] + 30.0
    table, kept = laid_table(sightings, print_u=0.002)
    assert 3 not in kept[0].corners_px and table.pages["page 3 (A4)"].x_mm == pytest.approx(411.0, abs=0.3)


def moved(k: int) -> Papers:
    """Page 2 pushed by 2 mm before the second photo."""
    return PAPERS | {("a4", 2): replace(PAPERS["a4", 2], at_mm=(205.0, 4.0 + 2.0 * (k == 1)))}


def high_up(k: int) -> PhotoCamera:
    """A camera that sees all three pages."""
    return replace(LENS, at_mm=(290.0 + 40.0 * k, 140.0 + 20 * k, 560.0), towards_mm=(310.0, 150.0))


def test_a_page_that_was_moved_is_named() -> None:
    """Two photos that show all three pages, page 2 pushed by 2 mm between them: its name, and both photos."""
    with pytest.raises(PageNotFound, match=r"Page 2 \(A4\) lies otherwise in one photo than in another.*“a.jpg” and “b.jpg”"):
        laid(seen(moved, [high_up(0), high_up(1)], noise=0.2))


def test_a_page_that_was_moved_and_cannot_be_told_is_not_guessed() -> None:
    """Where no other page is clearly in both photos, any of them may have been moved: a sentence about all."""
    with pytest.raises(PageNotFound, match="beside where one flat table has them: a page was moved between the photos"):
        laid(seen(moved, noise=0.2))


def test_a_page_that_does_not_lie_flat_is_named() -> None:
    """Page 3's middle 12 mm above the table, its marks up to 4 mm: its name and the photo."""
    papers = PAPERS | {("a4", 3): replace(PAPERS["a4", 3], bulge_mm=12.0)}
    with pytest.raises(PageNotFound, match=r'Page 3 \(A4\) does not lie flat in "b.jpg"'):
        laid(seen(papers, noise=0.2))


def test_a_page_printed_at_another_scale_is_named_and_its_own_line_puts_it_right() -> None:
    """Page 3 at 97 %: its name; with one number for each page it is found where it lies."""
    papers = PAPERS | {("a4", 3): replace(PAPERS["a4", 3], stretch=(0.97, 0.97))}
    with pytest.raises(PageNotFound, match=r"Page 3 \(A4\) is 3.0 % smaller .* than page .*: printed so, or"):
        laid(seen(papers, noise=0.2))
    table = laid(seen(papers, noise=0.2), scale={"page 1 (A4)": 1.0, "page 2 (A4)": 1.0, "page 3 (A4)": 0.97})
    assert table.pages["page 3 (A4)"].x_mm == pytest.approx(411.0, abs=0.3)


def test_photos_that_do_not_hang_together() -> None:
    """Page 1 in one photo, page 3 in the other; two marks of page 2 in both do not join them."""
    sightings = without(without(without(seen(), 0, 2), 0, 3), 1, 1)
    sightings = without(sightings, 1, 2)
    with pytest.raises(PageNotFound, match=r"do not hang together: page 1 \(A4\) in “a.jpg”; page 3 \(A4\) in “b.jpg”"):
        laid(sightings)


def test_two_prints_of_one_page() -> None:
    """A mark at two places of one photo: the page, and that one has to go."""
    sightings = seen()
    with pytest.raises(PageNotFound, match=r'"a.jpg": two prints of page 2 \(A4\)'):
        laid([replace(sightings[0], twice=(17, 18)), sightings[1]])


@pytest.mark.parametrize("count", [0, 3, 5])
def test_too_few_marks(count: int) -> None:
    """No mark, three, five of one page: what is seen, and what is needed."""
    marks = dict(list(seen()[0].corners_px.items())[:count])
    with pytest.raises(PageNotFound, match="seen|made out: none|made out: " + str(count)):
        laid([Sighting("a.jpg", (4000, 3000), None, marks)])


@pytest.mark.parametrize(("step_mm", "slope", "photos", "why"), [(0.06, 0.0, 2, ""), (0.06, 0.0, 1, "seen wider towards its end"), (0.06, 0.0008, 2, "seen wider towards its end, which stands some 12 mm higher")])
def test_a_leg_is_held_against_itself_in_each_photo(step_mm: float, slope: float, photos: int, why: str) -> None:
    """A leg of 120 mm seen 0.06 mm wider from where the next photo begins does not rise; in one photo it would; one that widens in both photos by 0.08 mm in 100 does."""
    rng = np.random.default_rng(4)
    t = np.tile(np.arange(20.0, 140.0, 0.6), 2)
    side = np.repeat([1.0, -1.0], len(t) // 2)
    photo = (t > 80) * (photos - 1)
    shape = Shape(0.0, 0.0, 0.0, 1.5, 15.0, 2.38, 2.38)
    off = side * ((t > 80) * step_mm + slope * (t - 20)) + 0.005 * rng.normal(size=len(t))
    fitted = Fitted(shape, np.append(off, np.zeros(BELIEFS)), np.zeros((len(t) + BELIEFS, 7)), np.ones(len(t) + BELIEFS), np.append(np.full(len(t), LEG_1), [ARC, ARC]), 0.05)
    points = np.column_stack([t, side * 2.38])
    said = raised(fitted, points, side, photo, 300.0, 4.76)
    assert bool(said) == bool(why) and (not why or re.search(why, said)), said


@pytest.mark.parametrize(("aslant_mm", "film_mm", "told"), [(3.0, None, True), (3.0, 26.0, False), (80.0, None, False)])
def test_a_height_that_is_known_badly_is_told(aslant_mm: float, film_mm: float | None, told: bool) -> None:
    """Two photos from straight above whose files do not tell the lens: what that does, and what to do; not where the lens is told, nor from aslant."""
    cameras = [replace(c, towards_mm=(c.at_mm[0] + aslant_mm, 150.0), at_mm=(c.at_mm[0], 150.0, c.at_mm[2]), roll_deg=0.0) for c in CAMERAS]
    sightings = [replace(s, film_mm=film_mm) for s in seen(cameras=cameras, noise=0.1)]
    assert ("How far away the cameras were is known to" in _found(laid(sightings), sightings)) == told


def test_a_page_that_alone_holds_photos_together_is_told() -> None:
    """Two photos that share page 2 only: a push of it would not show, and is not claimed to; one more photo of all pages shows a push of 2 mm or more; photos of all pages need none."""
    two = [replace(LENS, at_mm=(150.0, 150.0, 330.0), towards_mm=(150.0, 150.0)), replace(LENS, at_mm=(480.0, 150.0, 330.0), towards_mm=(480.0, 150.0))]
    sightings = seen(cameras=two)
    assert unproved(sightings) == ["page 2 (A4)"]
    assert "No other page than page 2 (A4) holds the photos together" in _found(laid(sightings), sightings)
    assert unproved(seen(cameras=[*two, high_up(0)])) == [] == unproved(seen(cameras=[high_up(0), high_up(1)]))
    for push_mm in (2.0, 4.0, 4.01, 5.0, 8.0, 30.0):
        pushed = seen(lambda k, mm=push_mm: PAPERS | {("a4", 2): replace(PAPERS["a4", 2], at_mm=(205.0, 4.0 + mm * (k == 1)))}, [*two, high_up(0)], noise=0.2)
        with pytest.raises(PageNotFound, match="was moved between"):
            laid(pushed)
