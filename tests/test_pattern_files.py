"""patterns/<line>.csv: read with every fault told, and the sample's pattern found again."""

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from a_shop import write_shop
from hypothesis import given
from hypothesis import strategies as st

from bendcal import ShopFaults, calibrate, mark_out, read_shop
from bendcal.files.facts import Named
from bendcal.files.patterns import PATTERN, line_of_pattern, pattern_of, read_pattern
from bendcal.files.tables import table_of
from bendcal.pattern import Pattern, adjust_pattern
from bendcal.pattern.observations import Angle, Datum, Direction, Distance, Leg, Point, Twist
from bendcal.shop import Shop
from bendcal.tools import Tool
from tests.invented import fit_onto, sample_shop

SAMPLE = Path(__file__).resolve().parent.parent / "sample_measurements"
RULE, GAUGE = Tool("rule", "length", 0.5, 0.3), Tool("gauge", "angle", 0.1, 0.3)
TOOLS = {tool.tool: tool for tool in (RULE, GAUGE)}
HEADER = "what,from,to,length_mm,angle_deg,x_mm,y_mm,z_mm,sd,tool,set_aside,note\n"


def read(text: str, *, tools: dict[str, Tool] = TOOLS, names: dict | None | str = "all"):
    """The pattern of a file's text, its faults and its cautions."""
    named = Named("tool", "tools.csv", tools, {tool: tool for tool in tools} if names == "all" else names)
    faults, cautions = [], []
    table = table_of(text.encode(), "patterns/rear.csv", PATTERN, faults)
    return (pattern_of(table, named, faults, cautions) if table else None), faults, cautions


def told(text: str) -> str:
    """All that is said of a faulty file, whose reading must not succeed."""
    pattern, faults, _ = read(text)
    assert pattern is None
    return " | ".join(fault.sentence for fault in faults)


# --- what a file says ---------------------------------------------------------------------------


def test_every_kind_of_row() -> None:
    """Each becomes its measurement, with the places named as people name them."""
    pattern, faults, cautions = read(
        HEADER
        + "datum,wing bolt,,,,0,0,50,,,,\n"
        + "datum,loose bolt,,,,0,0,50,2,,,\n"
        + "leg,end A,Apex 1,3 in,,,,,,rule,,short one\n"
        + "leg,1,2,90,,,,,0.8,,,\n"
        + 'leg,2,b,"80,5",,,,,,,,\n'
        + "angle,bend 1,,,92°30',,,,,gauge,,\n"
        + "twist,1,2,,-45,,,,3,,,\n"
        + "angle,2,,,30,,,,,,,\n"
        + "point,B,,,,,,85,1,,,\n"
        + "distance,A,WING  BOLT,120,,,,,,,,\n"
        + "direction,A,,,,0,0,-1,,,slipped,\n"
    )
    assert (faults, cautions) == ([], [])
    kinds = [type(seen) for seen in pattern.observations]
    assert kinds == [Datum, Datum, Leg, Leg, Leg, Angle, Twist, Angle, Point, Distance, Direction]
    _, loose, leg, sure, comma, angle, twist, plain, point, tape, way = pattern.observations
    assert loose.sd_mm == 2.0
    assert (leg.start, leg.stop, leg.mm, leg.sd_mm, leg.note, leg.row) == ("A", "1", 76.2, RULE.u, "short one", 4)
    assert (sure.sd_mm, comma.mm, comma.stop) == (0.8, 80.5, "B")
    assert comma.sd_mm == pytest.approx((0.5**2 + 0.5**2 / 12) ** 0.5)  # the usual rule
    assert (angle.deg, angle.sd_deg, twist.sd_deg) == (92.5, GAUGE.u, 3.0)
    assert plain.sd_deg == pytest.approx((0.5**2 + 0.5**2 / 12) ** 0.5)
    assert point.xyz_mm == (None, None, 85.0)
    assert tape.stop == "wing bolt"
    assert (way.set_aside, way.sd_deg, way.counts) == ("slipped", 2.0, False)
    assert pattern.bends == 2


