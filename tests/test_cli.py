"""The command bendcal: what it prints, what it writes, and what it says when something is in the way."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

import bendcal
from bendcal.cli import main
from bendcal.design import next_offcuts

ROOT = Path(__file__).resolve().parent.parent


def told(capsys: pytest.CaptureFixture[str], *words: str, code: int = 0) -> tuple[str, str]:
    """What a command prints and what it complains of; its exit code is held to."""
    assert main(list(words)) == code
    captured = capsys.readouterr()
    return captured.out, captured.err


def run(*words: str, **env: str) -> subprocess.CompletedProcess:
    """The command in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "bendcal", *words], cwd=ROOT, capture_output=True, check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONWARNINGS": "error", **env},
    )  # fmt: skip


@pytest.fixture
def no_paper(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the print itself does not matter it is not drawn: that takes most of the time."""
    monkeypatch.setattr("bendcal.sheets.mark_sheet_pdf", lambda sheet, **options: b"%PDF-")


def assert_fits(text: str) -> None:
    """No line is wider than a terminal, and none carries a colour."""
    assert max(map(len, text.splitlines())) <= 80
    assert "\x1b" not in text


# --- calibrate ------------------------------------------------------------------------------------


def test_calibrate_says_what_was_learnt_and_keeps_it(capsys: pytest.CaptureFixture[str], sample_folder: Path) -> None:
    """A sentence and a row for each law, the piece set aside with its reason, what to bend next, and calibration.json."""
    out, err = told(capsys, "calibrate", str(sample_folder))
    assert err == ""
    cal = bendcal.load_calibration(sample_folder / "calibration.json")
    assert len(cal.laws) == 5
    words = " ".join(out.split())
    for law in cal.laws.values():
        assert " ".join(str(law).split()) in words
    assert "- S6: digits swapped" in out
    assert " ".join(next_offcuts(bendcal.read_shop(sample_folder)).sentence.split()) in words
    assert f"Written: {sample_folder / 'calibration.json'}" in out
    assert_fits(out.replace(str(sample_folder), "SHOP"))


def test_calibrate_names_a_reading_that_nobody_believes(capsys: pytest.CaptureFixture[str], sample_folder: Path) -> None:
    """A reading with two digits swapped is told with its piece, and as a question what may have happened."""
    log = sample_folder / "offcuts.csv"
    text = log.read_text(encoding="utf-8")
    assert "C5,small,cuni-3/16,180.5,70,70,66.5," in text
    log.write_text(text.replace("180.5,70,70,66.5,", "180.5,70,70,56.5,"), encoding="utf-8")
    out, _ = told(capsys, "calibrate", str(sample_folder))
    words = " ".join(out.split())
    assert "Does not agree with the other pieces: - Offcut C5: the angle disagrees" in words
    assert "Were two digits swapped (56.5 for 65.5)?" in words


def test_calibrate_tells_what_looks_wrong_in_the_tables(capsys: pytest.CaptureFixture[str], sample_folder: Path) -> None:
    """A caution of the reading is printed with its file, row and column before anything else."""
    log = sample_folder / "offcuts.csv"
    row = "X1,small,cuni-3/16,180,70,40,44,,,centre,,,,protractor,steel-rule,,,invented\n"
    log.write_text(log.read_text(encoding="utf-8") + row, encoding="utf-8")
    out, _ = told(capsys, "calibrate", str(sample_folder))
    assert out.startswith("Looks wrong; see whether it is:\n  - offcuts.csv, row 39, column angle_deg: found 44.0° at")


def test_calibrate_twice_says_whether_new_pieces_fit(capsys: pytest.CaptureFixture[str], sample_folder: Path) -> None:
    """A piece that was added since is held against what was kept."""
    told(capsys, "calibrate", str(sample_folder))
    law = bendcal.load_calibration(sample_folder / "calibration.json").law("small", "cuni-3/16")
    bendcal.append_offcut(
        sample_folder, offcut="C9", bender="small", tube="cuni-3/16", length_mm=180, mark_mm=70, dial_deg=60,
        angle_deg=round(float(law.finished_angle(60.0).value)), angle_tool="protractor",
    )  # fmt: skip
    out, _ = told(capsys, "calibrate", str(sample_folder))
    assert "New since the last calibration:\n  - small with cuni-3/16: the new offcut fits" in out
    assert "New since" not in told(capsys, "calibrate", str(sample_folder))[0]


# --- compare --------------------------------------------------------------------------------------


def test_compare_ends_in_a_plain_sentence(capsys: pytest.CaptureFixture[str], sample_folder: Path) -> None:
    """The bender that bent both is found; the sentence is the comparison's own."""
    out, _ = told(capsys, "compare", str(sample_folder), "cuni-3/16", "steel-3/16")
    cal = bendcal.calibrate(bendcal.read_shop(sample_folder))
    sentence = bendcal.compare(cal, ("small", "cuni-3/16"), ("small", "steel-3/16")).sentence
    assert " ".join(out.split()).endswith(" ".join(sentence.split()))
    assert out.startswith("steel-3/16 less cuni-3/16, both on small")
    assert_fits(out)
    assert told(capsys, "compare", str(sample_folder), "cuni-3/16", "steel-3/16", "--bender", "small")[0] == out


def test_compare_asks_which_bender_is_meant(capsys: pytest.CaptureFixture[str], sample_folder: Path) -> None:
    """Where two benders have bent both tubes, the command asks and shows how to answer."""
    log = sample_folder / "offcuts.csv"
    text = log.read_text(encoding="utf-8")
    row = "\n{0}9,large-1/4,{1},220,90,90,86,,,centre,,,,protractor,steel-rule,,,invented"
    log.write_text(text.rstrip() + row.format("Y", "cuni-3/16") + row.format("Z", "steel-3/16") + "\n", encoding="utf-8")
    _, err = told(capsys, "compare", str(sample_folder), "cuni-3/16", "steel-3/16", code=2)
    assert "small, large-1/4 have all bent cuni-3/16 and steel-3/16. Say which with --bender" in err


@pytest.mark.parametrize(
    "words, said",
    [
        (["cuni-3/16", "steel-8mm"], "No bender has bent both cuni-3/16 and steel-8mm"),
        (["cuni-3/17", "steel-8mm"], "There is no tube called 'cuni-3/17' in this shop. Did you mean 'cuni-3/16'?"),
        (["cuni-3/16", "steel-3/16", "--bender", "big"], "There is no bender called 'big'"),
        (["cuni-3/16", "steel-3/16", "--bender", "large-8mm"], "There is no law of bender 'large-8mm' with tube 'cuni-3/16'"),
    ],
)  # fmt: skip
def test_compare_says_what_it_cannot_compare(
    capsys: pytest.CaptureFixture[str], sample_folder: Path, words: list[str], said: str
) -> None:
    """A name that is not there, or a pair that nobody has bent, is a sentence."""
    out, err = told(capsys, "compare", str(sample_folder), *words, code=2)
    assert said in err and "Traceback" not in err and out == ""


# --- marks ----------------------------------------------------------------------------------------


def test_marks_without_a_name_takes_the_first_line(capsys: pytest.CaptureFixture[str], sample_folder: Path) -> None:
    """The marks, the cut, where the end will fall, and three files that are there."""
    out, err = told(capsys, "marks", str(sample_folder))
    shop = bendcal.read_shop(sample_folder)
    sheet = bendcal.mark_out(shop, bendcal.calibrate(shop), "brake-far-side")
    assert err == "" and out.startswith("brake-far-side: cuni-3/16 on small\n")
    for mark, dial in zip(sheet.mark_mm, sheet.dial_deg, strict=True):
        assert re.search(rf"^ +\d +{mark:.1f} +{dial:.1f} ", out, re.MULTILINE)
    assert f"Cut the tube {sheet.cut_length_mm:.1f} mm long. {sheet.trim_mm:.1f} mm of it is spare at end B" in " ".join(out.split())
    files = [Path(line.strip()) for line in out.partition("order of work:\n")[2].splitlines()]
    assert [path.suffix for path in files] == [".csv", ".json", ".pdf"]
    assert all(path.is_file() and path.parent == sample_folder / "sheets" for path in files)
    assert_fits(out.replace(str(sample_folder), "SHOP"))


def test_marks_of_a_brake_line_carry_the_cautions(
    capsys: pytest.CaptureFixture[str], sample_folder: Path, no_paper: None
) -> None:
    """Before any number stands what can kill; a fuel line has no word of brakes."""
    out, _ = told(capsys, "marks", str(sample_folder), "brake-near-side")
    assert out.index("Brake work can kill") < out.index("Cut the tube")
    for word in ("hydraulic brake lines", "scrap", "Pressure-test"):
        assert word in out
    assert "Brake work" not in told(capsys, "marks", str(sample_folder), "fuel-feed")[0]


def test_marks_in_inches_on_letter_paper(capsys: pytest.CaptureFixture[str], sample_folder: Path) -> None:
    """Marks and cut in inches; the PDF's pages are 8.5 by 11 inches; the csv stays in mm."""
    from pypdf import PdfReader

    out, _ = told(capsys, "marks", str(sample_folder), "clutch", "--inches", "--paper", "letter")
    assert "mark in" in out and re.search(r'Cut the tube \d+ \d+/\d+" long', out)
    for page in PdfReader(sample_folder / "sheets" / "clutch.pdf").pages:
        assert [round(float(v)) for v in (page.mediabox.width, page.mediabox.height)] == [612, 792]
    assert (sample_folder / "sheets" / "clutch.csv").read_text(encoding="utf-8").startswith("bend,mark_mm,")


def test_marks_with_the_other_end_leading(
    capsys: pytest.CaptureFixture[str], sample_folder: Path, no_paper: None
) -> None:
    """Every bend says that the tube goes in end for end, and the marks lie elsewhere."""
    there, back = (told(capsys, "marks", str(sample_folder), "clutch", "--feed", feed)[0] for feed in "AB")
    assert "end for end" not in there and back.count("tube turned end") == 3
    assert there.partition("bend  ")[2].splitlines()[1] != back.partition("bend  ")[2].splitlines()[1]


def test_marks_warns_of_what_does_not_fit(
    capsys: pytest.CaptureFixture[str], sample_folder: Path, no_paper: None
) -> None:
    """A bender that needs more straight than there is is told before the sheet is named."""
    benders = sample_folder / "benders.csv"
    text = benders.read_text(encoding="utf-8")
    assert "large-8mm,28.5,1,180,35,15,30" in text
    benders.write_text(text.replace("large-8mm,28.5,1,180,35,15,30", "large-8mm,28.5,1,180,155,15,30"), encoding="utf-8")
    out, _ = told(capsys, "marks", str(sample_folder), "fuel-feed")
    assert "Warnings; put these right before you cut:\n  - Leg 1 (end A to bend 1) has" in out


@pytest.mark.parametrize(
    "spoil, said",
    [
        (lambda shop: (shop / "lines.csv").unlink(), "There is no line in"),
        (lambda shop: (shop / "offcuts.csv").unlink(), "No offcut counts (there are none)"),
        (lambda shop: (shop / "sheets").write_text("in the way"), "cannot be made"),
    ],
)  # fmt: skip
def test_marks_says_what_is_missing(
    capsys: pytest.CaptureFixture[str], sample_folder: Path, no_paper: None, spoil, said: str
) -> None:
    """No lines, no readings, no room for the sheet: a sentence each."""
    spoil(sample_folder)
    _, err = told(capsys, "marks", str(sample_folder), code=2)
    assert said in err and "Traceback" not in err


def test_a_line_that_is_not_there_is_answered_with_those_that_are(
    capsys: pytest.CaptureFixture[str], sample_folder: Path
) -> None:
    """A mistyped name is met with the nearest one."""
    _, err = told(capsys, "marks", str(sample_folder), "cluch", code=2)
    assert "There is no line called 'cluch' in this shop. Did you mean 'clutch'?" in err


# --- errors, consoles -----------------------------------------------------------------------------


@pytest.mark.parametrize("job", ["calibrate", "marks"])
def test_a_folder_that_is_not_there_is_a_sentence(capsys: pytest.CaptureFixture[str], job: str) -> None:
    """Exit code 2, the report on the error output, nothing on the other."""
    out, err = told(capsys, job, "no such shop", code=2)
    assert out == "" and err.startswith("bendcal: 1 fault must be put right first:\n  1. no such shop: found no folder")


def test_all_faults_of_a_shop_are_told_at_once(capsys: pytest.CaptureFixture[str], sample_folder: Path) -> None:
    """Two spoiled cells in two files make one report of two faults."""
    for name, good, bad in (("tubes.csv", "4.76", "thin"), ("benders.csv", ",17,", ",-17,")):
        path = sample_folder / name
        path.write_text(path.read_text(encoding="utf-8").replace(good, bad, 1), encoding="utf-8")
    _, err = told(capsys, "calibrate", str(sample_folder), code=2)
    assert "2 faults must be put right first" in err
    assert "tubes.csv, row 2, column od_mm" in err and "benders.csv, row 2, column die_radius_mm" in err
    assert not (sample_folder / "calibration.json").exists()


def test_a_folder_that_cannot_be_written_to_is_a_sentence(
    capsys: pytest.CaptureFixture[str], sample_folder: Path
) -> None:
    """The calibration's place is taken by a folder: said, not thrown."""
    (sample_folder / "calibration.json").mkdir()
    _, err = told(capsys, "calibrate", str(sample_folder), code=2)
    assert "is a folder" in err and "Traceback" not in err


def test_an_unforeseen_operating_system_error_is_told_with_its_file(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """An OSError of Python's own is told by its file and reason, without numbers and brackets."""
    def fails(folder: str, **_: bool) -> None:
        raise PermissionError(13, "Permission denied", "tubes.csv")

    monkeypatch.setattr("bendcal.notices.read_shop", fails)
    assert told(capsys, "calibrate", "x", code=2)[1] == "bendcal: tubes.csv: Permission denied.\n"


@pytest.mark.parametrize("words", [[], ["mark"], ["marks"], ["marks", "x", "y", "--paper", "a5"], ["notebooks", "--port", "x"]])
def test_a_mistyped_command_says_how_it_goes(capsys: pytest.CaptureFixture[str], words: list[str]) -> None:
    """Usage and the reason on the error output, exit code 2."""
    out, err = told(capsys, *words, code=2)
    assert out == "" and err.startswith("usage: bendcal") and "error:" in err


def test_help_shows_examples_and_the_caution(capsys: pytest.CaptureFixture[str]) -> None:
    """Someone who asks for help sees commands to copy, and that brake work can kill."""
    out, _ = told(capsys, "-h")
    assert "bendcal marks sample_measurements" in out and "Brake work can kill" in out
    for job in ("calibrate", "compare", "marks", "notebooks"):
        assert f"bendcal {job} " in told(capsys, job, "--help")[0]


def test_the_version_is_told_by_the_program_itself() -> None:
    """``python -m bendcal --version``, with warnings as errors and nothing that draws loaded."""
    done = run("--version")
    assert done.returncode == 0, done.stderr
    assert done.stdout.decode().strip() == f"bendcal {bendcal.__version__}"
    # scipy.stats alone takes as long to load as numpy and pandas together.
    code = "import sys, bendcal.cli; sys.exit(bool({'matplotlib', 'jupyterlab', 'ipywidgets', 'scipy.stats'} & set(sys.modules)))"
    subprocess.run([sys.executable, "-c", code], cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT)}, check=True)


