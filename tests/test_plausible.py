"""What cannot have been read off a bent offcut, and what is hard to believe."""

import re
from dataclasses import replace

import numpy as np
import pytest
from invented.offcuts import bend_offcuts
from invented.shops import SIZES_MM, WALLS_MM, draw_bender, draw_tube

from bendcal.arc import gain_mm, leg_to_crossing_mm, setback_mm
from bendcal.benders import Bender
from bendcal.materials import ALLOYS
from bendcal.offcuts import Offcut
from bendcal.plausible import check_offcut
from bendcal.tubes import Tube

BENDER = Bender("small", die_radius_mm=15.0, dial_max_deg=180.0)
UNKNOWN_DIE = Bender("no figures")
TUBE = Tube("brake", ALLOYS["low-carbon steel"], 4.76, 0.71)


def bent(angle: float = 90.0, *, length: float = 200.0, mark: float = 90.0, legs_to: str = "centre", **changes) -> Offcut:
    """A perfect offcut: R = 15.3 mm, developed radius 15 mm, the bend starting on its mark, 2° of springback."""
    leg_a = mark + float(setback_mm(angle, 15.3))
    leg_b = length + float(gain_mm(angle, 15.3, 15.0)) - leg_a
    legs = {"leg_a_mm": leg_a, "leg_b_mm": leg_b}
    legs = {name: float(leg_to_crossing_mm(leg, angle, TUBE.od_mm, legs_to)) for name, leg in legs.items()}
    piece = Offcut("1", "small", "brake", length, mark, angle + 2, angle, **legs, legs_to=legs_to, row=2)
    return replace(piece, **changes)


def told(piece: Offcut, bender: Bender = BENDER) -> tuple[str, str]:
    """The sentences of the faults, and those of the cautions."""
    faults, cautions = check_offcut(piece, bender=bender, tube=TUBE)
    return " | ".join(f.sentence for f in faults), " | ".join(c.sentence for c in cautions)


@pytest.mark.parametrize("legs_to", ["centre", "outside", "inside"])
@pytest.mark.parametrize("angle", [2.0, 15.0, 45.0, 90.0, 135.0, 170.0])
@pytest.mark.parametrize("bender", [BENDER, UNKNOWN_DIE], ids=["die known", "die unknown"])
def test_a_perfect_offcut_passes(angle: float, legs_to: str, bender: Bender) -> None:
    """Readings that an exact arc gives are beyond reproach, to whichever crossing they were taken."""
    assert told(bent(angle, legs_to=legs_to), bender) == ("", "")


@pytest.mark.parametrize(
    ("changes", "fault"),
    [
        ({"length_mm": 0.0}, "column length_mm: found 0.0 mm. An offcut is longer than nothing."),
        ({"length_mm": -200.0}, "column length_mm: found -200.0 mm"),
        ({"mark_mm": -1.0}, "column mark_mm: found -1.0 mm on an offcut of 200.0 mm. The mark lies on the offcut"),
        ({"mark_mm": 201.0}, "column mark_mm: found 201.0 mm on an offcut of 200.0 mm"),
        ({"dial_deg": -5.0}, "column dial_deg: found -5.0°. A dial reads 0 or more."),
        ({"dial_deg": 181.0}, "column dial_deg: found 181.0°. The dial of small ends at 180.0°"),
        ({"angle_deg": 180.0}, "column angle_deg: found 180.0°. A finished angle is how far the tube turns"),
        ({"angle_deg": -1.0}, "column angle_deg: found -1.0°"),
        ({"angle_deg": 110.0}, "found 110.0° at a dial of 92.0°. A bend does not finish further than its dial went."),
        ({"angle_deg": 9.0}, "found 9.0° at a dial of 92.0°. No tube springs back by half of its bend. A slipped digit"),
        ({"dial_deg": 137.0, "angle_deg": 45.0}, "measured; from straight it is 135.0°"),
        ({"leg_a_mm": 0.0}, "column leg_a_mm: found 0.0 mm. A leg is longer than nothing."),
        ({"leg_b_mm": -3.0}, "column leg_b_mm: found -3.0 mm"),
        ({"leg_a_mm": 8.0}, "column leg_a_mm: found 8.0 mm. A leg runs to the crossing of the legs, so it is at least its"),
        ({"leg_a_mm": 8.0}, "setback long: 15.0 mm at 90.0° on a die of 15.0 mm."),
        ({"leg_a_mm": 230.0}, "found 230.0 mm on an offcut of 200.0 mm. One leg alone is longer than the tube allows."),
        # 5 u of the gain, √3 · 0.52 mm each, are 4.5 mm; a perfect leg is 105.3 mm, a perfect gain 7.0 mm.
        ({"leg_a_mm": 93.5}, "Together the legs are longer than the tube, by the gain; here they are 4.8 mm shorter."),
        ({"leg_a_mm": 125.0}, "The legs together are 26.7 mm longer than the tube; a bend of 90.0° gains at most 18.9 mm."),
        ({"leg_b_mm": None, "leg_a_mm": 230.0}, "One leg alone is longer than the tube allows."),
        ({"leg_a_mm": None, "leg_b_mm": 5.0}, "column leg_b_mm: found 5.0 mm. A leg runs to the crossing"),
        # 90° on a die of 15 mm: 23.6 mm of tube; an offcut of 7.9 in, written without its unit.
        ({"length_mm": 7.9, "mark_mm": 3.5}, "found 7.9 mm. A bend of 90.0° on a die of 15.0 mm alone uses about 23.6 mm of tube."),
        ({"length_mm": 7.9, "mark_mm": 3.5}, "If inches are meant, write the unit into every such cell of the row: 7.9 in."),
        ({"angle_deg": 0.0, "dial_deg": 3.0}, "At an angle of 0° the legs do not cross, so no leg can be measured."),
    ],
)
def test_an_impossible_reading_is_a_fault(changes: dict, fault: str) -> None:
    """Each names the row and the column, the rule, and the way out that alters no reading."""
    sentences, _ = told(bent(**changes))
    assert "offcuts.csv, row 2, column" in sentences
    assert fault in sentences
    assert "write the reason into set_aside" in sentences


