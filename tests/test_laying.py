"""Drawings of how to lay pieces and pages: what they show holds the rules that they teach."""

import numpy as np
import pytest

from bendcal.fiducials import SIDE_MM, reference_page
from bendcal.figures import Picture, laying, laying_pages
from bendcal.figures.paper import MM_PER_INCH
from bendcal.path import bent_centreline, legs_from_nodes


def on_page(points: np.ndarray, at: tuple[float, float], turned_deg: float) -> np.ndarray:
    """Places of the table as places of a page."""
    turn = np.radians(turned_deg)
    return (points - at) @ np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])


def test_the_drawn_pages_are_the_printed_ones() -> None:
    """Size, marks and their places are those of an A4 reference page."""
    page = reference_page("a4", 2)
    assert page.size_mm == laying_pages._PAGE_MM and laying_pages._SIDE_MM == SIDE_MM
    assert sorted(page.marks_mm.values()) == sorted(laying_pages._MARKS_MM)


def test_the_drawn_tube_lies_as_the_words_say() -> None:
    """Every part of it on some page, none nearer than 3 mm to a mark that lies on top; it reaches from page 1 to page 3."""
    flat = np.column_stack([np.array(laying_pages._TUBE_MM), np.zeros(len(laying_pages._TUBE_MM))])
    corners = bent_centreline(legs_from_nodes(flat), laying_pages._RADIUS_MM, nodes_mm=flat).points_mm[:, :2]
    walk = np.concatenate([np.linspace(a, b, 50) for a, b in zip(corners[:-1], corners[1:], strict=True)])
    top, room = np.full(len(walk), -1), laying_pages._HALF_MM + 3
    for k, (at, turned) in enumerate(laying_pages._LAID):
        own = on_page(walk, at, turned)
        top[((own > 0) & (own < laying_pages._PAGE_MM)).all(axis=1)] = k
        for corner in laying_pages._MARKS_MM:
            over = ((own > np.array(corner) - room) & (own < np.array(corner) + SIDE_MM + room)).all(axis=1)
            assert not over.any(), (k + 1, corner)
    assert set(top) == {0, 1, 2}


def test_each_page_lies_five_to_ten_millimetres_over_the_one_before() -> None:
    """At the top and at the foot of every pair's edges."""
    for (at, turned), (next_at, next_turned) in zip(laying_pages._LAID[:-1], laying_pages._LAID[1:], strict=True):
        turn = np.radians(next_turned)
        edge = next_at + np.outer([20.0, 270.0], [-np.sin(turn), np.cos(turn)])
        assert (210.0 - on_page(edge, at, turned)[:, 0] == pytest.approx(7.5, abs=2.5)), turned


@pytest.mark.parametrize("drawn", [laying.how_to_lay, laying_pages.how_to_lay_pages])
def test_all_words_stand_on_the_sheet(drawn) -> None:
    """No text runs over the sheet's edges; the same in words."""
    picture: Picture = drawn()
    renderer = picture.canvas.get_renderer() if hasattr(picture.canvas, "get_renderer") else None
    sheet = picture.get_size_inches() * picture.dpi
    for text in picture.axes[0].texts:
        box = text.get_window_extent(renderer)
        assert box.x0 >= 0 and box.y0 >= 0 and box.x1 <= sheet[0] and box.y1 <= sheet[1], text.get_text()
    assert sheet[0] / picture.dpi * MM_PER_INCH == pytest.approx(216.0) and len(picture.alt) > 100
