"""The eight square marks of a reference page: where they are printed, and their patterns.

The patterns are the first ones of the dictionary ``DICT_4X4_100`` of OpenCV's aruco module (source: the library itself,
read; a test holds them to it), the first fifty of them those of ``DICT_4X4_50``: a black border one cell wide round 4 × 4
cells. Every page of A4 and of Letter has marks of its own, so that a picture tells which paper and which page it shows.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

__all__ = ["MOST_PAGES", "SIDE_MM", "ReferencePage", "cells", "reference_page", "reference_pages"]

SIDE_MM = 18.0
MOST_PAGES = 6  # of a paper
_PER_PAGE = 8
_SIZES_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
_EDGE_MM, _FOOT_MM = 12.0, 24.0  # from the paper's edges to the marks
_GAP_MM = 4.0  # from the marks to the frame that the pieces lie in
#: 4 × 4 cells, row by row from the top, as bits: 1 white.
_PATTERNS = (
    0xB532, 0x0F9A, 0x332D, 0x9946, 0x549E, 0x79CD, 0x9E2E, 0xC4F2, 0xFEDA, 0xCF56, 0xF991, 0x11A7,
    0x0EB7, 0x2A0F, 0x24B1, 0x263E, 0x4665, 0x6600, 0x6C5E, 0x76AF, 0x868B, 0xB02B, 0xCCD5, 0xDD82,
    0xFE47, 0x9471, 0xACE4, 0xA554, 0x2123, 0x346F, 0x4415, 0x57B2, 0x9ECF, 0xF0CB, 0x08AE, 0x0929,
    0x1875, 0x04FF, 0x0DF6, 0x1C5A, 0x1718, 0x2A28, 0x328C, 0x38B2, 0x24E8, 0x2EEB, 0x2D3F, 0x4B64,
    0x502E, 0x5013, 0x5194, 0x5568, 0x5D41, 0x5F97, 0x6801, 0x6867, 0x6124, 0x61E9, 0x6B12, 0x6FE5,
    0x67DF, 0x7E1B, 0x80A0, 0x8344, 0x8BA2, 0x937A, 0x846C, 0x852A, 0x859C, 0x9C89, 0x9FA1, 0xBB7C,
    0xBC04, 0xB65B, 0xBFC8, 0xB7AB, 0xCA1F, 0xC962, 0xD958, 0xD3D5, 0xCC98, 0xC7A0, 0xC537, 0xE95D,
    0xF925, 0xFBBB, 0xEE2A, 0xF74D, 0x3575, 0x8AAD, 0x7617, 0x0ACF, 0x064B, 0x2DC1, 0x49D8, 0x43F4,
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class ReferencePage:
    """A reference page: millimetres from its top left corner, x to the right, y down.

    Parameters
    ----------
    paper : ``"a4"`` or ``"letter"``
    size_mm : (width, height)
    marks_mm : number of the mark → its top left corner
    frame_mm : (left, top, right, bottom) of the frame that the pieces lie in
    number : of the page, from 1
    words_mm : (left, top, right, bottom) of the places where words and lines may be printed
    """

    paper: str
    size_mm: tuple[float, float]
    marks_mm: dict[int, tuple[float, float]]
    frame_mm: tuple[float, float, float, float]
    number: int = 1
    words_mm: tuple[tuple[float, float, float, float], ...] = ()

    def __str__(self) -> str:
        return f"page {self.number} ({'A4' if self.paper == 'a4' else self.paper.title()})"

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


def reference_page(paper: str, number: int = 1) -> ReferencePage:
    """The reference page for a paper.

    Parameters
    ----------
    paper : ``"a4"`` or ``"letter"``
    number : of the page, from 1 to 6

    Raises
    ------
    ValueError : for another paper or number

    Examples
    --------
    >>> reference_page("a4").frame_mm
    (34.0, 34.0, 176.0, 251.0)
    >>> min(reference_page("letter", 2).marks_mm), str(reference_page("letter", 2))
    (24, 'page 2 (Letter)')
    """
    if paper not in _SIZES_MM:
        raise ValueError(f"paper is {paper!r}; it must be one of {', '.join(_SIZES_MM)}.")
    if number not in range(1, MOST_PAGES + 1):
        raise ValueError(f"There is no reference page {number!r}; they are numbered 1 to {MOST_PAGES}.")
    width, height = _SIZES_MM[paper]
    left, top, right, bottom = _EDGE_MM, _EDGE_MM, width - _EDGE_MM - SIDE_MM, height - _FOOT_MM - SIDE_MM
    middle, centre = (left + right) / 2, (top + bottom) / 2
    places = [(left, top), (middle, top), (right, top), (right, centre), (right, bottom), (middle, bottom), (left, bottom), (left, centre)]
    first = _PER_PAGE * (len(_SIZES_MM) * (number - 1) + list(_SIZES_MM).index(paper))
    inset = SIDE_MM + _GAP_MM
    frame = tuple(round(v, 6) for v in (left + inset, top + inset, right - _GAP_MM, bottom - _GAP_MM))
    gap, below = 2.5, top + SIDE_MM + 3.0
    words = (
        (left + SIDE_MM + gap, top - 3.0, middle - gap, below), (middle + SIDE_MM + gap, top - 3.0, right - gap, below),
        (left - 1.5, height - _FOOT_MM + gap, width - _EDGE_MM + 1.5, height - 2.5),
    )  # fmt: skip
    return ReferencePage(paper, (width, height), {first + k: place for k, place in enumerate(places)}, frame, number, words)


def reference_pages() -> tuple[ReferencePage, ...]:
    """All of them, in the order of their marks."""
    return tuple(reference_page(paper, number) for number in range(1, MOST_PAGES + 1) for paper in _SIZES_MM)
