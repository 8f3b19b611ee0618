"""The shape that is fitted to a scan: exact where the edges are, and as uncertain as repeated fits scatter."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize
from scipy.spatial import cKDTree

from bendcal.scan.edges import Edges, lined_up, lined_up_along, profiles, steepest
from bendcal.scan.ends import _across
from bendcal.scan.scanner import scale_of
from bendcal.scan.shaded import without_soft
from bendcal.scan.tube_model import ARC, BELIEFS, LEG_1, LEG_2, Fitted, Shape, fit_centreline, fit_edges
from bendcal.scan.uncertainty import _waves, results
from bendcal.scan.weighing import Weighed, _uneven, corrected, covariance, weighed
from tests.invented.scan import ScannedPiece

PIECE = ScannedPiece(angle_deg=75.0, radius_mm=16.0, leg_a_mm=52.0, leg_b_mm=44.0, at_mm=(40.0, 30.0), turned_deg=20.0)
START = Shape(0.0, 0.0, 0.0, 1.0, 15.0, 2.38, 2.38)


def edges_of(piece: ScannedPiece, every_mm: float = 0.6) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Points on both edges of the simulator's walk, their sides, and the walk's two ends."""
    xy, outside, inside, _, _ = piece.walk(0.01)
    t = np.gradient(xy, axis=0)
    t /= np.linalg.norm(t, axis=1, keepdims=True)
    normal = np.stack([t[:, 1], -t[:, 0]], axis=1) * (-1 if piece.mirrored else 1)
    step = np.arange(100, len(xy) - 100, int(every_mm / 0.01))
    points = np.concatenate([(xy + outside[:, None] * normal)[step], (xy - inside[:, None] * normal)[step]])
    return points, np.repeat([1.0, -1.0], len(step)), xy[[0, -1]]


def rough(piece: ScannedPiece) -> Shape:
    """A first shape through the walk."""
    shape = fit_centreline(piece.walk(1.5)[0], piece.od_mm / 2)
    assert shape is not None
    return shape


@settings(max_examples=40)
@given(
    st.floats(12, 140), st.floats(8, 30), st.floats(15, 60), st.floats(15, 60), st.floats(0, 360), st.booleans(),
)  # fmt: skip
def test_exact_edges_give_the_exact_bend(angle: float, radius: float, first: float, second: float, turned: float, mirrored: bool) -> None:
    """Edges walked by the simulator: angle within 0.01°, radius and legs within 0.02 mm, however it lies."""
    setback = radius * np.tan(np.radians(angle) / 2)
    piece = ScannedPiece(
        angle_deg=angle, radius_mm=radius, leg_a_mm=first + setback, leg_b_mm=second + setback, turned_deg=turned, mirrored=mirrored
    )
    points, side, ends = edges_of(piece)
    fitted = fit_edges(rough(piece), points, side, spread_mm=0.05, od_mm=4.76)
    told = results(fitted.shape, ends)
    # A short bend's radius is fixed by a small depth: its error is larger by that much.
    depth = 1 / np.cos(np.radians(angle) / 2) - 1
    assert told[0] == pytest.approx(angle, abs=0.01)
    assert told[1] == pytest.approx(radius, abs=0.02 + 0.002 / depth)
    assert told[2:] == pytest.approx([piece.leg_a_mm, piece.leg_b_mm], abs=0.02)


def test_a_straight_piece_makes_no_bend() -> None:
    """Points in a line have no apex."""
    assert fit_centreline(np.stack([np.linspace(0, 80, 40), np.zeros(40)], axis=1), 2.4) is None


