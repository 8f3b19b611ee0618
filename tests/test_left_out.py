"""A shop of which a part has faults: jobs that do not need it go on, those that do stop, and nothing is silent."""

import shutil
from pathlib import Path

import pytest
from a_shop import changed, write_shop
from conftest import SAMPLE

from bendcal.calibration import calibrate
from bendcal.cli import main
from bendcal.faults import ShopFaults
from bendcal.files.folder import read_shop
from bendcal.forms.shop_now import ShopNow
from bendcal.job import plan_job
from bendcal.marks import mark_out
from bendcal.progress import progress

SPOILED = {
    "lines/front.csv": "leg_mm,angle_deg,twist_deg\n100,bent,\n80,,x\n120\n",
    "ends.csv": "end,form,uses_mm\nM10,tripple flare,5\n",
    "flares.csv": "end,before_mm,after_mm\nM12,100,95\n",
    "stock.csv": "piece,tube,length_mm\ncoil,brake 5/16,7620\n",
    "bender_bodies.csv": "bender,body,shape,x_mm,y_mm,z_mm\nlarge,vice,wall,0,0,0\n",
    "obstacles.csv": "obstacle,shape,x_mm,y_mm,z_mm\nexhaust,blob,0,0,0\n",
}


def spoiled(folder: Path, *files: str) -> Path:
    """The small shop with these of its files spoiled."""
    return write_shop(folder, **{file.removesuffix(".csv").replace("/", "__"): SPOILED[file] for file in files})


@pytest.mark.parametrize("file", SPOILED)
def test_what_no_law_is_learnt_from_stops_no_calibration(tmp_path: Path, file: str) -> None:
    """Each such file may be spoiled: the shop is read, the part is left out, one caution says so with place and reason."""
    folder = spoiled(tmp_path, file)
    with pytest.raises(ShopFaults, match=f"{file}, row 2") as refusal:
        read_shop(folder)
    shop = read_shop(folder, whole=False)
    assert shop.unread == {file: refusal.value.faults}
    assert [c.file for c in shop.cautions] == [file]
    assert "left out until this is put right" in shop.cautions[0].sentence
    assert shop.cautions[0].sentence.startswith(f"{file}, row 2, column ")
    assert ". " in shop.cautions[0].rule and ".." not in shop.cautions[0].sentence
    assert calibrate(shop).laws


@pytest.mark.parametrize(
    ("file", "swap"),
    [("benders", ("15", "wide")), ("tubes", ("0.71", "thick")), ("tools", ("0.4", "fine")), ("offcuts", ("92,90", "92,x"))],
)
def test_what_laws_are_learnt_from_stops_every_job(tmp_path: Path, file: str, swap: tuple[str, str]) -> None:
    """And then all faults of all files come in the one report, those that could have waited too."""
    write_shop(tmp_path, **{file: changed(f"{file}.csv", swap), "lines__front": SPOILED["lines/front.csv"]})
    with pytest.raises(ShopFaults, match=rf"{file}.csv, row 2(.|\n)*lines/front.csv, row 3"):
        read_shop(tmp_path, whole=False)


def test_a_sound_shop_is_the_same_either_way(tmp_path: Path) -> None:
    """Nothing is left out and nothing is said."""
    shop = read_shop(write_shop(tmp_path), whole=False)
    assert (shop.unread, shop.cautions, list(shop.lines)) == ({}, (), ["rear", "front"])


def test_one_faulty_line_leaves_the_others(tmp_path: Path) -> None:
    """The sound line is marked; asking for the faulty one gives all its faults, and a name that is nowhere is unknown."""
    shop = read_shop(spoiled(tmp_path, "lines/front.csv"), whole=False)
    cal = calibrate(shop)
    assert mark_out(shop, cal, "rear").cut_length_mm > 0
    with pytest.raises(ShopFaults, match="2 faults must be put right first:(.|\n)*row 2, column angle_deg(.|\n)*row 3, column twist_deg"):
        mark_out(shop, cal, "front")
    with pytest.raises(KeyError, match="no line called 'side'"):
        mark_out(shop, cal, "side")


