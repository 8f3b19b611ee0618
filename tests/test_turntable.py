"""The line to be turned: its scene as numbers, and a page that holds all that it needs."""

import html
import json
import re
from dataclasses import replace
from pathlib import Path

import a_line
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import bendcal
from bendcal.bodies import Obstacle
from bendcal.clearance import obstacle_clearances
from bendcal.landing import landing_of
from bendcal.lines import line_from_legs
from bendcal.solids import Solid
from bendcal.supports import supports_for
from bendcal.turntable import line_scene, turntable
from bendcal.turntable.meshes import faces_of, outline_of, revolved

ROOT = Path(__file__).resolve().parent.parent
BOX = Solid("box", (5, -3, 8), (45, 30, -20), width_mm=30, height_mm=12, turn_deg=25)
CYLINDER = Solid("cylinder", (5, -3, 8), (45, 30, -20), diameter_mm=30)
CAPSULE = Solid("capsule", (5, -3, 8), (45, 30, -20), diameter_mm=30)
BALL = Solid("sphere", (5, -3, 8), diameter_mm=30)
WALL = Solid("wall", (0, 0, -20), (0, 10, -10))
LONG = float(np.linalg.norm([40, 33, -28]))
NEAR = {"near_mm": (10.0, 20.0, 30.0), "reach_mm": 80.0}


@pytest.fixture(scope="module")
def sheet():
    """The marks of a line with six bends, nuts at both ends."""
    ends = {"M10": bendcal.ends.End("M10", "double flare", 5.0, 0.4, 32.0), "olive": bendcal.ends.End("olive", "olive", 6.0)}
    return bendcal.mark_out(replace(a_line.SHOP, ends=ends), a_line.CAL, replace(a_line.line(), end_a="M10", end_b="olive"))


def volume(faces: np.ndarray) -> float:
    """What closed faces enclose, by the divergence theorem: below 0 where they face inwards."""
    a, b, c, d = np.moveaxis(faces, 1, 0)
    return float(np.sum(np.einsum("ij,ij->i", a, np.cross(b, c)) + np.einsum("ij,ij->i", a, np.cross(c, d))) / 6)


@pytest.mark.parametrize(
    ("solid", "true"),
    [(BOX, 30 * 12 * LONG), (CYLINDER, np.pi * 15**2 * LONG), (CAPSULE, np.pi * 15**2 * LONG + 4 / 3 * np.pi * 15**3), (BALL, 4 / 3 * np.pi * 15**3)],
    ids=["box", "cylinder", "capsule", "sphere"],
)
def test_the_faces_of_a_body_enclose_it_and_look_outwards(solid: Solid, true: float) -> None:
    """Their volume is the body's, less what flat faces cut off a round one; every corner lies on the body."""
    faces = faces_of(solid, **NEAR)
    assert (1.0 if solid is BOX else 0.93) * true <= volume(faces) * (1 + 1e-9) <= true * (1 + 1e-6)
    assert solid.distance_mm(faces.reshape(-1, 3)).max() < 1e-9
    assert solid.distance_mm(faces.mean(axis=1) + 0.3 * _normals(faces)).min() > 0  # outwards


def _normals(faces: np.ndarray) -> np.ndarray:
    normal = np.cross(faces[:, 2] - faces[:, 0], faces[:, 3] - faces[:, 1])
    # Two millimetres outwards leave even a flat face of a round body.
    return 5 * normal / np.linalg.norm(normal, axis=1)[:, None]


def test_of_a_wall_the_part_near_the_line_is_drawn() -> None:
    """Its faces lie in it, about the foot of the line's middle."""
    faces = faces_of(WALL, **NEAR)
    assert np.abs(WALL.distance_mm(faces.reshape(-1, 3))).max() < 1e-9
    foot = np.array(NEAR["near_mm"]) - WALL.distance_mm([NEAR["near_mm"]]) * WALL.axes[0]
    assert np.allclose(faces.reshape(-1, 3).mean(axis=0), foot)
    points, radius = outline_of(WALL, keep_mm=7.0, **NEAR)
    assert radius == 0 and np.allclose(WALL.distance_mm(points), 7.0)