def test_another_route_to_the_same_fit() -> None:
    """Noisy points: a search that moves the simulator's own walk about, and knows no apex, finds the same bend.

    Its distances are those to the nearest step of the walk; the least squares of both routes agree to 0.02° and 0.02 mm.
    """
    points, side, ends = edges_of(PIECE, 2.0)
    points = points + 0.05 * np.random.default_rng(3).normal(size=points.shape)
    direct = fit_edges(rough(PIECE), points, side, spread_mm=5.0, od_mm=4.76, flattening=1e-6)  # a spread so wide is plain least squares

    def away(p: np.ndarray) -> np.ndarray:
        piece = replace(PIECE, angle_deg=p[0], radius_mm=p[1], turned_deg=p[2], at_mm=(p[3], p[4]), leg_a_mm=70.0, leg_b_mm=70.0)
        xy = piece.walk(0.02)[0]
        distance, near = cKDTree(xy).query(points)
        t = np.gradient(xy, axis=0)[near]
        off = points - xy[near]
        return np.abs(off[:, 0] * t[:, 1] - off[:, 1] * t[:, 0]) / np.linalg.norm(t, axis=1) - p[5]

    start = [75.2, 15.8, 20.1, 40.05, 29.95, 2.4]
    other = optimize.least_squares(away, start, diff_step=1e-4, x_scale=[1, 1, 1, 1, 1, 0.1]).x
    told = results(direct.shape, ends)
    assert told[0] == pytest.approx(other[0], abs=0.02) and told[1] == pytest.approx(other[1], abs=0.02)
    assert direct.shape.half_mm == pytest.approx(other[5], abs=0.005)


def test_stray_points_do_not_pull_the_fit() -> None:
    """One edge point in ten thrown off by 0.2 to 0.5 mm: the angle stays within 0.1°."""
    points, side, ends = edges_of(PIECE)
    rng = np.random.default_rng(5)
    stray = rng.random(len(points)) < 0.1
    points = points + 0.02 * rng.normal(size=points.shape) + stray[:, None] * rng.uniform(0.2, 0.5, points.shape)
    assert results(fit_edges(rough(PIECE), points, side, spread_mm=0.05, od_mm=4.76).shape, ends)[0] == pytest.approx(75, abs=0.1)


def weights_of(fitted: Fitted, ends: np.ndarray, points: np.ndarray, side: np.ndarray) -> Weighed:
    """How much each point tells, with places along the zones reckoned from the fitted shape."""
    shape, zone = fitted.shape, fitted.zone[:-BELIEFS]
    from_apex, spokes = points - shape.apex, points - shape.centre
    along = np.where(zone == LEG_1, from_apex @ shape.directions[0], from_apex @ shape.directions[1])
    begins = shape.outward[0]
    turned = np.abs(np.arctan2(begins[0] * spokes[:, 1] - begins[1] * spokes[:, 0], spokes @ begins))
    along = np.where(zone == ARC, turned * shape.radius_mm, along)
    series = [np.flatnonzero((side == s) & (zone == z)) for s in (1, -1) for z in (LEG_1, LEG_2, ARC)]
    return weighed(fitted, ends, along, side, series=series, off_mm=(0.0, 0.0), pixel_mm=0.085, od_mm=4.76, dark=False)


def test_the_covariance_is_what_repeated_fits_scatter_by() -> None:
    """60 fits to fresh noise: sd of angle, radius and legs within a quarter of the stated part of the noise (chance: a tenth), which is less than all of it."""
    points, side, ends = edges_of(PIECE)
    rng = np.random.default_rng(7)
    start, told, stated = rough(PIECE), [], []
    for k in range(60):
        fitted = fit_edges(start, noisy := points + 0.05 * rng.normal(size=points.shape), side, spread_mm=1.0, od_mm=4.76)
        weights = weights_of(fitted, ends, noisy, side)
        shape = corrected(fitted, weights)
        told.append(results(shape, ends))
        noise_only = replace(weights, covariance=(weights.solve * np.append(np.full(len(points), 0.05**2), [0.0, 0.0])) @ weights.solve.T)
        stated.append(np.diag(covariance(noise_only, shape, ends, (0.0, 0.0), scale_u=(0.0, 0.0))))
        assert np.all(np.diag(covariance(weights, shape, ends, (0.0, 0.0), scale_u=(0.0, 0.0))) > 0.5 * stated[-1])
    ratio = np.std(told, axis=0) / np.sqrt(np.mean(stated, axis=0))
    assert np.all((ratio > 0.75) & (ratio < 1.3)), ratio


