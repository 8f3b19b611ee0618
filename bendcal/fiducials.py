"""The eight square marks of a reference page: where they are printed, and their patterns.

The patterns are the first ones of the dictionary ``DICT_4X4_50`` of OpenCV's aruco module (source: the library itself,
read; a test holds them to it): a black border one cell wide round 4 × 4 cells. A4 and Letter have marks of
their own, so that a picture tells which paper it shows.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

__all__ = ["SIDE_MM", "ReferencePage", "cells", "reference_page", "reference_pages"]

SIDE_MM = 18.0
_SIZES_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
_EDGE_MM, _FOOT_MM = 12.0, 24.0  # from the paper's edges to the marks
_GAP_MM = 4.0  # from the marks to the frame that the pieces lie in
#: 4 × 4 cells, row by row from the top, as bits: 1 white.
_PATTERNS = (
    0xB532, 0x0F9A, 0x332D, 0x9946, 0x549E, 0x79CD, 0x9E2E, 0xC4F2,
    0xFEDA, 0xCF56, 0xF991, 0x11A7, 0x0EB7, 0x2A0F, 0x24B1, 0x263E,
)  # fmt: skip


@dataclass(frozen=True)
class ReferencePage:
    """A reference page: millimetres from its top left corner, x to the right, y down.

    Parameters
    ----------
    paper : ``"a4"`` or ``"letter"``
    size_mm : (width, height)
    marks_mm : number of the mark → its top left corner
    frame_mm : (left, top, right, bottom) of the frame that the pieces lie in
    """

    paper: str
    size_mm: tuple[float, float]
    marks_mm: dict[int, tuple[float, float]]
    frame_mm: tuple[float, float, float, float]

    def corners_mm(self, number: int) -> np.ndarray:
        """(4, 2) corners of a mark, clockwise from its top left [mm]."""
        x, y = self.marks_mm[number]
        return np.array([(x, y), (x + SIDE_MM, y), (x + SIDE_MM, y + SIDE_MM), (x, y + SIDE_MM)])


def cells(number: int) -> np.ndarray:
    """(6, 6) cells of a mark, from the top left: True white.

    Parameters
    ----------
    number : of the mark

    Examples
    --------
    >>> cells(0)[1:5, 1:5].astype(int).tolist()
    [[1, 0, 1, 1], [0, 1, 0, 1], [0, 0, 1, 1], [0, 0, 1, 0]]
    """
    bits = [bool(_PATTERNS[number] >> (15 - k) & 1) for k in range(16)]
    return np.pad(np.array(bits).reshape(4, 4), 1)


def reference_page(paper: str) -> ReferencePage:
    """The reference page for a paper.

    Parameters
    ----------
    paper : ``"a4"`` or ``"letter"``

    Raises
    ------
    ValueError : for another paper

    Examples
    --------
    >>> reference_page("a4").frame_mm
    (34.0, 34.0, 176.0, 251.0)
    """
    if paper not in _SIZES_MM:
        raise ValueError(f"paper is {paper!r}; it must be one of {', '.join(_SIZES_MM)}.")
    width, height = _SIZES_MM[paper]
    left, top, right, bottom = _EDGE_MM, _EDGE_MM, width - _EDGE_MM - SIDE_MM, height - _FOOT_MM - SIDE_MM
    middle, centre = (left + right) / 2, (top + bottom) / 2
    places = [(left, top), (middle, top), (right, top), (right, centre), (right, bottom), (middle, bottom), (left, bottom), (left, centre)]
    first = 8 * list(_SIZES_MM).index(paper)
    inset = SIDE_MM + _GAP_MM
    frame = tuple(round(v, 6) for v in (left + inset, top + inset, right - _GAP_MM, bottom - _GAP_MM))
    return ReferencePage(paper, (width, height), {first + k: place for k, place in enumerate(places)}, frame)


def reference_pages() -> tuple[ReferencePage, ...]:
    """All of them."""
    return tuple(reference_page(paper) for paper in _SIZES_MM)
