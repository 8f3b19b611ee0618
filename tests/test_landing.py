"""Where a line's end falls, held against builds by Monte Carlo."""

import numpy as np
import pytest
from a_line import CAL, LEGS, SHOP, line

from bendcal.builds import simulate_builds
from bendcal.landing import landing_of
from bendcal.lines import line_from_nodes
from bendcal.marks import mark_out
from bendcal.path import Legs, nodes_from_legs


@pytest.fixture(scope="module")
def sheet():
    return mark_out(SHOP, CAL, line())


def test_the_linear_covariance_is_that_of_monte_carlo(sheet):
    """The end's covariance agrees with 60,000 builds within 3 % along every axis (JCGM 101 style)."""
    builds = simulate_builds(sheet, 60_000, rng=np.random.default_rng(1))
    drawn = np.cov(builds.end_off_mm.T)
    said = landing_of(sheet).covariance_mm2
    values, vectors = np.linalg.eigh(said)
    along = np.einsum("ij,jk,ki->i", vectors.T, drawn, vectors)
    # The narrowest axis feels the second order of wide twists first: it may be a little wider when drawn.
    assert along[1:] == pytest.approx(values[1:], rel=0.03)
    assert along[0] == pytest.approx(values[0], rel=0.12)


def test_the_ellipsoid_holds_95_of_100_builds(sheet):
    """The 95 % ellipsoid holds 95 % of builds within half a per cent."""
    builds = simulate_builds(sheet, 40_000, rng=np.random.default_rng(2))
    landing = landing_of(sheet)
    lengths, axes = landing.axes_mm
    inside = (((builds.end_off_mm @ axes.T) / lengths) ** 2).sum(axis=1) <= 1
    assert np.mean(inside) == pytest.approx(0.95, abs=0.006)


def test_the_trim_is_long_enough_in_95_of_100_builds(sheet):
    """The trim, rounded up to whole millimetres, is enough in at least 95 % of builds and not wildly more."""
    builds = simulate_builds(sheet, 40_000, rng=np.random.default_rng(3))
    enough = np.mean(builds.short_by_mm() <= sheet.trim_mm)
    assert 0.945 <= enough <= 0.97


def test_shares_add_up_to_the_whole(sheet):
    """All causes together make the end's variance, and the first twist none of it."""
    shares = landing_of(sheet).shares
    assert shares["share"].sum() == pytest.approx(1.0)
    assert shares.query("bend == 1 and cause == 'twist'")["share"].item() == 0.0


def test_one_bend_by_hand():
    """A single square bend: an angle's scatter of 0.4° moves an end 100 mm beyond the apex by 0.70 mm."""
    sheet = mark_out(SHOP, CAL, line(Legs([100, 100], [90], [0])))
    landing = landing_of(sheet)
    angle = landing.shares.query("cause == 'angle'")["share"].item() * landing.u_mm**2
    radius, developed = 16.0, 15.6
    # Across leg 2 the end swings by its length less the setback that moves with the angle; along it the arc is used up.
    by_swing = 100 * np.radians(0.4)
    by_apex = radius * np.radians(0.4)  # d(R·tan θ/2)/dθ = R at 90°
    along_two = (radius - developed) * np.radians(0.4)
    assert angle == pytest.approx((by_swing - by_apex) ** 2 + along_two**2, rel=1e-6)


def test_trimmed_at_a_the_end_a_is_free():
    """With the trim at end A the landing is that of end A, in the frame of the line's own nodes."""
    nodes = nodes_from_legs(LEGS, start=(5, 6, 7), direction=(0, 1, 0), normal=(1, 0, 0))
    spaced = line_from_nodes("long", nodes, tube="steel", bender="small", trim_at="A")
    landing = landing_of(mark_out(SHOP, CAL, spaced))
    assert landing.end == "A"
    assert landing.place_mm == pytest.approx([5, 6, 7])
    assert "end A will fall within" in landing.sentence


def test_the_same_line_turned_in_space_has_the_same_ellipsoid():
    """Turning the nodes turns the ellipsoid with them."""
    plain = landing_of(mark_out(SHOP, CAL, line()))
    turned = line_from_nodes("long", nodes_from_legs(LEGS)[:, [1, 2, 0]], tube="steel", bender="small")
    other = landing_of(mark_out(SHOP, CAL, turned))
    order = [1, 2, 0]
    assert other.covariance_mm2 == pytest.approx(plain.covariance_mm2[np.ix_(order, order)], rel=1e-9)


def test_the_sentence_names_the_bend_that_matters(sheet):
    """One cause is named with its bend, its share and what to do about it."""
    landing = landing_of(sheet)
    assert f"Bend {int(landing.worst['bend'])}'s {landing.worst['cause']} makes" in landing.sentence or (
        f"the {landing.worst['cause']} of bend {int(landing.worst['bend'])}" in landing.sentence
    )


def test_without_any_doubt_all_builds_land():
    """Where nothing is uncertain every build puts end B in its seat."""
    from bendcal.calibration import Calibration
    from bendcal.law import Law

    exact = Law.of("small", "steel", [-1.5, 0.97, 16.0, 15.6, 2.5])
    sheet = mark_out(SHOP, Calibration({("small", "steel"): exact}, None, (), (), "", "0"), line())
    builds = simulate_builds(sheet, 3, rng=np.random.default_rng(0), twist_sd_deg=0.0)
    assert np.abs(builds.end_off_mm).max() < 1e-9
    assert sheet.trim_mm > 0  # the twists alone ask for it


def test_too_little_spare_tube_is_a_warning():
    """A trim chosen by hand below what is needed is used, and said to be too little."""
    sheet = mark_out(SHOP, CAL, line(), trim_mm=1.0)
    assert sheet.trim_mm == 1.0
    assert any("1 mm of spare tube may be too little" in said for said in sheet.warnings)
    assert not any("spare tube" in said for said in mark_out(SHOP, CAL, line()).warnings)


def test_a_stale_calibration_is_a_warning():
    """Marks by a calibration of other readings say that it is to be made anew."""
    from invented_kit import draw_from_prior, with_reading

    from bendcal.calibration import calibrate

    shop = draw_from_prior(np.random.default_rng(2)).shop
    cal = calibrate(shop)
    spare = line_from_nodes("l", nodes_from_legs(LEGS), tube="tube 0", bender="bender 0")
    assert not any("readings have changed" in said for said in mark_out(shop, cal, spare).warnings)
    newer = with_reading(shop, "0-1", angle_deg=44.0)
    assert any("readings have changed" in said for said in mark_out(newer, cal, spare).warnings)