def test_semicolons_decimal_commas_and_other_columns() -> None:
    """As a spreadsheet elsewhere writes it; a column of one's own is left alone."""
    pattern, faults, _ = read("Was;What;From;To;Length (mm);Angle (deg)\nx;Leg;A;1;62,5;\n;ANGLE;1;;;90,5\n;leg;1;B;40;\n")
    assert faults == []
    assert [pattern.observations[0].mm, pattern.observations[1].deg] == [62.5, 90.5]


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ("leg,A,1,,,,,,,,,\n", "row 2, column length_mm: found an empty cell. A leg has to and length_mm."),
        ("leg,A,1,5,30,,,,,,,\n", 'row 2, column angle_deg: found "30.0". A leg is told by to and length_mm'),
        ("angle,1,2,,30,,,,,,,\n", "An angle is told by angle_deg; to is left blank"),
        ("angle,1,,,,,,,,,,\n", "row 2, column angle_deg: found an empty cell"),
        ("angle,1,,,190,,,,,,,\n", "row 2, column angle_deg: The angle of bend 1 is 190 degrees"),
        ("twist,1,,,30,,,,,,,\n", "row 2, column to: found an empty cell. A twist has to and angle_deg"),
        ("twist,1,3,,30,,,,,,,\nangle,2,,,9,,,,,,,\n", "column to: The twist from bend 1 to bend 3: a twist lies between two neighbouring"),
        ("point,A,,,,,,,,,,\n", "A point needs one of x_mm, y_mm, z_mm at least"),
        ("direction,A,,,,1,,,,,,\n", "A direction has x_mm and y_mm and z_mm"),
        ("direction,1,,,,1,0,0,,,,\n", "row 2, column from: A nut goes in at end '1'"),
        ("datum,3,,,,1,0,0,,,,\n", "A, B and the numbers belong to the line"),
        ("distance,A,wign bolt,9,,,,,,,,\ndatum,wing bolt,,,,1,0,0,,,,\n", "column to: The straight distance from end A to wign bolt: 'wign bolt' is neither"),
        ("leg,A,2,9,,,,,,,,\nangle,1,,,9,,,,,,,\n", "column to: The leg from end A to apex 2: a leg joins two neighbours"),
        ("leg,A,1,9,,,,,,,,\nangle,3,,,9,,,,,,,\n", "patterns/rear.csv: Nothing is measured of apex 2"),
        ("leg,A,B,-9,,,,,,,,\n", "column length_mm"),
        ("leg,A,B,9,,,,,0,,,\n", 'column sd: found "0". It is not more than 0'),
        ("leg,A,B,9,,,,,half,,,\n", 'column sd: found "half"'),
        ("leg,A,B,9,,,,,,gauge,,\n", "This tool measures angle (tools.csv); here one for length is needed"),
        ("leg,A,B,9,,,,,,rul,,\n", 'column tool: found "rul". There is no tool of that name'),
        ("leg,A,B,9,,,,,,,no,\n", "a piece that counts has a blank here"),
        ("lge,A,B,9,,,,,,,,\n", "Perhaps leg is meant"),
        ("leg,A,B,9,,,,,,,bent,\n", "no measurement that counts"),
        ("", "no measurement that counts"),
    ],
)
def test_rows_that_cannot_be_right(rows: str, said: str) -> None:
    """Each is refused with its place, what was found and what to do."""
    assert said in told(HEADER + rows)


def test_all_faults_at_once() -> None:
    """One bad row does not hide the next."""
    assert told(HEADER + "leg,A,1,x,,,,,,,,\nangle,1,,,,,,,,,,\ntwist,1,,,5,,,,,,,\n").count("patterns/rear.csv, row") == 3


def test_tools_that_no_file_describes() -> None:
    """Without a tools.csv the usual uncertainty is taken and said once; with an unreadable one nothing is said again."""
    rows = HEADER + "leg,A,1,9,,,,,,rule,,\nleg,1,B,9,,,,,,rule,,\nangle,1,,,9,,,,,,,\n"
    pattern, faults, cautions = read(rows, tools={}, names={})
    assert faults == []
    assert [caution.row for caution in cautions] == [2]
    assert "the usual uncertainty" in cautions[0].sentence
    assert pattern.observations[0].sd_mm == pytest.approx(0.5204, abs=1e-4)
    assert read(rows, tools={}, names=None)[1:] == ([], [])


WORDS = st.text("abAB123 ,;.\"'°-/\n\t=x½", max_size=12)


@given(st.lists(st.lists(WORDS, min_size=0, max_size=13), max_size=6))
def test_no_file_breaks_the_reader(cells: list[list[str]]) -> None:
    """Whatever stands in the cells becomes a pattern or a fault, never another error."""
    rows = [["what", "from", "to", "length_mm", "angle_deg", "x_mm", "y_mm", "z_mm", "sd", "tool", "set_aside", "note"], *cells]
    text = "\n".join(",".join('"' + cell.replace('"', '""') + '"' for cell in row) for row in rows)
    pattern, faults, _ = read(text)
    assert (pattern is None) == bool(faults)


