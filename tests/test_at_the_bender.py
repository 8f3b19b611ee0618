"""Pictures of the tube in the bender: they show what the plan, the marks and the scene say."""

import io
from pathlib import Path

import a_line
import matplotlib
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.colors import to_hex
from matplotlib.patches import Circle, Polygon
from pypdf import PdfReader
from scipy import stats

import bendcal
from bendcal.bodies import BenderBody
from bendcal.feasible.planning import plan_bending
from bendcal.feasible.plans import Plan, PlanStep
from bendcal.feasible.scenes import scene_of
from bendcal.feasible.stroke import workpiece_of
from bendcal.figures import at_the_bender, twist_clock
from bendcal.figures.bender_view import bender_view
from bendcal.figures.paper import INK
from bendcal.path import wrap_deg
from bendcal.plan_report import plan_table
from bendcal.printing.bending_pages import bending_pdf, lay_out_bending
from bendcal.sheets import save_bending
from bendcal.solids import Solid
from bendcal.working import work_steps
from tests.drawing import boxes, collisions, texts

SAMPLE = Path(__file__).resolve().parent.parent / "sample_measurements"
SHEET = bendcal.mark_out(a_line.SHOP, a_line.CAL, a_line.line())


def plan_for(sheet, order, feed) -> Plan:
    """A plan in this order, `feed` the leading ends in it, whatever stands in its way."""
    along = tuple(end for _, end in sorted(zip(order, feed, strict=True)))
    work = work_steps(sheet.legs.twist_deg, order, along)
    return Plan(tuple(order), along, float("inf"), tuple(PlanStep(one, float("inf"), "", float("nan")) for one in work))


@settings(max_examples=25)
@given(st.permutations(range(1, 7)), st.lists(st.sampled_from("AB"), min_size=6, max_size=6))
def test_the_clock_is_how_the_tube_lies_in_the_bender(order: list[int], feed: list[str]) -> None:
    """Where bend 1 is made and the next straight held or swung, end A leans to where the clock has the line; the mark is on the reference."""
    plan = plan_for(SHEET, order, feed)
    sheet = bendcal.mark_out(a_line.SHOP, a_line.CAL, a_line.line(), feed=plan.feed)
    piece = workpiece_of(sheet)
    made: set[int] = set()
    for k, step in enumerate(plan.steps, start=1):
        view = bender_view(piece, sheet, plan, k)
        assert view.mark_x_mm == pytest.approx(-float(sheet.law.parameters["mark_offset_mm"]))
        if 1 in made and not made & set(range(2, step.bend)) and step.bend > 1:
            scene = scene_of(piece, plan, k, stroke_deg=0.0)
            half = scene.held_mm if step.feed == "A" else scene.swung_mm
            off = half[-1] - [0.0, -piece.die_radius_mm, 0.0]
            right = off[2] if step.feed == "A" else -off[2]  # seen from A towards B, the side it bends to at the top
            assert float(wrap_deg(np.degrees(np.arctan2(right, off[1])) - view.line_deg)) == pytest.approx(0, abs=0.06)
        if view.before_deg is not None:
            assert float(wrap_deg(view.before_deg + step.turn_deg - view.line_deg)) == pytest.approx(0, abs=0.11)
        made.add(step.bend)


def test_what_is_drawn_is_the_scene_with_long_straights_shortened() -> None:
    """Short straights and arcs keep their shape; each break stands for a straight longer than three and a half die radii."""
    plan = plan_for(SHEET, [1, 2, 3, 4, 5, 6], "AAAAAA")
    piece = workpiece_of(SHEET)
    for k in range(1, 7):
        view, scene = bender_view(piece, SHEET, plan, k), scene_of(piece, plan, k, stroke_deg=0.0)
        broken = 0
        for drawn, true in ((view.held_mm, scene.held_mm), (view.swung_mm, scene.swung_mm)):
            one, two = (np.diff(points, axis=0) for points in (drawn, true))
            length, longest = np.linalg.norm(two, axis=1), 3.5 * piece.die_radius_mm
            assert np.allclose(one, two * np.minimum(1, longest / np.maximum(length, 1e-12))[:, None])
            broken += int(np.sum(length > longest))
        assert len(view.breaks_mm) == broken
        assert view.heights_mm == (scene.held_mm[-1, 2], scene.swung_mm[-1, 2])


