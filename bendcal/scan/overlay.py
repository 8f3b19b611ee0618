"""What was read, drawn over the scan: a person sees at once whether the lines lie on the tube."""

from __future__ import annotations

import io
import zlib

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from bendcal.scan.course import Course
from bendcal.scan.decode import Scan
from bendcal.scan.piece import ScanReading
from bendcal.scan.tube_model import Shape

__all__ = ["LARGEST", "course_png", "overlay_png"]

LARGEST = 1600  # pixels along the longer side
_EDGE, _LINE, _BAD, _PAPER = (230, 0, 120), (0, 110, 255), (220, 40, 0), (255, 255, 255)


def overlay_png(scan: Scan, pieces: tuple[ScanReading, ...]) -> bytes:
    """The scan with its readings, as a PNG.

    Parameters
    ----------
    scan : the scan
    pieces : what was read from it
    """
    picture, drawing, size, font, line = _begun(scan)

    for piece in pieces:
        left, top, right, bottom = np.array(piece.box_mm) / np.tile(size, 2)
        if piece.refused:
            drawing.rectangle((left - 3, top - 3, right + 3, bottom + 3), outline=_BAD, width=2)
            _words(drawing, (left, top), f"{piece.number}: not read", _BAD, font)
            continue
        for x, y in piece.edges_mm / size:
            drawing.rectangle((x - 1, y - 1, x + 1, y + 1), fill=_EDGE)
        text = f"{piece.number}: {piece.angle.value:.2f}°, R {piece.radius.value:.2f} mm, legs {piece.leg_a.value:.2f} and {piece.leg_b.value:.2f} mm"
        _words(drawing, (left, bottom + 4), text, _LINE, font)
        shape, ends = piece.shape, piece.ends_mm
        line([ends[0], shape.apex, ends[1]], _LINE, 1)
        line(_arc(shape), _LINE, 2)
        for name, end in zip(("A", "B") if piece.end_a else ("first", "second"), ends, strict=True):
            along = (shape.apex - end) / np.linalg.norm(shape.apex - end)
            across = np.array([-along[1], along[0]]) * shape.half_mm * 1.6
            line([end - across, end + across], _LINE, 2)
            _words(drawing, (end - along * 2.2 * shape.half_mm) / size, name, _LINE, font)
        if piece.mark is not None:
            along = (shape.apex - ends[0]) / np.linalg.norm(shape.apex - ends[0])
            at = ends[0] + along * piece.mark.value
            across = np.array([-along[1], along[0]]) * shape.half_mm * 1.8
            line([at - across, at + across], _EDGE, 2)
    return _png(picture)


def course_png(
    scan: Scan, course: Course | None, ends_mm: np.ndarray | None, edges_mm: np.ndarray | None, *, ends: str = "AB", good: bool = True, largest: int = LARGEST
) -> bytes:  # fmt: skip
    """The picture with a flat line drawn over it: its edges, legs and arcs, the apexes numbered, both ends named.

    Parameters
    ----------
    scan : the picture
    course : where the line was found; None draws nothing
    ends_mm : (2, 2) its cut ends, or None
    edges_mm : (n, 2) its edges, or None
    ends : a letter for each end
    good : whether it was read; else it is drawn in another colour, with the bends numbered as the reason names them
    largest : pixels along the longer side, at most
    """
    picture, drawing, size, font, line = _begun(scan, largest)
    colour = _LINE if good else _BAD
    wide = int(max(picture.size) > 900)  # in a small picture wider edges would hide the tube
    for x, y in () if edges_mm is None else edges_mm / size:
        drawing.rectangle((x - wide, y - wide, x + wide, y + wide), fill=_EDGE)
    if course is not None:
        tips = [course.bends[0].apex + 12 * course.half_mm * course.bends[0].directions[0], course.bends[-1].apex + 12 * course.half_mm * course.bends[-1].directions[1]]
        line([tips[0] if ends_mm is None else ends_mm[0], *course.apex_mm, tips[1] if ends_mm is None else ends_mm[1]], colour, 1)
        for k, bend in enumerate(course.bends):
            line(_arc(bend), colour, 3)
            line(bend.apex + 0.7 * course.half_mm * np.array([[-1.0, 0], [1, 0]]), colour, 2)
            line(bend.apex + 0.7 * course.half_mm * np.array([[0.0, -1], [0, 1]]), colour, 2)
            _words(drawing, (bend.apex - bend.bisector * 2.5 * course.half_mm) / size, str(k + 1), colour, font, middle=True)
        for k, (bend, end) in enumerate(zip((course.bends[0], course.bends[-1]), () if ends_mm is None else ends_mm, strict=False)):
            along = bend.directions[k]
            across = np.array([-along[1], along[0]]) * course.half_mm * 1.6
            line([end - across, end + across], colour, 2)
            _words(drawing, (end + along * 3.5 * course.half_mm) / size, ends[k], colour, font, middle=True)
    if not good:
        _words(drawing, (4, 4), "not read", _BAD, font)
    return _png(picture)


def _begun(scan: Scan, largest: int = LARGEST) -> tuple:
    """The picture small enough to look at, its pen, the size of its pixels, a font, and what draws a line of points [mm]."""
    height, width = scan.rgb.shape[:2]
    picture = Image.fromarray((np.clip(scan.rgb, 0, 1) * 255).astype(np.uint8))
    scale = min(1.0, largest / max(width, height))
    if scan.pixel_mm[0] != scan.pixel_mm[1] or scale < 1:
        picture = picture.resize((max(1, round(width * scale)), max(1, round(height * scale))), Image.Resampling.BOX)
    drawing = ImageDraw.Draw(picture)
    size = np.array([width / picture.width * scan.pixel_mm[0], height / picture.height * scan.pixel_mm[1]])
    font = ImageFont.load_default(size=max(11, round(max(picture.size) / 70)))

    def line(points: np.ndarray, colour, thick: int = 2) -> None:
        drawing.line([tuple(p) for p in np.asarray(points) / size], fill=colour, width=thick, joint="curve")

    return picture, drawing, size, font, line


def _png(picture: Image.Image) -> bytes:
    out = io.BytesIO()
    picture.save(out, "PNG", compress_type=zlib.Z_RLE)  # a picture's noise packs no better for a longer search, which takes five times as long
    return out.getvalue()


def _arc(shape: Shape) -> np.ndarray:
    a, b = shape.outward
    turn = np.arctan2(a[0] * b[1] - a[1] * b[0], a @ b)
    angle = np.arctan2(a[1], a[0]) + np.linspace(0, turn, 60)
    return shape.centre + shape.radius_mm * np.stack([np.cos(angle), np.sin(angle)], axis=1)


def _words(drawing: ImageDraw.ImageDraw, at, text: str, colour, font, *, middle: bool = False) -> None:
    """Text on a little paper, kept inside of the picture, in several lines where it is too long for one; `at` is its corner, or its middle."""
    x, y = (float(v) for v in at)
    box = drawing.textbbox((0, 0), text, font=font)
    if box[2] + 5 > drawing.im.size[0]:
        text = text.replace(", ", ",\n")
        box = drawing.textbbox((0, 0), text, font=font)
    if middle:
        x, y = x - box[2] / 2, y - box[3] / 2
    x = min(max(x, 2), max(drawing.im.size[0] - box[2] - 3, 2))
    y = min(max(y, 2), max(drawing.im.size[1] - box[3] - 3, 2))
    drawing.rectangle((x - 2, y - 1, x + box[2] + 2, y + box[3] + 1), fill=_PAPER)
    drawing.text((x, y), text, fill=colour, font=font)
