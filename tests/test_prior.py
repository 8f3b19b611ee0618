"""What is believed before any offcut: where it is centred, how wide it is, and what is shared with what."""

from dataclasses import FrozenInstanceError, fields, replace

import numpy as np
import pytest

from bendcal.benders import Bender
from bendcal.materials import ALLOYS
from bendcal.prior import CAUSES, UNKNOWNS, WIDTHS, Widths, pool_of
from bendcal.shop import Shop
from bendcal.springback import springback_ratio
from bendcal.tubes import Tube

SHOP = Shop(
    benders={"small": Bender("small", 15.0), "large": Bender("large", 30.0), "found": Bender("found")},
    tubes={
        "steel": Tube("steel", ALLOYS["low-carbon steel"], 4.76, 0.71), "copper": Tube("copper", ALLOYS["copper"], 4.76, 0.71),
        "thick": Tube("thick", ALLOYS["low-carbon steel"], 9.53, 0.89),
    },
)  # fmt: skip
PAIRS = [(b, t) for b in SHOP.benders for t in SHOP.tubes]


def centre(bender: str, tube: str, widths: Widths = WIDTHS) -> np.ndarray:
    """Mean of the five numbers."""
    return pool_of(SHOP, [(bender, tube)], widths).centre[0, :5]


def covariance(bender: str, tube: str, widths: Widths = WIDTHS) -> np.ndarray:
    """Covariance of the five numbers."""
    return pool_of(SHOP, [(bender, tube)], widths).marginal_covariance()[0, :5, :5]


def sd(bender: str, tube: str, widths: Widths = WIDTHS) -> np.ndarray:
    """Their standard deviations."""
    return np.sqrt(np.diag(covariance(bender, tube, widths)))


#: Nothing varies but what a test sets.
STILL = replace(
    WIDTHS, dial_zero_deg=0.0, give_sd_deg_per_nm=0.0, dial_gain=0.0, die_known=0.0, stretch_sd=0.0, offset_sd_mm=0.0, theory=0.0,
    own_a_deg=0.0, own_b=0.0, own_radius=0.0, own_stretch=0.0, own_offset_mm=0.0,
)  # fmt: skip


# --- where it is centred ------------------------------------------------------------------------


@pytest.mark.parametrize(("bender", "tube"), [p for p in PAIRS if p[0] != "found"])
def test_the_slope_is_the_sections_springback_and_the_radius_opens_by_it(bender: str, tube: str) -> None:
    """b = R_i/R_f, R = R_die/b (standard mechanics: the neutral length is kept), λ a little less, m about 0."""
    die = SHOP.benders[bender].die_radius_mm
    ratio = float(springback_ratio(SHOP.tubes[tube], die))
    a, b, radius, developed, offset = centre(bender, tube)
    assert (a, offset) == (0.0, 0.0)
    assert b == pytest.approx(ratio) and 0.9 < b < 1.0
    assert radius == pytest.approx(die / ratio) and radius > die
    assert developed == pytest.approx((1 - WIDTHS.stretch) * radius) and developed < radius


def test_a_larger_die_and_a_stronger_alloy_spring_back_more() -> None:
    """Springback rises with the radius and the yield (Appl. Sci. 2020, 10(14) 4978: read)."""
    assert centre("large", "steel")[1] < centre("small", "steel")[1]
    tubes = SHOP.tubes | {"hard": replace(SHOP.tubes["steel"], alloy=replace(ALLOYS["low-carbon steel"], k_mpa=900.0))}
    hard = pool_of(replace(SHOP, tubes=tubes), [("small", "hard")]).centre[0]
    assert hard[1] < centre("small", "steel")[1]


def test_a_die_nobody_measured_is_taken_for_some_diameters() -> None:
    """3.5 diameters (FAA AC 43.13-1B for steel: memory) with a wide error, in proportion to the tube."""
    assert centre("found", "steel")[2] * centre("found", "steel")[1] == pytest.approx(3.5 * 4.76)
    assert centre("found", "thick")[2] * centre("found", "thick")[1] == pytest.approx(3.5 * 9.53)
    assert sd("found", "steel")[2] > 5 * sd("small", "steel")[2]


def test_one_bender_has_one_die_whatever_is_bent_on_it() -> None:
    """Tubes of 4.76 and 9.53 mm on a bender nobody measured: both get the radius for the geometric mean of the two."""
    centres = pool_of(SHOP, [("found", "steel"), ("found", "thick")]).centre
    assert centres[:, 1] * centres[:, 2] == pytest.approx([3.5 * np.sqrt(4.76 * 9.53)] * 2)


# --- how wide it is -----------------------------------------------------------------------------


@pytest.mark.parametrize("pair", PAIRS)
def test_every_prior_is_a_covariance_and_every_number_is_open(pair) -> None:
    """Positive definite, also with the own deviations at a small scale."""
    for scale in (0.2, 1.0, 3.0):
        c = pool_of(SHOP, [pair]).marginal_covariance(scale)[0]
        assert np.allclose(c, c.T)
        root = np.sqrt(np.diag(c))
        assert np.linalg.eigvalsh(c / np.outer(root, root)).min() > 0
        assert np.all(root > 0)