def test_the_words_are_those_of_the_plans_table() -> None:
    """Each step's turn is told as the table of the plan tells it."""
    shop = bendcal.read_shop(SAMPLE)
    cal = bendcal.calibrate(shop)
    for name in ("brake-far-side", "fuel-feed"):
        plan = plan_bending(shop, cal, name).best
        sheet = bendcal.mark_out(shop, cal, name, feed=plan.feed)
        views = [bender_view(workpiece_of(sheet), sheet, plan, k + 1) for k in range(len(plan.steps))]
        assert [view.turn_words.removeprefix("turn ") for view in views] == list(plan_table(plan).columns["turn the tube first"])


def test_every_step_is_in_the_picture_and_in_its_words() -> None:
    """A cell a step with its mark and dial, the ends' letters, the heights; a turn end for end is said; bodies of other benders are left out."""
    plan = plan_for(SHEET, [1, 2, 3, 6, 5, 4], "AAABBB")
    sheet = bendcal.mark_out(a_line.SHOP, a_line.CAL, a_line.line(), feed=plan.feed)
    rod = Solid("capsule", (-18, 14, 0), (-185, 105, 0), diameter_mm=16)
    bodies = [BenderBody("small", "main handle", rod), BenderBody("other", "not this one", rod), BenderBody("small", "bench", Solid("wall", (0, 0, -75), (0, 0, 0)))]
    picture = at_the_bender.steps(sheet, plan, bodies=bodies)
    texts = [text.get_text() for text in picture.findobj(matplotlib.text.Text)]
    for k, step in enumerate(plan.steps, start=1):
        assert f"Step {k}: bend {step.bend}, end {step.feed} leading" in texts
        assert f"mark at {sheet.mark_mm[step.bend - 1]:.1f} mm on the reference, dial {sheet.dial_deg[step.bend - 1]:.1f}°" in texts
        assert f"step {k}: bend {step.bend}, end {step.feed} leading" in picture.alt
    assert texts.count("A") == texts.count("B") == 6 and texts.count("main handle") == 6
    assert not {"not this one", "bench"} & set(texts)
    assert "end for end" in texts and "end for end; " in picture.alt
    assert picture.png()[1:4] == b"PNG"


def test_no_text_is_cut_off() -> None:
    """All words lie on the paper, in the picture of all steps and of one."""
    shop = bendcal.read_shop(SAMPLE)
    cal = bendcal.calibrate(shop)
    for name in shop.lines:
        plan = plan_bending(shop, cal, name).best
        if plan is None:
            continue
        sheet = bendcal.mark_out(shop, cal, name, feed=plan.feed)
        for picture in (at_the_bender.steps(sheet, plan, bodies=shop.bodies), at_the_bender.one_step(sheet, plan, len(plan.steps))):
            picture.png()
            width, height = picture.get_size_inches() * picture.dpi
            for text in picture.findobj(matplotlib.text.Text):
                if text.get_text():
                    box = text.get_window_extent()
                    assert box.x0 >= 0 and box.y0 >= 0 and box.x1 <= width and box.y1 <= height, (name, text.get_text())


def test_no_label_hides_another_or_an_end() -> None:
    """In the pictures of the sample's lines no words touch other words, a clock's, or the letter of an end; every handle in view keeps its name."""
    shop = bendcal.read_shop(SAMPLE)
    cal = bendcal.calibrate(shop)
    for name in ("brake-far-side", "fuel-feed"):
        plan = plan_bending(shop, cal, name).best
        sheet = bendcal.mark_out(shop, cal, name, feed=plan.feed, order=plan.order)
        picture = at_the_bender.steps(sheet, plan, bodies=shop.bodies)
        picture.set_dpi(300)
        found = texts(picture.axes[0])
        assert collisions(picture, found, touch_mm=0.0) == []
        assert [text.get_text() for text in found].count("lever handle") == sheet.legs.bends
        labels = [text for text in found if text.get_text().endswith((" up", " down", " handle"))]
        discs = [patch for patch in picture.axes[0].patches if isinstance(patch, Circle) and patch.radius == 2.6]
        assert len(discs) == 2 * sheet.legs.bends
        for text, (x0, y0, x1, y1) in zip(labels, boxes(picture, labels), strict=True):
            for disc in discs:
                x, y = disc.center
                assert np.hypot(x - np.clip(x, x0, x1), y - np.clip(y, y0, y1)) > disc.radius, (name, text.get_text())


