"""Where the free end falls: the linear answer against thousands of lines bent with everything drawn at random."""

from math import radians, sqrt

import numpy as np
import pytest

from bendcal.law import Law
from bendcal.margin import TWIST_SD_DEG, along_last_leg_mm, end_covariance_mm2, trim_for_mm
from bendcal.path import Legs, nodes_from_legs, place_nodes, reverse_legs

NUMBERS = np.array([-1.5, 0.965, 15.4, 15.05, 2.2])
ROOT = np.diag([0.5, 0.005, 0.25, 0.3, 0.35]) @ np.array([
    [1, 0, 0, 0, 0], [-0.8, 0.6, 0, 0, 0], [0.1, -0.2, 0.9, 0, 0], [0, 0.1, 0.7, 0.7, 0], [0.2, 0, -0.5, 0.1, 0.8],
])  # fmt: skip
COVARIANCE = ROOT @ ROOT.T
LEGS = Legs([120, 90, 140, 100, 160], [90, 45, 110, 30], [0, 65, -150, 100])


def law(covariance=COVARIANCE, *, scatter_deg: float = 0.4, marking_mm: float = 0.3) -> Law:
    """The law of the lines below."""
    return Law.of("small", "brake", NUMBERS, covariance, scatter_deg=scatter_deg, marking_mm=marking_mm)


def bent(legs: Legs, of: Law, side: np.ndarray, draws: int, *, twist_sd_deg: float, seed: int = 0):
    """Legs, angles and twists, (draws, …), of the same marks and settings made by so many drawn shops.

    Written from the definitions: the mark's place and the dial are chosen by the law as it is
    believed; the tube then bends by a law drawn from the covariance.
    """
    rng = np.random.default_rng(seed)
    n = legs.bends
    a, b, radius, developed, offset = NUMBERS
    tan = np.tan(np.radians(legs.angle_deg) / 2)
    apex = np.cumsum(legs.leg_mm[:-1]) - np.concatenate([[0], np.cumsum(2 * radius * tan - developed * np.radians(legs.angle_deg))[:-1]])
    start = apex - radius * tan
    mark = np.where(side > 0, start - offset, start + developed * np.radians(legs.angle_deg) + offset)
    length = apex[-1] - radius * tan[-1] + developed * radians(legs.angle_deg[-1]) + legs.leg_mm[-1] - radius * tan[-1]
    dial = (legs.angle_deg - a) / b

    drawn = rng.multivariate_normal(NUMBERS, of.covariance.to_numpy(), draws)[:, :, None]
    angle = drawn[:, 0] + drawn[:, 1] * dial + of.scatter_deg * rng.normal(size=(draws, n))
    mark = mark + of.marking_mm * rng.normal(size=(draws, n))
    arc = drawn[:, 3] * np.radians(angle)
    first = np.where(side > 0, mark + drawn[:, 4], mark - drawn[:, 4] - arc)
    setback = drawn[:, 2] * np.tan(np.radians(angle) / 2)
    none = np.zeros((draws, 1))
    edges = np.concatenate([none, first + arc], 1), np.concatenate([first, none + length], 1)
    leg = edges[1] - edges[0] + np.concatenate([none, setback], 1) + np.concatenate([setback, none], 1)
    turn = twist_sd_deg * rng.normal(size=(draws, n))
    turn[:, 0] = 0.0
    return leg, angle, legs.twist_deg + turn


def seen_from_b(leg, angle, twist):
    """The same lines counted from end B: order turned round, the twist of the first bend nothing."""
    return leg[:, ::-1], angle[:, ::-1], np.concatenate([twist[:, :1], twist[:, 1:][:, ::-1]], 1)


SIDES = [np.array(s) for s in ([1, 1, 1, 1], [-1, -1, -1, -1], [1, -1, 1, -1])]


