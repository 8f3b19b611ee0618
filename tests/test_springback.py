"""Springback of a round section: limits by hand, closed forms, a second integration."""

from itertools import pairwise
from math import gamma, pi, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from bendcal.alloy import Alloy
from bendcal.materials import ALLOYS
from bendcal.springback import moment_nmm, released_radius_mm, springback_deg, springback_ratio
from bendcal.tubes import Tube

INCH = 25.4


def tube_of(alloy: Alloy, od_mm: float = 3 / 16 * INCH, wall_mm: float = 0.028 * INCH) -> Tube:
    """A tube of this alloy, 3/16 × 0.028 in unless it is said otherwise."""
    return Tube("invented", alloy, od_mm, wall_mm)


def level_alloy(yield_mpa: float = 200.0, e_gpa: float = 200.0) -> Alloy:
    """Elastic, then level: no hardening."""
    return Alloy("level", e_gpa, yield_mpa, yield_mpa, 0.0, 0.1)


def moment_by_quadrature(tube: Tube, radius_mm: float, flow: float = 1.0) -> float:
    """The second route: adaptive quadrature of stress × height over the chords of the section."""
    outer, inner = tube.outer_radius_mm, tube.inner_radius_mm

    def integrand(angle: float, upper: float) -> float:
        # y = upper·sin(angle): the square root of the chord's end leaves the integrand.
        y = upper * np.sin(angle)
        stress = tube.alloy.stress_mpa(y / radius_mm, flow=flow)
        chord = sqrt(max(outer**2 - y**2, 0)) - sqrt(max(inner**2 - y**2, 0))
        return 4 * float(stress) * y * chord * upper * np.cos(angle)

    kinks = [inner, *(float(limit) * radius_mm for limit in tube.alloy.limits(flow))]
    corners = [0.0, *sorted(np.arcsin(kink / outer) for kink in kinks if kink < outer), pi / 2]
    return sum(
        quad(integrand, low, high, args=(outer,), epsabs=0, epsrel=1e-11, limit=200)[0]
        for low, high in pairwise(corners)
        if high > low
    )


# --- limits by hand ----------------------------------------------------------------------------


def test_a_tube_that_never_yields_springs_back_whole() -> None:
    """Surface strain under the yield strain: M = E I/R, ratio exactly 0, straight after release."""
    tube = tube_of(level_alloy(), 4.0, 0.5)
    radius = 2.0 / 0.0009  # yield strain 0.001
    assert moment_nmm(tube, radius) == pytest.approx(200e3 * pi * (4**4 - 3**4) / 64 / radius, rel=1e-12)
    assert springback_ratio(tube, radius) == 0.0
    assert released_radius_mm(tube, radius) == np.inf
    assert springback_deg(tube, radius, 90.0) == np.inf


def test_a_tube_that_yields_throughout_holds_its_plastic_moment() -> None:
    """A tight bend of a level alloy: M = Y (D³ − d³)/6, but for an elastic core of 1e-7 of it."""
    tube = tube_of(level_alloy(200.0, 600.0), 6.0, 1.0)
    assert moment_nmm(tube, 3.01) == pytest.approx(200 * (6**3 - 4**3) / 6, rel=1e-6)
    assert moment_nmm(tube, 3.01) < 200 * (6**3 - 4**3) / 6


def test_a_level_alloys_higher_number_counts() -> None:
    """With n = 0 the level is the larger of Y and K, whichever way round they are given."""
    one = tube_of(Alloy("K higher", 200, 100, 300, 0.0, 0.1))
    other = tube_of(Alloy("Y higher", 200, 300, 100, 0.0, 0.1))
    level = tube_of(level_alloy(300.0))
    assert moment_nmm(one, 20.0) == pytest.approx(moment_nmm(level, 20.0), rel=1e-14)
    assert moment_nmm(other, 20.0) == pytest.approx(moment_nmm(level, 20.0), rel=1e-14)