def test_one_sign_means_one_thing_and_the_key_says_what_is_drawn() -> None:
    """The black triangle is the clocks' alone; the hand before is drawn dashed, and the key of each picture says so."""
    plan = plan_for(SHEET, [1, 2, 3, 4, 5, 6], "AAAAAA")
    picture = at_the_bender.steps(SHEET, plan)
    solid = [patch for patch in picture.axes[0].patches if isinstance(patch, Polygon) and to_hex(patch.get_facecolor()) == INK]
    assert len(solid) == 6  # one a clock
    said = " ".join(at_the_bender.KEY)
    assert "White arrow: the reference" in said and "bends towards their black triangle" in said
    assert "dashed: before" in said and "dashed: where it was before" in twist_clock.KEY and "dotted" not in said


def test_a_step_that_the_plan_does_not_have_is_refused() -> None:
    """Its number is told."""
    plan = plan_for(SHEET, [1, 2, 3, 4, 5, 6], "AAAAAA")
    with pytest.raises(ValueError, match="step is 7; the plan has steps 1 to 6"):
        at_the_bender.one_step(SHEET, plan, 7)


# --- on paper --------------------------------------------------------------------------------------


def test_the_bends_are_printed_in_the_plans_order_with_a_box_each() -> None:
    """A box to tick, what is wanted and how far bends stray, and room for what came out; nothing off the page; the same bytes again."""
    plan = plan_for(SHEET, [1, 2, 3, 6, 5, 4], "AAABBB")
    sheet = bendcal.mark_out(a_line.SHOP, a_line.CAL, a_line.line(), feed=plan.feed)
    pages = lay_out_bending(sheet, plan, paper="letter")
    pages.finish()
    texts = [text for picture, ax in pages.pages for text in ax.texts]
    words = [text.get_text() for text in texts]
    assert [word for word in words if word.startswith("Step ")] == [f"Step {k}: bend {s.bend}, end {s.feed} leading" for k, s in enumerate(plan.steps, 1)]
    assert [word for word in words if word.endswith(" made")] == [f"step {k} made" for k in range(1, 7)]
    reach = stats.t.ppf(0.975, sheet.law.dof) * sheet.angle_u_deg[4 - 1]
    assert any(word.startswith(f"Wanted: {sheet.legs.angle_deg[4 - 1]:.1f}° ± {reach:.1f}°;") for word in words)
    for picture, ax in pages.pages:
        picture.png()
        for text in ax.texts:
            box = text.get_window_extent()
            assert box.x0 >= 0 and box.y0 >= 0 and box.x1 <= picture.bbox.width and box.y1 <= picture.bbox.height, text.get_text()
    one, two = bending_pdf(sheet, plan), bending_pdf(sheet, plan)
    assert one == two and len(PdfReader(io.BytesIO(one)).pages) == 2


def test_the_pages_are_saved_beside_the_sheets(tmp_path: Path) -> None:
    """In a folder of their own, so that no line's name can overwrite another's sheet."""
    plan = plan_for(SHEET, [1, 2, 3, 4, 5, 6], "AAAAAA")
    path = save_bending(SHEET, plan, tmp_path)
    assert path == tmp_path / "sheets" / "bending" / "long.pdf" and path.read_bytes().startswith(b"%PDF")
    with pytest.raises(ValueError, match="paper is 'a3'; it must be one of a4, letter"):
        save_bending(SHEET, plan, tmp_path, paper="a3")
