"""The arc that is fitted to edges, held against a published least-squares circle.

Source: SciPy Cookbook, "Least squares circle", data points around an arc (read as the repository's own text, 2026): six points, and the circle
that MINPACK's leastsq and ODRPACK find for them. Of the algebraic fit, which is biased on short arcs, the same page says centre (15.06, 8.84) and
radius 20.83.
"""

import numpy as np
import pytest

from bendcal.scan.tube_model import ARC, BELIEFS, Shape, fit_edges

ARC_POINTS = np.column_stack([[36.0, 36, 19, 18, 33, 26], [14.0, 10, 28, 31, 18, 26]])
CENTRE, RADIUS, SQUARES = (9.88759, 3.68752), 27.35041, 4.042522


def _bend(centre: tuple[float, float], radius: float, towards_deg: float, turn_deg: float, half: float) -> Shape:
    """A bend of this arc, whose middle lies in this direction from its centre."""
    half_turn, towards = np.radians(turn_deg) / 2, np.radians(towards_deg)
    apex = np.array(centre) + radius / np.cos(half_turn) * np.array([np.cos(towards), np.sin(towards)])
    touching = [np.array(centre) + radius * np.array([np.cos(towards + s * half_turn), np.sin(towards + s * half_turn)]) for s in (-1, 1)]
    along = [float(np.arctan2(*(at - apex)[::-1])) for at in touching]
    return Shape(float(apex[0]), float(apex[1]), *along, radius, half, half)


@pytest.mark.parametrize("side", [1.0, -1.0])
@pytest.mark.parametrize("start", [((9.0, 3.0), 28.0), ((12.0, 6.0), 24.0), ((7.0, 0.0), 31.0)])
def test_six_points_round_an_arc(start: tuple[tuple[float, float], float], side: float) -> None:
    """As the outside or the inside edge of a tube 2 mm thick: the published centre, radius and sum of squares, to the digits that are printed."""
    begun = _bend(start[0], start[1] - side, 43.0, 130.0, 1.0)
    # So wide a spread weighs all points alike, as plain least squares do.
    fitted = fit_edges(begun, ARC_POINTS, np.full(6, side), spread_mm=1e3, od_mm=2.0)
    assert (fitted.zone[:-BELIEFS] == ARC).all()
    assert fitted.shape.centre == pytest.approx(CENTRE, abs=2e-4)
    assert fitted.shape.radius_mm + side == pytest.approx(RADIUS, abs=2e-4)
    assert (fitted.residual_mm[:-BELIEFS] ** 2).sum() == pytest.approx(SQUARES, abs=1e-5)