@given(
    st.lists(
        st.tuples(
            st.sampled_from(["leg", "angle", "twist", "point", "distance", "direction", "datum"]),
            st.sampled_from(["A", "B", "1", "2", "3", "bolt"]), st.sampled_from(["A", "B", "1", "2", "3", "bolt", ""]),
            st.sampled_from(["90", "0", "179", "-30", ""]),
        ),
        max_size=8,
    )
)  # fmt: skip
def test_any_mix_of_rows_is_a_pattern_or_a_fault(rows) -> None:
    """Rows that are sound one by one fit together, or it is told which do not; what fits can be adjusted or says why not."""
    text = HEADER
    for what, start, stop, value in rows:
        length = value if what in ("leg", "distance") else ""
        turn = value if what in ("angle", "twist") else ""
        xyz = f"{value},1,2" if what in ("point", "direction", "datum") else ",,"
        text += f"{what},{start},{stop},{length},{turn},{xyz},,,,\n"
    pattern, faults, _ = read(text)
    assert (pattern is None) == bool(faults)
    if pattern is not None:
        try:
            adjusted = adjust_pattern(pattern)
        except ValueError as error:
            assert "no shape" in str(error) or "make no line" in str(error)
        else:
            assert np.isfinite(adjusted.nodes_mm).all()


# --- a file in a shop folder --------------------------------------------------------------------


def test_a_shop_without_the_file(tmp_path: Path) -> None:
    """No such file is one fault, with the near name that is perhaps meant."""
    (tmp_path / "patterns").mkdir()
    (tmp_path / "patterns" / "raer.csv").write_text(HEADER)
    with pytest.raises(ShopFaults, match=r"Perhaps patterns/raer.csv is meant: save it as rear.csv"):
        read_pattern(Shop(folder=tmp_path), "rear")
    with pytest.raises(ShopFaults, match="no such file"):
        read_pattern(Shop(folder=tmp_path), "front")


def test_a_file_that_is_no_table(tmp_path: Path) -> None:
    """A picture, or a file without the columns, is told as such."""
    (tmp_path / "patterns").mkdir()
    (tmp_path / "patterns" / "rear.csv").write_bytes(b"PK\x03\x04")
    with pytest.raises(ShopFaults, match="workbook"):
        read_pattern(Shop(folder=tmp_path), "rear")
    (tmp_path / "patterns" / "rear.csv").write_text("leg,A,B\n")
    with pytest.raises(ShopFaults, match="Put a header row on top"):
        read_pattern(Shop(folder=tmp_path), "rear")


TOLD = {"tube": "t", "bender": "b", "service": "brake", "end_a": "", "end_b": "", "trim_at": "B", "note": "old line"}


def line_of(folder: Path, rows: str):
    """What becomes of a line whose pattern has these rows."""
    (folder / "patterns").mkdir(exist_ok=True)
    (folder / "patterns" / "rear.csv").write_text(HEADER + rows)
    faults, cautions = [], []
    return line_of_pattern(folder, "rear", TOLD, Named("tool", "tools.csv", names={}), faults, cautions), faults, cautions


SQUARE = "leg,A,1,30,,,,,0.5,,,\nleg,1,B,40,,,,,0.5,,,\nangle,1,,,90,,,,0.5,,,\n"


def test_a_line_from_its_pattern(tmp_path: Path) -> None:
    """A settled shape makes the line, with what the shop says of it."""
    line, faults, cautions = line_of(tmp_path, SQUARE)
    assert (faults, cautions) == ([], [])
    assert (line.legs.angle_deg.tolist(), line.service, line.note) == ([pytest.approx(90.0)], "brake", "old line")


def test_a_suspect_is_a_caution(tmp_path: Path) -> None:
    """It stands at its row, and in the line's note; the line is there all the same."""
    again = "leg,1,B,40,,,,,0.5,,,\nleg,1,B,50,,,,,0.5,,,\n"
    line, faults, cautions = line_of(tmp_path, SQUARE + again)
    assert faults == []
    assert cautions[0].row == 6
    assert "was written 50.0 mm; the others say 40.0 mm" in cautions[0].sentence
    assert "was written 50.0 mm" in line.note


def test_a_shape_that_is_not_settled_is_a_fault(tmp_path: Path) -> None:
    """It says which one more is needed."""
    line, faults, _ = line_of(tmp_path, SQUARE.rpartition("angle")[0])
    assert line is None
    assert "One more measurement settles it: the angle of bend 1" in faults[0].sentence


