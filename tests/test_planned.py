"""A line marked for the order that its bender can make: the sheet, its prints and the commands tell one order."""

import json
from dataclasses import replace
from pathlib import Path

import pytest
from drawing import texts
from vice import worked

import bendcal
from bendcal.bodies import BenderBody
from bendcal.clearance import obstacle_clearances
from bendcal.feasible.planning import plan_bending
from bendcal.lines import line_from_legs
from bendcal.order import order_of_work
from bendcal.path import nodes_from_legs
from bendcal.plan_report import plan_table
from bendcal.planned import mark_out_planned
from bendcal.printing.mark_sheet import lay_out_mark_sheet
from bendcal.reports import marks_table
from bendcal.sheets import sheet_csv, sheet_json
from bendcal.solids import Solid
from tests.invented.line import fit_onto
from tests.test_cli import told

SAMPLE = Path(__file__).parent.parent / "sample_measurements"
LINES = ("brake-far-side", "brake-near-side", "clutch", "fuel-feed")


@pytest.fixture(scope="module")
def shop():
    """The shipped sample."""
    return bendcal.read_shop(SAMPLE)


@pytest.fixture(scope="module")
def cal(shop):
    """Its laws."""
    return bendcal.calibrate(shop)


@pytest.mark.parametrize("name", LINES)
def test_the_sheet_is_made_for_the_best_plan(shop, cal, name: str) -> None:
    """Order, leading ends and turns are the plan's, and what it clears is told."""
    best = plan_bending(shop, cal, name).best
    sheet = mark_out_planned(shop, cal, name)
    assert sheet.order == best.order and tuple(sheet.marks["feed"]) == best.feed and not sheet.order_fails
    assert sheet.steps == tuple(step.work for step in best.steps)
    assert best.clears in sheet.order_told


def test_the_sample_has_lines_that_must_leave_their_row(shop, cal) -> None:
    """Two of the four: without them nothing here would be tested."""
    assert [mark_out_planned(shop, cal, name).in_row for name in LINES] == [False, True, True, False]


@pytest.mark.parametrize("name", LINES)
def test_hands_that_follow_the_sheet_make_the_line(shop, cal, name: str) -> None:
    """In a bender that stands still, step by step, with the printed ends and turns: the line to 1e-9, not mirrored."""
    sheet = mark_out_planned(shop, cal, name)
    assert fit_onto(worked(sheet), nodes_from_legs(sheet.legs))[1] < 1e-9


@pytest.mark.parametrize("name", LINES)
def test_one_order_everywhere(shop, cal, name: str) -> None:
    """The plan's table, the marks, the csv, the json, the order of work and the printed page: the same bends in the same order with the same turns."""
    plans = plan_bending(shop, cal, name)
    sheet = mark_out_planned(shop, cal, name, plans=plans)
    plan, marks = plan_table(plans.best).columns, marks_table(sheet).columns
    assert plan["bend"] == marks["bend"] and plan["turn the tube first"] == marks["turn the tube"]
    rows = [row.split(",") for row in sheet_csv(sheet).splitlines()]
    at = rows[0].index("step")
    assert [row[0] for row in sorted(rows[1:], key=lambda row: int(row[at]))] == plan["bend"]
    assert [str(bend) for bend in json.loads(sheet_json(sheet))["order"]] == plan["bend"]
    said = {step.task: step.sentence for step in order_of_work(sheet)}["bend"]
    assert said.startswith(plans.best.sentence.removesuffix(".")) and plans.best.clears in said
    printed = [text.get_text() for _, page in lay_out_mark_sheet(sheet).pages for text in texts(page)]
    # The dial settings differ from bend to bend: in the table they stand in the order of work, once more beside the drawing.
    dials = [f"{sheet.dial_deg[bend - 1]:.1f}°" for bend in sheet.order]
    found = [text for text in printed if text in dials]
    assert any(found[i : i + len(dials)] == dials for i in range(len(found)))


def test_the_commands_mark_by_the_plan(capsys: pytest.CaptureFixture[str], sample_folder: Path) -> None:
    """``bendcal marks`` tells the bends in the plan's order and says so; with ``--feed`` it says that nothing was tried."""
    shop = bendcal.read_shop(sample_folder)
    plans = plan_bending(shop, bendcal.calibrate(shop), "fuel-feed")
    out, _ = told(capsys, "marks", str(sample_folder), "fuel-feed")
    assert plans.best.sentence.removesuffix(".") in " ".join(out.split())
    assert repr(marks_table(mark_out_planned(shop, bendcal.calibrate(shop), "fuel-feed"))) in out
    assert json.loads((sample_folder / "sheets" / "fuel-feed.json").read_text(encoding="utf-8"))["order"] == list(plans.best.order)
    out, _ = told(capsys, "marks", str(sample_folder), "fuel-feed", "--feed", "A")
    assert "Make bends 1 to 5 in this order with end A leading." in " ".join(out.split()) and "Nobody has tried on paper" in " ".join(out.split())


