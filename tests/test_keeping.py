"""The calibration that is kept, and what new pieces say against it."""

from pathlib import Path

import bendcal
from bendcal.keeping import KEPT, keep, news


def calibrated(folder: Path) -> bendcal.shop.Shop:
    """The shop in `folder`, its calibration kept."""
    shop = bendcal.read_shop(folder)
    keep(bendcal.calibrate(shop), shop)
    return shop


def add(folder: Path, name: str, dial: float, angle: float) -> None:
    """Bend another piece of copper-nickel on the small bender."""
    bendcal.append_offcut(
        folder, offcut=name, bender="small", tube="cuni-3/16", length_mm=180, mark_mm=70, dial_deg=dial,
        angle_deg=angle, angle_tool="protractor",
    )  # fmt: skip


def test_what_is_kept_is_what_was_taught(sample_folder: Path) -> None:
    """The kept file holds the same laws, to the last digit."""
    shop = bendcal.read_shop(sample_folder)
    cal = bendcal.calibrate(shop)
    path = keep(cal, shop)
    assert path == sample_folder / KEPT
    for pair, law in bendcal.load_calibration(path).laws.items():
        assert law.parameters.equals(cal.laws[pair].parameters)


def test_without_new_pieces_there_is_no_news(sample_folder: Path) -> None:
    """Neither before the first calibration nor right after it is there anything to say."""
    assert news(bendcal.read_shop(sample_folder)) == ()
    assert news(calibrated(sample_folder)) == ()


def test_a_piece_that_fits_is_told_to_fit(sample_folder: Path) -> None:
    """A new piece that finishes where the law says: one sentence, no alarm."""
    law = bendcal.calibrate(calibrated(sample_folder)).law("small", "cuni-3/16")
    add(sample_folder, "C9", 60, round(2 * float(law.finished_angle(60.0).value)) / 2)
    (told,) = news(bendcal.read_shop(sample_folder))
    assert told == "small with cuni-3/16: the new offcut fits the stored law."


def test_a_knocked_bender_is_noticed(sample_folder: Path) -> None:
    """Three new pieces that all finish 5° lower: the sentence says by how much they are off."""
    law = bendcal.calibrate(calibrated(sample_folder)).law("small", "cuni-3/16")
    for name, dial in (("C9", 45), ("C10", 70), ("C11", 95)):
        add(sample_folder, name, dial, round(float(law.finished_angle(float(dial)).value) - 5.0))
    (told,) = news(bendcal.read_shop(sample_folder))
    assert "do not fit the stored law" in told and "the finished angle is off by -" in told


def test_a_kept_file_that_cannot_be_read_stops_nothing(sample_folder: Path) -> None:
    """It is about to be made anew: no news of it, and the new one takes its place."""
    (sample_folder / KEPT).write_text("{}", encoding="utf-8")
    shop = bendcal.read_shop(sample_folder)
    assert news(shop) == ()
    assert bendcal.load_calibration(keep(bendcal.calibrate(shop), shop)).laws