@pytest.mark.parametrize("side", SIDES, ids=["A", "B", "mixed"])
@pytest.mark.parametrize("free_end", ["A", "B"])
def test_the_end_scatters_as_forty_thousand_bent_lines_do(side: np.ndarray, free_end: str) -> None:
    """Laws, scatter, marks and twists drawn: the covariance of the end agrees in every direction within 5 %."""
    of = law()
    legs, angle, twist = bent(LEGS, of, side, 40_000, twist_sd_deg=1.0)
    if free_end == "A":
        legs, angle, twist = seen_from_b(legs, angle, twist)
    seen = np.cov(place_nodes(legs, angle, twist)[:, -1].T)
    dial = of.dial_for(LEGS.angle_deg).value
    said = end_covariance_mm2(LEGS, of, dial, side, free_end=free_end, twist_sd_deg=1.0)
    root = np.linalg.inv(np.linalg.cholesky(said))
    ratios = np.linalg.eigvalsh(root @ seen @ root.T)
    assert np.sqrt(ratios) == pytest.approx(np.ones(3), abs=0.05)
    nodes = place_nodes(legs, angle, twist)[0]
    assert nodes.shape == (6, 3)
    # along the last leg, what trimming makes good
    held = reverse_legs(LEGS) if free_end == "A" else LEGS
    last = np.diff(nodes_from_legs(held)[-2:], axis=0)[0] / held.leg_mm[-1]
    u = along_last_leg_mm(said, LEGS, free_end=free_end)
    assert u == pytest.approx(sqrt(last @ seen @ last), rel=0.03)


def test_the_drawn_lines_are_centred_on_the_line_that_was_meant() -> None:
    """With nothing drawn, the marks above bend to LEGS: the simulation itself is no other line."""
    exact = law(np.zeros((5, 5)), scatter_deg=0.0, marking_mm=0.0)
    for side in SIDES:
        leg, angle, _ = bent(LEGS, exact, side, 1, twist_sd_deg=0.0)
        assert leg[0] == pytest.approx(LEGS.leg_mm, abs=1e-9)
        assert angle[0] == pytest.approx(LEGS.angle_deg, abs=1e-9)


def test_each_source_by_hand_on_one_square_bend() -> None:
    """Legs 100 and 80, R = λ = 15, m = 0, dial = angle, bent about z; the end moves by d(end)/d(source) × u.

    An angle's error turns leg 2 about the apex, 80·π/180 along −x for a degree; the setback grows by
    R/2·(1 + tan² 45°)·π/180 = 15·π/180 at both legs, and the arc takes as much from leg 2 again. A mark's
    error lengthens leg 1 and shortens leg 2.
    """
    plain = Legs([100, 80], [90], [0])
    dial = np.array([90.0])

    def covariance(variances, **more):
        of = Law.of("s", "t", [0, 1, 15, 15, 0], np.diag(variances), **more)
        return end_covariance_mm2(plain, of, dial, np.array([1]))

    degree = np.pi / 180
    turned = np.array([-80 * degree + 15 * degree, 15 * degree - 15 * degree, 0.0])
    assert covariance([0, 0, 0, 0, 0], scatter_deg=1.0) == pytest.approx(np.outer(turned, turned), abs=1e-12)
    assert covariance([1, 0, 0, 0, 0]) == pytest.approx(np.outer(turned, turned), abs=1e-12)
    assert covariance([0, 1e-4, 0, 0, 0]) == pytest.approx(np.outer(turned, turned) * 90**2 * 1e-4, abs=1e-12)
    moved = np.array([1.0, -1.0, 0.0])
    assert covariance([0, 0, 0, 0, 0], marking_mm=0.3) == pytest.approx(0.09 * np.outer(moved, moved), abs=1e-12)
    assert covariance([0, 0, 0, 0, 0.25]) == pytest.approx(0.25 * np.outer(moved, moved), abs=1e-12)
    wider = np.array([1.0, 1.0, 0.0])
    assert covariance([0, 0, 0.04, 0, 0]) == pytest.approx(0.04 * np.outer(wider, wider), abs=1e-12)
    longer = np.array([0.0, -np.pi / 2, 0.0])
    assert covariance([0, 0, 0, 0.04, 0]) == pytest.approx(0.04 * np.outer(longer, longer), abs=1e-12)


