"""Slips at the bench: they barely move the law, and they are named."""

import numpy as np
import pytest
from invented_kit import draw_from_prior, with_reading

from bendcal.calibration import calibrate


@pytest.fixture(scope="module")
def honest():
    """A drawn shop of two tubes with six pieces each, none of them suspect."""
    for seed in range(20):
        shop = draw_from_prior(np.random.default_rng(seed), tubes=2, per_pair=6).shop
        if not calibrate(shop).blunders:
            return shop
    raise AssertionError("every drawn shop had a suspect piece")


def _slips(shop):
    """Each slip: the piece as it would have been written down, and the words its guess must hold."""
    piece = max(shop.offcuts, key=lambda o: o.angle_deg)  # at the end of the range, where it has most leverage
    beyond = shop.tubes[piece.tube].od_mm / 2 * np.tan(np.radians(piece.angle_deg) / 2)
    return {
        "angle between the legs": (piece, {"angle_deg": 180.0 - piece.angle_deg}, "angle between the legs"),
        "ten degrees": (piece, {"angle_deg": piece.angle_deg - 10.0}, "10° too low"),
        "exchanged": (piece, {"leg_a_mm": piece.leg_b_mm, "leg_b_mm": piece.leg_a_mm}, "exchanged"),
        "outside": (piece, {"leg_a_mm": piece.leg_a_mm + beyond, "leg_b_mm": piece.leg_b_mm + beyond}, "to the outside"),
        "one leg ten short": (piece, {"leg_b_mm": piece.leg_b_mm - 10.0}, "10 mm too short"),
    }


@pytest.mark.parametrize("slip", ["angle between the legs", "ten degrees", "exchanged", "outside", "one leg ten short"])
def test_a_slip_is_named_and_barely_moves_the_law(honest, slip):
    """The sentence names the piece and asks the right question; the law stays within half its sd of that without the spoilt readings.

    Without an angle a piece cannot be entered at all, so for those slips the piece is left as it was honestly read.
    """
    piece, changed, words = _slips(honest)[slip]
    cal = calibrate(with_reading(honest, piece.offcut, **changed))
    assert len(cal.blunders) == 1
    assert cal.blunders[0].startswith(f"Offcut {piece.offcut}: ")
    assert words in cal.blunders[0]
    unread = {name: None for name in changed if name != "angle_deg"}
    clean = calibrate(with_reading(honest, piece.offcut, **unread))
    for pair, law in cal.laws.items():
        other = clean.laws[pair]
        sd = np.sqrt(np.diag(other.covariance))
        assert np.all(np.abs(law.parameters - other.parameters) < 0.5 * sd)


def test_swapped_digits_are_recognised():
    """57 written as 75 is recognised as such."""
    shop = draw_from_prior(np.random.default_rng(3), tubes=2, per_pair=6).shop
    piece = min(shop.offcuts, key=lambda o: abs(o.angle_deg - 57.0))
    tens, ones = divmod(round(piece.angle_deg), 10)
    assert tens != ones
    cal = calibrate(with_reading(shop, piece.offcut, angle_deg=float(10 * ones + tens)))
    assert f"({10 * ones + tens} for {10 * tens + ones})" in " ".join(cal.blunders)


def test_an_honest_shop_is_seldom_accused():
    """Of 1,200 honest pieces at most one in a hundred is called a blunder."""
    rng = np.random.default_rng(8)
    accused = pieces = 0
    for _ in range(100):
        shop = draw_from_prior(rng, tubes=2, per_pair=6).shop
        accused += len(calibrate(shop).blunders)
        pieces += len(shop.offcuts)
    assert pieces == 1200
    assert accused <= 12


def test_the_chance_of_a_blunder_stands_beside_the_residuals(honest):
    """Every piece has its probability of a blunder in the table of residuals."""
    piece, changed, _ = _slips(honest)["ten degrees"]
    table = calibrate(with_reading(honest, piece.offcut, **changed)).residuals.set_index("offcut")
    assert table.loc[piece.offcut, "blunder_chance"] > 0.99
    assert table.drop(piece.offcut)["blunder_chance"].max() < 0.5