def test_an_exponent_near_zero_is_near_none() -> None:
    """n = 1e-9 and n = 0 give the same moment: no jump between the two branches."""
    nearly = tube_of(Alloy("nearly level", 200, 250, 300, 1e-9, 0.1))
    level = tube_of(Alloy("level", 200, 250, 300, 0.0, 0.1))
    assert moment_nmm(nearly, 20.0) == pytest.approx(moment_nmm(level, 20.0), rel=1e-7)


@pytest.mark.parametrize(("s", "printed"), [(0.1, 0.872889), (0.2, 0.747060)])
def test_a_thin_tube_of_a_level_alloy(s: float, printed: float) -> None:
    """1 − (2/π)[asin s + s√(1 − s²)] with s = Y R/(E r), at the printed digits: derived."""
    assert round(1 - 2 / pi * (np.arcsin(s) + s * sqrt(1 - s**2)), 6) == printed
    tube = tube_of(level_alloy(), 20.0, 0.002)
    radius = s * 200e3 / 200 * tube.mean_radius_mm
    assert round(springback_ratio(tube, radius), 6) == printed


def test_a_solid_round_of_a_level_alloy() -> None:
    """1 − (2/π)[asin s + s√(1 − s²)(5 − 2s²)/3], s 0.1 → 0.831082: derived."""
    rod = tube_of(level_alloy(), 10.0, 4.9999)  # a bore of 0.0002 mm
    assert round(springback_ratio(rod, 0.1 * 200e3 / 200 * 5.0), 6) == 0.831082


@pytest.mark.parametrize("n", [0.0, 0.21, 0.44])
def test_a_thin_tube_under_the_power_law(n: float) -> None:
    """M = 2√π t r² K (r/R)ⁿ Γ(1 + n/2)/Γ((3 + n)/2), the elastic core being next to nothing."""
    # Weak and stiff, so that the core is small; n = 0 gives 4 t r² K.
    tube = tube_of(Alloy("weak and stiff", 600, 1e-3, 10, n, 0.1), 10.0, 0.001)
    r, radius = tube.mean_radius_mm, 30.0
    closed = 2 * sqrt(pi) * 0.001 * r**2 * 10 * (r / radius) ** n * gamma(1 + n / 2) / gamma((3 + n) / 2)
    assert moment_nmm(tube, radius) == pytest.approx(closed, rel=1e-6)
    if n == 0:
        assert closed == pytest.approx(4 * 0.001 * r**2 * 10, rel=1e-12)


@pytest.mark.parametrize("radius_mm", [10.8, 14.0])
@pytest.mark.parametrize("name", ["copper-nickel 90/10", "low-carbon steel", "stainless 304", "copper"])
def test_the_yield_alone_gives_a_half_to_a_quarter_of_the_springback(name: str, radius_mm: float) -> None:
    """At a surface strain of 17 to 22 % hardening makes 2 to 4 times the springback: derived."""
    hardening = tube_of(ALLOYS[name])
    level = tube_of(level_alloy(ALLOYS[name].yield_mpa, ALLOYS[name].e_gpa))
    assert 0.165 < hardening.outer_radius_mm / radius_mm < 0.225
    times = (1 - springback_ratio(hardening, radius_mm)) / (1 - springback_ratio(level, radius_mm))
    assert 2.0 < times < 4.0


# --- the second route --------------------------------------------------------------------------


@pytest.mark.parametrize("radius_mm", [10.8, 15.0, 200.0, 3000.0])
@pytest.mark.parametrize("name", list(ALLOYS))
def test_the_moment_agrees_with_adaptive_quadrature(name: str, radius_mm: float) -> None:
    """Closed form and quadrature differ by less than 1e-8, from a tight bend to an elastic one."""
    tube = tube_of(ALLOYS[name])
    assert moment_nmm(tube, radius_mm) == pytest.approx(moment_by_quadrature(tube, radius_mm), rel=1e-8)


sections = st.builds(
    lambda e, y, k, n, od, part: Tube("invented", Alloy("invented", e, y, k, n, 0.2), od, od / 2 * part),
    # From 60 GPa on, so that twice the largest K is still a metal's (50 MPa for each GPa).
    st.floats(60, 220), st.floats(20, 500), st.floats(100, 1500), st.floats(0.02, 0.6),
    st.floats(3, 13), st.floats(0.05, 0.95),
)
diameters = st.floats(1.5, 400.0)  # centreline radius in tube diameters
flows = st.floats(0.4, 2.5)


