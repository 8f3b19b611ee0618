"""What bends that are made most likely are: between what was measured and what was meant, by how well either is known."""

from dataclasses import replace

import numpy as np
import pytest
from a_line import CAL, LAW, LEGS, SHOP, line
from invented.line import form

from bendcal.calibration import Calibration
from bendcal.half_made import Made
from bendcal.law import Law
from bendcal.likely import Reading, likely, reading_of
from bendcal.marks import mark_out
from bendcal.offcuts import Offcut
from bendcal.path import nodes_from_legs
from bendcal.replan import replan
from bendcal.tools import Tool

EXACT = Law.of("small", "steel", [-1.5, 0.97, 16.0, 15.6, 2.5], scatter_deg=0.4, marking_mm=0.3, n_offcuts=6, angle_range_deg=(12, 120))
SHEET = mark_out(SHOP, Calibration({("small", "steel"): EXACT}, None, (), (), "", "0"), line())


@pytest.mark.parametrize("off", [0.3, 1.0, 2.0, 6.0])
def test_one_angle_by_hand(off):
    """With a law known exactly the bend lies at off·v/(v + u²), v = (4·0.4² + x²)/5 being the scatter as one bend of Student's t shows it."""
    told = likely(SHEET, {2: Made(angle_deg=float(LEGS.angle_deg[1]) + off)}, Reading(angle_u_deg=0.5))
    x = told.angle_deg[1] - LEGS.angle_deg[1]
    v = (4 * 0.4**2 + x**2) / 5
    assert x == pytest.approx(off * v / (v + 0.25), rel=1e-3)
    assert np.delete(told.angle_deg, 1) == pytest.approx(np.delete(LEGS.angle_deg, 1), abs=0)
    assert told.twist_deg == pytest.approx(LEGS.twist_deg) and told.shift_mm == pytest.approx(np.zeros(6))


def test_small_misses_are_hardly_believed_and_slips_are() -> None:
    """0.3° too far, read to 0.5°, is less than a third of that; 6° too far is a slip of the hand, and nearly all of it."""
    little, slip = (
        likely(SHEET, {1: Made(angle_deg=float(LEGS.angle_deg[0]) + off)}, Reading(angle_u_deg=0.5)).angle_deg[0] - LEGS.angle_deg[0]
        for off in (0.3, 6.0)
    )
    assert 0 < little < 0.13 and 5.6 < slip < 6.0


def test_a_long_leg_moves_the_bend_by_its_share() -> None:
    """Leg 1 read 0.5 mm long with a mark good to 0.3 mm: the bend lies a part of it further on, and its angle hardly changes; 5 mm is a slip of the mark."""
    told = likely(SHEET, {1: Made(leg_mm=80.5)}, Reading(length_u_mm=0.5))
    assert 0.05 < told.shift_mm[0] < 0.2
    assert abs(told.angle_deg[0] - 90) < 0.05
    assert likely(SHEET, {1: Made(leg_mm=85.0)}, Reading(length_u_mm=0.5)).shift_mm[0] > 4.5
    end = likely(SHEET, {6: Made(leg_after_mm=115.0)}, Reading(length_u_mm=0.5))
    assert end.shift_mm[5] < -4.5 and end.shift_mm[:5] == pytest.approx(np.zeros(5), abs=0)


def test_a_leg_between_two_bends_is_shared_between_them() -> None:
    """A leg between two bends that is 3 mm long has either of them off, one this way and one that way, by as much."""
    told = likely(SHEET, {2: Made(), 3: Made(leg_mm=float(LEGS.leg_mm[2]) + 3.0)}, Reading(length_u_mm=0.2))
    assert told.shift_mm[1] == pytest.approx(-told.shift_mm[2], rel=0.05)
    assert 2.0 < told.shift_mm[2] - told.shift_mm[1] < 3.0


def test_bends_that_all_went_too_far_say_it_of_the_law() -> None:
    """Where the law itself is uncertain, three bends read too far are believed more than one alone: they bear each other out."""
    sheet = mark_out(SHOP, CAL, line())
    alone = likely(sheet, {1: Made(angle_deg=91.0)}, Reading(0.5)).angle_deg[0] - 90
    three = likely(sheet, {k: Made(angle_deg=float(LEGS.angle_deg[k - 1]) + 1.0) for k in (1, 2, 3)}, Reading(0.5)).angle_deg[0] - 90
    assert alone < three < 1.0