def test_a_faulty_row_of_lines_csv_is_that_lines_fault(tmp_path: Path) -> None:
    """A wrong tube, a wrong choice, a name that comes twice: each stops its line and no other."""
    swaps = [("front,brake 3/16", "front,brake 3/8"), ("small,brake,M10,,A", "small,brakes,M10,,A"), ("A,\n", "A,\nfront,brake 3/16,small,fuel,,,B,\n")]
    for swap in swaps:
        shop = read_shop(write_shop(tmp_path, lines=changed("lines.csv", swap)), whole=False)
        assert (list(shop.lines), list(shop.unread), list(shop.unread_lines)) == (["rear"], ["lines/front.csv"], ["front"]), swap
        with pytest.raises(ShopFaults, match="lines.csv, row"):
            shop.line("front")


def test_a_faulty_header_of_lines_csv_stops_every_line(tmp_path: Path) -> None:
    """Whose fault it is cannot be said then."""
    shop = read_shop(write_shop(tmp_path, lines=changed("lines.csv", ("tube", "pipe"))), whole=False)
    assert shop.lines == {}
    assert "Every line is left out" in shop.cautions[0].sentence
    for line in ("rear", "side"):
        with pytest.raises(ShopFaults, match="lines.csv, row 1, column tube"):
            shop.line(line)


def test_a_row_without_a_name_stops_no_line(tmp_path: Path) -> None:
    """It is told, and asked for by nobody."""
    shop = read_shop(write_shop(tmp_path, lines=changed("lines.csv", ("A,\n", "A,\n,brake 3/16,small,,,,,\n"))), whole=False)
    assert (list(shop.lines), list(shop.unread), shop.unread_lines) == (["rear", "front"], ["lines.csv, row 4"], {})
    assert "lines.csv, row 4 is left out until this is put right" in shop.cautions[0].sentence
    assert shop.line("rear").bends == 2


def test_a_line_below_more_faults_than_are_listed_is_not_unknown(tmp_path: Path) -> None:
    """Its row was not looked at any more; the faults above it are what is in its way."""
    header = "line,tube,bender,service,end_a,end_b,trim_at,note\n"
    rows = "".join(f"l{k},brake 3/16,small,steam,,,,\n" for k in range(220))
    shop = read_shop(write_shop(tmp_path, lines=f"{header}{rows}rear,brake 3/16,small,,,,,\n"), whole=False)
    with pytest.raises(ShopFaults, match="201 faults must be put right first"):
        shop.line("rear")


def test_ends_and_flares_stop_the_lines_that_have_ends(tmp_path: Path) -> None:
    """An end that cannot be read would cost tube; a line with plain ends goes on."""
    for file in ("ends.csv", "flares.csv"):
        write_shop(tmp_path, flares=None, ends="end,form,uses_mm\nM10,olive,5\n", lines=changed("lines.csv", ("M10,,A", ",,A")))
        (tmp_path / file).write_text(SPOILED[file])
        shop = read_shop(tmp_path, whole=False)
        cal = calibrate(shop)
        with pytest.raises(ShopFaults, match=f"{file}, row 2"):
            mark_out(shop, cal, "rear")
        assert mark_out(shop, cal, "front").cut_length_mm > 0
        (tmp_path / file).unlink()


def test_a_job_of_all_lines_refuses_the_faulty_one_and_needs_its_stock(tmp_path: Path) -> None:
    """The others are planned, and the refused one stands there with its faults; without stock nothing is."""
    shop = read_shop(spoiled(tmp_path, "lines/front.csv"), whole=False)
    cal = calibrate(shop)
    job = plan_job(shop, cal)
    assert [(one.line, len(one.reasons)) for one in job.refused if "front.csv" in one.reasons[0]] == [("front", 2)]
    with pytest.raises(ShopFaults, match="lines/front.csv"):
        plan_job(shop, cal, lines=["front"])
    shop = read_shop(spoiled(tmp_path, "stock.csv"), whole=False)
    with pytest.raises(ShopFaults, match="stock.csv, row 2, column tube"):
        plan_job(shop, cal)


