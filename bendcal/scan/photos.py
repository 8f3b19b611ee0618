"""Photos of pages laid side by side on a table, joined into one picture by their marks; or photos of one page, each by itself."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from bendcal.scan.connected import LEAST_OF_A_PAGE, spelled, unproved
from bendcal.scan.decode import NotAScan, open_photo
from bendcal.scan.doubts import laid_table
from bendcal.scan.mosaic import mosaic
from bendcal.scan.photo import LEAST_PX, MOST_TILT_DEG, PRINT_U, LaidPage, check_line, one_page
from bendcal.scan.places import places_of, view_of
from bendcal.scan.reading import ScanReadings, check_told, readings_on
from bendcal.scan.sighting import Sighting, image_library, marks_in, page_of
from bendcal.scan.table import PAGE_U, Table

__all__ = ["MOST_PHOTOS", "laid_photos", "read_photos"]

MOST_PHOTOS = 12
#: Pixels that are not quite square, of a length, in each direction (assumed). Paper that was fed unevenly only shifts marks: by how they
#: scatter it is in the cameras already, and no piece is measured by the paper beside it.
_EVEN_U = 0.0002
_HEIGHT_U = 0.1  # of it: from there on it is told that a camera's height is known badly
_Path = str | os.PathLike[str]


def read_photos(
    paths: Sequence[_Path], *, od_mm: float, end_a: str | None = None, line_mm: float | Sequence[float] = 100.0, print_u: float = PRINT_U, unmoved: bool = False
) -> tuple[ScanReadings, ...]:  # fmt: skip
    """Read every offcut in photos of reference pages.

    Photos that show one and the same page are read each by itself; pieces may have been moved between them. Photos that show several
    pages are of one table on which nothing is moved, and are joined.

    Parameters
    ----------
    paths : JPEG, PNG, TIFF, BMP or WebP files, at most twelve
    od_mm : the tube's outside diameter [mm]
    end_a : ``"left"``, ``"right"``, ``"top"``, ``"bottom"`` (of the first page as it is printed) or None: the leg with the mark
    line_mm : what the pages' 100 mm lines measure [mm]: one number, or one for each page that is seen, in the order of their numbers
    print_u : standard uncertainty of that, as a share, in each direction
    unmoved : whether surely nothing was moved between the photos, where but one page holds them together, so that no mark could show it

    Returns
    -------
    ScanReadings of each photo, or one of all of them

    Raises
    ------
    NotAScan : where a file is no picture, or the pages are not found, do not hang together but by a page that may have been moved, lie not flat, or are drawn too coarsely; or OpenCV is missing
    ValueError : for a diameter, side, line or number of photos that cannot be
    """
    check_told(od_mm, end_a)
    laid = laid_photos(paths, od_mm=od_mm, line_mm=line_mm, print_u=print_u, unmoved=unmoved)
    return tuple(readings_on(each.scan, od_mm=od_mm, end_a=end_a, scale_u=each.scale_u, view=each.view, notes=each.notes) for each in laid)


def laid_photos(paths: Sequence[_Path], *, od_mm: float, line_mm: float | Sequence[float] = 100.0, print_u: float = PRINT_U, unmoved: bool = False) -> tuple[LaidPage, ...]:
    """Photos as seen from straight above: of each, or one picture of a table with several pages.

    Parameters
    ----------
    paths, od_mm, line_mm, print_u, unmoved : as for :func:`read_photos`

    Raises
    ------
    NotAScan, ValueError : as for :func:`read_photos`
    """
    if not 1 <= len(paths) <= MOST_PHOTOS:
        raise ValueError(f"{len(paths)} photos are given; from 1 to {MOST_PHOTOS} are read together.")
    lines = [float(v) for v in (line_mm if isinstance(line_mm, Sequence) else [line_mm])]
    for line in lines:
        check_line(line)
    cv2 = image_library()
    photos, sightings = [], []
    for path in paths:
        rgb, film = open_photo(path)
        photos.append(rgb)
        sightings.append(Sighting(Path(path).name, rgb.shape[1::-1], film, *marks_in(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY))))
    seen = {page for s in sightings for page, marks in s.marks().items() if len(marks) >= LEAST_OF_A_PAGE}
    if len(seen) < 2 and not any(s.twice for s in sightings):
        if len(lines) > 1:
            raise ValueError(f"{len(lines)} lengths of 100 mm lines are told, and the photos show one page. Tell one.")
        return tuple(one_page(s.name, rgb, s.film_mm, od_mm=od_mm, line_mm=lines[0], print_u=print_u) for s, rgb in zip(sightings, photos, strict=True))
    return (_joined(photos, sightings, lines, od_mm, print_u, unmoved),)


def _joined(photos: list[np.ndarray], sightings: list[Sighting], lines: list[float], od_mm: float, print_u: float, unmoved: bool) -> LaidPage:
    """One picture of all photos."""
    pages = sorted({page_of(m) for s in sightings for marks in s.marks().values() if len(marks) >= LEAST_OF_A_PAGE for m in marks}, key=lambda p: (p.number, p.paper))
    if len(lines) not in (1, len(pages)):
        raise ValueError(f"{len(lines)} lengths of 100 mm lines are told, and the photos show {len(pages)} pages: {spelled(map(str, pages))}. Tell one for all, or one for each, in the order of their numbers.")
    each = len(lines) > 1
    scale = {str(page): line / 100 for page, line in zip(pages, lines, strict=True)} if each else lines[0] / 100
    table, sightings = laid_table(sightings, scale=scale, print_u=PAGE_U if each else print_u, page_u=print_u if each else PAGE_U)
    if not unmoved and (alone := unproved(sightings)):
        raise NotAScan(
            f"No other page than {spelled(alone)} holds the photos together: had it been moved between them, no mark could show it, and angles and lengths would be wrong. "
            "Take one more photo of all pages together, from further away, and give that too; or, if surely nothing was moved, say so (--unmoved; in a form: unmoved photos)."
        )
    for s, camera in zip(sightings, table.cameras, strict=True):
        if camera.tilt_deg > MOST_TILT_DEG:
            raise NotAScan(f'"{s.name}" was taken {camera.tilt_deg:.0f}° from the upright; at most {MOST_TILT_DEG:.0f}° are read. Hold the camera level above the pages.')
    name = sightings[0].name if len(sightings) == 1 else f"{Path(sightings[0].name).stem} and {len(sightings) - 1} more"
    places = places_of(table, [s.size_px for s in sightings], plane_mm=od_mm / 2)
    scan, said = mosaic(photos, table, places, name=name, od_mm=od_mm, least_px=LEAST_PX)
    # What a whole print's scale may be off by is in the cameras already.
    return LaidPage(scan, view_of(table, places), (_EVEN_U, _EVEN_U), (_found(table, sightings), *said))


def _found(table: Table, sightings: Sequence[Sighting]) -> str:
    """What was found of pages and cameras, in words."""
    sets = ", ".join(f"{camera.place_mm[2]:.0f} mm above and {camera.tilt_deg:.0f}° from the upright" for camera in table.cameras)
    left = sorted({page for s in sightings for page in s.marks()} - set(table.pages))
    more = f" Too little is seen of {spelled(left)}, which is left out." if left else ""
    count = f"{len(sightings)} photos" if len(sightings) > 1 else "One photo"
    far = max(camera.height_u / camera.place_mm[2] for camera in table.cameras)
    if len(sightings) > 1 and far > _HEIGHT_U:
        more += (
            f" How far away the cameras were is known to ± {100 * far:.0f} % only (one standard uncertainty), for the files do not tell the lens and the photos were taken from straight "
            "above: where one photo ends and the next begins, a thick tube may be drawn with a step, and is not read then. Use the files as the camera wrote them, or hold it some 10° aslant."
        )
    if alone := unproved(sightings):
        more += (
            f" No other page than {spelled(alone)} holds the photos together: that it was not moved between them was told, and no mark could show it. Look whether the tube goes on straight where "
            "one photo ends and the next begins."
        )
    return f"{count} of {spelled(table.pages)}, {sets}; the marks lie within {table.rms_px():.2f} pixels (rms) of where they should.{more}"
