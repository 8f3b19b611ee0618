"""Numbered pages side by side on a table, photographed in parts and read as one picture."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from bendcal.cli import main
from bendcal.fiducials import SIDE_MM, cells, reference_page
from bendcal.forms.scan_values import ScanValues
from bendcal.materials import ALLOYS
from bendcal.nodes import nodes_from_legs
from bendcal.scan import NotAScan, ScanReadings, mosaic, read_flat_photos, read_photos
from bendcal.scan.photos import laid_photos
from bendcal.scan.separate import OFF_PAPER
from bendcal.shop import Shop
from bendcal.tubes import Tube
from tests.benchmarks.pages import fits
from tests.benchmarks.scan import misses
from tests.invented.flat_line import ScannedLine
from tests.invented.laid_pages import LaidPaper, table_photo
from tests.invented.photo import PhotoCamera
from tests.invented.scan import ScannedPiece

pytest.importorskip("cv2")

ACROSS = ScannedPiece(angle_deg=40.0, leg_a_mm=110.0, leg_b_mm=120.0, mark_mm=50.0, at_mm=(215.0, 205.0), turned_deg=20.0, mirrored=True, finish="copper")
PLAIN = ScannedPiece(leg_a_mm=60.0, leg_b_mm=50.0, mark_mm=28.0, at_mm=(130.0, 85.0), turned_deg=30.0)
OVER_THE_EDGE = ScannedPiece(angle_deg=90.0, leg_a_mm=45.0, leg_b_mm=40.0, at_mm=(395.0, 95.0), turned_deg=-45.0)
OVER_A_MARK = ScannedPiece(angle_deg=70.0, leg_a_mm=40.0, leg_b_mm=40.0, at_mm=(60.0, 262.0), turned_deg=180.0)


def printed(number: int, paper: str = "a4", per_mm: int = 8) -> np.ndarray:
    """A numbered page drawn from its cells, with a grey block where its words stand, without the kit's printing."""
    page = reference_page(paper, number)
    width, height = page.size_mm
    drawn = np.ones((round(height * per_mm), round(width * per_mm)))
    for left, top, right, bottom in page.words_mm:
        drawn[round((top + 2) * per_mm) : round((bottom - 3) * per_mm), round((left + 2) * per_mm) : round((right - 2) * per_mm) : 3] = 0.3
    for mark, (x, y) in page.marks_mm.items():
        cell = np.kron(cells(mark), np.ones((round(SIDE_MM / 6 * per_mm),) * 2))
        drawn[round(y * per_mm) :, round(x * per_mm) :][: len(cell), : len(cell)] = cell
    return drawn


