"""The sample shop folder: made by its script, labelled as invented, and bendable."""

import csv
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from tests.invented import form, ideal_marks, make_sample, nodes_of, true_law
from tests.invented import sample_shop as truth

ROOT = Path(__file__).resolve().parent.parent
SAMPLE = ROOT / "sample_measurements"
PAIRS = [(session[0], session[1]) for session in truth.SESSIONS]


def table(name: str) -> list[dict]:
    """The rows of one of the sample's files."""
    with open(SAMPLE / name, encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


# --- the files ----------------------------------------------------------------------------------


def test_the_sample_is_what_its_script_makes() -> None:
    """Made anew with the same seed, every file is the same, byte for byte."""
    for name, text in make_sample.texts().items():
        assert (SAMPLE / name).read_bytes() == text.encode("utf-8"), f"{name}: run {make_sample.COMMAND}"


def test_no_sample_table_is_made_by_hand() -> None:
    """There is no CSV in the folder that the script does not make (sheets are written by the kit)."""
    there = {path.relative_to(SAMPLE).as_posix() for path in SAMPLE.rglob("*.csv")}
    assert {name for name in there if not name.startswith("sheets/")} == set(make_sample.texts())


def test_the_script_runs_as_the_readme_says(tmp_path: Path) -> None:
    """The command in the README makes the files, from the project's folder."""
    said = (SAMPLE / "README.md").read_text(encoding="utf-8")
    assert make_sample.COMMAND in said
    assert f"seed {make_sample.SEED}" in said
    # Into another folder, so that the check leaves the sample alone.
    subprocess.run([sys.executable, *make_sample.COMMAND.split()[1:], str(tmp_path)], check=True, cwd=ROOT)
    for name in make_sample.texts():
        assert (tmp_path / name).read_bytes() == (SAMPLE / name).read_bytes()


@pytest.mark.parametrize("name", sorted(make_sample.texts()))
def test_every_row_of_the_sample_says_that_it_is_invented(name: str) -> None:
    """Someone who opens one file alone still sees it; an offcut also names its tools and their steps."""
    rows = table(name)
    assert rows
    assert all(row["made_by"].startswith("invented") for row in rows)
    if name == "offcuts.csv":
        steps = {row["tool"]: row["step"] for row in table("tools.csv")}
        for row in rows:
            for tool in (row["angle_tool"], row["length_tool"]):
                assert f"{tool} {steps[tool]} " in row["made_by"]


def test_the_readme_counts_the_pieces_and_names_the_blunder() -> None:
    """What the README says of the offcuts holds in the file."""
    said = (SAMPLE / "README.md").read_text(encoding="utf-8")
    rows = table("offcuts.csv")
    assert f"{len(rows)} pieces, six to nine" in said
    counts = {
        pair: sum((r["bender"], r["tube"]) == pair for r in rows) for pair in {(r["bender"], r["tube"]) for r in rows}
    }
    assert set(counts) == {(bender.bender, tube.tube) for bender, tube in PAIRS}
    assert (min(counts.values()), max(counts.values())) == (6, 9)
    (blunder,) = [row for row in rows if row["set_aside"]]
    assert blunder["offcut"] == "S6"
    assert f"{blunder['angle_deg']} was written down" in said
    assert [row["offcut"] for row in rows if not row["leg_a_mm"]] == ["C7", "S8", "D4"]
    assert [row["offcut"] for row in rows if row["legs_to"] == "outside"] == ["S5"]


def test_copper_nickel_and_steel_of_one_size_went_through_the_same_bender() -> None:
    """3/16 and 1/4 both: otherwise the two could not be compared."""
    pairs = {(row["bender"], row["tube"]) for row in table("offcuts.csv")}
    assert {
        ("small", "cuni-3/16"),
        ("small", "steel-3/16"),
        ("large-1/4", "cuni-1/4"),
        ("large-1/4", "steel-1/4"),
    } <= pairs


def test_the_readings_are_those_of_the_simulated_bends() -> None:
    """Apart from the blunder every angle is within 2° of the true law at its dial (about four sd)."""
    laws = {(bender.bender, tube.tube): true_law(bender, tube) for bender, tube in PAIRS}
    for row in table("offcuts.csv"):
        miss = float(row["angle_deg"]) - laws[row["bender"], row["tube"]].angle_deg(float(row["dial_deg"]))
        assert (abs(miss) < 2) == (not row["set_aside"]), row["offcut"]


# --- the lines ----------------------------------------------------------------------------------


def nodes(line: str) -> np.ndarray:
    """Nodes of a line of the sample, from either kind of file."""
    rows = table(f"lines/{line}.csv")
    if "x_mm" in rows[0]:
        return np.array([[float(row[axis]) for axis in ("x_mm", "y_mm", "z_mm")] for row in rows])
    bends = rows[:-1]
    return nodes_of(
        [float(row["leg_mm"]) for row in rows],
        [float(row["angle_deg"]) for row in bends],
        [float(row["twist_deg"]) for row in bends],
    )


@pytest.mark.parametrize("row", table("lines.csv"), ids=lambda row: row["line"])
def test_every_line_can_be_bent_on_its_bender(row: dict) -> None:
    """Straights between bends and behind the ends suffice for bender, nut and flaring tool, 1 mm to spare."""
    bender = next(b for b in truth.BENDERS if b.bender == row["bender"])
    tube = next(t for t in truth.TUBES if t.tube == row["tube"])
    ends = {end["end"]: end for end in table("ends.csv")}
    law = true_law(bender, tube)
    told = ideal_marks(nodes(row["line"]), law)
    angle = law.angle_deg(told["dial_deg"])
    bent = form(
        cut_length_mm=told["cut_length_mm"],
        mark_mm=told["mark_mm"],
        angle_deg=angle,
        twist_deg=told["twist_deg"],
        radius_mm=law.radius_mm,
        developed_radius_mm=law.developed_radius_mm,
        start_mm=law.mark_offset_mm,
    )
    straight = bent.straight_mm
    assert straight[0] > 1 + max(bender.min_leg_mm, float(ends[row["end_a"]]["straight_mm"]))
    assert straight[-1] > 1 + max(bender.min_last_mm, float(ends[row["end_b"]]["straight_mm"]))
    assert straight[1:-1].min() > 1 + bender.min_between_mm
    readings = [
        float(r["angle_deg"])
        for r in table("offcuts.csv")
        if (r["bender"], r["tube"]) == (row["bender"], row["tube"]) and not r["set_aside"]
    ]
    assert min(readings) < angle.min()
    assert angle.max() < max(readings)


def test_the_first_line_is_the_six_bend_brake_line() -> None:
    """The first one is what a first run marks out: the hardest of the four, with two bends hard by each other."""
    first = table("lines.csv")[0]
    assert (first["line"], first["service"]) == ("brake-far-side", "brake")
    assert len(nodes("brake-far-side")) == 6 + 2
    assert {row["service"] for row in table("lines.csv")} == {"brake", "clutch", "fuel"}
