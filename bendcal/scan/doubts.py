"""What speaks against a table: a page that does not lie flat, was moved between photos, or is printed at another scale, each by its name."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from bendcal.scan.camera import lens_arrays
from bendcal.scan.connected import LEAST_OF_A_PAGE, begun, clear_pages, spelled
from bendcal.scan.sighting import PageNotFound, Sighting, image_library, page_of
from bendcal.scan.table import PAGE_U, Table, adjusted

__all__ = ["laid_table"]

_FAR_PX, _FAR = 0.8, 3.0  # a page's corners in one photo may lie so far (rms) from where they should, in pixels and in what is usual of them
_SURELY_PX = 3.0  # though all of them do, where one moved page has led everything astray
_JUDGED = 3  # marks
#: A single mark that is further off, in pixels, in what most corners scatter by, and in what is usual of its page in that photo, is misread or covered, and left out.
_WRONG_PX, _WRONG, _ALONE = 1.0, 5.0, 4.0
_BENT_PX, _BENT = 0.6, 3.0  # the same for the marks of one page in one photo, by themselves
_CLEARED = 2.0  # by how many times the others' scatter must fall where the page to blame is left out
_STRETCHED = 6.0  # standard deviations


def laid_table(sightings: Sequence[Sighting], *, scale: Mapping[str, float] | float = 1.0, print_u: float, page_u: float = PAGE_U) -> tuple[Table, list[Sighting]]:
    """Pages and cameras, with what does not fit named; and the marks that were believed.

    Parameters
    ----------
    sightings : what each photo shows
    scale : what the pages' 100 mm lines measure over 100 mm: one number, or name → number
    print_u, page_u : as for :func:`bendcal.scan.table.adjusted`

    Raises
    ------
    PageNotFound : where pages and photos do not hang together, or do not make one flat table
    """
    table, kept = _fitted(sightings, scale, print_u, page_u)
    bad = _misfits(table)
    if bad:
        raise PageNotFound(_why(kept, table, bad, scale, print_u, page_u))
    own = np.array(list(table.stretch_u.values()))
    way = int(np.argmax(np.ptp(own, axis=0)))
    if len(own) > 1 and np.ptp(own[:, way]) > _STRETCHED:
        size = {name: page.stretch[way] * 100 for name, page in table.pages.items()}
        small, large = min(size, key=size.get), max(size, key=size.get)
        raise PageNotFound(
            f"{_begun(small)} is {size[large] - size[small]:.1f} % smaller {('across', 'down')[way]} than {large}: printed so, or one of them does not lie flat. "
            "Tape them down flat. Measure the 100 mm line of every page and tell one number for each, in the order of their numbers, or print all of them at 100 % on one printer."
        )
    return table, kept


def _fitted(sightings: Sequence[Sighting], scale, print_u: float, page_u: float) -> tuple[Table, list[Sighting]]:
    """The adjusted table, without marks that are far from where all others have them."""
    kept = list(sightings)
    for _ in range(3):
        pages = clear_pages(kept)
        told = {page: scale if isinstance(scale, (int, float)) else scale[page] for page in pages}
        table = adjusted(kept, begun(kept, pages, told), scale=told, print_u=print_u, page_u=page_u)
        wrong = []
        for k, off in enumerate(table.off_px):
            far = {m: float(np.sqrt(np.mean(four**2))) for m, four in off.items()}
            limit = max(_WRONG_PX, _WRONG * table.spread_px)
            for name in table.pages:
                of = [m for m in far if str(page_of(m)) == name]
                bad = [m for m in of if far[m] > max(limit, _ALONE * float(np.median([far[m] for m in of])))]
                # One mark of a page may be misread; more of them are the page's own fault.
                if len(bad) == 1 and len(of) > LEAST_OF_A_PAGE:
                    wrong.append((k, bad[0]))
        if not wrong:
            break
        kept = [replace(s, corners_px={m: four for m, four in s.corners_px.items() if (k, m) not in wrong}) for k, s in enumerate(kept)]
    return table, kept


def _misfits(table: Table) -> list[str]:
    """Pages whose corners lie further from where they should, in one of the photos, than is usual of pages and photos."""
    groups: dict[tuple[str, int], list[np.ndarray]] = {}
    for k, off in enumerate(table.off_px):
        for mark, four in off.items():
            groups.setdefault((str(page_of(mark)), k), []).append(four)
    far = {group: float(np.sqrt(np.mean(np.square(fours)))) for group, fours in groups.items() if len(fours) >= _JUDGED}
    limit = min(max(_FAR_PX, _FAR * float(np.median(list(far.values())))), _SURELY_PX)
    return [page for page in table.pages if max((v for (name, _), v in far.items() if name == page), default=0.0) > limit]


def _why(sightings: Sequence[Sighting], table: Table, bad: list[str], scale, print_u: float, page_u: float) -> str:
    """A sentence for marks that do not make one table, naming the page that is to blame where one is."""
    bent = {
        (page, k): _bent_px(s, marks, table, k)
        for k, s in enumerate(sightings) for page, marks in s.marks().items() if page in table.pages and len(marks) >= LEAST_OF_A_PAGE
    }  # fmt: skip
    page, k = max(bent, key=bent.get)
    if bent[page, k] > max(_BENT_PX, _BENT * float(np.median(list(bent.values())))):
        return (
            f'{_begun(page)} does not lie flat in "{sightings[k].name}", or is printed out of shape: its marks lie {bent[page, k]:.1f} pixels beside where a flat '
            "page has them. Tape it down flat, and photograph again."
        )
    without: dict[str, float] = {}
    for page in table.pages:
        rest = [replace(s, corners_px={m: four for m, four in s.corners_px.items() if str(page_of(m)) != page}) for s in sightings]
        try:
            without[page] = _fitted(rest, scale, print_u, page_u)[0].rms_px()
        except PageNotFound:
            continue  # the photos do not hang together without it
    # The page to blame is known where the others agree without it, and without no other page.
    clear = sorted(without, key=without.get)
    limit = table.rms_px() / _CLEARED
    if clear and len(without) == len(table.pages) and without[clear[0]] < limit and without[clear[0]] < min(without[p] for p in clear[1:]) / _CLEARED:
        page = clear[0]
        where = [f"“{s.name}”" for s in sightings if page in s.marks()]
        moved = "lies otherwise in one photo than in another: it was moved between them, or there are two prints of it" if len(where) > 1 else "does not lie in one plane with the others"
        return (
            f"{_begun(page)} {moved} (its marks in {spelled(where)} lie {table.rms_px(page):.1f} pixels beside where the other pages have them). "
            "Tape it down flat, each number only once, and photograph all of it again without moving anything."
        )
    return (
        f"The marks of {spelled(bad)} lie up to {max(table.rms_px(page) for page in bad):.1f} pixels (rms) beside where one flat table has them: a page was moved between "
        "the photos, lies there twice, or not flat. Tape all of them down flat, and photograph them again without moving anything."
    )


def _begun(name: str) -> str:
    """A name at the beginning of a sentence."""
    return name[:1].upper() + name[1:]


def _bent_px(sighting: Sighting, marks: Sequence[int], table: Table, k: int) -> float:
    """How far a page's marks lie from those of a flat page, whatever its place, size and slant (rms) [px]."""
    cv2 = image_library()
    matrix, bent = lens_arrays(table.cameras[k].numbers)
    seen = np.concatenate([sighting.corners_px[m] for m in marks])
    straight = cv2.undistortPoints(seen[:, None], matrix, bent, P=matrix)[:, 0]
    at = np.concatenate([page_of(m).corners_mm(m) for m in marks])
    flat, _ = cv2.findHomography(at, straight)
    return float(np.sqrt(np.mean((cv2.perspectiveTransform(at[:, None], flat)[:, 0] - straight) ** 2)))
