"""Which photos and pages hang together by the pages that photos share, and about where everything is: what the adjustment begins with."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from bendcal.scan.camera import Camera, camera_near
from bendcal.scan.sighting import PageNotFound, Sighting, page_of
from bendcal.scan.table import PlacedPage, Start

__all__ = ["LEAST_OF_A_PAGE", "begun", "clear_pages", "spelled", "unproved"]

LEAST_OF_A_PAGE = 4  # marks, where other pages hold the camera too
_LEAST_OF_A_PHOTO = 6


def clear_pages(sightings: Sequence[Sighting]) -> dict[str, list[int]]:
    """Pages that can be placed, and the photos that show at least four of their marks, in the order of their numbers.

    Parameters
    ----------
    sightings : what each photo shows

    Raises
    ------
    PageNotFound : where a page is there twice, a photo shows too little, or photos do not hang together
    """
    for s in sightings:
        if s.twice:
            names = spelled(dict.fromkeys(str(page_of(m)) for m in s.twice))
            raise PageNotFound(f'"{s.name}": two prints of {names} are in the picture. Each page may lie on the table only once; take one of them away.')
    shown: dict[str, list[int]] = {}
    for k, s in enumerate(sightings):
        clear = [page for page, marks in s.marks().items() if len(marks) >= LEAST_OF_A_PAGE]
        if not clear or sum(len(s.marks()[page]) for page in clear) < _LEAST_OF_A_PHOTO:
            seen = "; ".join(f"{len(marks)} of {page}" for page, marks in s.marks().items()) or "none"
            raise PageNotFound(
                f'"{s.name}": of eight marks a page, these can be made out: {seen}. At least {LEAST_OF_A_PAGE} of a page are needed, and {_LEAST_OF_A_PHOTO} in all. '
                "Photograph the pages from above, sharp, whole pages rather than parts, and lay the tube between the marks."
            )
        for page in clear:
            shown.setdefault(page, []).append(k)
    pages = {page: shown[page] for page in sorted(shown, key=lambda name: min(page_of(m).number for m in _marks_of(name, sightings)))}
    groups = _groups(pages, len(sightings))
    if len(groups) > 1:
        parts = [f'{spelled(p for p in pages if set(pages[p]) & group)} in {spelled(f"“{sightings[k].name}”" for k in sorted(group))}' for group in groups]
        raise PageNotFound(
            f"The photos do not hang together: {'; '.join(parts)}. No page is clearly in both. Take one more photo that shows a page of each, and move nothing before."
        )
    return pages


def begun(sightings: Sequence[Sighting], pages: Mapping[str, list[int]], scale: Mapping[str, float]) -> Start:
    """About where pages and cameras are, from page to photo to page.

    Parameters
    ----------
    sightings : what each photo shows
    pages : as :func:`clear_pages` has them; the first one is where the table begins
    scale : name of each page → what its 100 mm line measures over 100 mm
    """
    datum = next(iter(pages))
    placed = {datum: PlacedPage(next(page_of(m) for m in _marks_of(datum, sightings)), stretch=(scale[datum],) * 2)}
    cameras: dict[int, np.ndarray] = {}
    while len(cameras) < len(sightings):
        k = max((k for k in range(len(sightings)) if k not in cameras), key=lambda k: sum(_held(sightings[k], placed, pages, k).values()))
        held = _held(sightings[k], placed, pages, k)
        marks = [m for m in sightings[k].corners_px if str(page_of(m)) in held]
        at = np.concatenate([placed[str(page_of(m))].on_table(page_of(m).corners_mm(m)) for m in marks])
        seen = np.concatenate([sightings[k].corners_px[m] for m in marks])
        cameras[k] = camera_near(at, seen, sightings[k].size_px, film_mm=sightings[k].film_mm)
        view = Camera(cameras[k], np.zeros((10, 10)), 0.0)
        for page in (p for p in pages if k in pages[p] and p not in placed):
            marks = sightings[k].marks()[page]
            there = view.on_page(np.concatenate([sightings[k].corners_px[m] for m in marks]))
            whole = PlacedPage(page_of(marks[0]), stretch=(scale[page],) * 2)
            placed[page] = _laid(whole, np.concatenate([whole.on_table(whole.page.corners_mm(m)) for m in marks]), there)
    return Start(tuple(cameras[k] for k in range(len(sightings))), {page: placed[page] for page in pages})


def unproved(sightings: Sequence[Sighting]) -> list[str]:
    """Pages that alone hold photos together: had one been moved between them, no mark could show it.

    Parameters
    ----------
    sightings : what each photo shows
    """
    pages = clear_pages(sightings)
    alone = []
    for page, shown in pages.items():
        groups = _groups({name: k for name, k in pages.items() if name != page}, len(sightings))
        if sum(bool(group & set(shown)) for group in groups) > 1:
            alone.append(page)
    return alone


def spelled(names: Iterable[str]) -> str:
    """Names in a row: "a, b and c".

    Parameters
    ----------
    names : the names

    Examples
    --------
    >>> spelled(["a", "b", "c"])
    'a, b and c'
    """
    *most, last = list(names)
    return f"{', '.join(most)} and {last}" if most else last


def _held(sighting: Sighting, placed: Mapping[str, PlacedPage], pages: Mapping[str, list[int]], k: int) -> dict[str, int]:
    """The placed pages that a photo clearly shows, and how many marks of each."""
    return {page: len(marks) for page, marks in sighting.marks().items() if page in placed and k in pages[page]}


def _laid(page: PlacedPage, at: np.ndarray, there: np.ndarray) -> PlacedPage:
    """The page turned and shifted so that its points come to lie there (Procrustes, in the plane)."""
    a, b = at - at.mean(axis=0), there - there.mean(axis=0)
    turn = float(np.arctan2((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum(), (a * b).sum()))
    turned = replace(page, turn=turn)
    x, y = there.mean(axis=0) - turned.turned @ at.mean(axis=0)
    return replace(turned, x_mm=float(x), y_mm=float(y))


def _marks_of(name: str, sightings: Sequence[Sighting]) -> list[int]:
    return [m for s in sightings for m in s.corners_px if str(page_of(m)) == name]


def _groups(pages: Mapping[str, list[int]], photos: int) -> list[set[int]]:
    """Photos that hang together by pages that they share."""
    groups: list[set[int]] = [{k} for k in range(photos)]
    for shown in pages.values():
        joined = [g for g in groups if g & set(shown)]
        groups = [g for g in groups if not g & set(shown)] + [set().union(*joined)]
    return sorted(groups, key=min)