@given(sections, diameters, flows)
def test_any_section_agrees_with_adaptive_quadrature(tube: Tube, k: float, flow: float) -> None:
    """The same for alloys, walls, radii and flow factors of all sorts."""
    radius = k * tube.od_mm
    by_quadrature = moment_by_quadrature(tube, radius, flow)
    assert moment_nmm(tube, radius, flow=flow) == pytest.approx(by_quadrature, rel=1e-8)


# --- what must rise and what must fall ---------------------------------------------------------
# Springback rises with yield and K, falls with E and n (Appl. Sci. 2020, 10(14) 4978, and
# Mater. Design 31 (2010) 2001: read).


def kept(tube: Tube, radius_mm: float, **changed: float) -> float:
    """The springback ratio with some numbers of the alloy changed."""
    numbers = {name: getattr(tube.alloy, name) for name in ("e_gpa", "yield_mpa", "k_mpa", "n")} | changed
    return springback_ratio(Tube("changed", Alloy("changed", **numbers, flow_spread=0.2), tube.od_mm, tube.wall_mm), radius_mm)


@given(sections, diameters, flows)
def test_the_ratio_lies_between_none_and_all(tube: Tube, k: float, flow: float) -> None:
    """No tube keeps more than it was bent, and none springs back beyond straight."""
    assert 0 <= springback_ratio(tube, k * tube.od_mm, flow=flow) + 1e-12 < 1 + 1e-12


@given(sections, diameters, st.floats(1.01, 2.0))
def test_springback_rises_with_strength_and_radius_and_falls_with_stiffness(
    tube: Tube, k: float, more: float
) -> None:
    """More Y, K, flow or R: more springback or as much; more E: less or as much."""
    radius, rounding = k * tube.od_mm, 1e-11
    ratio = springback_ratio(tube, radius)
    assert kept(tube, radius, yield_mpa=tube.alloy.yield_mpa * more) <= ratio + rounding
    assert kept(tube, radius, k_mpa=tube.alloy.k_mpa * more) <= ratio + rounding
    assert springback_ratio(tube, radius, flow=more) <= ratio + rounding
    assert springback_ratio(tube, radius * more) <= ratio + rounding
    assert kept(tube, radius, e_gpa=tube.alloy.e_gpa * more) >= ratio - rounding


@given(sections, diameters, st.floats(0.01, 0.3))
def test_springback_falls_with_the_exponent(tube: Tube, k: float, more: float) -> None:
    """Strains being under 1, a larger n at the same K is a weaker tube."""
    radius = k * tube.od_mm
    assert kept(tube, radius, n=tube.alloy.n + more) >= springback_ratio(tube, radius) - 1e-11


def test_each_of_these_is_felt_at_a_hand_benders_radius() -> None:
    """At 3/16 in on 15 mm each change moves the ratio for certain, by more than rounding."""
    tube = tube_of(ALLOYS["copper-nickel 90/10"])
    ratio = springback_ratio(tube, 15.0)
    assert kept(tube, 15.0, yield_mpa=300.0) < ratio - 1e-4
    assert kept(tube, 15.0, k_mpa=700.0) < ratio - 1e-3
    assert kept(tube, 15.0, e_gpa=140.0) > ratio + 1e-3
    assert kept(tube, 15.0, n=0.45) > ratio + 1e-3
    assert springback_ratio(tube, 18.0) < ratio - 1e-3


def test_springback_follows_the_flow_stress_nearly_in_proportion() -> None:
    """A tenth more flow stress, a tenth more springback: the core is small."""
    tube = tube_of(ALLOYS["low-carbon steel"])
    less, more = (1 - springback_ratio(tube, 15.0, flow=flow) for flow in (1.0, 1.1))
    assert more / less == pytest.approx(1.1, abs=0.001)
    assert more / less < 1.1