@pytest.mark.parametrize("more", [{"bow_mm": 0.08}, {"flattening": 0.04}, {"flattening": 0.04, "sets_in": 1.5, "eased": 0.5}, {"uneven_arc": 0.04}])
def test_a_leg_that_bows_and_an_arc_that_is_not_round_do_not_turn_the_legs(more: dict) -> None:
    """Exact edges of a tube that is a little out of shape: the angle comes within 0.015° of a straightedge's, and its interval holds it."""
    piece = replace(PIECE, **more)
    points, side, ends = edges_of(piece)
    fitted = fit_edges(rough(piece), points, side, spread_mm=0.05, od_mm=4.76)
    weights = weights_of(fitted, ends, points, side)
    told = results(shape := corrected(fitted, weights), ends)
    u = np.sqrt(np.diag(covariance(weights, shape, ends, (0.0, 0.0), scale_u=(0.0, 0.0))))
    angle, first, second = piece.measured()
    assert told[0] == pytest.approx(angle, abs=min(0.015, 2 * u[0]))
    assert told[2:] == pytest.approx([first, second], abs=0.02)


@pytest.mark.parametrize("angle", [20.0, 75.0, 120.0])
@pytest.mark.parametrize("waves", [1, 2, 3])
def test_an_uneven_arc_beside_an_even_one_against_a_walk(angle: float, waves: int) -> None:
    """An arc walked in small steps, its curvature waving a tenth as much as is believed: it lies off the even arc between the same legs as derived, to 2 %."""
    radius, u = 16.0, np.linspace(0, 1, 20001)
    turn = np.radians(angle)
    heading = turn * (u + 0.0025 / waves * np.sin(waves * np.pi * u) / (waves * np.pi))
    step = radius * turn / 20000
    x, y = (np.concatenate([[0.0], np.cumsum(part(heading[:-1] + np.diff(heading) / 2) * step)]) for part in (np.cos, np.sin))
    # Leg 1 along x, leg 2 back from the walk's end: the even arc between them has its centre at `radius` from both.
    out = np.array([np.cos(turn), np.sin(turn)])
    back = (y[-1] - radius * (1 - np.cos(turn))) / np.sin(turn)  # how far along leg 2 its arc ends from where the walk does
    centre_x = x[-1] - back * out[0] - radius * np.sin(turn)
    inside = radius - np.hypot(x - centre_x, y - radius)
    shape = Shape(0.0, 0.0, 0.0, np.pi - turn, radius, 2.4, 2.4)
    told = _uneven(shape, u, waves) / 10
    assert np.abs(inside - told).max() < 0.02 * np.abs(told).max() + 1e-5


def test_edges_that_wave_count_for_less() -> None:
    """Independent errors count as they are; ones that come in runs of equal sign count for less."""
    rng = np.random.default_rng(9)
    white = rng.normal(size=4000) * 0.05
    assert _waves(white, [np.arange(4000)]) == pytest.approx(1.0, abs=0.1)
    run = np.zeros(4000)
    for k in range(1, 4000):
        run[k] = 0.6 * run[k - 1] + 0.03 * rng.normal()
    lag = np.arange(1, 13)
    assert _waves(run, [np.arange(4000)]) == pytest.approx(1 + 2 * ((1 - lag / 13) * 0.6**lag).sum(), rel=0.15)


