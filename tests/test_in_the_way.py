"""Drawings of what stands in the way: outlines where the bodies are, at one scale, nothing off the paper."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from matplotlib.colors import to_hex
from matplotlib.patches import Polygon

import bendcal
from bendcal.bodies import BenderBody, Obstacle
from bendcal.figures.in_the_way import bender_bodies, line_and_obstacles
from bendcal.solids import Solid
from tests.drawing import collisions, line, off_page, texts

SAMPLE = Path(__file__).resolve().parent.parent / "sample_measurements"


def body(name: str, *how, moves: str = "die", **sizes) -> BenderBody:
    """A body of the bender."""
    return BenderBody("small", name, Solid(*how, **sizes), moves=moves)


def outlines(picture) -> list[np.ndarray]:
    """The outlines of what stands still [mm of paper]."""
    return [patch.get_xy() for ax in picture.axes for patch in ax.patches if isinstance(patch, Polygon) and to_hex(patch.get_facecolor()) == "#ececec"]


@pytest.mark.parametrize("shape", ["box", "cylinder", "capsule", "sphere"])
def test_an_outline_is_as_large_as_its_body_is_seen(shape: str) -> None:
    """A body 60 long along x, 20 wide and high, its outline from above and from the front: 60 by 20 (80 by 20 with round ends, 20 by 20 of a sphere)."""
    sizes = {"width_mm": 20.0, "height_mm": 20.0} if shape == "box" else {"diameter_mm": 20.0}
    one = body("it", shape, (40, 50, 30), None if shape == "sphere" else (100, 50, 30), **sizes)
    picture = bender_bodies([one], die_radius_mm=15, od_mm=5)
    wide = {"box": 60, "cylinder": 60, "capsule": 80, "sphere": 20}[shape]
    shapes = outlines(picture)
    assert len(shapes) == 2
    bar = next(np.ptp(drawn.get_xdata()) for drawn in picture.axes[0].lines if drawn.get_linewidth() == 1.1) / 100.0  # of 100 mm
    for xy in shapes:
        assert np.ptp(xy, axis=0) / bar == pytest.approx([wide, 20], rel=1e-2)


def test_a_wall_is_a_line_where_it_is_seen_along_its_face() -> None:
    """A bench is a line from the front and nothing from above; a wall behind the bender is a line in both."""
    drawn = []
    for wall in (body("bench", "wall", (0, 0, -60), (0, 0, 0)), body("wall", "wall", (-150, 0, 0), (0, 0, 0))):
        picture = bender_bodies([wall], die_radius_mm=15, od_mm=5)
        drawn.append([text.get_text() for text in texts(picture.axes[0])].count(wall.body))
    assert drawn == [1, 2]


def test_the_samples_pictures_are_whole() -> None:
    """No words off the paper or over one another; every body is named in the words for those who do not see it."""
    shop = bendcal.read_shop(SAMPLE)
    for bender in shop.benders:
        own = [one for one in shop.bodies if one.bender == bender]
        picture = bender_bodies(own, die_radius_mm=shop.benders[bender].die_radius_mm, od_mm=6.0)
        assert off_page(picture, texts(picture.axes[0])) == [] and collisions(picture, texts(picture.axes[0])) == []
        assert all(one.body in picture.alt for one in own)
    for name in shop.lines:
        picture = line_and_obstacles(shop.line(name), shop.obstacles, radius_mm=20.0, od_mm=5.0)
        assert off_page(picture, texts(picture.axes[0])) == []
        assert all(one.obstacle in picture.alt for one in shop.obstacles if one.line == name)


def test_what_belongs_to_another_line_is_not_drawn() -> None:
    """Only obstacles of this line and of every line."""
    near = Obstacle("near", Solid("sphere", (50, 50, 0), diameter_mm=20))
    picture = line_and_obstacles(line("two"), [near, replace(near, obstacle="other", line="elsewhere")], radius_mm=15.0, od_mm=5.0)
    assert "near" in picture.alt and "other" not in picture.alt
    assert "no obstacle yet" in line_and_obstacles(line("two"), [], radius_mm=15.0, od_mm=5.0).alt
    assert "none yet" in bender_bodies([], die_radius_mm=15, od_mm=5).alt
