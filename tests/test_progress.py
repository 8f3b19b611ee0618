"""Beginning a shop of one's own, and where one stands with it."""

from pathlib import Path

import pytest
from a_shop import FILES, changed, write_shop

from bendcal.beginning import MY_SHOP, PRACTICE, begin_shop, practice_copy
from bendcal.entries.appending import append_offcut
from bendcal.entries.line_changing import begin_line, put_line_aside
from bendcal.entries.setting_aside import set_aside
from bendcal.faults import ShopFaults
from bendcal.files.sample import is_sample
from bendcal.progress import progress

ROOT = Path(__file__).resolve().parent.parent
BENDER, TUBE = {"bender": "my lever", "die_radius_mm": "17"}, {"tube": "cuni", "alloy": "copper-nickel 90/10", "od_mm": "3/16 in", "wall_mm": "0,71"}


def begin(folder: Path, **changes: dict):
    """Begin a shop with one bender and one tube, with changes."""
    return begin_shop(folder, **{"bender": BENDER, "tube": TUBE, "notebooks": ROOT / "notebooks"} | changes)


def test_a_new_shop_can_be_read_and_has_its_pages(tmp_path: Path) -> None:
    """Its pages are set to its own bender and tube; nothing else is left beside it."""
    shop = begin(tmp_path / MY_SHOP)
    assert (list(shop.benders), list(shop.tubes), shop.offcuts) == (["my lever"], ["cuni"], ())
    page = (tmp_path / MY_SHOP / "notebooks" / "1_calibrate_a_bender.ipynb").read_text(encoding="utf-8")
    assert "bender = 'my lever'" in page and "tube = 'cuni'" in page and "folder = '..'" in page
    assert [path.name for path in tmp_path.iterdir()] == [MY_SHOP]
    append_offcut(tmp_path / MY_SHOP, bender="my lever", tube="cuni", length_mm=180, mark_mm=70, dial_deg=92, angle_deg=87)


@pytest.mark.parametrize(
    ("name", "changes", "told"),
    [
        ("taken", {}, "There is a folder of that name already, and it stays as it is"),
        ("a:b", {}, "made of letters, figures, blanks"),
        ("..", {}, "made of letters, figures, blanks"),
        ("new", {"tube": TUBE | {"wall_mm": "3"}}, "A wall is less than half"),
        ("new", {"bender": {"bender": ""}, "tube": {}}, "may not be left blank"),
    ],
)
def test_what_is_amiss_makes_no_folder(tmp_path: Path, name: str, changes: dict, told: str) -> None:
    """All or nothing."""
    (tmp_path / "taken").mkdir()
    with pytest.raises(ShopFaults, match=told):
        begin(tmp_path / name, **changes)
    assert [path.name for path in tmp_path.iterdir()] == ["taken"]


def test_one_practises_on_a_copy_and_the_sample_stays(sample_folder: Path) -> None:
    """The copy is made once and found again, with what was entered into it."""
    before = {path: path.read_bytes() for path in sample_folder.rglob("*") if path.is_file()}
    copy = practice_copy(sample_folder)
    assert copy == sample_folder.with_name(PRACTICE) and is_sample(sample_folder) and not is_sample(copy)
    set_aside(copy, "S1", "only to try")
    assert practice_copy(sample_folder) == copy and "only to try" in (copy / "offcuts.csv").read_text(encoding="utf-8")
    assert {path: path.read_bytes() for path in sample_folder.rglob("*") if path.is_file()} == before


def test_the_first_thing_to_do_is_to_bend(tmp_path: Path) -> None:
    """A shop without offcuts says so, and counts what there is."""
    begin(tmp_path / MY_SHOP)
    stand = progress(tmp_path / MY_SHOP)
    assert stand.next == "Bend a marked offcut, measure it, and enter it on page 1."
    assert stand.table.columns["how far"][:2] == ["1 bender, 1 tube", "no tools; usual ones are assumed"]


def test_a_few_pieces_are_followed_by_advice_on_the_next(tmp_path: Path) -> None:
    """The line that needs another pair's law says which."""
    folder = write_shop(tmp_path, tubes=FILES["tubes.csv"] + "fuel,copper,8,1\n", lines=changed("lines.csv", ("front,brake 3/16", "front,fuel")))
    stand = progress(folder)
    rows = dict(zip(*stand.table.columns.values(), strict=True))
    assert rows["line front"] == "needs offcuts of fuel on small"
    assert rows["brake 3/16 on small"].startswith("2 offcuts; dial for 90° known to ±")
    assert stand.next.startswith("Bend next: ")


def test_a_piece_that_disagrees_comes_before_all_else(sample_folder: Path) -> None:
    """A swapped pair of digits is asked about first; set aside, it no longer is."""
    piece = append_offcut(sample_folder, bender="small", tube="steel-3/16", length_mm=180, mark_mm=70, dial_deg=92, angle_deg=68, leg_a_mm=89, leg_b_mm=98)
    assert f"Offcut {piece.offcut}: the angle disagrees" in progress(sample_folder).next
    set_aside(sample_folder, piece.offcut, "digits swapped")
    stand = progress(sample_folder)
    assert stand.next == "No further offcut pays at present. Mark out brake-near-side on page 3, the first to make of the 3 lines that are ready."
    assert dict(zip(*stand.table.columns.values(), strict=True))["steel-3/16 on small"].startswith("8 offcuts, 2 set aside")


def test_a_shop_that_cannot_be_read_is_told_and_not_raised(tmp_path: Path) -> None:
    """With the sentence that says what to do."""
    stand = progress(write_shop(tmp_path, tubes=None))
    assert "tubes.csv: found no such file" in stand.next


def test_lines_that_are_set_aside_or_being_entered_are_told(tmp_path: Path) -> None:
    """One is to be finished, of the other the reason stands there; where there is no line, page 6 is named."""
    folder = write_shop(tmp_path)
    put_line_aside(folder, "rear", "hose instead")
    begin_line(folder, {"line": "mid", "tube": "brake 3/16", "bender": "small", "service": "brake"}, "legs")
    told = progress(folder)
    rows = dict(zip(*told.table.columns.values(), strict=True))
    assert rows["line rear"] == "set aside: hose instead" and rows["line mid"] == "being entered" and rows["tube on hand"] == "no pieces"
