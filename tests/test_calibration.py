"""A calibration: what counts, what it keeps, and that it comes back from its file as it was."""

import json
from dataclasses import replace
from math import inf

import numpy as np
import pandas as pd
import pytest
from invented_kit import draw_from_prior, with_reading

import bendcal
from bendcal.calibration import FORMAT, Calibration, calibrate, load_calibration
from bendcal.law import Law
from bendcal.shop import Shop, UnknownName


@pytest.fixture(scope="module")
def shop() -> Shop:
    """Two tubes on one bender, five pieces each."""
    return draw_from_prior(np.random.default_rng(31), tubes=2, per_pair=5).shop


@pytest.fixture(scope="module")
def cal(shop: Shop) -> Calibration:
    """Its calibration."""
    return calibrate(shop)


def same_laws(one: Calibration, other: Calibration, *, rel: float = 0.0) -> None:
    """Every number of every law alike, to `rel` of its uncertainty."""
    assert set(one.laws) == set(other.laws)
    for pair, law in one.laws.items():
        there = other.laws[pair]
        sd = np.sqrt(np.diag(law.covariance))
        assert np.all(np.abs(law.parameters - there.parameters) <= rel * sd)
        assert np.all(np.abs(law.covariance - there.covariance) <= rel * np.outer(sd, sd))
        assert law.scatter_deg == pytest.approx(there.scatter_deg, rel=rel or 1e-15)


# --- what is in it ------------------------------------------------------------------------------


def test_every_pair_with_a_piece_that_counts_has_a_law(shop: Shop, cal: Calibration) -> None:
    """The laws know their names, how many pieces taught them, and what those covered."""
    assert tuple(cal.laws) == shop.pairs()
    for pair, law in cal.laws.items():
        mine = shop.offcuts_for(*pair)
        assert (law.bender, law.tube, law.n_offcuts) == (*pair, len(mine))
        assert law.dial_range_deg == (min(o.dial_deg for o in mine), max(o.dial_deg for o in mine))
        assert law.angle_range_deg == (min(o.angle_deg for o in mine), max(o.angle_deg for o in mine))
        assert cal.law(*pair) is law
    assert str(cal) == "\n\n".join(str(law) for law in cal.laws.values()) == repr(cal)


def test_a_laws_dial_is_its_benders(shop: Shop) -> None:
    """Step and end of the dial go along, for the sheet."""
    benders = {name: replace(b, dial_step_deg=2.0, dial_max_deg=180.0) for name, b in shop.benders.items()}
    law = next(iter(calibrate(replace(shop, benders=benders)).laws.values()))
    assert (law.dial_step_deg, law.dial_max_deg) == (2.0, 180.0)


def test_an_angle_that_nobody_believes_covers_nothing(shop: Shop, cal: Calibration) -> None:
    """A 4 typed for a 40 or so does not stretch what the offcuts covered to where nobody bent; an honest piece does."""
    pair = ("bender 0", "tube 0")
    low, high = cal.law(*pair).angle_range_deg
    piece = sorted(shop.offcuts_for(*pair), key=lambda o: o.angle_deg)[2]
    typed = calibrate(with_reading(shop, piece.offcut, angle_deg=4.0))
    assert any(piece.offcut in text for text in typed.blunders)
    assert typed.law(*pair).angle_range_deg == (low, high)
    assert not typed.law(*pair).covers(low - 1.0)
    assert typed.law(*pair).n_offcuts == 5


def test_a_pair_without_a_law_is_told_what_to_do(cal: Calibration) -> None:
    """The sentence names the pair, the way out, and what is known."""
    with pytest.raises(UnknownName, match="no law of bender 'bender 0' with tube 'gas' yet.*Bend one marked offcut.*Known: bender 0 with tube 0;"):
        cal.law("bender 0", "gas")


def test_residuals_are_reading_less_law_one_row_a_piece(shop: Shop, cal: Calibration) -> None:
    """At each piece's dial: angle − (a + b·dial); and where a leg was not measured there is no residual."""
    table = cal.residuals
    assert table["offcut"].tolist() == [o.offcut for o in shop.offcuts]
    for _, row in table.iterrows():
        law = cal.law(row["bender"], row["tube"])
        assert row["resid_angle_deg"] == pytest.approx(row["reading_deg"] - law.finished_angle(row["dial_deg"]).value, abs=1e-6)
    assert np.all((table["leverage"] > 0) & (table["leverage"] < 1))
    bare = calibrate(with_reading(shop, "0-1", leg_a_mm=None, leg_b_mm=None)).residuals.set_index("offcut").loc["0-1"]
    assert bare[["resid_leg_a_mm", "resid_leg_b_mm", "z_leg_a", "z_leg_b"]].isna().all()
    assert np.isfinite(bare[["resid_angle_deg", "z_angle"]].astype(float)).all()