@pytest.mark.parametrize(
    ("changes", "caution"),
    [
        ({"angle_deg": 94.0}, "found 94.0° at a dial of 92.0°. Springback is negative"),
        ({"dial_deg": 125.0}, "found 90.0° at a dial of 125.0°. Springback is 28 % of the dial, more than 25 %."),
        ({"leg_a_mm": 95.5}, "The gain has the wrong sign: together the legs are 2.8 mm shorter than the tube."),
        ({"leg_a_mm": 112.0}, "The gain is 13.7 mm, but a die of 15.0 mm gives about 6.9 mm at 90.0°."),
        ({"leg_a_mm": 98.5}, "The gain is 0.2 mm, but a die of 15.0 mm gives about 6.9 mm at 90.0°."),
        ({"mark_mm": 10.0}, "found a leg of 105.3 mm with its mark at 10.0 mm. The bend would start 80.3 mm from its mark."),
    ],
)
def test_an_implausible_reading_is_a_caution(changes: dict, caution: str) -> None:
    """It stops nothing, but names the row and says what is odd about it."""
    faults, cautions = told(bent(**changes))
    assert faults == ""
    assert cautions.startswith("offcuts.csv, row 2, column")
    assert caution in cautions


def test_swapped_legs_of_a_lopsided_piece_are_seen() -> None:
    """The bend would lie far from its mark."""
    piece = bent(mark=60.0, length=300.0)
    swapped = replace(piece, leg_a_mm=piece.leg_b_mm, leg_b_mm=piece.leg_a_mm)
    assert "Look whether the legs were swapped or the mark was measured from end B." in told(swapped)[1]


def test_a_better_tool_narrows_the_limits_of_the_angle() -> None:
    """94° at a dial of 92° is within the scatter of a rough tool (u = 1°) and not of a fine one."""
    for u, doubtful in ((1.0, 0), (0.1, 1)):
        _, cautions = check_offcut(bent(angle_deg=94.0), bender=UNKNOWN_DIE, tube=TUBE, angle_u_deg=u)
        assert len(cautions) == doubtful


def test_each_leg_may_be_left_out() -> None:
    """Without legs, or with one, what is there is judged and nothing else."""
    assert told(bent(leg_a_mm=None)) == ("", "")
    assert told(bent(leg_b_mm=None)) == ("", "")
    assert told(bent(leg_a_mm=None, leg_b_mm=None)) == ("", "")
    assert told(bent(dial_deg=3.0, angle_deg=0.0, leg_a_mm=None, leg_b_mm=None)) == ("", "")


def test_a_piece_that_was_set_aside_is_not_judged() -> None:
    """It stays in the log with its reason, however impossible it is."""
    assert told(bent(angle_deg=200.0, mark_mm=-5.0, set_aside="slipped in the clamp")) == ("", "")


def test_without_its_tube_only_legs_to_the_centre_are_judged() -> None:
    """How far the outside lies from the centre is known only from the tube."""
    short = bent(leg_a_mm=5.0)
    assert len(check_offcut(short, bender=BENDER, tube=None)[0]) == 1
    assert check_offcut(replace(short, legs_to="outside"), bender=BENDER, tube=None) == ([], [])


def test_honest_readings_are_hardly_ever_refused() -> None:
    """Of 2000 pieces from 50 invented benders, with dials off by several degrees, none is impossible.

    Nor is any leg doubtful; doubtful springback is left to the dials' false zeros.
    """
    rng = np.random.default_rng(20)
    for number in range(50):
        od, wall = SIZES_MM[number % 4], WALLS_MM[number % 2]
        alloy = list(ALLOYS)[number % 4]
        bender = draw_bender(rng, number, od_mm=od, wall_mm=wall, bow_sd_deg=0.5, drift_sd_deg=0.0)
        tube = draw_tube(rng, "t", alloy=alloy, od_mm=od, wall_mm=wall, kind="power")
        columns = bend_offcuts(bender, tube, rng.uniform(10, 150, 40), 320.0, 140.0, rng, legs_to="outside")
        names = ("length_mm", "mark_mm", "dial_deg", "angle_deg", "leg_a_mm", "leg_b_mm")
        known = Bender(bender.bender, bender.stated_radius_mm)
        for values in zip(*(columns[name] for name in names), strict=True):
            piece = Offcut("1", bender.bender, "t", *map(float, values), legs_to="outside")
            faults, cautions = check_offcut(piece, bender=known, tube=Tube("t", ALLOYS[alloy], od, wall))
            assert [fault.sentence for fault in faults] == []
            assert [c.sentence for c in cautions if not re.search("Springback", c.rule)] == []
