"""The commands plan, pattern and next."""

from pathlib import Path

import numpy as np
import pytest
from pypdf import PdfReader

import bendcal
from bendcal.design import plan_offcuts
from bendcal.feasible.planning import plan_bending
from bendcal.plan_report import plan_table
from tests.test_cli import assert_fits, told


def plain(text: str) -> str:
    """The words without the line breaks."""
    return " ".join(text.split())


def test_plan_says_how_a_line_is_bent_and_what_it_keeps_clear_of(capsys: pytest.CaptureFixture[str], sample_folder: Path) -> None:
    """The plan's own sentence and steps, an order out of the row among them; the obstacle's distance."""
    out, err = told(capsys, "plan", str(sample_folder), "brake-far-side")
    shop = bendcal.read_shop(sample_folder)
    plans = plan_bending(shop, bendcal.calibrate(shop), "brake-far-side")
    assert err == "" and plans.best.order != tuple(range(1, 7))
    assert plain(plans.sentence) in plain(out) and repr(plan_table(plans.best)) in out
    assert "Brake work can kill" in out
    assert "keeps clear of the one obstacle" in out
    assert_fits(out)


def test_plan_says_what_is_too_near(capsys: pytest.CaptureFixture[str], sample_folder: Path) -> None:
    """The sample's clutch line passes its manifold at half the distance."""
    out, _ = told(capsys, "plan", str(sample_folder), "clutch")
    assert "TOO NEAR" in out and "comes too near" in out


def test_plan_says_what_stands_in_the_way(capsys: pytest.CaptureFixture[str], sample_folder: Path) -> None:
    """Where two bends are nearer than the bender can hold: what is missing, once and with its source, no table of steps, and exit code 3."""
    benders = sample_folder / "benders.csv"
    benders.write_text(benders.read_text(encoding="utf-8").replace("small,17,1,180,25,10,20", "small,17,1,180,25,80,20"), encoding="utf-8")
    out, err = told(capsys, "plan", str(sample_folder), "brake-near-side", code=3)
    assert err == "" and plain(out).count("bender small needs 80 mm") == 1 and "(benders.csv, min_between_mm)" in plain(out)
    assert "cannot be bent on small as it is" in out and "Put right first:" in out and "step  bend" not in out
    assert_fits(out)


def test_plan_tells_a_short_leg_once(capsys: pytest.CaptureFixture[str], sample_folder: Path) -> None:
    """Two legs too short for their bends make one sentence, with one length for each, and exit code 3; a line that is not there ends with 2."""
    (sample_folder / "lines" / "clutch.csv").write_text("leg_mm,angle_deg,twist_deg\n100,90,\n20,90,90\n25,90,90\n100,,\n", encoding="utf-8")
    out, err = told(capsys, "plan", str(sample_folder), "clutch", code=3)
    assert err == "" and plain(out).count("leg 3 (bend 2 to bend 3) is 25.0 mm") == 1 and out.count("are missing") == 2
    missing = [float(text.split()[-1]) for text in plain(out).split(" mm are missing")[:2]]
    assert f"With leg 2 longer by {np.ceil(missing[0]):g} mm and leg 3 longer by {np.ceil(missing[1]):g} mm it can be bent." in plain(out)
    assert_fits(out)
    told(capsys, "plan", str(sample_folder), "cluch", code=2)


def test_plan_writes_the_pictures_that_are_asked_for(capsys: pytest.CaptureFixture[str], sample_folder: Path) -> None:
    """The bends in the bender as a pdf, the line to be turned as a page; without being asked neither."""
    told(capsys, "plan", str(sample_folder), "clutch")
    assert not (sample_folder / "sheets").exists()
    out, _ = told(capsys, "plan", str(sample_folder), "clutch", "--pdf", "--page", "--paper", "letter")
    pdf, page = sample_folder / "sheets" / "bending" / "clutch.pdf", sample_folder / "sheets" / "turntable" / "clutch.html"
    assert f"Written: {pdf}" in out and f"Written: {page}" in out
    assert float(PdfReader(pdf).pages[0].mediabox.width) == pytest.approx(612.0, abs=0.1)
    assert page.read_text(encoding="utf-8").startswith("<!doctype html>") and "exhaust manifold" in page.read_text(encoding="utf-8")


def test_pattern_gives_shape_closing_and_what_was_set_aside(capsys: pytest.CaptureFixture[str], sample_folder: Path) -> None:
    """The reading set aside is told with its reason and does not count; with --all it is a suspect."""
    out, err = told(capsys, "pattern", str(sample_folder), "brake-near-side")
    assert err == "" and "begun at its 10 cm mark" in plain(out) and "Does not fit" not in out
    assert "63.4 ± 0.6" in out and "miss end B by 3.6 mm" in plain(out)
    assert_fits(out)
    out, _ = told(capsys, "pattern", str(sample_folder), "brake-near-side", "--all")
    assert "Does not fit: - The straight distance from end A to apex 3" in plain(out) and "Set aside" not in out


def test_pattern_tells_what_is_missing_and_gives_no_shape(capsys: pytest.CaptureFixture[str], sample_folder: Path) -> None:
    """Legs and angles alone leave the twists open."""
    (sample_folder / "patterns" / "clutch.csv").write_text(
        "what,from,to,length_mm,angle_deg\nleg,A,1,50,\nleg,1,2,60,\nleg,2,B,70,\nangle,1,,,60\nangle,2,,,40\n", encoding="utf-8"
    )
    out, _ = told(capsys, "pattern", str(sample_folder), "clutch")
    assert "Still open:" in out and "One more measurement settles it: the twist from bend 1 to bend 2" in plain(out)
    assert "legs, angles and twists from end A on" not in out


def test_pattern_without_its_file_says_so(capsys: pytest.CaptureFixture[str], sample_folder: Path) -> None:
    """A sentence with the file's name, and exit code 2."""
    _, err = told(capsys, "pattern", str(sample_folder), "fuel-feed", code=2)
    assert "patterns/fuel-feed.csv: found no such file" in err


def test_next_says_what_to_bend_or_to_stop(capsys: pytest.CaptureFixture[str], sample_folder: Path) -> None:
    """The advice of the design; with a count its plan, a row for each piece; for one line alone where one is named."""
    out, _ = told(capsys, "next", str(sample_folder))
    assert "Stop:" in out and "dial °" not in out
    out, _ = told(capsys, "next", str(sample_folder), "clutch", "--count", "3")
    plan = plan_offcuts(bendcal.read_shop(sample_folder), lines=["clutch"], count=3)
    assert plain(plan.sentence) in plain(out)
    assert out.count("large-1/4  cuni-1/4") == len(plan.offcuts) == 3
    assert_fits(out)


def test_next_refuses_what_makes_no_sense(capsys: pytest.CaptureFixture[str], sample_folder: Path) -> None:
    """No pieces, or a line that the shop does not have."""
    _, err = told(capsys, "next", str(sample_folder), "--count", "0", code=2)
    assert "it must be 1 or more" in err
    _, err = told(capsys, "next", str(sample_folder), "cluch", code=2)
    assert "cluch" in err and "clutch" in err