@pytest.mark.parametrize(
    ("job", "file"),
    [("marks", "lines/front.csv"), ("plan", "bender_bodies.csv"), ("plan", "obstacles.csv"), ("job", "stock.csv"), ("marks", "ends.csv")],
)
def test_commands_go_on_without_what_they_do_not_need(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], job: str, file: str
) -> None:
    """calibrate prints the caution and does its work; the job that needs the file stops with its faults."""
    folder = spoiled(tmp_path, file)
    assert main(["calibrate", str(folder)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert f"{file}, row 2" in said and "left out until this is put right" in said
    words = [job, str(folder)] if job == "job" else [job, str(folder), "front"]
    assert main(words) == 2
    assert f"{file}, row 2" in capsys.readouterr().err


def test_the_first_line_is_not_guessed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`marks` without a name means the first line; with a faulty one it does not go to the next in silence."""
    assert main(["marks", str(spoiled(tmp_path, "lines/front.csv"))]) == 2
    assert "lines/front.csv, row 2" in capsys.readouterr().err
    assert not (tmp_path / "sheets").exists()


def test_where_one_stands_names_the_faulty_line(tmp_path: Path) -> None:
    """The table of progress has its row, with the place; the form on page 1 goes on, and offers every end."""
    folder = spoiled(tmp_path, "lines/front.csv")
    rows = dict(zip(*progress(folder).table.columns.values(), strict=True))
    assert rows["line front"] == "waits for 2 faults to be put right: lines/front.csv, row 2, column angle_deg"
    rows = dict(zip(*progress(spoiled(folder, "ends.csv")).table.columns.values(), strict=True))
    assert rows["line front"] == "waits for 1 fault to be put right: ends.csv, row 2, column form"
    now = ShopNow(folder)
    assert (now.trouble, now.names("end")) == ("", ["M10", "plain"])


@pytest.mark.parametrize(("folder", "line"), [("lines", "clutch"), ("patterns", "brake-near-side")])
def test_a_folder_that_may_not_be_read_is_no_missing_file(
    sample_folder: Path, monkeypatch: pytest.MonkeyPatch, folder: str, line: str
) -> None:
    """It is said once, as what it is, with the remedy; calibration goes on. (Rights do not stop every user, so it is simulated.)"""
    import os

    if folder == "patterns" and (sample_folder / "lines" / f"{line}.csv").exists():
        (sample_folder / "lines" / f"{line}.csv").unlink()
    real = os.listdir

    def listdir(path):
        if Path(path).name == folder:
            raise PermissionError(13, "Permission denied")
        return real(path)

    monkeypatch.setattr(os, "listdir", listdir)
    with pytest.raises(ShopFaults, match=f"{folder}/: found a folder that may not be read.*Allow reading it") as refusal:
        read_shop(sample_folder)
    assert [fault.file for fault in refusal.value.faults] == [f"{folder}/"]
    shop = read_shop(sample_folder, whole=False)
    assert calibrate(shop).laws
    with pytest.raises(ShopFaults, match="Allow reading it"):
        shop.line(line)


def test_a_file_in_the_place_of_the_folder_of_lines(tmp_path: Path) -> None:
    """It is told as that, and not as files that are missing."""
    folder = write_shop(tmp_path)
    shutil.rmtree(folder / "lines")
    (folder / "lines").write_text("x")
    with pytest.raises(ShopFaults, match="1 fault .*\n.*lines/: found a file. A folder is needed here."):
        read_shop(folder)


def test_the_sample_is_whole() -> None:
    """Nothing of the shipped sample is left out."""
    assert read_shop(SAMPLE, whole=False).unread == {}


def test_what_stops_a_job_is_said_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The fault is told as what stops the job; another part's, which does not, as left out; a job that goes on tells both, at its end."""
    folder = spoiled(tmp_path, "lines/front.csv")
    (folder / "stock.csv").write_text("piece,tube,length_mm\nrack,nothing,1000\n", encoding="utf-8")
    assert main(["marks", str(folder), "front"]) == 2
    out, err = capsys.readouterr()
    assert "lines/front.csv, row" in err and "lines/front.csv" not in out and "stock.csv" not in err
    assert out.lstrip().startswith("Left out, because it cannot be read as it is:\n  - stock.csv, row 2")
    assert main(["calibrate", str(folder)]) == 0
    out, err = capsys.readouterr()
    assert out.count("lines/front.csv, row 2") == out.count("stock.csv, row 2") == 1 and not err
    assert out.index("Written:") < out.index("Left out, because") < out.index("stock.csv, row 2")