def test_a_twist_moves_what_comes_after_it_square_to_the_leg_before() -> None:
    """U of 100, 60, 80: turning bend 2 by 1° swings its 80 mm leg out of plane by 80·π/180, nothing else."""
    u = Legs([100, 60, 80], [90, 90], [0, 0])
    exact = Law.of("s", "t", [0, 1, 15, 15, 0])
    found = end_covariance_mm2(u, exact, np.array([90.0, 90.0]), np.array([1, 1]), twist_sd_deg=1.0)
    assert found == pytest.approx(np.diag([0, 0, (80 * np.pi / 180) ** 2]), abs=1e-12)
    assert TWIST_SD_DEG == 1.0
    assert not end_covariance_mm2(u, exact, np.array([90.0, 90.0]), np.array([1, 1]), twist_sd_deg=0.0).any()


def test_the_laws_errors_add_up_over_bends_where_scatter_does_not() -> None:
    """Four like bends: a common error of a grows fourfold in the direction that four scatters grow twofold."""
    coil = Legs([60, 60, 60, 60, 60], [20, 20, 20, 20], [0, 180, 180, 180])
    dial, side = np.full(4, 20.0), np.ones(4, int)
    shared = end_covariance_mm2(coil, Law.of("s", "t", [0, 1, 15, 15, 0], np.diag([0.25, 0, 0, 0, 0])), dial, side, twist_sd_deg=0)
    apart = end_covariance_mm2(coil, Law.of("s", "t", [0, 1, 15, 15, 0], scatter_deg=0.5), dial, side, twist_sd_deg=0)
    # Offset after offset the turns take turns, so a common error nearly cancels here where scatter adds up.
    assert np.trace(shared) < np.trace(apart)
    spiral = Legs([60, 60, 60, 60, 60], [20, 20, 20, 20], [0, 0, 0, 0])
    shared = end_covariance_mm2(spiral, Law.of("s", "t", [0, 1, 15, 15, 0], np.diag([0.25, 0, 0, 0, 0])), dial, side, twist_sd_deg=0)
    apart = end_covariance_mm2(spiral, Law.of("s", "t", [0, 1, 15, 15, 0], scatter_deg=0.5), dial, side, twist_sd_deg=0)
    assert np.trace(shared) > 2.5 * np.trace(apart)


def test_a_line_without_bends_ends_where_it_was_cut() -> None:
    """Nothing bends, so nothing moves the end."""
    straight = Legs([100], [], [])
    found = end_covariance_mm2(straight, law(), np.zeros(0), np.zeros(0, int))
    assert found.shape == (3, 3) and not found.any()
    assert along_last_leg_mm(found, straight) == 0.0


def test_trim_is_rounded_up_to_whole_millimetres() -> None:
    """1.6449 × 2 = 3.29 → 4; three parts 2, 3, 6 make 7, × 1.6449 = 11.51 → 12 (normal table)."""
    assert trim_for_mm(2.0) == 4.0
    assert trim_for_mm(2.0, 3.0, 6.0) == 12.0
    assert trim_for_mm(2.0, chance=0.5) == 0.0
    assert trim_for_mm(0.0, chance=0.999) == 0.0
    assert type(trim_for_mm(1.0)) is float


def test_an_end_that_cannot_move_along_its_leg_is_certain_and_no_error() -> None:
    """A covariance of which rounding leaves a hair less than nothing along the last leg: 0, not a domain error."""
    legs = Legs([100, 100], [90], [0])
    along = nodes_from_legs(legs)[-1] - nodes_from_legs(legs)[-2]
    along = along / np.linalg.norm(along)
    assert along_last_leg_mm(-1e-18 * np.outer(along, along), legs) == 0.0
