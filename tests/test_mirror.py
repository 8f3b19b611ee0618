"""A mirrored copy of a line: the same tube turned the other way, and twice mirrored the same again."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import bendcal
from bendcal.cli import main
from bendcal.entries import save_mirrored
from bendcal.entries.mirroring import mirrored_pattern
from bendcal.files import PATTERN, read_pattern, table_of
from bendcal.files.facts import Named
from bendcal.files.patterns import pattern_of
from bendcal.lines import line_from_legs, line_from_nodes
from bendcal.marks import mark_out
from bendcal.mirror import mirrored
from bendcal.path import legs_from_nodes
from bendcal.pattern import Direction, Point, Twist, adjust_pattern
from tests.drawing import CAL, SHAPES, SHOP, line


@pytest.mark.parametrize("plane", ["x", "y", "z"])
@pytest.mark.parametrize("shape", list(SHAPES))
def test_the_mirrored_nodes_have_the_mirrored_legs(shape: str, plane: str) -> None:
    """Legs and angles measured anew on the mirrored nodes are the same; every twist has changed its sign, a half turn stays one."""
    one = line(shape)
    other = mirrored(one, "other", plane, at_mm=12.5)
    legs = legs_from_nodes(other.nodes_mm)
    assert legs.leg_mm == pytest.approx(one.legs.leg_mm)
    assert legs.angle_deg == pytest.approx(one.legs.angle_deg)
    turned = np.where(np.abs(one.legs.twist_deg) == 180, 180, -one.legs.twist_deg)
    assert other.legs.twist_deg == pytest.approx(turned)
    assert np.cos(np.radians(legs.twist_deg - turned)) == pytest.approx(np.ones(len(turned)))
    axis = "xyz".index(plane)
    middle = (one.nodes_mm + other.nodes_mm) / 2
    assert middle[:, axis] == pytest.approx(np.full(len(middle), 12.5))
    assert np.delete(other.nodes_mm, axis, 1) == pytest.approx(np.delete(one.nodes_mm, axis, 1))


def test_a_mirrored_line_is_made_from_the_same_tube() -> None:
    """Cut length, marks and dial settings are the same to the last figure; only the turns differ."""
    one = line("six")
    left, right = (mark_out(SHOP, CAL, each) for each in (one, mirrored(one, "right")))
    assert right.cut_length_mm == pytest.approx(left.cut_length_mm, abs=1e-9)
    assert right.trim_mm == left.trim_mm
    for column in ("mark_mm", "dial_deg", "angle_deg", "start_mm"):
        assert right.marks[column].to_numpy() == pytest.approx(left.marks[column].to_numpy(), abs=1e-9)
    assert right.marks["twist_deg"].to_numpy() == pytest.approx(-left.marks["twist_deg"].to_numpy())


@given(st.sampled_from("xyz"), st.floats(-500, 500), st.sampled_from(list(SHAPES)))
def test_twice_mirrored_is_the_same_line(plane: str, at_mm: float, shape: str) -> None:
    """The mirror image of the mirror image lies where the line lay."""
    one = line(shape)
    again = mirrored(mirrored(one, "other", plane, at_mm=at_mm), shape, plane, at_mm=at_mm)
    assert again.nodes_mm == pytest.approx(one.nodes_mm, abs=1e-9)
    assert again.legs.twist_deg.tolist() == one.legs.twist_deg.tolist()


def test_everything_else_goes_along() -> None:
    """Tube, bender, service, ends, trim, labels and nodes that the line passes straight through stay; the note names the original."""
    one = line_from_nodes(
        "left", [[0, 5, 0], [20, 5, 0], [50, 5, 0], [50, 40, 0]], tube="steel", bender="small", service="brake", end_a="double",
        end_b="bubble", trim_at="A", note="first", labels=["union", "clip", "", "hose"],
    )  # fmt: skip
    other = mirrored(one, "right")
    for name in ("tube", "bender", "service", "end_a", "end_b", "trim_at", "labels"):
        assert getattr(other, name) == getattr(one, name)
    assert (other.line, other.note) == ("right", "mirror image of left; first")
    assert other.nodes_mm.tolist() == [[0, -5, 0], [20, -5, 0], [50, -5, 0], [50, -40, 0]]
    assert one.line == "left"


@pytest.mark.parametrize(
    ("words", "said"),
    [(("r", "w"), "plane is 'w'; it is the axis"), (("a/b", "y"), "none of < > : "), (("", "y"), "at least one letter")],
)
def test_what_cannot_be_mirrored_is_told(words: tuple, said: str) -> None:
    """Another plane, or a name that no file can carry."""
    with pytest.raises(ValueError, match=said):
        mirrored(line_from_legs("l", [9, 9], [90], [0], tube="t", bender="b"), *words)


def test_a_mirror_stands_somewhere() -> None:
    """Its place on the axis is a number."""
    with pytest.raises(ValueError, match="at_mm is nan"):
        mirrored(line("one"), "r", at_mm=float("nan"))


# --- a pattern, mirrored and saved ---------------------------------------------------------------------

def test_a_mirrored_pattern_stays_a_pattern(capsys, sample_folder) -> None:
    """The copy of a measured line is known just as well: its pattern is mirrored reading by reading, with its tools, reasons and own columns."""
    (sample_folder / "lines" / "brake-near-side.csv").unlink()
    before = (sample_folder / "patterns" / "brake-near-side.csv").read_bytes()
    one = bendcal.read_shop(sample_folder).line("brake-near-side")
    assert main(["mirror", str(sample_folder), "brake-near-side", "brake-off-side", "--at", "10"]) == 0
    assert "patterns" in capsys.readouterr().out
    assert not (sample_folder / "lines" / "brake-off-side.csv").exists()
    assert (sample_folder / "patterns" / "brake-near-side.csv").read_bytes() == before
    shop = bendcal.read_shop(sample_folder)
    wanted, got = mirrored(one, "brake-off-side", at_mm=10.0), shop.line("brake-off-side")
    assert got.nodes_mm == pytest.approx(wanted.nodes_mm, abs=1e-4)
    assert got.shape_covariance == pytest.approx(wanted.shape_covariance, rel=1e-4, abs=1e-6)
    assert np.diag(got.shape_covariance)[: got.bends + 1].min() > 0
    assert (got.note, got.trim_at, got.end_a) == (wanted.note, wanted.trim_at, wanted.end_a)
    aside = [seen.set_aside for seen in read_pattern(shop, "brake-off-side").observations if seen.set_aside]
    assert len(aside) == 1 and "begun at its 10 cm mark" in aside[0]


@pytest.mark.parametrize("plane", "xyz")
def test_every_kind_of_measurement_is_mirrored(tmp_path, plane) -> None:
    """Points, datum points and the ways nuts go in cross the mirror, twists change their sign but for a half turn, and twice mirrored is the file itself."""
    data = (
        "what;from;to;length_mm;angle_deg;x_mm;y_mm;z_mm;sd;who\nleg;A;1;50,5;;;;;;me\nangle;1;;;60;;;;;\ntwist;1;2;;-45,5;;;;;\ntwist;2;3;;180;;;;;\n"
        "point;B;;;;100;-20,25;;;\ndatum;post;;;;1;2;3;;\ndirection;A;;;;-1;0,5;0;;\ndistance;B;post;40;;;;;;\n"
    ).encode()
    once, faults = mirrored_pattern(data, "p", plane, at_mm=7.5), []
    assert mirrored_pattern(once, "p", plane, at_mm=7.5) == data
    old, new = (pattern_of(table_of(each, "p", PATTERN, []), Named("tool", "tools.csv", names={}), faults, []).observations for each in (data, once))
    axis = "xyz".index(plane)
    assert faults == []
    for one, other in zip(old, new, strict=True):
        if isinstance(one, Twist):
            assert other.deg == (180 if one.deg == 180 else -one.deg)
        elif isinstance(one, Point):
            assert [b for a, b in zip(one.xyz_mm, other.xyz_mm, strict=True)] == [None if a is None else 15 - a if k == axis else a for k, a in enumerate(one.xyz_mm)]
        elif isinstance(one, Direction):
            assert (other.x, other.y, other.z) == tuple(-a if k == axis else a for k, a in enumerate((one.x, one.y, one.z)))
        else:
            assert other == one


def test_a_mirrored_pattern_finds_its_name_taken(sample_folder) -> None:
    """A file of that name in patterns/, or in lines/, where it would be read first, is in the way; nothing is written."""
    (sample_folder / "lines" / "brake-near-side.csv").unlink()
    shop = bendcal.read_shop(sample_folder)
    for room in ("patterns", "lines"):
        spare = sample_folder / room / "spare.csv"
        spare.write_text("what\n", encoding="utf-8")
        index = (sample_folder / "lines.csv").read_bytes()
        with pytest.raises(ValueError, match=f"There is a file {room}/spare.csv already"):
            save_mirrored(shop, "brake-near-side", "spare")
        assert (sample_folder / "lines.csv").read_bytes() == index
        spare.unlink()


def test_the_suspects_of_a_mirrored_pattern_are_told_once(sample_folder) -> None:
    """What its readings say against one another stands in the note of line and copy once each, though the copy's row is written from the line."""
    (sample_folder / "lines" / "brake-near-side.csv").unlink()
    path = sample_folder / "patterns" / "brake-near-side.csv"
    text, reason = path.read_text(encoding="utf-8"), '"the tape was begun at its 10 cm mark, and that was not taken off; measured again"'
    assert reason in text
    path.write_text(text.replace(reason, ""), encoding="utf-8")
    one = bendcal.read_shop(sample_folder).line("brake-near-side")
    said = adjust_pattern(read_pattern(bendcal.read_shop(sample_folder), "brake-near-side")).suspects
    assert said and one.note.endswith(" ".join(said))
    save_mirrored(bendcal.read_shop(sample_folder), "brake-near-side", "copy")
    assert "distance" not in (sample_folder / "lines.csv").read_text(encoding="utf-8")
    assert bendcal.read_shop(sample_folder).line("copy").note.count("straight distance from end A to apex 3") == one.note.count("straight distance from end A to apex 3")
