"""A picture file, opened with care: what it is, how fine it is, and its pixels."""

from __future__ import annotations

import os
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from math import isfinite
from pathlib import Path
from typing import TypeVar

import numpy as np
from PIL import Image, ImageOps, UnidentifiedImageError

from bendcal.faults import quoted

__all__ = ["COARSEST_DPI", "MOST_BYTES", "MOST_PIXELS", "NotAScan", "Scan", "open_photo", "open_scan"]

MOST_BYTES = 100_000_000
MOST_PIXELS = 150_000_000  # an A4 page at 1200 dpi has 139 million
COARSEST_DPI, FINEST_DPI = 150.0, 2400.0
WORKING_DPI = 400.0  # finer scans are averaged down to about this: it tells no less about a tube
MOST_WORKING_PIXELS = 40_000_000
COARSEST_JPEG = 100.0  # mean step of the brightness table; 57.6 is that of ITU-T T.81, table K.1 (memory), which coders call quality 50; 96 is their 30
MM_PER_INCH = 25.4
_Made = TypeVar("_Made")
FORMATS = ("PNG", "JPEG", "TIFF", "BMP", "WEBP")
_SAVE = "Scan it once more in grey or colour and save it as PNG, TIFF or JPEG."


class NotAScan(ValueError):
    """The file is no scan that anything can be read from; the message says why and what to do."""


@dataclass(frozen=True, eq=False)
class Scan:
    """A scan's pixels and their size.

    Attributes
    ----------
    name : the file's name
    rgb : (height, width, 3) float32, 0 black to 1 white, as the scanner coded them
    pixel_mm : (across, down) size of one of these pixels [mm]
    dpi : what the scan was made with, before any averaging down (across, down)
    blank : (height, width) where it shows no plain paper, and nothing can be told; None where it shows paper all over
    notes : what was found about its scale
    """

    name: str
    rgb: np.ndarray
    pixel_mm: tuple[float, float]
    dpi: tuple[float, float]
    blank: np.ndarray | None = None
    notes: tuple[str, ...] = ()


def open_scan(path: str | os.PathLike[str], *, dpi: float | tuple[float, float] | None = None) -> Scan:
    """Open a scan and check that it can be measured on.

    Parameters
    ----------
    path : a PNG, JPEG, TIFF, BMP or WebP file
    dpi : pixels an inch (one number, or across and down); None takes what the file says

    Returns
    -------
    Scan

    Raises
    ------
    NotAScan : where the file is missing, too large, no picture, broken off, black and white only,
        does not say how fine it is, or is too coarse

    Examples
    --------
    >>> open_scan("no such scan.png")
    Traceback (most recent call last):
    ...
    bendcal.scan.decode.NotAScan: "no such scan.png": there is no such file. Look at the spelling of its path.
    """
    return _opened(path, lambda file, name: _decoded(file, name, dpi))


def open_photo(path: str | os.PathLike[str]) -> tuple[np.ndarray, float | None]:
    """Open a photo: its pixels as bytes, upright, and its focal length as for 36 × 24 mm film where the file tells it.

    Parameters
    ----------
    path : a JPEG, PNG, TIFF, BMP or WebP file

    Returns
    -------
    (height, width, 3) bytes; the focal length [mm] or None

    Raises
    ------
    NotAScan : where the file is missing, too large, no picture, or broken off
    """

    def decoded(file: Path, name: str) -> tuple[np.ndarray, float | None]:
        with Image.open(file, formats=FORMATS) as picture:
            _check_picture(picture, name, one=picture.format != "MPO")  # phones keep a small copy in the same file
            _check_jpeg(picture, name)
            picture.load()
            told = picture.getexif().get_ifd(0x8769).get(41989)  # FocalLengthIn35mmFilm of Exif 2.32
            film = float(told) if isinstance(told, (int, float)) and 10 <= told <= 300 else None
            return np.asarray(ImageOps.exif_transpose(picture).convert("RGB")), film

    return _opened(path, decoded)


def _opened(path: str | os.PathLike[str], decoded: Callable[[Path, str], _Made]) -> _Made:
    """What `decoded` makes of a file that is there and not too large; whatever goes wrong is said in a sentence."""
    file = Path(path).expanduser()
    name = quoted(file.name)
    try:
        if not file.exists():
            raise NotAScan(f"{name}: there is no such file. Look at the spelling of its path.")
        if not file.is_file():
            raise NotAScan(f"{name} is a folder or something else that is no file. Give the scan itself.")
        size = file.stat().st_size
        if size == 0:
            raise NotAScan(f"{name} is empty: nothing was saved in it. {_SAVE}")
        if size > MOST_BYTES:
            raise NotAScan(f"{name} has {size / 1e6:.0f} MB; at most {MOST_BYTES / 1e6:.0f} MB are read. Scan only the part with the offcuts, at 300 dpi.")
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what matters is checked here, with a sentence of its own
            return decoded(file, name)
    except Image.DecompressionBombError:
        raise NotAScan(_too_many(name)) from None
    except UnidentifiedImageError:
        raise NotAScan(f"{name} is no picture of a kind that is read here. {_SAVE}") from None
    except (OSError, SyntaxError, EOFError, ValueError, MemoryError, OverflowError, TypeError, KeyError, IndexError) as error:
        if isinstance(error, NotAScan):
            raise
        raise NotAScan(f"{name} could not be read to its end ({type(error).__name__}): it is damaged or broken off. Copy it once more, or scan again.") from None