def test_a_residual_of_a_leg_is_that_of_the_law_at_the_angle_it_predicts() -> None:
    """By hand near the law: leg A − mark − (m + R·tan(θ/2)) at θ = a + b·dial, to second order in the angle's error."""
    drawn = draw_from_prior(np.random.default_rng(33), tubes=1, per_pair=6)
    cal = calibrate(drawn.shop)
    law, table = next(iter(cal.laws.values())), cal.residuals.set_index("offcut")
    for o in drawn.shop.offcuts:
        angle = law.finished_angle(o.dial_deg).value
        by_hand_a = o.leg_a_mm - o.mark_mm - law.take_up(angle).value
        by_hand_gain = o.leg_a_mm + o.leg_b_mm - o.length_mm - law.gain(angle).value
        row = table.loc[o.offcut]
        assert row["resid_leg_a_mm"] == pytest.approx(by_hand_a, abs=0.03)
        assert row["resid_leg_a_mm"] + row["resid_leg_b_mm"] == pytest.approx(by_hand_gain, abs=0.06)


def test_the_package_says_which_version_calibrated(cal: Calibration) -> None:
    """Version and digest are kept with the laws."""
    assert cal.version == bendcal.__version__
    assert len(cal.digest) == 64


def test_laws_of_one_bender_are_known_together(cal: Calibration) -> None:
    """The covariance of both laws together has each law's own on its diagonal and is a covariance."""
    first, second = cal.laws
    assert cal.covariance_between(first, first) == pytest.approx(cal.law(*first).spread)
    assert cal.covariance_between(first, second) == pytest.approx(cal.covariance_between(second, first).T)
    assert np.linalg.eigvalsh(cal.joint).min() > -1e-12
    # They share the dial's zero, so the intercepts err alike.
    sd = [np.sqrt(cal.law(*pair).covariance.loc["a_deg", "a_deg"]) for pair in (first, second)]
    assert cal.covariance_between(first, second)[0, 0] / (sd[0] * sd[1]) > 0.1


# --- what does not count ------------------------------------------------------------------------


def test_a_set_aside_piece_changes_nothing(shop: Shop, cal: Calibration) -> None:
    """A piece with a reason against it, however absurd, leaves every law as it was to the last bit, and is on record."""
    absurd = replace(shop.offcuts[0], offcut="x", angle_deg=170.0, dial_deg=20.0, leg_a_mm=5.0, set_aside="kinked")
    more = calibrate(replace(shop, offcuts=(shop.offcuts[0], absurd, *shop.offcuts[1:])))
    same_laws(cal, more)
    pd.testing.assert_frame_equal(cal.residuals, more.residuals)
    assert more.set_aside == (("x", "kinked"),) and cal.set_aside == ()


def test_setting_a_piece_aside_is_leaving_it_out(shop: Shop) -> None:
    """The laws are those of a log without the piece."""
    aside = with_reading(shop, "1-2", set_aside="slipped in the bender")
    without = replace(shop, offcuts=tuple(o for o in shop.offcuts if o.offcut != "1-2"))
    same_laws(calibrate(aside), calibrate(without))
    assert calibrate(aside).set_aside == (("1-2", "slipped in the bender"),)


def test_a_log_of_which_nothing_counts_is_refused(shop: Shop) -> None:
    """No piece at all, or all of them set aside: two sentences."""
    with pytest.raises(ValueError, match=r"^No offcut counts \(there are none\)\. Bend a marked offcut, measure it"):
        calibrate(replace(shop, offcuts=()))
    aside = tuple(replace(o, set_aside="practice") for o in shop.offcuts)
    with pytest.raises(ValueError, match="No offcut counts .all 10 of them are set aside."):
        calibrate(replace(shop, offcuts=aside))


# --- the digest ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "changed",
    [
        {"angle_deg": 45.25}, {"dial_deg": 46.0}, {"leg_a_mm": 99.75}, {"leg_b_mm": None}, {"mark_mm": 100.5}, {"length_mm": 221.0},
        {"legs_to": "outside"}, {"set_aside": "kinked"}, {"angle_tool": "other"},
    ],
)  # fmt: skip
def test_the_digest_changes_with_any_reading(shop: Shop, changed: dict) -> None:
    """Each column of the log bears on it."""
    assert with_reading(shop, "0-1", **changed).readings_digest != shop.readings_digest


