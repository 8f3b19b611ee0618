"""A flat line on a reference page, photographed: the height of the tube put right at every bend."""

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from PIL import Image

from bendcal.printing import PAPERS_MM
from bendcal.scan import NotAScan, PatternReading, read_flat_photos
from bendcal.scan.heights import View
from bendcal.scan.one_line import _highest_leg
from bendcal.scan.tube_model import ARC, LEG_1, LEG_2
from tests.benchmarks.flat_pattern import misses
from tests.invented.flat_line import ScannedLine
from tests.invented.photo import photo_of
from tests.test_scan_photo import CAMERA, page_drawn

pytest.importorskip("cv2")

LINE = ScannedLine(
    legs_mm=(45.0, 70.0, 60.0, 50.0), turns_deg=(65.0, -80.0, -40.0), radii_mm=(14.0, 16.0, 20.0), at_mm=(105.0, 150.0), turned_deg=60.0, finish="copper", flattening=0.02
)


@pytest.fixture(scope="module")
def photo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A photo of the line, the camera 15° from the upright."""
    pixels = photo_of([LINE], CAMERA, page_drawn(), PAPERS_MM["a4"], np.random.default_rng(2))
    path = tmp_path_factory.mktemp("photo") / "line.png"
    Image.fromarray(pixels).save(path, compress_level=1)
    return path


@pytest.fixture(scope="module")
def read(photo: Path) -> PatternReading:
    """What is read from it."""
    return read_flat_photos([photo], od_mm=LINE.od_mm, end_a="top")


def test_a_photo_of_a_flat_line_is_read(read: PatternReading) -> None:
    """Angles within 0.4°, legs and the distance of the ends within 0.5 mm, all within 3.5 u; the camera is told."""
    assert not read.refused and read.bends == 3
    found = misses(read, LINE)
    assert found is not None
    for quantity, some in found.items():
        for error, u in some:
            assert abs(error) < min(1.5 if quantity == "radius" else 0.5, 3.5 * u), quantity
    assert max(abs(error) for error, _ in found["angle"]) < 0.4 and "Camera about" in str(read)


def test_ends_and_bends_that_stand_off_the_page_are_in_the_ranges(tmp_path: Path) -> None:
    """Up to 1.2 mm high here and there: all is within 3 u of the 0.5 mm that places are believed to stand off; said to lie flat to 0.01 mm, it is not."""
    line = replace(LINE, standing_mm=(1.0, 0.0, 1.2, 0.0, 1.0))
    path = tmp_path / "line.png"
    Image.fromarray(photo_of([line], CAMERA, page_drawn(), PAPERS_MM["a4"], np.random.default_rng(5))).save(path, compress_level=1)
    far = []
    for flat_u_mm in (0.5, 0.01):
        found = misses(read_flat_photos([path], od_mm=line.od_mm, flat_u_mm=flat_u_mm), line)
        assert found is not None
        far.append(max(abs(error) / u for some in found.values() for error, u in some))
    assert far[0] < 3 and far[1] > 4


def test_without_its_height_the_line_would_be_read_wrongly(photo: Path, read: PatternReading) -> None:
    """A wire of another diameter stands at another height: said to be 4 mm, what is seen is too wide, and it is refused."""
    assert read_flat_photos([photo], od_mm=4.0, end_a="top").refused


def test_two_photos_of_one_page_are_no_single_picture(photo: Path) -> None:
    """They are two pictures of a line that may have been moved: a sentence; and a picture without a page is none."""
    with pytest.raises(ValueError, match="2 photos of one page are given"):
        read_flat_photos([photo, photo], od_mm=LINE.od_mm)
    with pytest.raises(NotAScan, match="no such file"):
        read_flat_photos([photo.with_name("none.png")], od_mm=LINE.od_mm)


@pytest.mark.parametrize("high_mm", [0.0, 6.0])
def test_a_leg_that_is_seen_wider_than_the_others_stands_higher(high_mm: float) -> None:
    """Two bends, the last leg seen wider by 6 mm over the camera's 300: that is told; with all alike nothing is."""
    bend, zone = np.repeat([0, 1], 200), np.tile(np.repeat([LEG_1, LEG_2], 100), 2)
    side = np.tile([1.0, -1.0], 200)
    wider = side * ((bend == 1) & (zone == LEG_2)) * high_mm / 300 * 4.76 / 2 + 0.002 * np.random.default_rng(3).normal(size=400)
    seen = SimpleNamespace(
        points=SimpleNamespace(at_mm=np.zeros((400, 2)), side=side, bend=bend), residual_mm=np.append(wider, np.zeros(4)), weight=np.ones(404), zone=np.append(zone, np.full(4, ARC)),
        course=SimpleNamespace(count=2),
    )  # fmt: skip
    assert _highest_leg(seen, View(np.array([0.0, 0.0, 300.0])), 4.76) == pytest.approx(high_mm, abs=0.3)