@pytest.mark.parametrize("encoding", ["ascii", "cp437", "cp1252", "utf-8"])
def test_a_console_without_our_signs_gets_question_marks(encoding: str) -> None:
    """°, − and ± may not exist on an old console: they become question marks, and nothing stops."""
    done = run("compare", "sample_measurements", "cuni-3/16", "steel-3/16", PYTHONIOENCODING=encoding, PYTHONUTF8="0")
    assert done.returncode == 0, done.stderr
    assert done.stderr == b""
    text = done.stdout.decode(encoding)
    assert ("?" in text) == (encoding != "utf-8")
    assert "needs another dial setting" in text


def test_a_reader_that_has_seen_enough_is_no_error(sample_folder: Path) -> None:
    """``bendcal calibrate SHOP | head -1`` ends without a complaint."""
    command = [sys.executable, "-m", "bendcal", "calibrate", str(sample_folder)]
    env = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONUTF8": "1"}
    with subprocess.Popen(command, cwd=ROOT, env=env, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        process.stdout.close()
        complaint = process.stderr.read()
    assert complaint == b""


def test_a_planned_worksheet_says_where_no_further_piece_pays(capsys: pytest.CaptureFixture[str], sample_folder: Path) -> None:
    """The pieces that were asked for are printed, and with them the word to stop."""
    out, _ = told(capsys, "worksheet", str(sample_folder), "--planned", "2")
    assert "Written:" in out and "Stop: " in out
    assert "Stop: " not in told(capsys, "worksheet", str(sample_folder))[0]
