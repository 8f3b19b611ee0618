"""Lines entered and changed row by row: on the disk at once, judged by the reader, with a trace, and never half a line made."""

import csv
from pathlib import Path

import pytest
from a_shop import FILES, write_shop

import bendcal
from bendcal.entries import line_changing
from bendcal.entries.line_changing import begin_line, change_facts, faults_of_shape, put_line_aside, put_shape
from bendcal.entries.line_index import BEING_ENTERED, lines_table
from bendcal.entries.line_renaming import rename_line
from bendcal.entries.line_rows import new_rows, rows_of_line
from bendcal.entries.scratch import as_it_would_be

MID = {"line": "mid", "tube": "brake 3/16", "bender": "small", "service": "brake", "end_a": "M10"}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A small shop with two lines."""
    return write_shop(tmp_path)


def history(folder: Path) -> list[list[str]]:
    """What lines.history.csv says, without the times."""
    with open(folder / "lines.history.csv", newline="", encoding="utf-8") as file:
        return [row[1:] for row in csv.reader(file)][1:]


def enter(folder: Path, *rows: dict, line: str = "mid") -> None:
    """Record rows one after the other."""
    for row in rows:
        now = rows_of_line(folder, line)
        put_shape(folder, line, now.put_in(len(now.rows), row), what="leg")


def test_half_a_line_is_on_the_disk_and_is_not_made(folder: Path) -> None:
    """Every leg can be read again; the shop does not have the line yet, and says why to whom asks for it."""
    begin_line(folder, MID, "legs")
    enter(folder, {"leg_mm": 100.0, "angle_deg": 90.0})
    assert rows_of_line(folder, "mid").texts == ({"leg_mm": "100", "angle_deg": "90", "twist_deg": ""},)
    shop = bendcal.read_shop(folder)
    assert list(shop.lines) == ["rear", "front"] and shop.lines_aside == {"mid": BEING_ENTERED}
    with pytest.raises(bendcal.shop.UnknownName, match="Line 'mid' is not to be made as it stands; under set_aside lines.csv says: being entered"):
        shop.line("mid")


def test_a_line_counts_when_it_is_complete(folder: Path) -> None:
    """Entered leg by leg it is the line that a file written at once gives; the old rows keep their bytes."""
    old = (folder / "lines.csv").read_text(encoding="utf-8")
    begin_line(folder, MID, "legs")
    enter(folder, {"leg_mm": 100.0, "angle_deg": 90.0}, {"leg_mm": 80.0, "angle_deg": 45.5, "twist_deg": -90.0}, {"leg_mm": 120.0})
    put_line_aside(folder, "mid", "")
    line = bendcal.read_shop(folder).lines["mid"]
    assert (line.legs.leg_mm.tolist(), line.legs.angle_deg.tolist(), line.legs.twist_deg.tolist()) == ([100, 80, 120], [90, 45.5], [0, -90])
    assert (line.end_a, line.trim_at) == ("M10", "B")
    new = (folder / "lines.csv").read_text(encoding="utf-8").splitlines()
    assert [row.removesuffix(",set_aside") for row in new[:3]] == old.splitlines()
    assert history(folder) == [["mid", "complete", BEING_ENTERED, ""]]


def test_a_line_is_entered_by_its_nodes(folder: Path) -> None:
    """The first node alone makes no line; two do."""
    begin_line(folder, MID, "nodes")
    enter(folder, {"x_mm": 0.0, "y_mm": 0.0, "z_mm": 5.0, "label": "union"})
    with pytest.raises(bendcal.ShopFaults, match="A line has at least two nodes"):
        put_line_aside(folder, "mid", "")
    enter(folder, {"x_mm": 90.0, "y_mm": 0.0, "z_mm": 5.0})
    put_line_aside(folder, "mid", "")
    assert bendcal.read_shop(folder).lines["mid"].labels == ("union", "")


@pytest.mark.parametrize(
    ("row", "rule"),
    [
        ({"leg_mm": -5.0, "angle_deg": 90.0, "twist_deg": 0.0}, "It is not more than 0"),
        ({"leg_mm": 50.0, "angle_deg": 180.0, "twist_deg": 0.0}, "A bend turns by more than 0° and less than 180°."),
        ({"leg_mm": 50.0, "angle_deg": 90.0}, "Every bend but the first has a twist."),
        ({"leg_mm": 50.0, "angle_deg": 90.0, "twist_deg": 200.0}, "A twist lies between -180° and 180°."),
    ],
)
def test_what_cannot_be_a_leg_is_refused_while_the_rest_is_still_to_come(folder: Path, row: dict, rule: str) -> None:
    """By the very code that reads the file, and nothing is written."""
    begin_line(folder, MID, "legs")
    enter(folder, {"leg_mm": 100.0, "angle_deg": 90.0})
    before = (folder / "lines/mid.csv").read_bytes()
    rows = rows_of_line(folder, "mid").put_in(1, row)
    assert [fault.rule for fault in faults_of_shape(folder, "mid", rows)][0] == rule
    with pytest.raises(bendcal.ShopFaults, match="1 fault must be put right"):
        put_shape(folder, "mid", rows, what="leg 2")
    assert (folder / "lines/mid.csv").read_bytes() == before


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"line": "Rear"}, "There is a line of that name already"),
        ({"line": "a/b"}, "A file carries the name"), ({"line": "con"}, "Windows keeps the name con"),
        ({"tube": "brass"}, "There is no tube of that name"),
        ({"service": "steam"}, "is none of: brake, clutch, fuel, other"),
        ({"line": ""}, "may not be left blank"),
    ],
)
def test_a_line_that_cannot_be_is_not_begun(folder: Path, changes: dict, told: str) -> None:
    """Names, tubes, benders and ends are looked up as when the shop is read; nothing is written."""
    before = sorted(path.name for path in folder.rglob("*.csv"))
    with pytest.raises(bendcal.ShopFaults, match=told):
        begin_line(folder, MID | changes, "legs")
    assert sorted(path.name for path in folder.rglob("*.csv")) == before
    assert (folder / "lines.csv").read_text(encoding="utf-8") == FILES["lines.csv"]


def test_a_file_that_is_there_already_is_not_written_over(folder: Path) -> None:
    """Even where lines.csv does not know it."""
    (folder / "lines/Mid.csv").write_text("precious", encoding="utf-8")
    with pytest.raises(bendcal.ShopFaults, match="There is a file of that name already"):
        begin_line(folder, MID, "legs")
    assert (folder / "lines/Mid.csv").read_text(encoding="utf-8") == "precious"


def test_a_leg_is_corrected_and_the_old_value_stays_in_the_history(folder: Path) -> None:
    """Further columns and labels of the row stay; a correction that cannot be is refused."""
    (folder / "lines/front.csv").write_text("leg_mm;angle_deg;twist_deg;who\n100;90;0;me\n80,5;45;90;you\n120;;;me\n", encoding="utf-8")
    rows = rows_of_line(folder, "front")
    put_shape(folder, "front", rows.change(1, {"leg_mm": 82.25}), what="leg 2", before="80.5 mm", after="82.25 mm")
    assert (folder / "lines/front.csv").read_text(encoding="utf-8").splitlines()[2] == "82,25;45;90;you"
    assert history(folder) == [["front", "leg 2", "80.5 mm", "82.25 mm"]]
    with pytest.raises(bendcal.ShopFaults, match="Every leg but the last ends in a bend"):
        put_shape(folder, "front", rows.change(1, {"angle_deg": None}), what="leg 2", before="x")
    assert len(history(folder)) == 1


def test_a_node_is_put_in_and_taken_out(folder: Path) -> None:
    """Anywhere in the line."""
    rows = rows_of_line(folder, "rear")
    put_shape(folder, "rear", rows.put_in(1, {"x_mm": 50.0, "y_mm": 10.0, "z_mm": 0.0}), what="node 2")
    assert bendcal.read_shop(folder).lines["rear"].bends == 3
    put_shape(folder, "rear", rows_of_line(folder, "rear").take_out(1), what="node 2 taken out", before="50, 10, 0")
    assert (folder / "lines/rear.csv").read_text(encoding="utf-8") == FILES["lines/rear.csv"]


def test_facts_are_changed_in_their_cells_alone(folder: Path) -> None:
    """Each change has a line of history; one that names nothing of the shop is refused."""
    change_facts(folder, "front", {"trim_at": "b", "note": "over the axle", "end_b": "M10"})
    assert (folder / "lines.csv").read_text(encoding="utf-8").splitlines()[2] == "front,brake 3/16,small,brake,M10,M10,B,over the axle"
    assert history(folder) == [["front", "trim_at", "A", "B"], ["front", "note", "", "over the axle"], ["front", "end_b", "", "M10"]]
    with pytest.raises(bendcal.ShopFaults, match="There is no bender of that name"):
        change_facts(folder, "front", {"bender": "huge"})


def test_the_facts_of_half_a_line_are_judged_too(folder: Path) -> None:
    """Although the reader does not look at a line that is set aside."""
    begin_line(folder, MID, "legs")
    with pytest.raises(bendcal.ShopFaults, match="There is no tube of that name"):
        change_facts(folder, "mid", {"tube": "brass"})
    change_facts(folder, "mid", {"service": "clutch"})
    assert lines_table(folder)[-1]["service"] == "clutch" and lines_table(folder)[-1]["set_aside"] == BEING_ENTERED


def test_a_line_is_set_aside_with_a_reason_and_counts_again(folder: Path) -> None:
    """Its file is not looked at meanwhile, so a shop with a spoilt line can be read."""
    put_line_aside(folder, "rear", "drawn anew")
    (folder / "lines/rear.csv").write_text("nonsense\n", encoding="utf-8")
    shop = bendcal.read_shop(folder)
    assert list(shop.lines) == ["front"] and shop.lines_aside == {"rear": "drawn anew"} and shop.cautions == ()
    with pytest.raises(bendcal.ShopFaults, match="A line is given by nodes"):
        put_line_aside(folder, "rear", "")
    (folder / "lines/rear.csv").write_text(FILES["lines/rear.csv"], encoding="utf-8")
    put_line_aside(folder, "rear", "")
    assert list(bendcal.read_shop(folder).lines) == ["rear", "front"]
    assert history(folder) == [["rear", "set aside", "", "drawn anew"], ["rear", "counts again", "drawn anew", ""]]


def test_a_line_is_renamed_everywhere(folder: Path) -> None:
    """Its row, its file, and the obstacles that are its own; a name that is taken is refused."""
    (folder / "obstacles.csv").write_text("obstacle,line,shape,x_mm,y_mm,z_mm,diameter_mm,why\nexhaust,rear,sphere,1,2,300,30,hot\n", encoding="utf-8")
    with pytest.raises(bendcal.ShopFaults, match="There is a file of that name already"):
        rename_line(folder, "rear", "front")
    rename_line(folder, "rear", "tail")
    shop = bendcal.read_shop(folder)
    assert list(shop.lines) == ["tail", "front"] and shop.obstacles[0].line == "tail"
    assert sorted(path.name for path in (folder / "lines").iterdir()) == ["front.csv", "tail.csv"]
    rename_line(folder, "tail", "Tail")
    assert list(bendcal.read_shop(folder).lines) == ["Tail", "front"]


def test_a_line_whose_row_cannot_be_saved_leaves_no_file_behind(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """So the next attempt finds the name free."""
    def refuse(*_: object) -> None:
        raise bendcal.atomic.NotSaved(folder / "lines.csv", "lines.csv is held open.")

    monkeypatch.setattr(line_changing, "save_log", refuse)
    with pytest.raises(OSError, match="held open"):
        begin_line(folder, MID, "legs")
    assert not (folder / "lines/mid.csv").exists()


def test_rows_keep_the_form_of_their_file() -> None:
    """A decimal comma stays one, and a column that the header lacks is added for what needs it."""
    rows = new_rows("nodes").put_in(0, {"x_mm": 1.5, "y_mm": 0.0, "z_mm": -2.0})
    assert rows.data == b"x_mm,y_mm,z_mm,label\n1.5,0,-2,\n"
    from dataclasses import replace

    bare = replace(rows, header=("x_mm", "y_mm", "z_mm"), rows=(("0", "0", "0"),))
    assert bare.put_in(1, {"x_mm": 1.0, "y_mm": 2.0, "z_mm": 3.0, "label": "clip"}).data == b"x_mm,y_mm,z_mm,label\n0,0,0\n1,2,3,clip\n"


def test_a_shop_as_it_would_be_is_not_touched(folder: Path) -> None:
    """What the change would bring is told, what was wrong before is not, and the folder stays."""
    (folder / "ends.csv").write_text("end,form\n", encoding="utf-8")
    before = {path: path.read_bytes() for path in folder.rglob("*.csv")}
    faults, _ = as_it_would_be(folder, {"lines/rear.csv": None})
    assert [fault.file for fault in faults] == ["lines/rear.csv"]
    assert {path: path.read_bytes() for path in folder.rglob("*.csv")} == before