def test_where_light_ends_before_the_tube_one_edge_and_the_diameter_do() -> None:
    """An edge 0.5 mm short and three times as soft as the one opposite is left out; as sharp as that one, it is kept."""
    n = 30
    outside = np.stack([np.arange(n), np.full(n, 2.38)], axis=1)
    inside = np.stack([np.arange(n), np.full(n, -1.88)], axis=1)
    for soft, left_out in ((9.0, True), (3.2, False)):
        edges = Edges(np.stack([outside, inside]), np.stack([np.full(n, 3.0), np.full(n, soft)]), np.full(n, LEG_1), np.arange(n), np.full(n, 4.26))
        kept = np.isfinite(without_soft(edges, 4.76, (0.085, 0.085)).at_mm[:, :, 0])
        assert kept[0].all() and kept[1].any() != left_out
    points, side, ends = edges_of(PIECE)
    only = results(fit_edges(rough(PIECE), points[side > 0], side[side > 0], spread_mm=0.05, od_mm=4.76).shape, ends)
    assert only == pytest.approx([75, 16, 52, 44], abs=0.05)


@pytest.mark.parametrize(("sharp", "kept"), [(6, 0), (20, 20)])
def test_a_glint_on_a_faded_side_is_not_its_edge(sharp: int, kept: int) -> None:
    """Six sharp places of thirty, the tube's width from the other edge, on a side that has faded: all of that side is left out; of twenty, they stay."""
    n, at = 30, np.arange(30)
    seen = np.where((at >= 5) & (at < 5 + sharp), -2.38, -1.88)
    edges = Edges(
        np.stack([np.stack([at, np.full(n, 2.38)], axis=1), np.stack([at, seen], axis=1)]).astype(float),
        np.stack([np.full(n, 3.0), np.where(seen < -2, 3.2, 9.0)]), np.full(n, LEG_2), at.astype(float), 2.38 - seen,
    )  # fmt: skip
    left = np.isfinite(without_soft(edges, 4.76, (0.085, 0.085)).at_mm[:, :, 0])
    assert left[0].all() and left[1].sum() == kept


def test_a_rough_line_beside_the_tube_is_brought_to_its_middle() -> None:
    """A drawn tube, a shape 1.2 mm beside it: the points that are lined up lie within 0.2 mm of the walk."""
    xy = PIECE.walk(0.05)[0]
    y, x = np.mgrid[0:900, 0:1100] * 0.1 + 0.05
    near = cKDTree(xy).query(np.stack([x, y], axis=-1).reshape(-1, 2))[0].reshape(x.shape)
    field = 0.5 * np.clip((2.38 - near) / 0.1 + 0.5, 0, 1)
    beside = replace(rough(PIECE), x_mm=rough(PIECE).x_mm + 0.9, y_mm=rough(PIECE).y_mm + 0.8)
    points = lined_up(field, 0.005, beside, (50.0, 42.0), pixel_mm=(0.1, 0.1), od_mm=4.76)
    assert np.quantile(cKDTree(xy).query(points)[0], 0.9) < 0.2


def test_a_pen_line_is_as_sure_as_its_lanes_agree() -> None:
    """A slanting line is read where it meets the tube's middle; if its places on seven lanes scatter by 0.05 mm, what is read does so by as much as it says."""
    t, lanes, rng = np.arange(0.0, 20.0, 0.04), np.linspace(-0.55, 0.55, 7) * 2.38, np.random.default_rng(11)

    def read(jitter_mm: float) -> tuple[float, float]:
        at = 9.3 + 0.12 * lanes + jitter_mm * rng.normal(size=7)
        dark = -0.3 * np.exp(-0.5 * ((t - at[:, None]) / 0.2) ** 2)
        lines = dark[:, :, None] * np.array([1.0, 0.9, 0.5])
        return _across(t, lines, np.median(lines, axis=0), lanes)

    place, u = read(0.0)
    assert place == pytest.approx(9.3, abs=1e-3) and u < 1e-3
    many = np.array([read(0.05) for _ in range(200)])
    assert many[:, 0].std() == pytest.approx(0.05 / np.sqrt(7), rel=0.15)
    assert np.sqrt(np.mean(many[:, 1] ** 2)) == pytest.approx(0.05 / np.sqrt(7), rel=0.15)