def test_the_digest_changes_with_what_a_tube_or_a_tool_is(shop: Shop) -> None:
    """Another wall or another protractor makes other laws of the same readings."""
    tube = next(iter(shop.tubes))
    assert replace(shop, tubes={**shop.tubes, tube: replace(shop.tubes[tube], wall_mm=0.8)}).readings_digest != shop.readings_digest
    tool = next(iter(shop.tools))
    assert replace(shop, tools={**shop.tools, tool: replace(shop.tools[tool], sd=0.1)}).readings_digest != shop.readings_digest


def test_the_digest_does_not_change_with_what_no_fit_sees(shop: Shop, cal: Calibration) -> None:
    """A log moved down by a row or into another folder, or annotated, has the same readings; in another order it has not, for benders drift."""
    assert replace(shop, offcuts=shop.offcuts[::-1]).readings_digest != cal.digest
    moved = replace(shop, folder="elsewhere", offcuts=tuple(replace(o, row=i + 7) for i, o in enumerate(shop.offcuts)))
    assert moved.readings_digest == shop.readings_digest == cal.digest
    assert with_reading(shop, "0-1", note="deburred", date="2025-03-02").readings_digest == cal.digest


# --- to a file and back -------------------------------------------------------------------------


def assert_same(one: Calibration, other: Calibration) -> None:
    """Equal to the last bit in all that is kept."""
    for name in ("set_aside", "digest", "version", "blunders", "cautions", "reading_scale"):
        assert getattr(one, name) == getattr(other, name)
    assert list(one.laws) == list(other.laws)
    for pair, law in one.laws.items():
        there = other.laws[pair]
        pd.testing.assert_series_equal(law.parameters, there.parameters, check_exact=True)
        pd.testing.assert_frame_equal(law.covariance, there.covariance, check_exact=True)
        for name in ("bender", "tube", "scatter_deg", "marking_mm", "dof", "n_offcuts", "dial_range_deg", "angle_range_deg", "dial_step_deg", "dial_max_deg"):
            assert getattr(law, name) == getattr(there, name), name
    pd.testing.assert_frame_equal(one.residuals, other.residuals, check_exact=True)
    assert (one.joint is None) == (other.joint is None)
    if one.joint is not None:
        assert np.array_equal(one.joint, other.joint)


def test_a_calibration_comes_back_as_it_was(shop: Shop, cal: Calibration, tmp_path) -> None:
    """Saved and loaded, every number is the same to the last bit, and saved again the file is the same."""
    cal.save(tmp_path / "calibration.json")
    back = load_calibration(tmp_path / "calibration.json")
    assert_same(cal, back)
    back.save(tmp_path / "again.json")
    assert (tmp_path / "again.json").read_bytes() == (tmp_path / "calibration.json").read_bytes()
    assert back.law("bender 0", "tube 1").dial_for(90.0).value == cal.law("bender 0", "tube 1").dial_for(90.0).value


def test_pieces_without_legs_and_with_reasons_come_back_too(shop: Shop, tmp_path) -> None:
    """Whole columns without a reading stay columns of numbers."""
    bare = tuple(replace(o, leg_a_mm=None, leg_b_mm=None) for o in shop.offcuts[1:])
    cal = calibrate(replace(shop, offcuts=(replace(shop.offcuts[0], set_aside="zu weich – geknickt"), *bare)))
    cal.save(str(tmp_path / "c.json"))
    back = load_calibration(str(tmp_path / "c.json"))
    assert_same(cal, back)
    assert back.set_aside == (("0-0", "zu weich – geknickt"),)
    assert back.residuals["resid_leg_a_mm"].dtype == float


def test_a_law_known_without_limit_comes_back_too(tmp_path) -> None:
    """Infinite degrees of freedom and unknown ranges have their place in the file, and the file is strict JSON."""
    law = Law.of("s", "t", [0, 1, 15, 15, 0])
    cal = Calibration({("s", "t"): law}, pd.DataFrame(), (), (), "d", "v")
    cal.save(tmp_path / "c.json")
    text = (tmp_path / "c.json").read_text(encoding="utf-8")
    assert "NaN" not in text and "Infinity" not in text
    back = load_calibration(tmp_path / "c.json").law("s", "t")
    assert back.dof == inf and back.angle_range_deg is None and back.dial_range_deg is None


def test_the_file_says_what_it_holds(cal: Calibration, tmp_path) -> None:
    """Format, version, digest and names are there for a person and for later versions to read."""
    cal.save(tmp_path / "c.json")
    record = json.loads((tmp_path / "c.json").read_text(encoding="utf-8"))
    assert (record["format"], record["version"], record["digest"]) == (FORMAT, cal.version, cal.digest)
    assert record["laws"][0]["parameters"]["radius_mm"] == float(cal.law("bender 0", "tube 0").parameters["radius_mm"])


