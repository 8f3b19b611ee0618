"""A shop folder read as a whole."""

import json
import time
from pathlib import Path

import numpy as np
import pytest
from a_shop import FILES, changed, write_shop
from conftest import SAMPLE

from bendcal.faults import ShopFaults
from bendcal.files.folder import read_shop


def test_everything_in_a_folder_is_read(tmp_path: Path) -> None:
    """Each file becomes its records, by name, in the files' order; a plain end needs no file."""
    shop = read_shop(write_shop(tmp_path))
    assert shop.cautions == ()
    assert shop.folder == tmp_path
    assert (shop.benders["small"].die_radius_mm, shop.benders["small"].min_leg_mm) == (15.0, None)
    assert (shop.tubes["brake 3/16"].od_mm, shop.tubes["brake 3/16"].alloy.alloy) == (4.76, "low-carbon steel")
    assert (shop.tools["rule"].measures, shop.tools["rule"].sd) == ("length", 0.3)
    assert (shop.ends["M10"].uses_mm, list(shop.ends)) == (5.0, ["M10", "plain"])
    assert [(o.offcut, o.row, o.leg_a_mm) for o in shop.offcuts] == [("1", 2, 104.5), ("2", 3, 96.5)]
    rear, front = shop.lines["rear"], shop.lines["front"]
    assert (rear.service, rear.trim_at, rear.labels) == ("brake", "B", ("seat", "", "clip", "seat"))
    assert rear.legs.leg_mm.tolist() == [100.0, 80.0, 60.0]
    np.testing.assert_allclose(rear.legs.twist_deg, [0.0, 90.0], atol=1e-9)
    assert front.legs.angle_deg.tolist() == [90.0, 45.0]
    assert (front.end_b, front.trim_at) == ("", "A")


def test_the_sample_reads_without_a_caution() -> None:
    """The shipped sample is sound, its one blunder set aside with its reason and kept as it was read."""
    shop = read_shop(SAMPLE)
    assert [c.sentence for c in shop.cautions] == []
    aside = [offcut for offcut in shop.offcuts if not offcut.counts]
    assert len(aside) == 1
    assert aside[0].angle_deg > aside[0].dial_deg


def test_two_files_are_enough(tmp_path: Path) -> None:
    """A new shop has benders and tubes; offcuts, tools, ends and lines may come later."""
    folder = write_shop(tmp_path, **{name: None for name in ("tools", "ends", "offcuts", "lines", "lines__rear", "lines__front")})
    shop = read_shop(str(folder))
    assert (shop.offcuts, shop.lines, shop.tools, shop.pairs()) == ((), {}, {}, ())
    assert list(shop.ends) == ["plain"]
    assert sorted(path.name for path in folder.iterdir()) == ["benders.csv", "tubes.csv"]  # reading leaves nothing


def test_a_log_with_its_header_only_is_a_log(tmp_path: Path) -> None:
    """No offcut bent yet is no fault; no bender is."""
    header = FILES["offcuts.csv"].splitlines()[0]
    assert read_shop(write_shop(tmp_path, offcuts=header)).offcuts == ()
    with pytest.raises(ShopFaults, match="benders.csv: found a header and no row. Add a row for each bender."):
        read_shop(write_shop(tmp_path, benders="bender,die_radius_mm\n"))


def test_names_are_found_in_any_case_and_kept_as_their_own_file_writes_them(tmp_path: Path) -> None:
    """SMALL in the log is the bender small; file names may differ in case as well."""
    folder = write_shop(tmp_path, offcuts=changed("offcuts.csv", ("1,small,brake 3/16", "1,SMALL,Brake  3/16")))
    (folder / "tools.csv").rename(folder / "Tools.CSV")
    (folder / "lines" / "rear.csv").rename(folder / "lines" / "Rear.csv")
    shop = read_shop(folder)
    assert (shop.offcuts[0].bender, shop.offcuts[0].tube) == ("small", "brake 3/16")
    assert shop.pairs() == (("small", "brake 3/16"),)
    assert "rule" in shop.tools