@given(st.integers(0, 10_000), st.sampled_from([BOX, CYLINDER, CAPSULE, BALL]), st.floats(0.0, 60.0))
def test_an_outline_goes_round_all_that_is_too_near(seed: int, solid: Solid, keep: float) -> None:
    """In any direction points and radius reach as far as the body's farthest point and the distance to keep."""
    way = np.random.default_rng(seed).normal(size=3)
    way /= np.linalg.norm(way)
    points, radius = outline_of(solid, keep_mm=keep, **NEAR)
    reach = (points @ way).max() + radius
    farthest = (faces_of(solid, **NEAR).reshape(-1, 3) @ way).max() + keep
    assert farthest - 1e-9 <= reach <= farthest + 0.4  # faces of a round body lie a little inside it


def test_a_turned_part_is_as_long_and_thick_as_its_profile() -> None:
    """A hexagon's corners lie on its radius, at the profile's places along the axis."""
    nut = revolved((1, 2, 3), (0, 0, -2), [(0, 5), (12, 5)], sides=6).reshape(-1, 3) - [1, 2, 3]
    assert np.allclose(np.hypot(nut[:, 0], nut[:, 1]), 5) and set(nut[:, 2].round(9)) == {0.0, -12.0}


def test_the_scene_holds_all_of_the_line_where_it_is(sheet) -> None:
    """Ends, bends, fittings, clips on the centreline, its own obstacle and not another line's, an ellipsoid at each end."""
    mine = Obstacle("exhaust", CYLINDER, 20.0, "hot", "long")
    scene = line_scene(
        sheet, obstacles=[mine, replace(mine, line="other"), Obstacle("floor", WALL)], supports=supports_for(sheet, spacing_mm=250.0),
        landings=[landing_of(sheet, end=end) for end in "AB"], sentences=["Said as well."],
    )  # fmt: skip
    nodes = sheet.line.corner_nodes_mm
    assert np.allclose(scene.points_mm[[0, -1]], nodes[[0, -1]])
    assert [(t.kind, t.text) for t in scene.tags[:8]] == [("end", "A"), ("end", "B"), *(("bend", str(k)) for k in range(1, 7))]
    names = [body.name for body in scene.bodies]
    assert names[:6] == ["double flare at end A", "nut at end A", "olive at end B", "nut at end B", "exhaust", "floor"]
    for body, seat in zip(scene.bodies[:4], nodes[[0, 0, -1, -1]], strict=True):
        assert np.linalg.norm(body.faces_mm.reshape(-1, 3) - seat, axis=1).min() < 1.2 * scene.od_mm
    assert [(keep.name, keep.radius_mm) for keep in scene.keep_aways] == [("exhaust", 20.0)]
    clips = [body for body in scene.bodies if body.kind == "clip"]
    assert clips and len(clips) == len(supports_for(sheet, spacing_mm=250.0).clips)
    for clip in clips:
        assert _distance(clip.faces_mm.reshape(-1, 3).mean(axis=0), scene.points_mm) < 0.05
    assert [each.name for each in scene.ellipsoids] == ["end A", "end B"]
    for each, seat in zip(scene.ellipsoids, nodes[[0, -1]], strict=True):
        landing = landing_of(sheet, end=each.name[-1])
        assert np.allclose(each.at_mm, seat)
        assert np.allclose(each.axes_mm.T @ each.axes_mm, 7.815 * landing.covariance_mm2, rtol=1e-3)  # χ²(3) at 95 %: 7.815
    told = " ".join(scene.sentences)
    assert "Bend 1: 90°. Then 90 mm to the corner of bend 2." in told and "end A will fall within" in told and told.endswith("Said as well.")
    assert "an olive end" in told
    assert np.linalg.norm(scene.points_mm - scene.centre_mm, axis=1).max() < scene.reach_mm


def _distance(point: np.ndarray, way: np.ndarray) -> float:
    """From a point to a row of straight steps."""
    start, step = way[:-1], np.diff(way, axis=0)
    share = np.clip(np.einsum("ij,ij->i", point - start, step) / np.einsum("ij,ij->i", step, step), 0, 1)
    return float(np.linalg.norm(start + share[:, None] * step - point, axis=1).min())


