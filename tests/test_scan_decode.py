"""Scan files: what can be measured on is opened, everything else is refused with a sentence."""

import struct
import zlib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from bendcal.scan.decode import MOST_BYTES, NotAScan, open_photo, open_scan

GREY = np.full((60, 80, 3), 200, np.uint8)


def saved(path: Path, pixels: np.ndarray = GREY, dpi=(300, 300), **how) -> Path:
    """These pixels as a file."""
    Image.fromarray(pixels).save(path, **({"dpi": dpi} if dpi else {}), **how)
    return path


def test_a_scan_has_its_size(tmp_path: Path) -> None:
    """300 dpi: a pixel is 25.4/300 mm; the colours run from 0 to 1."""
    scan = open_scan(saved(tmp_path / "a.png"))
    assert scan.pixel_mm == pytest.approx((25.4 / 300, 25.4 / 300), rel=1e-4)
    assert scan.rgb.shape == (60, 80, 3) and scan.rgb.max() == pytest.approx(200 / 255)


def test_a_fine_scan_is_averaged_down(tmp_path: Path) -> None:
    """1200 dpi: three by three pixels become one, three times as large."""
    scan = open_scan(saved(tmp_path / "a.png", dpi=(1200, 1200)))
    assert scan.rgb.shape == (20, 26, 3) and scan.pixel_mm[0] == pytest.approx(25.4 / 400, rel=1e-4)


def test_unlike_dpi_across_and_down(tmp_path: Path) -> None:
    """Two numbers are kept apart, from the file or as given."""
    assert open_scan(saved(tmp_path / "a.png", dpi=(200, 300))).dpi == pytest.approx((200, 300), rel=1e-4)
    assert open_scan(tmp_path / "a.png", dpi=(301.0, 299.0)).dpi == (301.0, 299.0)


@pytest.mark.parametrize(
    ("dpi", "given_dpi", "why"),
    [
        (None, None, "does not say how many pixels"), ((72, 72), None, "72 dpi; below 150"), ((300, 300), 100, "was given as 100 dpi"),
        ((300, 300), float("nan"), "cannot be"), ((300, 300), -5, "cannot be"), ((300, 300), 9600, "more than 2400"),
    ],
)  # fmt: skip
def test_a_scan_must_say_how_fine_it_is(tmp_path: Path, dpi, given_dpi, why: str) -> None:
    """No dpi, too few, too many, no number."""
    with pytest.raises(NotAScan, match=why):
        open_scan(saved(tmp_path / "a.png", dpi=dpi), dpi=given_dpi)


def test_files_that_are_no_scans(tmp_path: Path) -> None:
    """Missing, a folder, empty, text, a PDF's beginning."""
    for content, why in ((b"", "is empty"), (b"angle,90\n", "no picture"), (b"%PDF-1.7\n", "no picture")):
        (tmp_path / "x.png").write_bytes(content)
        with pytest.raises(NotAScan, match=why):
            open_scan(tmp_path / "x.png")
    with pytest.raises(NotAScan, match="no such file"):
        open_scan(tmp_path / "none.png")
    with pytest.raises(NotAScan, match="a folder"):
        open_scan(tmp_path)


