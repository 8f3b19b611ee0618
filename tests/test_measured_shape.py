"""A shape that was measured is known only so well: that goes into marks, spare tube and landing."""

from dataclasses import replace
from shutil import copytree

import numpy as np
import pytest
from a_line import CAL, LEGS, SHOP, line

from bendcal.builds import simulate_builds
from bendcal.calibration import Calibration
from bendcal.files.folder import read_shop
from bendcal.files.patterns import read_pattern
from bendcal.landing import landing_of
from bendcal.law import Law
from bendcal.margin import end_covariance_mm2
from bendcal.marks import mark_out
from bendcal.mirror import mirrored
from bendcal.path import Legs, place_nodes
from bendcal.pattern import adjust_pattern

N = LEGS.bends
EXACT = Law.of("small", "steel", [-1.5, 0.97, 16.0, 15.6, 2.5])
EXACTLY = Calibration({("small", "steel"): EXACT}, None, (), (), "", "0")


def _covariance() -> np.ndarray:
    """Of a shape measured to about 1 mm and 0.5°, all of it correlated; the first twist is 0."""
    root = np.random.default_rng(4).normal(size=(3 * N + 1, 3 * N + 1)) / np.sqrt(3 * N + 1)
    root *= np.concatenate([np.full(N + 1, 1.0), np.full(2 * N, 0.5)])[:, None]
    root[2 * N + 1] = 0.0
    return root @ root.T


SHAPE = _covariance()
OFF = np.random.default_rng(1).multivariate_normal(np.zeros(3 * N + 1), SHAPE, size=40_000, method="eigh")
DRAWN = LEGS.leg_mm + OFF[:, : N + 1], LEGS.angle_deg + OFF[:, N + 1 : 2 * N + 1], LEGS.twist_deg + OFF[:, 2 * N + 1 :]


def measured(**more):
    """The six-bend line, as measured."""
    return replace(line(**more), shape_covariance=SHAPE)


@pytest.mark.parametrize("free_end", ["A", "B"])
def test_the_seat_scatters_as_forty_thousand_drawn_shapes_do(free_end):
    """With all else exact, the end's covariance is that of the seat over shapes drawn from what was measured."""
    leg, angle, twist = DRAWN
    if free_end == "A":
        leg, angle, twist = leg[:, ::-1], angle[:, ::-1], np.concatenate([twist[:, :1], twist[:, 1:][:, ::-1]], axis=1)
    seen = np.cov(place_nodes(leg, angle, twist)[:, -1].T)
    dial, side = EXACT.dial_for(LEGS.angle_deg).value, np.ones(N, int)
    said = end_covariance_mm2(LEGS, EXACT, dial, side, free_end=free_end, twist_sd_deg=0.0, shape=SHAPE)
    root = np.linalg.inv(np.linalg.cholesky(said))
    assert np.sqrt(np.linalg.eigvalsh(root @ seen @ root.T)) == pytest.approx(np.ones(3), abs=0.04)


@pytest.mark.parametrize("feed", ["A", "B", "ABBABA"])
def test_marks_are_as_uncertain_as_the_shapes_they_are_made_for(feed):
    """With an exact law, the marks' uncertainty is the spread of the marks over drawn shapes."""
    marks = np.array([
        mark_out(SHOP, EXACTLY, replace(line(), legs=Legs(leg, angle, LEGS.twist_deg), nodes_mm=None), feed=list(feed * N)[:N], trim_mm=0.0).mark_mm
        for leg, angle in zip(DRAWN[0][:500], DRAWN[1][:500], strict=True)
    ])  # fmt: skip
    sheet = mark_out(SHOP, EXACTLY, measured(), feed=list(feed * N)[:N], trim_mm=0.0)
    assert sheet.mark_u_mm == pytest.approx(marks.std(axis=0), rel=0.1)
    assert mark_out(SHOP, EXACTLY, line(), feed=list(feed * N)[:N]).mark_u_mm == pytest.approx(np.zeros(N), abs=1e-12)