def test_a_nut_is_no_longer_than_the_straight_behind_its_seat(sheet) -> None:
    """On a short straight it is drawn shorter, and where there is none, left out."""
    for room, longest in ((40.0, 3.7 * 4.76), (10.0, 10.0)):
        short = replace(sheet, straights_mm=np.full(7, room))
        nut = next(body for body in line_scene(short).bodies if body.name == "nut at end A")
        along = (nut.faces_mm.reshape(-1, 3) - sheet.line.corner_nodes_mm[0]) @ [1.0, 0.0, 0.0]
        assert along.max() == pytest.approx(longest)
    assert "nut at end A" not in [body.name for body in line_scene(replace(sheet, straights_mm=np.full(7, 4.0))).bodies]


def test_an_ends_landing_is_that_of_the_line_trimmed_there() -> None:
    """Asked for end A, it is what a sheet trimmed at A tells."""
    sheets = {end: bendcal.mark_out(a_line.SHOP, a_line.CAL, a_line.line(trim_at=end)) for end in "AB"}
    for end, other in (("A", "B"), ("B", "A")):
        mine, its = landing_of(sheets[other], end=end), landing_of(sheets[end])
        assert np.allclose(mine.covariance_mm2, its.covariance_mm2) and np.allclose(mine.place_mm, its.place_mm)
        assert f"end {end} will fall" in mine.sentence


def test_the_page_is_complete_in_itself(tmp_path: Path, sheet) -> None:
    """No address, no file and no module from elsewhere; its numbers are the scene's, whatever a name holds; saved it is the same."""
    nasty = Obstacle("</script><b>&", CAPSULE, 20.0, "hot")
    made = turntable(sheet, obstacles=[nasty])
    page = made.html()
    assert not re.search(r"https?:|src=|href=|url\(|import[ (]|fetch\(|@import", page)
    numbers = re.search(r'<script id="scene" type="application/json">(.*?)</script>', page, re.DOTALL)[1]
    assert json.loads(numbers) == made.scene.numbers()
    assert nasty.obstacle in [tag["text"] for tag in json.loads(numbers)["tags"]]
    assert page.count("</script>") == 2
    assert made.save(tmp_path / "line.html").read_text(encoding="utf-8") == page


def test_a_notebook_gets_the_page_a_still_picture_and_words(sheet) -> None:
    """The frame holds the whole page; the PNG stands in where frames are dropped."""
    made = turntable(sheet)
    bundle = made._repr_mimebundle_()
    parts = re.fullmatch(r'<img src="data:image/png;base64,([^"]*)" alt="long: [^"]*"><iframe srcdoc="([^"]*)" title="[^"]*" style="[^"]*"></iframe>', bundle["text/html"])
    assert html.unescape(parts[2]) == made.html()
    assert parts[1] == bundle["image/png"] and parts[1].startswith("iVBORw0KGgo")
    assert bundle["text/plain"] == "<Turntable: long: the bent line with its 6 bends from the front, above, the side and three-quarter.>"


def test_every_line_of_the_sample_can_be_turned() -> None:
    """Its page is small, and what the clearances say stands in it."""
    shop = bendcal.read_shop(ROOT / "sample_measurements")
    cal = bendcal.calibrate(shop)
    for name in shop.lines:
        clear = obstacle_clearances(shop, cal, name)
        page = turntable(bendcal.mark_out(shop, cal, name), obstacles=shop.obstacles, clearances=clear).html()
        assert len(page) < 150_000 and html.escape(clear.sentence) in page
        for label in filter(None, shop.line(name).labels):
            assert html.escape(label) in page


def test_a_straight_tube_has_no_uncertain_end() -> None:
    """Without a bend nothing is shown to go wrong."""
    straight = bendcal.mark_out(a_line.SHOP, a_line.CAL, line_from_legs("rod", [100.0], [], [], tube="steel", bender="small"))
    made = turntable(straight)
    assert made.scene.ellipsoids == () and len(made.scene.tags) >= 2


def test_an_installed_copy_has_the_pages_parts() -> None:
    """What the builder packs holds script and style beside the modules."""
    from flit_core.common import Module

    packed = {Path(path).name for path in Module("bendcal", ROOT).iter_files()}
    assert {"turntable.js", "turntable.css"} <= packed