# --- the sample ---------------------------------------------------------------------------------

NAME = "brake-near-side"
TRUE = np.array([node[:3] for node in sample_shop.NEAR_SIDE], float)


@pytest.fixture(scope="module")
def shop() -> Shop:
    """The sample as the kit reads it."""
    return read_shop(SAMPLE)


def test_the_sample_pattern_finds_the_line_that_was_measured(shop) -> None:
    """Nothing suspected, nothing missing; legs, angles, twists and places within 3 u of the truth."""
    a = adjust_pattern(read_pattern(shop, NAME))
    assert (a.suspects, a.missing, a.scale) == ((), (), 1.0)
    exact = adjust_pattern(Pattern([Point(p, *xyz, 1.0) for p, xyz in zip("A123B", TRUE, strict=True)]))
    for mine, true in ((a.leg_mm, exact.leg_mm), (a.angle_deg, exact.angle_deg), (a.twist_deg[1:], exact.twist_deg[1:])):
        assert (np.abs(mine.value - true.value) < 3 * mine.u).all()
    assert np.abs(a.nodes_mm - TRUE).max() < 4.0
    assert fit_onto(a.nodes_mm, TRUE)[1] < 2.0


def test_the_samples_misreading_is_found(shop) -> None:
    """With its reason rubbed out, the distance read 100 mm too long is the one suspect, and its slip is guessed."""
    pattern = read_pattern(shop, NAME)
    (wrong,) = [seen for seen in pattern.observations if seen.set_aside]
    assert "10 cm mark" in wrong.set_aside
    counted = Pattern([replace(seen, set_aside="") for seen in pattern.observations])
    a = adjust_pattern(counted)
    (suspect,) = a.found
    assert (suspect.observation.row, suspect.rivals) == (wrong.row, ())
    assert "Was the rule read 100 mm too long?" in suspect.sentence
    np.testing.assert_allclose(a.without_suspects().nodes_mm, adjust_pattern(pattern).nodes_mm, atol=1e-4)


def test_marks_for_the_measured_line(shop) -> None:
    """The pattern's line can be marked out as any other."""
    line = shop.lines[NAME]
    mine = adjust_pattern(read_pattern(shop, NAME)).line(
        NAME, tube=line.tube, bender=line.bender, service=line.service, end_a=line.end_a, end_b=line.end_b
    )
    sheets = [mark_out(shop, calibrate(shop), one) for one in (mine, line)]
    np.testing.assert_allclose(*(sheet.marks["mark_mm"] for sheet in sheets), atol=4.0)
    np.testing.assert_allclose(*(sheet.marks["dial_deg"] for sheet in sheets), atol=4.0)


def test_the_sample_file_holds_what_the_readme_says() -> None:
    """One reading set aside, and each kind of row at least once."""
    with open(SAMPLE / "patterns" / f"{NAME}.csv", encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert {row["what"] for row in rows} == {"leg", "angle", "twist", "point", "distance", "direction", "datum"}
    assert sum(bool(row["set_aside"]) for row in rows) == 1
    assert f"`patterns/{NAME}.csv`" in (SAMPLE / "README.md").read_text(encoding="utf-8")


def test_a_line_without_a_file_of_its_own_takes_the_shape_of_its_pattern(tmp_path):
    """lines.csv names a line, lines/ has no file of it, patterns/ has: the adjusted shape is the line's."""
    folder = write_shop(tmp_path, lines__front=None)
    (folder / "patterns").mkdir()
    (folder / "patterns" / "front.csv").write_text(
        "what,from,to,length_mm,angle_deg\nleg,A,1,100,\nangle,1,,,90\nleg,1,2,80,\ntwist,1,2,,90\nangle,2,,,45\nleg,2,B,120,\n"
    )
    line = read_shop(folder).lines["front"]
    assert line.legs.leg_mm == pytest.approx([100, 80, 120])
    assert line.legs.twist_deg == pytest.approx([0, 90])
    assert (line.end_a, line.trim_at) == ("M10", "A")


def test_a_pattern_that_settles_nothing_is_a_fault_of_the_shop(tmp_path):
    """Too few measurements: the report says which one more is wanted."""
    folder = write_shop(tmp_path, lines__front=None)
    (folder / "patterns").mkdir()
    (folder / "patterns" / "front.csv").write_text("what,from,to,length_mm,angle_deg\nleg,A,1,100,\nleg,1,2,80,\nangle,1,,,90\n")
    with pytest.raises(ShopFaults, match="patterns/front.csv"):
        read_shop(folder)