def test_flow_is_the_same_as_scaling_the_alloys_own_numbers() -> None:
    """flow = 1.3 is an alloy with 1.3 times Y and K."""
    tube = tube_of(ALLOYS["copper"])
    scaled = kept(tube, 15.0, yield_mpa=1.3 * 62, k_mpa=1.3 * 530)
    assert springback_ratio(tube, 15.0, flow=1.3) == pytest.approx(scaled, rel=1e-13)


# --- radius, angle, arrays ---------------------------------------------------------------------


def test_radius_and_angle_open_by_the_same_ratio() -> None:
    """Neutral length kept: R θ is the same before and after release."""
    tube = tube_of(ALLOYS["stainless 304"])
    ratio = springback_ratio(tube, 15.0)
    opened = released_radius_mm(tube, 15.0)
    loaded = 90.0 + springback_deg(tube, 15.0, 90.0)
    assert opened == pytest.approx(15.0 / ratio, rel=1e-14)
    assert loaded * 15.0 == pytest.approx(90.0 * opened, rel=1e-14)


def test_springback_is_linear_in_the_bend_angle() -> None:
    """Twice the angle, twice the springback (Appl. Sci. 2020, 10(14) 4978: read)."""
    tube = tube_of(ALLOYS["low-carbon steel"])
    degrees = springback_deg(tube, 15.0, np.array([0.0, 45.0, 90.0]))
    np.testing.assert_allclose(degrees, degrees[1] * np.array([0, 1, 2]), rtol=1e-14)


@pytest.mark.parametrize("function", [moment_nmm, springback_ratio, released_radius_mm])
def test_arrays_in_arrays_out_and_numbers_in_numbers_out(function) -> None:
    """Radii (2, 1) by flows (3,) give (2, 3), each as if it were asked for alone."""
    tube = tube_of(ALLOYS["copper-nickel 90/10"])
    radii, flows = np.array([[12.0], [20.0]]), np.array([0.7, 1.0, 1.4])
    together = function(tube, radii, flow=flows)
    assert together.shape == (2, 3)
    for i, j in np.ndindex(2, 3):
        alone = function(tube, float(radii[i, 0]), flow=float(flows[j]))
        assert type(alone) is float
        assert together[i, j] == pytest.approx(alone, rel=1e-13)


@pytest.mark.parametrize("function", [moment_nmm, springback_ratio, released_radius_mm])
def test_a_radius_inside_the_tube_is_refused(function) -> None:
    """A centreline radius of 2 mm for a tube 4.7625 mm thick, or of an inch meant as mm."""
    tube = tube_of(ALLOYS["copper"])
    for radius in (2.0, 0.0, -15.0, float("nan"), np.array([15.0, 0.6])):
        with pytest.raises(ValueError, match="'invented': a centreline radius of .* is not more than half"):
            function(tube, radius)
    with pytest.raises(ValueError, match="factor on the flow stress is 0; it must be more than 0"):
        function(tube, 15.0, flow=0.0)


# --- what it says of brake tube ----------------------------------------------------------------


@pytest.mark.parametrize("radius_mm", [15.0, 20.0])
def test_brake_tube_springs_back_a_few_degrees_at_most(radius_mm: float) -> None:
    """3/16 in on small dies: 1 to 3 degrees at 90, stainless most, copper least.

    Common practice has a few degrees on a hand bender, its own spring and slack included.
    """
    names = ("stainless 304", "copper-nickel 90/10", "low-carbon steel", "copper")
    degrees = [springback_deg(tube_of(ALLOYS[name]), radius_mm, 90.0) for name in names]
    assert degrees == sorted(degrees, reverse=True)
    assert 1.0 < degrees[-1] < degrees[0] < 3.0


def test_a_sweep_of_radii_falls_without_a_wobble() -> None:
    """2000 radii in one call: the ratio falls from each to the next, smooth enough to differentiate."""
    tube = tube_of(ALLOYS["copper-nickel 90/10"])
    radii = 15.0 * np.exp(np.linspace(-0.2, 0.2, 2000))
    slopes = np.diff(springback_ratio(tube, radii)) / np.diff(np.log(radii))
    assert np.all(slopes < 0)
    assert np.ptp(slopes) < 0.005
    assert np.max(np.abs(np.diff(slopes))) < 1e-5
