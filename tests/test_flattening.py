"""Flattening: the wall that is left, and the sentences about tight bends."""

import numpy as np
import pytest

from bendcal.flattening import outer_wall_mm, tight_bend_cautions
from bendcal.materials import ALLOYS
from bendcal.tubes import Tube

INCH = 25.4


def tube_of(od_mm: float, wall_mm: float) -> Tube:
    """A copper-nickel tube of this size."""
    return Tube("invented", ALLOYS["copper-nickel 90/10"], od_mm, wall_mm)


def test_the_wall_left_at_three_diameters() -> None:
    """t·2k/(2k + 1), k = 3 → 0.8571 t: geometry; the area of a stretched wall stays."""
    tube = tube_of(6.0, 1.0)
    assert round(outer_wall_mm(tube, 18.0), 4) == 0.8571
    stretched = 1 + tube.outer_radius_mm / 18.0
    assert outer_wall_mm(tube, 18.0) * stretched == pytest.approx(tube.wall_mm)


def test_a_tighter_bend_leaves_less_wall() -> None:
    """Monotone in the radius, and the whole wall where the tube is straight."""
    walls = outer_wall_mm(tube_of(4.75, 0.7), np.array([10.0, 15.0, 25.0, 1e9]))
    assert np.all(np.diff(walls) > 0)
    assert walls[-1] == pytest.approx(0.7)


def test_less_than_three_diameters_is_cautioned() -> None:
    """3.0 D without a mandrel (Groover 19.7: read): 19.05 mm for quarter-inch tube."""
    tube = tube_of(INCH / 4, 0.028 * INCH)
    (caution,) = tight_bend_cautions(tube, 19.0)
    assert "without a mandrel" in caution
    assert "Groover, 19.7" in caution
    assert tight_bend_cautions(tube, 19.1) == ()


@pytest.mark.parametrize(("od_mm", "wall_mm"), [(4.75, 0.7), (3 / 16 * INCH, 0.028 * INCH)])
def test_brake_tube_under_25_mm_is_cautioned(od_mm: float, wall_mm: float) -> None:
    """4.75 × 0.7, and 3/16 × 0.028 in: no bend under 25 mm (DIN 74234, quoted by a vehicle maker: read)."""
    tube = tube_of(od_mm, wall_mm)
    (caution,) = tight_bend_cautions(tube, 15.0)
    assert "25 mm that DIN 74234" in caution
    assert tight_bend_cautions(tube, 15.0, service="fuel") == ()
    assert tight_bend_cautions(tube, 25.0) == ()


def test_a_kinking_radius_of_brake_tube_is_cautioned_twice() -> None:
    """At 10 mm both rules speak; another tube of other size has its own."""
    assert len(tight_bend_cautions(tube_of(4.75, 0.7), 10.0)) == 2
    assert tight_bend_cautions(tube_of(4.75, 1.0), 15.0) == ()


def test_no_radius_is_refused() -> None:
    """A radius of nothing, or less, is an error and no caution."""
    for radius in (0.0, -1.0, float("nan")):
        with pytest.raises(ValueError, match="it must be more than 0"):
            tight_bend_cautions(tube_of(4.75, 0.7), radius)