def test_a_failed_save_leaves_the_old_file(cal: Calibration, tmp_path) -> None:
    """Into a folder that is not there nothing is written; an OSError says so."""
    with pytest.raises(OSError, match="nowhere"):
        cal.save(tmp_path / "nowhere" / "c.json")
    assert list(tmp_path.iterdir()) == []


def test_a_missing_file_is_an_os_error(tmp_path) -> None:
    """The system's own sentence names the file."""
    with pytest.raises(FileNotFoundError, match=r"c\.json"):
        load_calibration(tmp_path / "c.json")


@pytest.mark.parametrize(
    "text", ["", "{", "[]", "{}", '"text"', "null", "offcut,bender\n1,small\n", '{"format": 2}', '{"format": 2, "laws": [1]}', b"\xff\xfe\x00"]
)
def test_a_file_that_is_no_calibration_says_so_and_what_to_do(text, tmp_path) -> None:
    """Whatever is in it, the sentence names the file and the way out."""
    path = tmp_path / "c.json"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    with pytest.raises(ValueError, match=r"^c\.json is not a calibration that bendcal wrote .*Calibrate the shop again.*safe in offcuts\.csv"):
        load_calibration(path)


def test_a_spoiled_calibration_is_no_calibration(cal: Calibration, tmp_path) -> None:
    """A number made a word, a covariance that lacks a row, a slope turned round, a law without a name."""
    cal.save(tmp_path / "c.json")
    whole = json.loads((tmp_path / "c.json").read_text(encoding="utf-8"))
    for spoil in (
        lambda law: law["parameters"].update(b="one"), lambda law: law["parameters"].update(b=-0.9),
        lambda law: law["covariance"].pop(), lambda law: law["covariance"][0].pop(), lambda law: law.pop("bender"),
        lambda law: law.update(colour="red"), lambda law: law.pop("dof"),
    ):  # fmt: skip
        record = json.loads(json.dumps(whole))
        spoil(record["laws"][0])
        (tmp_path / "c.json").write_text(json.dumps(record), encoding="utf-8")
        with pytest.raises(ValueError, match=r"c\.json is not a calibration that bendcal wrote"):
            load_calibration(tmp_path / "c.json")


@pytest.mark.parametrize("version", [0, 1, 3, "2", None])
def test_a_calibration_of_another_format_is_told_apart_from_a_spoiled_one(cal: Calibration, tmp_path, version) -> None:
    """Both formats are named."""
    cal.save(tmp_path / "c.json")
    record = json.loads((tmp_path / "c.json").read_text(encoding="utf-8")) | {"format": version}
    (tmp_path / "c.json").write_text(json.dumps(record), encoding="utf-8")
    with pytest.raises(ValueError, match=f"is of format {version}; this version reads format {FORMAT}"):
        load_calibration(tmp_path / "c.json")


# --- what is odd as a whole ---------------------------------------------------------------------


def test_one_nonsense_pair_does_not_cost_the_others_their_laws() -> None:
    """A pair whose readings make no law is left out with a caution, and asked for it says why."""
    shop = draw_from_prior(np.random.default_rng(5), tubes=2, per_pair=5).shop
    bad = replace(shop, offcuts=tuple(
        replace(o, angle_deg=130.0 - o.dial_deg, leg_a_mm=None, leg_b_mm=None) if o.tube == "tube 1" else o for o in shop.offcuts
    ))  # fmt: skip
    cal = calibrate(bad)
    if ("bender 0", "tube 1") in cal.laws:  # the prior may outvote five pieces: then they are all named
        assert len(cal.blunders) >= 3
    else:
        assert any("does not rise with the dial" in said for said in cal.cautions)
    assert cal.law("bender 0", "tube 0").n_offcuts == 5


def test_dial_and_finished_angle_exchanged_all_through_are_noticed() -> None:
    """A log in which the two columns were exchanged gives more bend than dial, and a question."""
    shop = draw_from_prior(np.random.default_rng(6), tubes=2, per_pair=10).shop
    turned = replace(shop, offcuts=tuple(
        replace(o, dial_deg=float(round(o.angle_deg - 0.05 * o.dial_deg)), angle_deg=float(o.dial_deg)) for o in shop.offcuts
    ))  # fmt: skip
    assert any("Were dial and finished angle exchanged all through?" in said for said in calibrate(turned).cautions)
    assert calibrate(shop).cautions == ()


def test_tools_finer_than_any_offcut_stop_nothing() -> None:
    """A tool said to err by a millionth is taken for one that errs by a thousandth."""
    shop = draw_from_prior(np.random.default_rng(7), tubes=1, per_pair=4).shop
    fine = replace(shop, tools={name: replace(tool, step=0.0, sd=1e-7) for name, tool in shop.tools.items()})
    law = calibrate(fine).law("bender 0", "tube 0")
    assert np.all(np.isfinite(law.covariance))