def _too_many(name: str) -> str:
    return f"{name} has more than {MOST_PIXELS / 1e6:.0f} million pixels. Scan only the part with the offcuts, at 300 dpi."


def _check_picture(picture: Image.Image, name: str, *, one: bool = True) -> None:
    """Whether a picture has too many pixels, or is several in one file where it must be `one`."""
    if picture.width * picture.height > MOST_PIXELS:
        raise NotAScan(_too_many(name))
    if one and getattr(picture, "n_frames", 1) > 1:
        raise NotAScan(f"{name} holds {picture.n_frames} pages or pictures. Save the one with the offcuts by itself.")


def _check_jpeg(picture: Image.Image, name: str) -> None:
    """Whether a JPEG was pressed so hard that its edges moved: it cannot be seen in the picture by how much."""
    table = (getattr(picture, "quantization", None) or {}).get(0)
    if table and float(np.mean(table)) > COARSEST_JPEG:
        raise NotAScan(
            f"{name} was saved as a JPEG so small that edges in it have moved (quality below about 30 of 100). Save it as PNG or TIFF, or as JPEG of high "
            "quality; what was sent by a messenger was made small on its way: copy the file itself."
        )


def _decoded(file: Path, name: str, dpi) -> Scan:
    with Image.open(file, formats=FORMATS) as picture:
        _check_picture(picture, name)
        if picture.mode == "1":
            raise NotAScan(f"{name} is black and white only, which shifts every edge. Scan in grey or colour.")
        _check_jpeg(picture, name)
        across, down = _dpi(picture.info.get("dpi"), dpi, name)
        picture.load()
        turned = picture.getexif().get(0x0112, 1) in (5, 6, 7, 8)
        upright = ImageOps.exif_transpose(picture)
        if turned and not isinstance(dpi, tuple):
            across, down = down, across
        step = (max(1, round(across / WORKING_DPI)), max(1, round(down / WORKING_DPI)))
        if upright.width * upright.height / (step[0] * step[1]) > MOST_WORKING_PIXELS:
            raise NotAScan(f"{name} covers more than an A3 page. Scan only the part with the offcuts.")
        rgb = _pixels(upright, step)
    return Scan(file.name, rgb, (MM_PER_INCH / across * step[0], MM_PER_INCH / down * step[1]), (across, down))


def _dpi(told, given, name: str) -> tuple[float, float]:
    """Pixels an inch, as the user gives them or as the file tells them."""
    how = "Scan at 300 dpi and keep the file as the scanner saved it, or say dpi=300 if that was the setting."
    if given is not None:
        pair = tuple(float(v) for v in (given if isinstance(given, (tuple, list)) else (given, given)))
        source = "was given as"
    elif told is None:
        raise NotAScan(f"{name} does not say how many pixels make an inch. {how}")
    else:
        pair, source = tuple(float(v) for v in told[:2]), "says it has"
    if len(pair) != 2 or not all(isfinite(v) and v > 0 for v in pair):
        raise NotAScan(f"{name} {source} {pair} dpi, which cannot be. {how}")
    text = " × ".join(dict.fromkeys(f"{v:.0f}" for v in pair))
    if min(pair) < COARSEST_DPI:
        raise NotAScan(f"{name} {source} {text} dpi; below {COARSEST_DPI:.0f} dpi a tube's edges are too coarse, and 72 or 96 mostly means that nobody knows. {how}")
    if max(pair) > FINEST_DPI:
        raise NotAScan(f"{name} {source} {text} dpi; more than {FINEST_DPI:.0f} is not read. {how}")
    return pair


def _pixels(picture: Image.Image, step: tuple[int, int]) -> np.ndarray:
    """The pixels as RGB from 0 to 1, averaged down by whole steps."""
    if picture.mode in ("I;16", "I;16B", "I;16L", "I;16N", "I", "F"):
        grey = np.asarray(picture, np.float32)
        top = 65535.0 if grey.max() > 255 else 255.0
        return np.repeat(_averaged(grey[:, :, None] / top, step), 3, axis=2)
    if picture.mode in ("RGBA", "LA", "PA") or "transparency" in picture.info:
        clear = picture.convert("RGBA")
        picture = Image.alpha_composite(Image.new("RGBA", clear.size, "white"), clear)
    rgb = picture.convert("RGB")
    if step != (1, 1):
        width, height = (rgb.width // step[0] * step[0], rgb.height // step[1] * step[1])
        rgb = rgb.crop((0, 0, width, height)).reduce(step)
    return np.asarray(rgb, np.float32) / np.float32(255)


def _averaged(array: np.ndarray, step: tuple[int, int]) -> np.ndarray:
    sx, sy = step
    height, width = array.shape[0] // sy, array.shape[1] // sx
    return array[: height * sy, : width * sx].reshape(height, sy, width, sx, -1).mean(axis=(1, 3))
