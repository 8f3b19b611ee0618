"""Two laws side by side: differences by hand, their uncertainty by drawing both laws at once, and what is said of them."""

import numpy as np
import pandas as pd
import pytest

from bendcal.calibration import Calibration
from bendcal.compare import compare
from bendcal.law import Law
from bendcal.shop import UnknownName

ONE = np.array([-1.5, 0.965, 15.4, 15.05, 2.2])
TWO = np.array([-2.5, 0.950, 15.9, 15.50, 2.0])
SD = np.array([0.3, 0.003, 0.15, 0.2, 0.2])
A, B = ("small", "brake"), ("small", "fuel")


def calibration(one=ONE, two=TWO, *, sd=SD, shared: float = 0.0, pairs=(A, B), keep_joint: bool = True, **facts) -> Calibration:
    """Two laws whose parameters are correlated with one another by `shared`."""
    c = np.diag(np.asarray(sd, float) ** 2)
    wide = np.zeros((6, 6))  # dials without a bow
    wide[:5, :5] = c
    joint = np.block([[wide, shared * wide], [shared * wide, wide]])
    laws = {pair: Law.of(*pair, p, c, **({"scatter_deg": 0.4} | facts)) for pair, p in zip(pairs, (one, two), strict=True)}
    return Calibration(
        laws=laws, residuals=pd.DataFrame(), blunders=(), set_aside=(), digest="", version="", joint=joint if keep_joint else None
    )


# --- differences --------------------------------------------------------------------------------


def test_differences_at_a_square_bend_by_hand() -> None:
    """Dial 92.5/0.95 − 91.5/0.965; take-up 17.9 − 17.6; gain 2·0.5 − 0.45·π/2."""
    found = compare(calibration(), A, B, angle_deg=90.0)
    assert found.dial.value == pytest.approx([92.5 / 0.95 - 91.5 / 0.965])
    assert found.take_up.value == pytest.approx([0.3])
    assert found.gain.value == pytest.approx([1.0 - 0.45 * np.pi / 2])
    assert (found.first.tube, found.second.tube) == ("brake", "fuel")


