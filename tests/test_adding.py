"""Rows added to the tables of facts: judged as they will be read, in the file's own form, or refused whole."""

from pathlib import Path

import pytest
from a_shop import FILES, changed, write_shop

from bendcal.entries.adding import FACT_COLUMNS, add_row, file_of, rows_of, would_be
from bendcal.faults import ShopFaults
from bendcal.files.folder import read_shop

SOUND = {
    "bender": {"bender": "large", "die_radius_mm": "1 1/8 in", "dial_max_deg": "180"},
    "tube": {"tube": "fuel", "alloy": "copper-nickel 90/10", "od_mm": "8", "wall_mm": "1,0"},
    "tool": {"tool": "gauge", "measures": "angle", "step": "0.1°", "sd": "0,2"},
    "end": {"end": "bubble", "form": "bubble flare", "uses_mm": "4"},
    "flare": {"end": "M10", "before_mm": "100", "after_mm": "94.5", "length_tool": "rule"},
    "stock": {"piece": "rack 1", "tube": "brake 3/16", "length_mm": "39 3/8 in", "form": "Straight", "count": "2"},
    "body": {"body": "vice", "bender": "small", "shape": "box", "x_mm": "-120", "y_mm": "62", "z_mm": "-15", "to_x_mm": "-120", "to_y_mm": "62", "to_z_mm": "-75", "width_mm": "90", "height_mm": "2 in"},
    "obstacle": {"obstacle": "exhaust", "line": "rear", "shape": "sphere", "x_mm": "1", "y_mm": "2", "z_mm": "3", "diameter_mm": "40", "keep_mm": "50", "why": "hot"},
    "reading/rear": {"what": "Twist", "from": "1", "to": "2", "angle_deg": "-90", "sd": "1.5"},
}
NOUNS = [*(noun for noun in FACT_COLUMNS if noun != "reading"), "reading/rear"]


@pytest.mark.parametrize("noun", NOUNS)
def test_a_sound_row_is_read_back_as_it_was_typed(tmp_path: Path, noun: str) -> None:
    """Old rows keep their bytes; the shop reads the new one."""
    folder = write_shop(tmp_path)
    path = add_row(folder, noun, SOUND[noun])
    assert path == folder / file_of(noun)
    if path.name in FILES:
        assert path.read_text().startswith(FILES[path.name])
    shop = read_shop(folder)
    made = {
        "bender": lambda: shop.benders["large"].die_radius_mm == 28.575, "tube": lambda: shop.tubes["fuel"].wall_mm == 1.0,
        "tool": lambda: (shop.tools["gauge"].step, shop.tools["gauge"].sd) == (0.1, 0.2),
        "end": lambda: shop.ends["bubble"].uses_mm == 4.0, "flare": lambda: shop.flares[0].used_mm == 5.5,
        "stock": lambda: (shop.stock[0].length_mm, shop.stock[0].names) == (1000.125, ("rack 1 (1 of 2)", "rack 1 (2 of 2)")),
        "body": lambda: (shop.bodies[0].solid.height_mm, shop.bodies[0].moves) == (50.8, "die"), "obstacle": lambda: shop.obstacles[0].keep_mm == 50.0,
        "reading/rear": lambda: path.read_text().splitlines()[1] == "twist,1,2,,-90,,,,1.5,,,",
    }  # fmt: skip
    assert made[noun]()


@pytest.mark.parametrize(
    ("noun", "changes", "told"),
    [
        ("bender", {"bender": "SMALL"}, "Row 2 has the same bender"),
        ("bender", {"die_radius_mm": "-3"}, "is not more than 0"),
        ("tube", {"wall_mm": "4"}, "A wall is less than half the outside diameter"),
        ("tube", {"alloy": "unobtainium"}, "unobtainium"),
        ("tube", {"od_mm": ""}, "may not be left blank"),
        ("tool", {"measures": "weight"}, "is none of: angle, length"),
        ("tool", {"step": "half"}, "is not an angle"),
        ("tool", {"step": "0", "sd": "0"}, "one must be more than 0"),
        ("end", {"form": "square"}, "is none of: single flare"),
        ("flare", {"end": "M99"}, "There is no end of that name"),
        ("flare", {"after_mm": "110"}, "a flare uses tube"),
        ("stock", {"tube": "brass"}, "There is no tube of that name"),
        ("stock", {"count": "1.5"}, "A count is a whole number"),
        ("body", {"bender": "huge"}, "There is no bender of that name"),
        ("body", {"height_mm": ""}, "eight_mm of a box is missing; it must be more than 0"),
        ("body", {"to_z_mm": ""}, "A point needs all three"),
        ("obstacle", {"line": "raer"}, "There is no line of that name"),
        ("obstacle", {"to_x_mm": "9"}, "A point needs all three"),
        ("reading/rear", {"to": ""}, "to"),
        ("reading/rear", {"sd": "lots"}, "is not an angle"),
        ("reading/raer", {}, "lines.csv has none of that name"),
    ],
)
def test_a_row_that_cannot_be_right_is_refused_whole(tmp_path: Path, noun: str, changes: dict, told: str) -> None:
    """Before writing and without writing, with the reason."""
    folder = write_shop(tmp_path)
    before = {path.name: path.read_bytes() for path in folder.glob("*.csv")}
    faults, _ = would_be(folder, noun, SOUND[noun.replace("raer", "rear")] | changes)
    assert any(told in fault.sentence for fault in faults), [fault.sentence for fault in faults]
    with pytest.raises(ShopFaults, match=told):
        add_row(folder, noun, SOUND[noun.replace("raer", "rear")] | changes)
    assert {path.name: path.read_bytes() for path in folder.glob("*.csv")} == before


def test_another_row_that_is_faulty_does_not_stand_in_the_way(tmp_path: Path) -> None:
    """Its fault is its own."""
    folder = write_shop(tmp_path, tubes=changed("tubes.csv", ("4.76", "thin")))
    add_row(folder, "tube", SOUND["tube"])
    assert [cells[0] for cells in rows_of(folder, "tube")[1]] == ["brake 3/16", "fuel"]


def test_a_file_keeps_its_own_form(tmp_path: Path) -> None:
    """Semicolons, decimal commas and Windows line ends go on."""
    folder = write_shop(tmp_path, tubes="tube;alloy;od_mm;wall_mm\r\nx;copper;4,76;0,71\r\n")
    add_row(folder, "tube", SOUND["tube"] | {"wall_mm": "0.9"})
    assert (folder / "tubes.csv").read_bytes().endswith(b"x;copper;4,76;0,71\r\nfuel;copper-nickel 90/10;8;0,9\r\n")


def test_a_table_that_is_not_there_is_an_empty_one(tmp_path: Path) -> None:
    """It has the kit's own header."""
    header, rows = rows_of(tmp_path, "tool")
    assert header == ("tool", "measures", "step", "sd") and rows == []