@pytest.mark.parametrize("trim_at", ["A", "B"])
def test_uncertainties_add_up_and_the_spare_tube_covers_both(trim_at):
    """What the law and the shape leave open are independent; the spare tube is for both, and builds bear it out."""
    plain, whole = mark_out(SHOP, CAL, line(trim_at=trim_at)), mark_out(SHOP, CAL, measured(trim_at=trim_at))
    shape = mark_out(SHOP, EXACTLY, measured(trim_at=trim_at))
    assert whole.mark_u_mm**2 == pytest.approx(plain.mark_u_mm**2 + shape.mark_u_mm**2)
    assert whole.length_u_mm > plain.length_u_mm
    assert whole.trim_mm >= plain.trim_mm
    assert whole.mark_mm - whole.seat_a_mm == pytest.approx(plain.mark_mm - plain.seat_a_mm)
    assert whole.angle_u_deg == pytest.approx(plain.angle_u_deg)
    if trim_at == "B":
        builds = simulate_builds(whole, 40_000, rng=np.random.default_rng(3))
        assert 0.945 <= np.mean(builds.short_by_mm() <= whole.trim_mm) <= 0.975
        drawn, said = np.cov(builds.end_off_mm.T), landing_of(whole).covariance_mm2
        assert np.trace(drawn) == pytest.approx(np.trace(said), rel=0.04)


def test_the_landing_says_how_much_comes_from_the_pattern():
    """Where the pattern leaves more open than all else, the sentence says so and what would help."""
    landing = landing_of(mark_out(SHOP, EXACTLY, measured()), twist_sd_deg=0.1)
    share = landing.shares.query("cause == 'pattern'")["share"].item()
    assert share > 0.5
    assert landing.shares["share"].sum() == pytest.approx(1.0)
    assert f"{100 * share:.0f} % of it comes from the pattern that the shape was measured by" in landing.sentence
    assert "pattern" not in set(landing_of(mark_out(SHOP, CAL, line())).shares["cause"])


def test_a_twist_is_named_by_its_bend_whichever_end_is_free():
    """Seen from end B too, the twist of bend k is that between bends k − 1 and k: held against a turn of that one alone."""
    turned = landing_of(mark_out(SHOP, EXACTLY, line(trim_at="A"))).shares.query("cause == 'twist'").set_index("bend")["share"]
    moved = []
    for k in range(N):
        twist = np.array(LEGS.twist_deg)
        twist[k] += 1e-4 if k else 0.0
        back = [place_nodes(LEGS.leg_mm[::-1], LEGS.angle_deg[::-1], np.concatenate([t[:1], t[1:][::-1]]))[-1] for t in (twist, LEGS.twist_deg)]
        moved.append(np.sum((back[0] - back[1]) ** 2))
    assert turned.to_numpy() == pytest.approx(np.array(moved) / sum(moved), abs=1e-4)


def test_a_line_that_takes_its_shape_from_its_pattern_takes_its_uncertainty_too(tmp_path):
    """Read from a folder without the line's own file, the line carries the pattern's covariance; with the file it carries none."""
    folder = tmp_path / "shop"
    copytree("sample_measurements", folder)
    assert read_shop(folder).line("brake-near-side").shape_covariance is None
    (folder / "lines" / "brake-near-side.csv").unlink()
    shop = read_shop(folder)
    found = shop.line("brake-near-side")
    adjusted = adjust_pattern(read_pattern(shop, "brake-near-side"))
    assert found.shape_covariance == pytest.approx(adjusted.covariance)
    assert np.sqrt(np.diag(found.shape_covariance))[: found.bends + 1] == pytest.approx(adjusted.leg_mm.u)


def test_the_other_hand_is_known_as_well():
    """A mirrored line has turned its twists round and knows its ends just as well."""
    other = mirrored(measured(), "other")
    assert not np.allclose(other.shape_covariance, SHAPE)
    one, two = (landing_of(mark_out(SHOP, CAL, each)) for each in (measured(), other))
    assert two.u_mm == pytest.approx(one.u_mm)
    assert two.axes_mm[0] == pytest.approx(one.axes_mm[0])


@pytest.mark.parametrize(
    ("covariance", "says"),
    [
        (np.eye(4), r"line long: shape_covariance is \(4, 4\); legs, angles and twists of 6 bends are 19 numbers"),
        (np.triu(np.ones((19, 19))), "line long: shape_covariance is no covariance"),
        (-np.eye(19), "line long: shape_covariance is no covariance"),
        (np.full((19, 19), np.nan), "line long: shape_covariance is no covariance"),
    ],
)
def test_what_is_no_covariance_is_refused(covariance, says):
    """A covariance of another size, or one that cannot be, is told."""
    with pytest.raises(ValueError, match=says):
        replace(line(), shape_covariance=covariance)