def test_the_scanner_says_what_it_stretches() -> None:
    """10 mm tube: 5 mm above the glass over 350 mm of light is 1.43 % for a CCD; nothing for a CIS."""
    assert scale_of("ccd", 10.0)[0] == (pytest.approx(1 + 5 / 350), 1.0)
    assert scale_of("cis", 10.0) == ((1.0, 1.0), (0.001, 0.001))
    (low, _), (u, _) = scale_of("unknown", 10.0)
    assert low - 1 < 1.8 * u and 1 < low < 1.02  # none, and the shortest way, lie within 1.8 u


def test_a_sharp_edge_is_found_beside_a_steeper_shadow() -> None:
    """A step of 0.2 over a pixel at 0, a rise of 1.6 over eight pixels at 9: the latter is steeper, and passed over where it is told over how long a way shadows fade."""
    x = np.arange(-15, 15.01, 0.25)
    profile = (0.2 * (np.tanh(x / 0.7) + 1) / 2 + 1.6 * (np.tanh((x - 9) / 4) + 1) / 2)[None]
    assert steepest(profile, x, 13.0, 1.0)[0][0] == pytest.approx(9.0, abs=0.5)
    assert steepest(profile, x, 13.0, 1.0, shades_off=1.5)[0][0] == pytest.approx(0.0, abs=0.2)


def test_the_middle_is_traced_beside_a_shadow() -> None:
    """A bright tube of 4.8 mm with one dark side and its soft shadow below: along sharp edges the middle is found to 0.3 mm, along all it is not; what is beyond its end is left out."""
    y, x = (np.mgrid[0:200, 0:400] + 0.5) * 0.1
    tube = (np.abs(y - 9.0) < 2.4) & (x < 32)
    shade = np.where(tube, 0.12 + 0.4 * np.clip((y - 9.3) / 0.9, 0, 1), 0.45 * np.exp(-0.5 * (np.clip(np.abs(y - 12.2) - 1.4, 0, None) / 0.7) ** 2) * (y > 9) * (1 - 0.5 * (np.tanh((x - 33) / 1.5) + 1)))
    base = np.column_stack([np.arange(4.0, 38.0, 1.2), np.full(29, 10.2)])
    normal = np.tile([0.0, 1.0], (29, 1))
    told = {"pixel_mm": (0.1, 0.1), "od_mm": 4.8}
    sharp = lined_up_along(shade, 0.002, base, normal, sharp=True, **told)
    assert np.abs(sharp[:, 1] - 9.0).max() < 0.3 and 30 < sharp[-1, 0] < 35
    assert np.abs(lined_up_along(shade, 0.002, base, normal, **told)[:20, 1] - 9.0).max() > 0.5


def test_a_point_where_a_leg_becomes_the_arc_tells_no_more_than_its_neighbours() -> None:
    """The arc is narrower than the legs: a step from one to the other is no slope. No point moves by more than its distance from the apex a radian, or by more than 2 mm a millimetre."""
    shape = replace(START, half_arc_mm=2.30)
    base, normal, zone, _ = profiles(shape, (40.0, 40.0), 0.1)
    near = shape.setback_mm + np.arange(-5e-4, 5e-4, 1e-5)
    base, normal = np.concatenate([base, shape.apex + near[:, None] * shape.directions[0]]), np.concatenate([normal, np.tile(shape.outward[0], (len(near), 1))])
    half = np.where(np.append(zone == ARC, near < shape.setback_mm), shape.half_arc_mm, shape.half_mm)[:, None]
    fitted = fit_edges(shape, np.concatenate([base + half * normal, base - half * normal]), np.repeat([1.0, -1.0], len(base)), spread_mm=0.05, od_mm=4.76)
    assert fitted.shape.half_arc_mm == pytest.approx(2.30, abs=0.005)
    slopes = np.abs(fitted.jacobian[:-BELIEFS])
    assert slopes[:, 2:4].max() < 45.0 and slopes[:, [0, 1, 4, 5, 6]].max() < 2.0