def test_where_no_order_works_the_sheet_says_so_first(shop, cal) -> None:
    """A wall close beside the bender: the first warnings say not to cut, what is met, and what would mend it; the order is not called tried."""
    wall = BenderBody("small", "wall", Solid("wall", (-40.0, 0.0, 0.0), (0.0, 0.0, 0.0)))
    closed = replace(shop, bodies=(*shop.bodies, wall))
    plans = plan_bending(closed, cal, "brake-near-side")
    assert plans.best is None
    sheet = mark_out_planned(closed, cal, "brake-near-side", plans=plans)
    assert sheet.order_fails and sheet.in_row
    assert sheet.warnings[0] == "No order was found in which these bends can be made. Do not cut by this sheet."
    assert set(plans.why_not) <= set(sheet.warnings) and set(plans.mends) <= set(sheet.warnings)
    said = {step.task: step.sentence for step in order_of_work(sheet)}
    assert next(iter(said)) == "stop" and "Do not cut by this sheet" in said["stop"]
    assert list(said) == ["stop"] and said["stop"].startswith("Stop: no order was found in which these bends can be made.")
    printed = " ".join(text.get_text() for _, page in lay_out_mark_sheet(sheet).pages[:1] for text in texts(page))
    assert "No order was found in which these bends can be made." in " ".join(printed.split())
    assert "Bends, along the tube: no order was found" in printed and "Bends, in this order" not in printed


def test_a_bender_that_nobody_measured_is_said_to_be_so(shop, cal) -> None:
    """Without bodies the order is held against the tube alone, and the order of work says that."""
    sheet = mark_out_planned(replace(shop, bodies=()), cal, "fuel-feed")
    said = {step.task: step.sentence for step in order_of_work(sheet)}["bend"]
    assert sheet.in_row and "No body of bender large-8mm is measured" in said and "only the tube is held against itself" in said


def test_a_line_without_bends_has_nothing_to_plan(shop, cal) -> None:
    """A straight piece is marked as ever."""
    rod = line_from_legs("rod", [100.0], [], [], tube="cuni-3/16", bender="small")
    sheet = mark_out_planned(shop, cal, rod)
    assert sheet.order == () and sheet.steps == () and not sheet.order_fails


def test_a_line_that_comes_too_near_something_hot_is_warned_of_on_its_sheet(shop, cal, capsys: pytest.CaptureFixture[str], sample_folder: Path) -> None:
    """The sample's clutch line passes its manifold at half the distance: among the warnings, printed before the table, in the json and on page 1; the others keep clear."""
    sheet = mark_out_planned(shop, cal, "clutch")
    near = obstacle_clearances(shop, cal, "clutch").too_near
    assert len(near) == 1 and near[0].clearance_mm < near[0].obstacle.keep_mm
    assert sheet.too_near == (f"The line comes too near. {near[0].sentence}",) and set(sheet.too_near) <= set(sheet.warnings)
    assert all(mark_out_planned(shop, cal, name).too_near == () for name in LINES if name != "clutch")
    printed = " ".join(text.get_text() for text in texts(lay_out_mark_sheet(sheet).pages[0][1]))
    assert "The line comes too near." in " ".join(printed.split())
    assert any("comes too near" in said for said in json.loads(sheet_json(sheet))["warnings"])
    for feed in ((), ("--feed", "B")):
        out, _ = told(capsys, "marks", str(sample_folder), "clutch", *feed)
        assert 0 < out.index("The line comes too near.") < out.index("bend  mark mm")


def test_obstacles_that_cannot_be_read_are_told_not_passed_over(sample_folder: Path) -> None:
    """A fault in obstacles.csv stops no sheet, but the sheet says that nothing was looked at, and why."""
    path = sample_folder / "obstacles.csv"
    path.write_text(path.read_text(encoding="utf-8").replace("cylinder", "tree"), encoding="utf-8")
    spoilt = bendcal.read_shop(sample_folder, whole=False)
    sheet = mark_out_planned(spoilt, bendcal.calibrate(spoilt), "clutch")
    assert len(sheet.too_near) == 1 and "must keep clear of is not known: " in sheet.too_near[0] and "obstacles.csv" in sheet.too_near[0]


def test_an_order_that_clears_by_little_is_warned_of(shop, cal) -> None:
    """Two millimetres beside a lever that was measured with a rule are a warning; fifteen are none."""
    close, clear = (mark_out_planned(shop, cal, name) for name in ("brake-far-side", "clutch"))
    assert close.order_is_close.startswith("What is bent clears the bender or itself by 2 mm only") and close.order_is_close in close.warnings
    assert clear.order_is_close == ""