def test_all_of_a_folder_from_a_spreadsheet_of_another_country(tmp_path: Path) -> None:
    """Semicolons, decimal commas, marks, CRLF and UTF-16 in every file give the same shop."""

    def foreign(text: str) -> bytes:
        cells = text.replace(",", ";").replace(".", ",").replace("\n", "\r\n")
        return cells.encode("utf-8-sig") if len(text) % 2 else ("\ufeff" + cells).encode("utf-16-le")

    here = read_shop(write_shop(tmp_path / "here"))
    changes = {name.removesuffix(".csv").replace("/", "__"): foreign(text) for name, text in FILES.items()}
    there = read_shop(write_shop(tmp_path / "there", **changes))
    assert there.offcuts == here.offcuts
    assert (there.benders, there.tubes, there.tools, there.ends) == (here.benders, here.tubes, here.tools, here.ends)
    for name, line in here.lines.items():
        np.testing.assert_array_equal(there.lines[name].nodes_mm, line.nodes_mm)


def test_an_alloy_of_ones_own_is_given_by_its_numbers(tmp_path: Path) -> None:
    """Numbers in tubes.csv win over the table and make an unknown alloy known, in GPa or MPa."""
    tubes = (
        "tube,alloy,od_mm,wall_mm,e_gpa,yield_mpa,k_mpa,n\n"
        'a,low-carbon steel,4.76,0.71,,0.3 GPa,,\nb,my bronze,3/16 in,"0,71",110 GPa,120,500,0.3\n'
    )
    shop = read_shop(write_shop(tmp_path, tubes=tubes, offcuts=None, lines=None))
    assert shop.tubes["a"].alloy.yield_mpa == 300.0
    assert (shop.tubes["b"].alloy.k_mpa, shop.tubes["b"].od_mm) == (500.0, 4.7625)


def test_a_piece_set_aside_is_kept_as_it_was_read(tmp_path: Path) -> None:
    """Impossible readings with a reason beside them stop nothing; without it they do."""
    wrong = ("2,small,brake 3/16,200,90,47,45,96.5", "2,small,brake 3/16,200,90,47,450,96.5")
    text = changed("offcuts.csv", wrong)
    with pytest.raises(ShopFaults, match="row 3, column angle_deg: found 450.0°"):
        read_shop(write_shop(tmp_path, offcuts=text))
    text = text.removesuffix(",,\n") + ",slipped,\n"
    shop = read_shop(write_shop(tmp_path, offcuts=text))
    assert (shop.offcuts[1].angle_deg, shop.offcuts[1].set_aside, shop.offcuts[1].counts) == (450.0, "slipped", False)
    assert shop.cautions == ()


def test_cautions_name_their_row_and_stop_nothing(tmp_path: Path) -> None:
    """What is only implausible is read; what is not read is pointed out."""
    folder = write_shop(
        tmp_path,
        tools=None,
        offcuts=changed("offcuts.csv", ("92,90,104.5", "92,94,104.5"), ("set_aside", "setaside")),
        lines__old="leg_mm,angle_deg,twist_deg\n100,,\n",
    )
    (folder / "tool.csv").write_text("tool\n")
    shop = read_shop(folder)
    assert len(shop.offcuts) == 2
    told = "\n".join(caution.sentence for caution in shop.cautions)
    assert "tool.csv: found a file named tool.csv. It is not read; tools.csv would be." in told
    assert "offcuts.csv, row 2, column angle_deg: found 94.0° at a dial of 92.0°. Springback is negative" in told
    assert 'row 1, column setaside: found a column named "setaside"' in told
    assert 'offcuts.csv, row 2: found the tool "protractor". There is no tools.csv, so the usual uncertainty' in told
    assert "lines/old.csv: found a line's file. There is no such line in lines.csv, so it is not read." in told


def test_what_the_kit_writes_itself_is_passed_over(tmp_path: Path) -> None:
    """A calibration, sheets, a lock and a temporary file in the folder disturb no reading."""
    folder = write_shop(tmp_path)
    (folder / "calibration.json").write_text(json.dumps({"laws": []}))
    (folder / "sheets").mkdir()
    (folder / "sheets" / "rear.csv").write_text("bend\n")
    (folder / ".offcuts.lock").touch()
    (folder / ".bendcal-0123456789ab.tmp").write_text("offcut")
    assert read_shop(folder).cautions == ()


def test_a_thousand_offcuts_are_read_in_well_under_a_second(tmp_path: Path) -> None:
    """The log of many years is no reason to wait (it takes about 0.1 s)."""
    header, first, _ = FILES["offcuts.csv"].splitlines()
    rows = [first.replace("1,small", f"{number},small", 1) for number in range(1, 1001)]
    folder = write_shop(tmp_path, offcuts="\n".join([header, *rows]))
    began = time.perf_counter()
    assert len(read_shop(folder).offcuts) == 1000
    assert time.perf_counter() - began < 1.0