@pytest.mark.parametrize(
    ("width", "index", "by_hand"),
    [
        ("dial_zero_deg", 0, lambda b, r, lam: 2.0 * b), ("own_a_deg", 0, lambda b, r, lam: 0.25), ("dial_gain", 1, lambda b, r, lam: 0.02 * b),
        ("own_b", 1, lambda b, r, lam: 0.004), ("own_radius", 2, lambda b, r, lam: 0.01 * r), ("own_radius", 3, lambda b, r, lam: 0.01 * lam),
        ("stretch_sd", 3, lambda b, r, lam: 0.02 * r), ("own_stretch", 3, lambda b, r, lam: 0.007 * r),
        ("offset_sd_mm", 4, lambda b, r, lam: 15.0), ("own_offset_mm", 4, lambda b, r, lam: 0.4),
    ],
)  # fmt: skip
def test_each_width_reaches_the_number_it_belongs_to_by_hand(width: str, index: int, by_hand) -> None:
    """One width at a time: what it makes of the number's standard deviation (the alloy's own flow spread stays off a, m)."""
    _, b, radius, developed, _ = centre("small", "steel")
    alone = covariance("small", "steel", replace(STILL, **{width: getattr(WIDTHS, width)})) - covariance("small", "steel", STILL)
    assert np.sqrt(alone[index, index]) == pytest.approx(by_hand(b, radius, developed), rel=1e-6)


def test_flow_stress_moves_slope_and_radius_opposite_ways() -> None:
    """A tube 10 % stronger springs back 10 % more: b falls by 0.1·(1 − b), R = R_die/b rises to match (to first order)."""
    spread = ALLOYS["low-carbon steel"].flow_spread
    c = covariance("small", "steel", STILL)
    _, b, radius, _, _ = centre("small", "steel")
    assert np.sqrt(c[1, 1]) == pytest.approx(spread * (1 - b))
    assert np.sqrt(c[2, 2]) == pytest.approx(spread * radius * (1 - b) / b)
    assert c[1, 2] / np.sqrt(c[1, 1] * c[2, 2]) == pytest.approx(-1.0)
    # and theory's own error comes on top of the alloy's spread
    more = covariance("small", "steel", replace(STILL, theory=0.25))
    assert np.sqrt(more[1, 1]) == pytest.approx(np.hypot(0.25, spread) * (1 - b))


def test_the_die_radius_reaches_the_law_as_the_mechanics_carry_it() -> None:
    """A die 3 % larger by the full formula, against the straight line that the prior uses."""
    tube = SHOP.tubes["steel"]
    moved = [np.array([float(springback_ratio(tube, r)), r / float(springback_ratio(tube, r))]) for r in (15.0 * 0.97, 15.0 * 1.03)]
    slope = (moved[1] - moved[0]) / 0.06
    c = covariance("small", "steel", replace(STILL, die_known=0.03)) - covariance("small", "steel", STILL)
    assert np.sqrt(c[1, 1]) == pytest.approx(0.03 * abs(slope[0]), rel=0.02)
    assert np.sqrt(c[2, 2]) == pytest.approx(0.03 * slope[1], rel=0.001)


def test_what_the_lever_gives_grows_with_the_tubes_resistance() -> None:
    """Give in degrees per N·m: a thicker tube winds the lever further; a known give shifts the intercept down."""
    give = replace(STILL, give_sd_deg_per_nm=0.15)
    thin, thick = np.sqrt(covariance("small", "steel", give)[0, 0]), np.sqrt(covariance("small", "thick", give)[0, 0])
    assert 0 < thin < thick
    known = replace(STILL, give_deg_per_nm=0.15)
    assert centre("small", "steel", known)[0] == pytest.approx(-thin)


# --- what is shared -----------------------------------------------------------------------------


def test_pairs_share_their_bender_and_their_tube() -> None:
    """Owners are benders in the order of the pairs, kinds are tubes; every bender has the named causes."""
    pool = pool_of(SHOP, [("large", "steel"), ("small", "steel"), ("large", "copper")])
    assert pool.owner.tolist() == [0, 1, 0] and pool.kind.tolist() == [0, 0, 1]
    assert pool.owner_variance.shape == (2, len(CAUSES)) and pool.kind_variance.shape == (2,)
    assert pool.by_owner.shape == (3, len(UNKNOWNS), len(CAUSES))


def test_a_pairs_prior_does_not_hang_on_the_other_pairs() -> None:
    """Together or alone, centre and covariance are the same, where the die was measured."""
    pool = pool_of(SHOP, PAIRS)
    for k, pair in enumerate(PAIRS):
        if pair[0] == "found":
            continue
        assert pool.centre[k, :5] == pytest.approx(centre(*pair))
        assert pool.marginal_covariance()[k, :5, :5] == pytest.approx(covariance(*pair))


def test_the_prior_allows_what_shops_find() -> None:
    """Zero of ± 3°, stretch of 0 to 4 %, offsets of ± 30 mm, springback a third off: all within three standard deviations."""
    c, s = centre("small", "steel"), sd("small", "steel")
    assert 3.0 < 2 * s[0] and 30.0 <= 2 * s[4] + 0.1
    back = 1 - c[1]
    assert abs(0.35 * back) < 3 * s[1]
    for kept in (1.0, 0.96):
        assert abs((kept - 0.98) * c[2]) < 3 * sd("small", "steel", replace(WIDTHS, die_known=0.0))[3]


def test_widths_are_plain_numbers_that_can_be_changed_by_replacing_them() -> None:
    """Every width is a float with a default, named in the docstring, and frozen."""
    for field in fields(Widths):
        assert isinstance(getattr(WIDTHS, field.name), float)
        assert field.name in Widths.__doc__
    with pytest.raises(FrozenInstanceError, match="cannot assign"):
        WIDTHS.dial_gain = 1.0
    assert replace(WIDTHS, dial_gain=1.0).dial_gain == 1.0
