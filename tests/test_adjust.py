"""Least squares with checks: by hand, against published networks, and by making the blunders ourselves."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bendcal.adjust import Adjustment, adjust, baarda_critical, tau_critical, vpv_critical

ARCSEC = 180 / np.pi * 3600


# --- by hand ------------------------------------------------------------------------------------


def rod(*readings: float, sd: float = 0.1) -> Adjustment:
    """One length, read several times."""
    ones = np.ones((len(readings), 1))
    return adjust(lambda x: (x[0] - np.array(readings), ones), [0.0], np.full(len(readings), sd))


def test_two_readings_of_a_rod() -> None:
    """The mean, u = sd/√2, half an error shows in each reading, and the two cannot be told apart."""
    a = rod(100.2, 100.6)
    assert a.x[0] == pytest.approx(100.4)
    assert a.covariance[0, 0] ** 0.5 == pytest.approx(0.1 / 2**0.5)
    assert a.redundancy == pytest.approx([0.5, 0.5])
    assert (a.dof, a.vpv, a.s0) == (1, pytest.approx(8.0), pytest.approx(8**0.5))
    assert a.w == pytest.approx([-(8**0.5), 8**0.5])
    # Either would be wrong by all of the difference if the other were right.
    assert a.gross_error == pytest.approx([-0.4, 0.4])
    assert np.abs(a.tau) == pytest.approx([1.0, 1.0])


def test_one_reading_is_checked_by_nothing() -> None:
    """Without a second reading there is no test, no s0, and no error that would be seen."""
    a = rod(100.2)
    assert a.dof == 0
    assert np.isnan([a.s0, a.w[0], a.gross_error[0]]).all()
    assert a.detectable().tolist() == [np.inf]
    assert a.removal([0]).rank == 0


def test_a_level_loop_closes() -> None:
    """Three height differences round a loop that miss by 9 mm: each of equal weight takes 3 mm."""
    slope = np.array([[1.0, 0.0], [-1.0, 1.0], [0.0, -1.0]])  # to 1, from 1 to 2, from 2 back
    seen = np.array([10.0, 5.0, -6.0])
    a = adjust(lambda x: (slope @ x - seen, slope), [0.0, 0.0], [1.0, 1.0, 1.0])
    assert a.v == pytest.approx([-3.0, -3.0, -3.0])
    assert a.redundancy == pytest.approx([1 / 3] * 3)
    assert a.steps == 1  # it is linear


def test_unknowns_that_nothing_holds_are_told() -> None:
    """Only the difference of two heights is seen: their sum stays where it was and is named as slack."""
    slope = np.array([[-1.0, 1.0]])
    a = adjust(lambda x: (slope @ x - 3.0, slope), [10.0, 10.0], [0.5])
    assert a.x == pytest.approx([8.5, 11.5])
    assert np.abs(a.slack[:, 0]) == pytest.approx([0.5**0.5] * 2)
    assert a.slack[0, 0] == pytest.approx(a.slack[1, 0])
    # The difference is known to its own uncertainty whatever the sum.
    assert (slope @ a.covariance @ slope.T).item() == pytest.approx(0.25)


def test_the_smallest_error_that_is_found() -> None:
    """sd·4.13/√r for 1 in 1000 and a power of 80 % (Baarda's figures, secondary)."""
    assert rod(1.0, 1.0, sd=1.0).detectable() == pytest.approx([4.1321 * 2**0.5] * 2, rel=1e-4)


def test_what_cannot_be_adjusted_is_refused() -> None:
    """An uncertainty of nothing, and a model without a value, say so."""
    for sd in (0.0, -1.0, np.nan, np.inf):
        with pytest.raises(ValueError, match="standard uncertainty of more than 0"):
            rod(1.0, sd=sd)
    with pytest.raises(ValueError, match="no value at the start"):
        adjust(lambda x: (x * np.nan, np.ones((1, 1))), [1.0], [1.0])
    with pytest.raises(ValueError, match="where something is measured twice"):
        tau_critical(0, 3)


# --- published ----------------------------------------------------------------------------------


def network(places: dict[str, tuple[float, float]], unknown: str, distances, angles=()):
    """A plane network as `adjust` wants it: distances (a, b, m) and angles (at, from, to, seconds)."""
    column = {name: 2 * i for i, name in enumerate(unknown)}

    def model(x):
        at = {name: np.array(place) for name, place in places.items()}
        at |= {name: x[c : c + 2] for name, c in column.items()}
        off, slope = [], np.zeros((len(distances) + len(angles), len(x)))
        for i, (a, b, metres) in enumerate(distances):
            way = at[b] - at[a]
            off.append(np.hypot(*way) - metres)
            for name, part in ((b, way), (a, -way)):
                if name in column:
                    slope[i, column[name] : column[name] + 2] += part / np.hypot(*way)
        for i, (here, back, fore, seconds) in enumerate(angles, len(distances)):
            turn = 0.0
            for name, sign in ((fore, 1), (back, -1)):
                east, north = at[name] - at[here]
                turn += sign * np.arctan2(east, north) * ARCSEC
                part = sign * np.array([north, -east]) / (east**2 + north**2) * ARCSEC
                for moved, way in ((name, part), (here, -part)):
                    if moved in column:
                        slope[i, column[moved] : column[moved] + 2] += way
            off.append((turn - seconds + 648_000) % 1_296_000 - 648_000)
        return np.array(off), slope

    return model


def test_trilateration_of_a_textbook() -> None:
    """C. D. Ghilani, Adjustment Computations, example 14.2: U, its residuals, s0 and standard deviations.

    Inputs read in a course text that quotes it; the answers in F. Krumm's collection of worked
    networks (2020), read, and recomputed with another program's printed digits. The book's rounded
    6861.32, 3727.82: memory.
    """
    fixed = {"A": (865.40, 4527.15), "B": (2432.55, 2047.25), "C": (2865.22, 27.15)}
    seen = [("A", "U", 6049.00), ("B", "U", 4736.83), ("C", "U", 5446.49)]
    a = adjust(network(fixed, "U", seen), [6800.0, 3700.0], [1.0] * 3)
    assert a.x == pytest.approx([6861.316788, 3727.818566], abs=5e-6)
    assert a.v == pytest.approx([-0.037373, 0.076793, -0.047366], abs=5e-6)
    assert a.s0 == pytest.approx(0.097659, abs=5e-7)
    assert a.s0 * np.sqrt(np.diag(a.covariance)) == pytest.approx([0.077526, 0.154249], abs=5e-6)


FIXED = {"A": (5600.544, 4966.236), "B": (6061.624, 8043.173)}
DISTANCES = [
    ("A", "B", 3111.291), ("B", "C", 3726.220), ("C", "D", 3237.783), ("D", "A", 3662.372), ("A", "C", 5193.471),
    ("B", "D", 4524.471),
]  # fmt: skip
ANGLES = [  # at, from, to, degrees, minutes, seconds
    ("A", "B", "C", 45, 12, 34), ("A", "C", "D", 38, 10, 54), ("B", "C", "D", 44, 55, 43), ("B", "D", "A", 53, 31, 23),
    ("C", "D", "A", 44, 21, 59), ("C", "A", "B", 36, 20, 26), ("D", "A", "B", 43, 6, 11), ("D", "B", "C", 54, 22, 0),
]  # fmt: skip
SDS = np.array([0.010, 0.012, 0.010, 0.012, 0.016, 0.014] + [2.1] * 8)
START = [9787.823, 8038.529, 9260.886, 4843.911]
BLUNDER = 12  # the angle at D from A to B


def quadrilateral(without: int | None = None) -> Adjustment:
    """Ghilani's example 21.10, with all of it or without one measurement."""
    angles = [(at, back, fore, 3600 * d + 60 * m + s) for at, back, fore, d, m, s in ANGLES]
    whole = network(FIXED, "CD", DISTANCES, angles)
    kept = [i for i in range(14) if i != without]

    def model(x):
        off, slope = whole(x)
        return off[kept], slope[kept]

    return adjust(model, START, SDS[kept])


def test_a_published_blunder_is_found() -> None:
    """C. D. Ghilani, Adjustment Computations, example 21.10, a braced quadrilateral with a real blunder.

    Data and the printed redundancy numbers, tau and adjusted coordinates read in F. Krumm, Geodetic
    Network Adjustment Examples (2020) and in the output of another adjustment program.
    """
    a = quadrilateral()
    assert a.x == pytest.approx([9787.82499, 8038.53535, 9260.86043, 4843.93411], abs=1e-5)
    assert (a.dof, a.vpv, a.s0) == (10, pytest.approx(863.0039, abs=5e-5), pytest.approx(9.289800, abs=5e-7))
    assert a.vpv > vpv_critical(10) == pytest.approx(18.307, abs=5e-4)
    redundancy = [1.000, 0.269, 0.169, 0.266, 0.555, 0.417, 0.887, 0.930, 0.921, 0.877, 0.899, 0.964, 0.966, 0.880]
    assert a.redundancy == pytest.approx(redundancy, abs=5e-4)
    tau = [0.008, 0.279, 0.283, 0.225, 0.178, 0.783, 0.026, 0.067, 0.019, 0.138, 0.303, 0.176, 3.143, 0.034]
    assert np.abs(a.tau) == pytest.approx(tau, abs=5e-4)
    assert int(np.argmax(np.abs(a.w))) == BLUNDER
    assert a.w[BLUNDER] == pytest.approx(29.193, abs=5e-4)
    assert a.gross_error[BLUNDER] == pytest.approx(62.36, abs=5e-3)
    # Only the blunder is beyond Pope's tau. By Baarda's w a good one is as well, as long as the
    # blunder is in: which is why one at a time is taken away.
    assert np.flatnonzero(np.abs(a.tau) > tau_critical(10, 14)).tolist() == [BLUNDER]
    assert np.flatnonzero(np.abs(a.w) > baarda_critical()).tolist() == [5, BLUNDER]


def test_without_the_published_blunder_all_is_well() -> None:
    """The same example with that angle removed: coordinates, s0 and the largest tests as printed."""
    a = quadrilateral(without=BLUNDER)
    assert a.x == pytest.approx([9787.83856, 8038.48622, 9260.88291, 4843.87549], abs=1e-5)
    assert a.s0 == pytest.approx(1.0930379, abs=5e-8)
    assert np.abs(a.tau).max() == pytest.approx(1.718, abs=5e-4)
    assert np.abs(a.w).max() == pytest.approx(1.878, abs=5e-4)
    assert a.vpv < vpv_critical(a.dof)


def test_critical_values() -> None:
    """Tau for 10 checks of 14 at 5 % together, and w for 1 in 1000 (derived by scipy's t and normal)."""
    assert tau_critical(10, 14) == pytest.approx(2.504869, abs=5e-7)
    assert baarda_critical() == pytest.approx(3.290527, abs=5e-7)
    assert tau_critical(1, 9) == 1.0
    # With many checks s0 is as good as known, and tau is w.
    assert tau_critical(10**6, 1, alpha=0.001) == pytest.approx(baarda_critical(), abs=1e-4)


def test_removal_foretells_what_happens() -> None:
    """Taking a measurement away lowers v'Pv by w², and the rest then miss it by the error foretold."""
    a, b = quadrilateral(), quadrilateral(without=BLUNDER)
    removal = a.removal([BLUNDER])
    assert a.vpv - b.vpv == pytest.approx(a.w[BLUNDER] ** 2, rel=1e-6)
    assert removal.vpv_drop == pytest.approx(a.w[BLUNDER] ** 2, rel=1e-12)
    assert removal.error[0] == pytest.approx(a.gross_error[BLUNDER], rel=1e-9)
    angles = [(at, back, fore, 3600 * d + 60 * m + s) for at, back, fore, d, m, s in ANGLES]
    missed = network(FIXED, "CD", DISTANCES, angles)(b.x)[0][BLUNDER]
    assert -missed == pytest.approx(removal.error[0], rel=1e-5)


# --- what must hold always ----------------------------------------------------------------------


@st.composite
def linear_problems(draw: st.DrawFn):
    """A linear network of any rank: slopes, readings and uncertainties of very different size."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    rows, unknowns = draw(st.integers(1, 12)), draw(st.integers(1, 6))
    rank = draw(st.integers(1, min(rows, unknowns)))
    slope = rng.normal(size=(rows, rank)) @ rng.normal(size=(rank, unknowns))
    return slope, rng.normal(size=rows), 10 ** rng.uniform(-1.5, 1.5, rows), rank


@given(linear_problems())
def test_a_linear_network_against_pseudo_inverses(problem) -> None:
    """Unknowns, covariance, redundancy and slack as textbook matrices give them, at any rank."""
    slope, seen, sd, rank = problem
    a = adjust(lambda x: (slope @ x - seen, slope), np.zeros(slope.shape[1]), sd)
    weighted = slope / sd[:, None]
    inverse = np.linalg.pinv(weighted, rcond=1e-10)
    assert a.span.shape[1] == rank
    np.testing.assert_allclose(a.x, inverse @ (seen / sd), rtol=1e-6, atol=1e-7)
    np.testing.assert_allclose(a.covariance, inverse @ inverse.T, rtol=1e-6, atol=1e-9 * np.abs(inverse).max() ** 2)
    np.testing.assert_allclose(a.redundancy, 1 - np.diag(weighted @ inverse), atol=1e-8)
    assert a.redundancy.sum() == pytest.approx(a.dof, abs=1e-8)
    assert a.slack.shape == (slope.shape[1], slope.shape[1] - rank)
    assert np.abs(weighted @ a.slack).max(initial=0.0) < 1e-8 * np.abs(weighted).max()


@given(linear_problems(), st.data())
def test_removing_several_at_once(problem, data) -> None:
    """The drop of v'Pv foretold for any group of measurements is that of the adjustment without them."""
    slope, seen, sd, _ = problem
    gone = sorted(data.draw(st.sets(st.integers(0, len(sd) - 1), min_size=1, max_size=3)))
    kept = [i for i in range(len(sd)) if i not in gone]
    a = adjust(lambda x: (slope @ x - seen, slope), np.zeros(slope.shape[1]), sd)
    b = adjust(lambda x: (slope[kept] @ x - seen[kept], slope[kept]), np.zeros(slope.shape[1]), sd[kept])
    removal = a.removal(gone)
    assert removal.vpv_drop == pytest.approx(a.vpv - b.vpv, rel=1e-6, abs=1e-6 * (1 + a.vpv))
    assert removal.rank == a.dof - b.dof


def test_the_search_shortens_its_steps() -> None:
    """From a start where a full step leads away, it still gets to the bottom: Rosenbrock's valley."""

    def valley(x):
        return np.array([10 * (x[1] - x[0] ** 2), 1 - x[0]]), np.array([[-20 * x[0], 10.0], [-1.0, 0.0]])

    a = adjust(valley, [-1.2, 1.0], [1.0, 1.0])
    assert a.settled
    assert a.x == pytest.approx([1.0, 1.0], abs=1e-7)


def test_a_search_that_does_not_settle_says_so() -> None:
    """Too few steps allowed: it is told, not passed off as an answer."""
    assert not adjust(lambda x: (np.exp(x) - 1e-3, np.diag(np.exp(x))), [5.0], [1.0], max_steps=2).settled


def test_uncertainties_are_those_of_repeated_measuring() -> None:
    """In 1000 simulated repeats the scatter of the unknowns, w and s0 are what is claimed (4 sd of the simulation)."""
    rng = np.random.default_rng(2)
    angles = [(at, back, fore, 3600 * d + 60 * m + s) for at, back, fore, d, m, s in ANGLES]
    model = network(FIXED, "CD", DISTANCES, angles)
    true = quadrilateral(without=BLUNDER).x
    errorless = model(true)[0]
    found, tests, vpv = [], [], []
    for _ in range(1000):
        noise = SDS * rng.normal(size=14)
        a = adjust(lambda x, noise=noise: (lambda v, j: (v - errorless - noise, j))(*model(x)), true, SDS)
        found.append(a.x)
        tests.append(a.w)
        vpv.append(a.vpv)
    u = np.sqrt(np.diag(a.covariance))
    assert np.std(found, axis=0) / u == pytest.approx(np.ones(4), abs=4 / 2000**0.5)
    assert (np.mean(found, axis=0) - true) / u == pytest.approx(np.zeros(4), abs=4 / 1000**0.5)
    assert np.std(tests, axis=0) == pytest.approx(np.ones(14), abs=4 / 2000**0.5)
    assert np.mean(vpv) == pytest.approx(10, abs=4 * (20 / 1000) ** 0.5)