@pytest.mark.parametrize("shared", [0.0, 0.7, -0.3])
def test_the_uncertainty_is_that_of_laws_drawn_together(shared: float) -> None:
    """200 000 pairs of laws drawn from their joint covariance: each difference scatters by its u within 1 %."""
    cal = calibration(shared=shared)
    angle = np.array([30.0, 90.0, 120.0])
    found = compare(cal, A, B, angle_deg=angle)
    p, q = np.split(np.random.default_rng(6).multivariate_normal([*ONE, 0, *TWO, 0], cal.joint, 200_000), 2, axis=1)
    half = np.radians(angle) / 2

    def values(law: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        a, b, radius, developed, offset, _ = (v[:, None] for v in law.T)
        return (angle - a) / b, offset + radius * np.tan(half), 2 * radius * np.tan(half) - developed * 2 * half

    for said, one, two in zip((found.dial, found.take_up, found.gain), values(p), values(q), strict=True):
        assert (two - one).std(axis=0) == pytest.approx(said.u, rel=0.01)
        assert (two - one).mean(axis=0) == pytest.approx(said.value, abs=0.01 * said.u.max())


def test_laws_that_know_nothing_of_one_another_add_in_squares() -> None:
    """Without a joint covariance, u² is the sum of the two."""
    cal = calibration(keep_joint=False)
    found = compare(cal, A, B, angle_deg=[45.0, 90.0])
    one, two = cal.law(*A), cal.law(*B)
    for said, name in ((found.dial, "dial_for"), (found.take_up, "take_up"), (found.gain, "gain")):
        both = np.hypot(getattr(one, name)([45.0, 90.0]).u, getattr(two, name)([45.0, 90.0]).u)
        assert said.u == pytest.approx(both)


@pytest.mark.parametrize("keep_joint", [True, False])
def test_a_law_does_not_differ_from_itself(keep_joint: bool) -> None:
    """Nothing apart, and for certain."""
    found = compare(calibration(keep_joint=keep_joint), B, B)
    for said in (found.dial, found.take_up, found.gain):
        assert not said.value.any() and said.u == pytest.approx(0.0, abs=1e-6)
    assert "One may stand in for the other" in found.sentence


def test_the_other_way_round_every_difference_changes_its_sign() -> None:
    """Second less first."""
    cal = calibration(shared=0.5)
    forth, back = compare(cal, A, B), compare(cal, B, A)
    for name in ("dial", "take_up", "gain"):
        assert getattr(forth, name).value == pytest.approx(-getattr(back, name).value)
        assert getattr(forth, name).u == pytest.approx(getattr(back, name).u)


def test_the_table_has_both_values_and_the_interval_of_the_difference() -> None:
    """One row an angle, the usual five unless others are asked for."""
    found = compare(calibration(dof=8.0), A, B)
    table = found.table
    assert table["angle_deg"].tolist() == [30, 45, 60, 90, 120]
    for name, said, law_name in (
        ("dial_deg", found.dial, "dial_for"), ("take_up_mm", found.take_up, "take_up"), ("gain_mm", found.gain, "gain"),
    ):  # fmt: skip
        assert table[f"{name}_1"].to_numpy() == pytest.approx(getattr(found.first, law_name)(found.angle_deg).value)
        assert (table[f"{name}_2"] - table[f"{name}_1"]).to_numpy() == pytest.approx(table[f"{name}_diff"].to_numpy())
        low, high = said.interval(0.95)
        assert table[f"{name}_low"].to_numpy() == pytest.approx(low)
        assert table[f"{name}_high"].to_numpy() == pytest.approx(high)
    assert len(table.columns) == 16
    assert [e.unit for e in (found.dial, found.take_up, found.gain)] == ["°", "mm", "mm"]
    assert found.dial.dof == 24.0


# --- in words -----------------------------------------------------------------------------------


def said(one, two, **more) -> str:
    """The sentence about two laws."""
    return compare(calibration(one, two, **more), A, B).sentence


def test_a_clear_difference_of_the_dial_forbids_exchange() -> None:
    """3.3° at 90° with u 0.6°: the sentence shows it with its interval and says no."""
    found = compare(calibration(), A, B)
    assert found.sentence.startswith("fuel needs another dial setting than brake: +")
    assert found.sentence.endswith("The settings of one must not be used for the other.")
    assert str(found) == repr(found) == found.sentence


@pytest.mark.parametrize("slope", [0.9, 0.94, 0.99, 1.03])
def test_the_angle_that_is_shown_bears_out_what_is_said_of_it(slope: float) -> None:
    """When a difference is called clear, the interval in the sentence leaves out 0."""
    for a in (-6.0, -1.5, 3.0):
        found = compare(calibration(ONE, [a, slope, 15.4, 15.05, 2.2], sd=SD * 2), A, B)
        if "needs another dial setting" not in found.sentence:
            continue
        low, high = (float(v) for v in found.sentence.split("(95 %: ")[1].split(")")[0].split(" to "))
        assert low >= 0 or high <= 0
        low, high = found.dial.interval(0.95)
        assert np.any((low > 0) | (high < 0))


def test_a_clear_difference_of_marks_alone_forbids_exchange_too() -> None:
    """The same dial but a bend that starts 3 mm later, or an arc that uses 1.5 mm more of tube."""
    assert "fuel needs other marks or another length than brake: mark to apex +3.0 mm" in said(ONE, ONE + [0, 0, 0, 0, 3.0])
    longer = said(ONE, ONE + [0, 0, 0, 1.5, 0], sd=SD / 2)
    assert "another length than brake: gain -" in longer and "must not be used for the other" in longer


def test_no_difference_that_matters_lets_one_stand_in_for_the_other() -> None:
    """The same law, well known: the bounds that were kept are named."""
    text = said(ONE, ONE, sd=SD / 2)
    assert text.startswith("No difference that matters shows between brake and fuel: +0.0°")
    assert "more than 1.0° of dial or 1.5 mm of mark or length (95 %). One may stand in for the other." in text


def test_the_bounds_that_are_named_hold() -> None:
    """Whatever the scatter, every 95 % interval lies within the bounds of the sentence that lets one stand in."""
    seen = 0
    for scatter in (0.1, 0.5, 1.0):
        for width in (0.2, 0.5, 0.8, 1.2, 2.0):
            found = compare(calibration(ONE, ONE + [0.1, 0, 0, 0, 0.1], sd=SD * width, scatter_deg=scatter), A, B)
            if "One may stand in" in found.sentence:
                seen += 1
                bound = float(found.sentence.split("more than ")[1].split("°")[0])
                assert np.abs(found.dial.interval(0.95)).max() <= bound + 0.05
                assert np.abs([found.take_up.interval(0.95), found.gain.interval(0.95)]).max() <= 1.5
    assert 0 < seen < 15


def test_laws_hardly_known_cannot_be_told_apart_yet() -> None:
    """Wide intervals are no proof of likeness: not of the dial, and not of the marks alone."""
    assert said(ONE, ONE, sd=SD * 5).startswith("The offcuts cannot tell brake and fuel apart yet")
    vague_marks = said(ONE, ONE, sd=SD * [0.5, 0.5, 5, 5, 5])
    assert "cannot tell brake and fuel apart yet" in vague_marks and vague_marks.endswith("before one stands in for the other.")


def test_laws_are_named_by_what_tells_them_apart() -> None:
    """By the tube on one bender, by the bender with one tube, by both otherwise."""
    assert "fuel needs" in compare(calibration(), A, B).sentence
    benders = (("small", "brake"), ("large", "brake"))
    assert "large needs another dial setting than small" in compare(calibration(pairs=benders), *benders).sentence
    both = (("small", "brake"), ("large", "fuel"))
    assert "fuel on large needs another dial setting than brake on small" in compare(calibration(pairs=both), *both).sentence


def test_laws_known_exactly_are_compared_without_a_warning() -> None:
    """No uncertainty at all divides nothing by nothing."""
    assert "needs another dial setting" in said(ONE, TWO, sd=np.zeros(5))
    assert "One may stand in" in said(ONE, ONE, sd=np.zeros(5))


def test_what_cannot_be_compared_is_refused() -> None:
    """A pair without a law, an angle that cannot be bent, and no angle at all."""
    with pytest.raises(UnknownName, match="no law of bender 'small' with tube 'gas' yet"):
        compare(calibration(), A, ("small", "gas"))
    with pytest.raises(ValueError, match="200° cannot be bent"):
        compare(calibration(), A, B, angle_deg=[90, 200])
    with pytest.raises(ValueError, match="give at least one finished angle"):
        compare(calibration(), A, B, angle_deg=[])