@pytest.fixture(scope="module")
def photos(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """Two photos of pages 1 and 2, a strip of table 1.5 mm wide between them: one shows both, the other the right half."""
    folder = tmp_path_factory.mktemp("pages")
    papers = [LaidPaper(printed(1), (210.0, 297.0)), LaidPaper(printed(2), (210.0, 297.0), (211.5, 3.0), 0.5)]
    cameras = [
        PhotoCamera(size_px=(2420, 1760), at_mm=(190.0, 165.0, 310.0), towards_mm=(209.0, 150.0), barrel=-0.02, blur_px=0.7),
        PhotoCamera(size_px=(1500, 1820), at_mm=(322.0, 135.0, 250.0), towards_mm=(318.0, 150.0), barrel=0.01, uneven=0.25),
    ]
    pieces = [ACROSS, PLAIN, OVER_THE_EDGE, OVER_A_MARK]
    for k, camera in enumerate(cameras):
        Image.fromarray(table_photo(pieces, camera, papers, np.random.default_rng(k))).save(folder / f"{'ab'[k]}.png", compress_level=1)
    return [folder / "a.png", folder / "b.png"]


@pytest.fixture(scope="module")
def both(photos: list[Path]) -> ScanReadings:
    """What both photos together tell."""
    (found,) = read_photos(photos, od_mm=4.76, unmoved=True)
    return found


def near(found: ScanReadings, piece: ScannedPiece) -> dict[str, tuple[float, float]]:
    """Error and uncertainty of what was read of a piece; nothing where none like it was read."""
    like = [each for each in found.read if abs(each.angle.value - piece.angle_deg) < 3]
    return misses(like[0], piece) if like else {}


@pytest.mark.parametrize("piece", [ACROSS, PLAIN], ids=["across", "plain"])
def test_a_piece_on_two_pages_is_read(both: ScanReadings, piece: ScannedPiece) -> None:
    """Over a strip of table and from one photo's places into the other's: angle within 0.2°, legs within 0.5 mm, all within 3.5 u."""
    off = near(both, piece)
    assert set(off) == {"angle", "radius", "leg_a", "leg_b", "mark"}
    for quantity, (error, u) in off.items():
        assert abs(error) < 3.5 * u, (quantity, error, u)
    assert abs(off["angle"][0]) < 0.2 and max(abs(off[leg][0]) for leg in ("leg_a", "leg_b")) < 0.5


def test_photos_that_one_page_holds_together_are_asked_about(photos: list[Path]) -> None:
    """Nothing told: refused, for page 2 may have been moved between them, with what to do; told in the form's words, it is read."""
    with pytest.raises(NotAScan, match=r"No other page than page 2 \(A4\).*one more photo of all pages together.*--unmoved"):
        laid_photos(photos, od_mm=4.76)
    how = ScanValues(kind="unmoved photos").understood(Shop("here", {}, {}, {}))["kind"]
    assert how.value == "unmoved photos" and not how.wrong


def test_one_photo_of_both_pages_does(photos: list[Path]) -> None:
    """The first photo alone tells the same of the piece on two pages, to 0.1° and 0.6 mm."""
    (found,) = read_photos(photos[:1], od_mm=4.76)
    off = near(found, ACROSS)
    assert abs(off["angle"][0]) < 0.1 and abs(off["leg_a"][0]) < 0.6 and "One photo of page 1 (A4) and page 2 (A4)" in found.notes[0]


def test_what_is_not_on_plain_paper_is_not_read(both: ScanReadings) -> None:
    """A piece over the right page's edge and one over a mark: refused with that reason, and the mark's page named."""
    assert not near(both, OVER_A_MARK) and len(both.read) == 2
    assert sum("a place that shows no plain paper" in sentence for sentence in both.refused) >= 2
    assert any("lies over a mark of page 1 (A4)" in note for note in both.notes)


def test_the_picture_knows_which_photo_saw_a_place(photos: list[Path]) -> None:
    """The left page from the first eye, the right one's middle from the second; the picture shows the tube's middle plane; paper is even and what is printed is gone."""
    (laid,) = laid_photos(photos, od_mm=4.76, unmoved=True)
    eyes = laid.view.eyes_at(np.array([[60.0, 150.0], [330.0, 150.0]]))
    assert eyes[:, 2] == pytest.approx([310, 250], abs=15) and laid.view.plane_mm == 2.38
    level = laid.scan.rgb[~laid.scan.blank].mean(axis=1)
    assert np.mean(np.abs(level - 0.92) < 0.04) > 0.9
    assert 0.001 < laid.scan.blank.mean() < 0.1 and laid.scan.rgb[laid.scan.blank].std() < 1e-6


def test_a_line_of_another_length_stretches_all(photos: list[Path], both: ScanReadings) -> None:
    """Told 101 for each page: a leg is 1 % longer; told 101 mm for both: so is the picture."""
    (found,) = read_photos(photos, od_mm=4.76, line_mm=[101.0, 101.0], unmoved=True)
    legs = [next(r.leg_a.value + r.leg_b.value for r in each.read if r.angle.value < 60) for each in (found, both)]
    assert legs[0] / legs[1] == pytest.approx(1.01, abs=0.002)
    (laid,) = laid_photos(photos[:1], od_mm=4.76, line_mm=101.0)
    sizes = [each.rgb.shape[1] * each.pixel_mm[0] for each in (laid.scan, both.scan)]
    assert sizes[0] / sizes[1] == pytest.approx(1.01, abs=0.002)


def test_numbers_that_cannot_be(photos: list[Path]) -> None:
    """Three lines for two pages, a line of 70 mm, no photo, thirteen photos: a sentence each."""
    for paths, line, why in (
        (photos, [100.0] * 3, "3 lengths .* show 2 pages: page 1"), (photos, 70.0, "is said to measure 70 mm"), ([], 100.0, "0 photos are given"), (photos * 7, 100.0, "from 1 to 12"),
    ):  # fmt: skip
        with pytest.raises(ValueError, match=why):
            read_photos(paths, od_mm=4.76, line_mm=line)


def test_the_form_tells_a_count_of_lines_that_does_not_fit(photos: list[Path]) -> None:
    """Three numbers in the box, and the photos show two pages: both are named, and what to write."""
    values = ScanValues(picture="; ".join(map(str, photos)), kind="photo", tube="thin", line_mm="99,8; 100; 100.1")
    with pytest.raises(ValueError, match=r"3 lengths .* show 2 pages: page 1 \(A4\) and page 2 \(A4\). Tell one for all, or one for each, in the order"):
        values.read(Shop(Path("."), {}, {"thin": Tube("thin", ALLOYS["copper"], 4.76, 0.7)}, {}))


def test_a_picture_that_would_be_too_large(photos: list[Path], monkeypatch: pytest.MonkeyPatch) -> None:
    """Where only a million pixels are allowed, the tube would be too few of them wide: what to do is said."""
    monkeypatch.setattr(mosaic, "MOST_MOSAIC_PIXELS", 1_000_000)
    with pytest.raises(NotAScan, match="only 13 pixels wide.*too large.*Lay fewer pages"):
        read_photos(photos, od_mm=4.76, unmoved=True)


def test_a_thin_tube_needs_photos_from_nearer(photos: list[Path]) -> None:
    """A tube of 3 mm at 5.5 pixels a millimetre: go nearer."""
    with pytest.raises(NotAScan, match="at least 20 are needed. Go nearer, and take more photos"):
        read_photos(photos, od_mm=3.0, unmoved=True)


def test_photos_of_one_page_are_read_each_by_itself(photos: list[Path], tmp_path: Path) -> None:
    """The first photo, all right of page 1 hidden, twice: two readings, and no joining."""
    pixels = np.array(Image.open(photos[0]))
    pixels[:, 1330:] = 80
    for name in ("c.png", "d.png"):
        Image.fromarray(pixels).save(tmp_path / name, compress_level=1)
    found = read_photos([tmp_path / "c.png", tmp_path / "d.png"], od_mm=4.76)
    assert len(found) == 2 and all(near(each, PLAIN) for each in found)


def test_the_command_joins_photos(sample_folder: Path, photos: list[Path], capsys: pytest.CaptureFixture) -> None:
    """Both photos on one command line: one picture, the piece on two pages in it; the picture is kept."""
    folder = sample_folder.rename(sample_folder.with_name("shop"))
    assert main(["scan", str(folder), *map(str, photos), "--photo", "--unmoved", "--tube", "cuni-3/16"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "a and 1 more: cuni-3/16" in said and "2 photos of page 1 (A4) and page 2 (A4)" in said and "angle 40.0" in said
    assert (folder / "sheets" / "scans" / "a and 1 more-seen.png").exists()


@pytest.mark.parametrize("goes_on", [True, False])
def test_a_strip_of_table_is_bridged_only_by_what_lies_on_both_sides(goes_on: bool, tmp_path: Path) -> None:
    """A dark bar up to the edge of page 1, 2 mm of table, page 2 with or without more of it: the strip is filled with the bar, or blank."""
    pages = [printed(1), printed(2)]
    pages[0][8 * 190 : 8 * 195, 8 * 150 :] = 0.25
    pages[1][8 * 190 : 8 * 195, : 8 * 60 * goes_on] = 0.25
    papers = [LaidPaper(page, (210.0, 297.0), (212.0 * k, 0.0)) for k, page in enumerate(pages)]
    camera = PhotoCamera(size_px=(2300, 940), at_mm=(211.0, 200.0, 280.0), towards_mm=(211.0, 205.0), film_mm=26.0)  # the lower half, which is quicker
    Image.fromarray(table_photo([], camera, papers, np.random.default_rng(1))).save(tmp_path / "a.png", compress_level=1)
    (laid,) = laid_photos([tmp_path / "a.png"], od_mm=5.0)
    pixel = laid.scan.pixel_mm[0]
    row, cols = int(192.5 / pixel), slice(int(210.3 / pixel), int(211.7 / pixel))
    assert laid.scan.blank[row, cols].all() == laid.scan.blank[row, cols].any() == (not goes_on)
    assert (laid.scan.rgb[row, cols].mean() < 0.5) == goes_on


def test_a_line_of_600_mm_over_three_pages(tmp_path: Path) -> None:
    """Three bends, two photos that share the middle page: every leg within 0.7 mm, every angle within 0.25°, all within 3.5 u; end to end within 1 mm."""
    places = [((0.0, 0.0), 0.0), ((204.0, 5.0), 1.2), ((409.0, -3.0), -1.5)]
    papers = [LaidPaper(printed(k + 1), (210.0, 297.0), at, turn) for k, (at, turn) in enumerate(places)]
    # The photos show the upper half of the pages, which is quicker.
    line = ScannedLine(legs_mm=(150.0, 160.0, 155.0, 135.0), turns_deg=(38.0, -45.0, 30.0), radii_mm=(15.0, 16.0, 15.0), at_mm=(300.0, 100.0), turned_deg=-12.0, finish="copper")
    assert fits(line, papers)
    files = []
    for k, camera in enumerate((
        PhotoCamera(size_px=(2400, 1040), film_mm=26.7, at_mm=(198.0, 105.0, 285.0), towards_mm=(200.0, 93.0), barrel=-0.02),
        PhotoCamera(size_px=(2400, 1040), film_mm=26.7, at_mm=(418.0, 85.0, 285.0), towards_mm=(416.0, 93.0), barrel=-0.02, uneven=-0.1),
    )):  # fmt: skip
        files.append(tmp_path / f"{k}.png")
        Image.fromarray(table_photo([line], camera, papers, np.random.default_rng(k))).save(files[-1], compress_level=1)
    read = read_flat_photos(files, od_mm=4.76, end_a="left", unmoved=True)
    assert read.bends == 3 and read.twist_deg.tolist() == [0, 180, 180], read.refused
    for found, truth, most in ((read.leg, line.legs_mm, 0.7), (read.angle, np.abs(line.turns_deg), 0.25)):
        assert np.abs(found.value - truth).max() < most
        assert (np.abs(found.value - truth) < 3.5 * found.u).all()
    ends = line.walk()[0][[0, -1]]
    assert np.linalg.norm(np.diff(nodes_from_legs(read.legs)[[0, -1]], axis=0)) == pytest.approx(np.linalg.norm(ends[1] - ends[0]), abs=1.0)


def test_a_line_over_a_mark_is_refused_whole(tmp_path: Path) -> None:
    """A line of two bends from page 1 over a mark of page 2, which parts it: that reason, the mark's page named, no number; the paper is even though no photo shows a third of both pages."""
    line = ScannedLine(legs_mm=(90.0, 110.0, 90.0), turns_deg=(25.0, -25.0), radii_mm=(15.0, 15.0), at_mm=(230.0, 77.0), turned_deg=-40.0, finish="copper")
    papers = [LaidPaper(printed(1), (210.0, 297.0)), LaidPaper(printed(2), (210.0, 297.0), (205.0, 0.0))]
    camera = PhotoCamera(size_px=(2240, 900), at_mm=(207.0, 95.0, 275.0), towards_mm=(207.0, 88.0), film_mm=26.0)
    Image.fromarray(table_photo([line], camera, papers, np.random.default_rng(4))).save(tmp_path / "over.png", compress_level=1)
    read = read_flat_photos([tmp_path / "over.png"], od_mm=4.76, end_a="left")
    assert read.refused == (OFF_PAPER,) and read.values is None
    assert any("lies over a mark of page 2 (A4)" in note for note in read.notes)
    level = read.scan.rgb.mean(axis=2)[~read.scan.blank]
    assert np.mean(np.abs(level - 0.92) < 0.02) > 0.85


def test_page_1_twice_on_the_table(tmp_path: Path) -> None:
    """Two prints of page 1 in one photo: refused with its name."""
    papers = [LaidPaper(printed(1), (210.0, 297.0)), LaidPaper(printed(1), (210.0, 297.0), (212.0, 0.0))]
    camera = PhotoCamera(size_px=(1600, 1200), at_mm=(210.0, 150.0, 320.0), towards_mm=(210.0, 150.0))
    Image.fromarray(table_photo([], replace(camera), papers, np.random.default_rng(1))).save(tmp_path / "twice.png", compress_level=1)
    with pytest.raises(NotAScan, match=r'"twice.png": two prints of page 1 \(A4\)'):
        read_photos([tmp_path / "twice.png"], od_mm=4.76)