def test_perfect_readings_are_taken_whole_and_blind_ones_not_at_all() -> None:
    """As tools grow perfect the new marks are those of exact readings; as they grow blind, the old ones."""
    sheet = mark_out(SHOP, CAL, line())
    made = {1: Made(91.2), 2: Made(44.0, twist_deg=91.0), 3: Made(60.5, twist_deg=-61.0)}
    exact, perfect, blind = (replan(SHOP, CAL, sheet, made, **how) for how in ({"exact": True}, {"reading": Reading(1e-6, 1e-6, 1e-6)}, {"reading": Reading(1e6, 1e6, 1e6)}))
    assert exact.miss_before_mm > 3
    # The law is believed to be off by a little as well, and the mark offset follows its numbers.
    assert perfect.miss_before_mm == pytest.approx(exact.miss_before_mm, rel=1e-3)
    assert perfect.sheet.legs.angle_deg == pytest.approx(exact.sheet.legs.angle_deg, abs=0.01)
    assert blind.sheet.mark_mm == pytest.approx(sheet.mark_mm, abs=1e-4) and blind.miss_before_mm < 1e-3


def test_readings_are_as_good_as_the_shop_s_own_tools() -> None:
    """The tools of this bender's latest offcut; of any, where it has none; the usual ones in a shop without offcuts."""
    tools = {"fine": Tool("fine", "angle", 0.1, 0.1), "caliper": Tool("caliper", "length", 0.1, 0.05)}
    piece = Offcut("1", "small", "steel", 200.0, 90.0, 92.0, 90.0, angle_tool="fine", length_tool="caliper")
    shop = replace(SHOP, tools=tools, offcuts=(piece, replace(piece, offcut="2", angle_tool="", set_aside="kinked")))
    assert reading_of(shop, "small").angle_u_deg == tools["fine"].u == pytest.approx(np.hypot(0.1, 0.1 / 12**0.5))
    assert reading_of(shop, "other").length_u_mm == tools["caliper"].u
    assert reading_of(SHOP, "small") == Reading()


def test_weighed_readings_bring_the_end_nearer_than_exact_ones() -> None:
    """Bends, marks, turns and readings drawn anew 60 times: after four of six bends the end lands nearer, root mean square, when readings are weighed."""
    sheet, rng = mark_out(SHOP, CAL, line()), np.random.default_rng(41)
    misses = {"left": [], "exact": [], "weighed": []}
    n, done, wanted = 6, 4, nodes_from_legs(LEGS)
    for _ in range(60):
        a, b, radius, developed, offset = rng.multivariate_normal(LAW.parameters, LAW.covariance)
        scatter, slip, turn = 0.4 * rng.normal(size=n), 0.3 * rng.normal(size=n), rng.normal(size=n) * (np.arange(n) > 0)

        def bent(one):
            return form(
                cut_length_mm=sheet.cut_length_mm, mark_mm=one.mark_mm, angle_deg=a + b * one.dial_deg + scatter, twist_deg=one.legs.twist_deg + turn,  # noqa: B023
                radius_mm=radius, developed_radius_mm=developed, start_mm=offset + slip, seat_a_mm=one.seat_a_mm,  # noqa: B023
                seat_b_mm=max(sheet.cut_length_mm - one.seat_b_mm, 0.0),
            )  # fmt: skip

        came_out = bent(sheet)
        leg = np.linalg.norm(np.diff(came_out.nodes_mm, axis=0), axis=1)
        made = {k: Made(float(came_out.angle_deg[k - 1] + 0.5 * rng.normal()), float(leg[k - 1] + 0.5 * rng.normal())) for k in range(1, done + 1)}
        marked = {"left": sheet, "exact": replan(SHOP, CAL, sheet, made, exact=True).sheet, "weighed": replan(SHOP, CAL, sheet, made).sheet}
        for name, one in marked.items():
            misses[name].append(np.linalg.norm(bent(one).nodes_mm[-1] - wanted[-1]))
    left, exact, weighed = (float(np.sqrt(np.mean(np.square(misses[name])))) for name in ("left", "exact", "weighed"))
    assert weighed < exact
    assert weighed < left