@pytest.mark.parametrize("ending", ["png", "jpg", "tif"])
def test_a_file_that_breaks_off_is_refused(tmp_path: Path, ending: str) -> None:
    """Half a file is not read as if its other half were grey."""
    noisy = np.random.default_rng(0).integers(0, 255, (200, 200, 3), dtype=np.uint8)
    path = saved(tmp_path / f"a.{ending}", noisy)
    content = path.read_bytes()
    path.write_bytes(content[: len(content) // 2])
    with pytest.raises(NotAScan, match="damaged or broken off|no picture"):
        open_scan(path)


def test_black_and_white_only_and_several_pages(tmp_path: Path) -> None:
    """One bit a pixel shifts edges; of several pages nobody knows which is meant."""
    Image.fromarray(GREY).convert("1").save(tmp_path / "a.png", dpi=(300, 300))
    with pytest.raises(NotAScan, match="black and white only"):
        open_scan(tmp_path / "a.png")
    pages = [Image.fromarray(GREY), Image.fromarray(GREY)]
    pages[0].save(tmp_path / "a.tif", save_all=True, append_images=pages[1:], dpi=(300, 300))
    with pytest.raises(NotAScan, match="2 pages"):
        open_scan(tmp_path / "a.tif")


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


@pytest.mark.parametrize("side", [13_000, 60_000])
def test_a_small_file_that_claims_to_be_huge_is_refused_unopened(tmp_path: Path, side: int) -> None:
    """A few bytes that unpack to 170 million pixels, and to 3.6 milliard."""
    head = _chunk(b"IHDR", struct.pack(">IIBBBBB", side, side, 8, 2, 0, 0, 0))
    (tmp_path / "bomb.png").write_bytes(b"\x89PNG\r\n\x1a\n" + head + _chunk(b"IDAT", zlib.compress(b"\0" * 1000)) + _chunk(b"IEND", b""))
    with pytest.raises(NotAScan, match="million pixels"):
        open_scan(tmp_path / "bomb.png", dpi=300)


def test_a_file_of_too_many_bytes_is_not_opened(tmp_path: Path) -> None:
    """101 MB, by the file's size alone."""
    with open(tmp_path / "big.png", "wb") as file:
        file.truncate(MOST_BYTES + 1_000_000)
    with pytest.raises(NotAScan, match="101 MB"):
        open_scan(tmp_path / "big.png")


def test_transparency_palette_and_grey_become_colours(tmp_path: Path) -> None:
    """See-through pixels lie on white; palettes and grey are turned into RGB."""
    clear = np.zeros((20, 20, 4), np.uint8)
    assert open_scan(saved(tmp_path / "a.png", clear)).rgb.min() == 1.0
    Image.fromarray(GREY).convert("P").save(tmp_path / "b.png", dpi=(300, 300))
    assert open_scan(tmp_path / "b.png").rgb[0, 0] == pytest.approx(200 / 255, abs=0.03)
    assert open_scan(saved(tmp_path / "c.png", GREY[:, :, 0])).rgb[5, 5] == pytest.approx(200 / 255)


def test_colours_for_print_and_a_clear_shade_of_a_palette(tmp_path: Path) -> None:
    """CMYK as TIFF and JPEG, a GIF-like palette with one clear shade: each becomes RGB as other programs show it."""
    ink = np.zeros((20, 20, 4), np.uint8)
    ink[:, :10, 3] = 255  # black on the left, bare paper on the right
    for ending, options in (("tif", {}), ("jpg", {"quality": 95})):
        Image.fromarray(ink, "CMYK").save(tmp_path / f"a.{ending}", dpi=(300, 300), **options)
        rgb = open_scan(tmp_path / f"a.{ending}").rgb
        assert rgb[10, 4] == pytest.approx(0, abs=0.15) and rgb[10, 15] == pytest.approx(1, abs=0.05)
    shades = Image.fromarray(np.tile(np.arange(2, dtype=np.uint8), (20, 10)), "P")
    shades.putpalette([200, 0, 0, 10, 10, 10])
    shades.save(tmp_path / "b.png", dpi=(300, 300), transparency=0)
    rgb = open_scan(tmp_path / "b.png").rgb
    assert rgb[5, 0] == pytest.approx(1) and rgb[5, 1] == pytest.approx(10 / 255)


def test_sixteen_bits_are_scaled_and_not_cut(tmp_path: Path) -> None:
    """A 16-bit TIFF: 51400 of 65535 is 0.784, as 200 of 255 is."""
    Image.fromarray(np.full((20, 20), 51400, np.uint16)).save(tmp_path / "a.tif", dpi=(300, 300))
    assert open_scan(tmp_path / "a.tif").rgb[3, 3] == pytest.approx(200 / 255, abs=1e-3)


@pytest.mark.parametrize(("turned", "corner"), [(1, (0, 0)), (3, (-1, -1)), (6, (0, -1)), (8, (-1, 0))])
def test_pictures_are_turned_upright_as_the_camera_says(tmp_path: Path, turned: int, corner: tuple[int, int]) -> None:
    """A dark spot in the stored picture's first corner lies where orientation 1, 3, 6 or 8 of Exif has it, in photos and in scans, whose dpi turn with it."""
    pixels = np.full((60, 80, 3), 200, np.uint8)
    pixels[:16, :16] = 10
    exif = Image.Exif()
    exif[0x0112] = turned
    Image.fromarray(pixels).save(tmp_path / "a.jpg", dpi=(200, 300), exif=exif, quality=95)
    photo, film = open_photo(tmp_path / "a.jpg")
    scan = open_scan(tmp_path / "a.jpg")
    sides = turned in (6, 8)
    assert photo.shape[:2] == scan.rgb.shape[:2] == ((80, 60) if sides else (60, 80)) and film is None
    assert photo[corner][0] < 60 and scan.rgb[corner][0] < 0.25
    assert scan.dpi == pytest.approx((300, 200) if sides else (200, 300))


@pytest.mark.parametrize("ending", ["webp", "png"])
def test_pictures_that_move_are_refused(tmp_path: Path, ending: str) -> None:
    """Two pictures in one file: nobody knows which is meant, in a scan or a photo."""
    frames = [Image.fromarray(GREY), Image.fromarray(GREY // 2)]
    frames[0].save(tmp_path / f"a.{ending}", save_all=True, append_images=frames[1:], duration=100)
    for opened in (open_photo, lambda path: open_scan(path, dpi=300)):
        with pytest.raises(NotAScan, match="2 pages or pictures"):
            opened(tmp_path / f"a.{ending}")


def test_a_wrong_ending_does_no_harm(tmp_path: Path) -> None:
    """What a file is, its first bytes say: a JPEG called .png is read, a GIF or an SVG called .png is not."""
    Image.fromarray(GREY).save(tmp_path / "a.png", "JPEG", dpi=(300, 300))
    assert open_scan(tmp_path / "a.png").rgb.shape == (60, 80, 3)
    Image.fromarray(GREY).save(tmp_path / "b.png", "GIF")
    (tmp_path / "c.png").write_text("<svg xmlns='http://www.w3.org/2000/svg'/>")
    for name in ("b.png", "c.png"):
        with pytest.raises(NotAScan, match="no picture of a kind"):
            open_scan(tmp_path / name, dpi=300)


@pytest.fixture(scope="module")
def content(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """Three good files, to be spoilt."""
    folder = tmp_path_factory.mktemp("good")
    return {ending: saved(folder / f"a.{ending}").read_bytes() for ending in ("png", "jpg", "tif")}


@given(data=st.data())
def test_whatever_is_in_a_file_is_opened_or_refused(data, content, tmp_path_factory) -> None:
    """Good files with bytes overwritten, and random bytes: a scan, or a sentence; never another error."""
    good = bytearray(content[data.draw(st.sampled_from(sorted(content)))])
    for _ in range(data.draw(st.integers(0, 6))):
        good[data.draw(st.integers(0, len(good) - 1))] = data.draw(st.integers(0, 255))
    path = tmp_path_factory.getbasetemp() / "spoilt.bin"
    path.write_bytes(bytes(good) if data.draw(st.booleans()) else data.draw(st.binary(max_size=200)))
    try:
        scan = open_scan(path)
    except NotAScan as error:
        assert str(error).endswith(".")
    else:
        assert scan.rgb.ndim == 3 and np.isfinite(scan.rgb).all()


@pytest.mark.parametrize("opened", [open_scan, open_photo])
def test_a_jpeg_pressed_so_hard_that_edges_move_is_refused(tmp_path: Path, opened) -> None:
    """Quality 20 is refused with what to do, 30 and 75 are opened."""
    pixels = np.random.default_rng(0).integers(0, 256, (300, 200, 3)).astype(np.uint8)
    for quality in (20, 30, 75):
        Image.fromarray(pixels).save(tmp_path / f"{quality}.jpg", quality=quality, dpi=(300, 300))
    with pytest.raises(NotAScan, match=r'"20.jpg" was saved as a JPEG so small .* copy the file itself'):
        opened(tmp_path / "20.jpg")
    for quality in (30, 75):
        opened(tmp_path / f"{quality}.jpg")
