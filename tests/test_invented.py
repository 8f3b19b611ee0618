"""The invented benders: their mechanics against closed forms, their geometry against the definitions."""

import ast
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import gamma

from tests.invented import (
    FlowLaw,
    InventedBender,
    InventedTool,
    InventedTube,
    bend,
    bend_line,
    bend_offcuts,
    dihedral_deg,
    draw_offcuts,
    draw_shop,
    fit_onto,
    form,
    ideal_marks,
    moment_nmm,
    nodes_of,
    rows,
    second_moment_mm4,
    shop_tables,
    springback,
    true_law,
    write_tables,
)
from tests.invented.shops import shaped_flow

INVENTED = Path(__file__).parent / "invented"
STEEL = InventedTube("steel", "low-carbon steel", 4.76, 0.71, 209.0, FlowLaw("power", (600.0, 0.21)))
BENDER = InventedBender(
    "lever", 16.8, mark_offset_mm=2.4, dial_zero_deg=1.2, dial_gain=1.01, give_deg_per_nm=0.25, stretch=0.02
)
EXACT = InventedTool("exact", "length", 0.0, 0.0)


def random_nodes(rng: np.random.Generator, bends: int) -> np.ndarray:
    """Nodes of a line with straights long enough for the bender above."""
    return nodes_of(
        rng.uniform(90, 200, bends + 1), rng.uniform(20, 115, bends), np.append(0, rng.uniform(-180, 180, bends - 1))
    )


# --- apart from the kit -------------------------------------------------------------------------


def test_the_simulator_imports_nothing_of_the_kit() -> None:
    """Only numpy, scipy, pillow (to write its scans), the standard library and the simulator itself are imported."""
    allowed = {"numpy", "scipy", "PIL", "tests.invented"} | set(sys.stdlib_module_names)
    seen = set()
    for path in INVENTED.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                seen |= {alias.name.split(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom):
                assert node.level < 2, f"{path.name}: an import from outside the simulator"
                inside = node.level == 1 or f"{node.module}.".startswith("tests.invented.")
                seen.add("tests.invented" if inside else node.module.split(".")[0])
    assert {"numpy", "tests.invented"} <= seen
    assert seen <= allowed


# --- the section --------------------------------------------------------------------------------


@pytest.mark.parametrize(("s", "printed"), [(0.1, 0.872889), (0.2, 0.747060)])
def test_a_thin_perfectly_plastic_tube_springs_back_as_the_closed_form_says(s: float, printed: float) -> None:
    """R_i/R_f = 1 − (2/π)[asin s + s√(1 − s²)], s = Y·R/(E·r) (derived; a wall of 0.01 % stands for thin)."""
    r, radius, e = 10.0, 50.0, 100_000.0
    wall = 1e-4 * r
    moment = moment_nmm(
        2 * r + wall, wall, radius, e_mpa=e, flow=FlowLaw("perfect", (s * e * r / radius,)), angles=20_000
    )
    ratio = 1 - moment * radius / (e * second_moment_mm4(2 * r + wall, wall))
    assert round(float(ratio), 6) == printed


def test_a_solid_round_springs_back_as_the_closed_form_says() -> None:
    """1 − (2/π)[asin s + s√(1 − s²)(5 − 2s²)/3]; s 0.1 gives 0.831082 (derived)."""
    e, radius, od = 100_000.0, 50.0, 20.0
    flow = FlowLaw("perfect", (0.1 * e * od / 2 / radius,))
    moment = moment_nmm(od, od / 2, radius, e_mpa=e, flow=flow, angles=2000, rings=400)
    assert 1 - moment * radius / (e * second_moment_mm4(od, od / 2)) == pytest.approx(0.831082, abs=2e-6)


def test_a_fully_plastic_thick_tube_has_the_section_table_s_modulus() -> None:
    """M = Y·(D³ − d³)/6 where no elastic core is left (section tables)."""
    moment = moment_nmm(6.35, 0.89, 20.0, e_mpa=1e12, flow=FlowLaw("perfect", (200.0,)))
    assert moment == pytest.approx(200 * (6.35**3 - 4.57**3) / 6, rel=1e-4)


def test_a_thin_power_law_tube_has_the_gamma_function_s_moment() -> None:
    """M = 2√π·t·r²·K·(r/R)ⁿ·Γ(1 + n/2)/Γ((3 + n)/2) (derived)."""
    t, r, radius, k, n = 1e-4, 3.0, 20.0, 600.0, 0.21
    moment = moment_nmm(2 * r + t, t, radius, e_mpa=1e12, flow=FlowLaw("power", (k, n)))
    closed = 2 * np.sqrt(np.pi) * t * r**2 * k * (r / radius) ** n * gamma(1 + n / 2) / gamma((3 + n) / 2)
    assert moment == pytest.approx(closed, rel=1e-4)


@pytest.mark.parametrize("kind", ["power", "swift", "voce", "linear"])
@pytest.mark.parametrize(("od", "wall", "radius", "factor"), [(4.76, 0.71, 16.8, 1.0), (8.0, 1.0, 28.0, 1.3)])
def test_the_quick_sum_over_the_section_agrees_with_adaptive_integration(kind, od, wall, radius, factor) -> None:
    """Rings and angles against strips parallel to the neutral line, integrated adaptively, to 1 in 10 000."""
    flow, e = shaped_flow(kind, 600.0, 0.21), 209_000.0
    ro, ri = od / 2, od / 2 - wall

    def strip(y: float) -> float:
        chord = 2 * np.sqrt(ro**2 - y**2) - (2 * np.sqrt(ri**2 - y**2) if y < ri else 0.0)
        return float(flow.stress_mpa(y / radius, e_mpa=e, factor=factor)) * y * chord

    core = min(radius * 0.004, ri / 2)
    slow = 2 * sum(quad(strip, low, high, limit=400)[0] for low, high in ((0, core), (core, ri), (ri, ro)))
    quick = float(moment_nmm(od, wall, radius, e_mpa=e, flow=flow, factor=factor))
    assert quick == pytest.approx(slow, rel=1e-4)


def test_a_stronger_or_less_stiff_tube_springs_back_more() -> None:
    """Springback rises with strength and falls with E (Mater. Design 31 (2010) 2001)."""
    ratio = springback(BENDER, STEEL)[0]
    assert springback(BENDER, STEEL, factor=1.2)[0] < ratio < springback(BENDER, replace(STEEL, e_gpa=250.0))[0] < 1


# --- one bend -----------------------------------------------------------------------------------


def test_the_neutral_length_is_kept_on_release() -> None:
    """φ·R_die = θ·R; the stretch alone makes the developed radius less."""
    one = bend(BENDER, STEEL, [60.0, 100.0])
    ratio, moment = springback(BENDER, STEEL)
    loaded = BENDER.loaded_at([60.0, 100.0], moment)
    np.testing.assert_allclose(one.angle_deg * one.radius_mm, loaded * BENDER.die_radius_mm, rtol=1e-12)
    np.testing.assert_allclose(one.developed_radius_mm, 0.98 * one.radius_mm, rtol=1e-12)
    assert 0.9 < ratio < 1


def test_the_law_of_a_dial_without_bow_is_the_formula() -> None:
    """a = −ratio·(zero + give·M)/gain, b = ratio/gain, R = R_die/ratio."""
    ratio, moment = springback(BENDER, STEEL)
    law = true_law(BENDER, STEEL)
    a = -ratio * (1.2 + 0.25 * moment) / 1.01
    expected = [a, ratio / 1.01, 16.8 / ratio, 0.98 * 16.8 / ratio, 2.4]
    np.testing.assert_allclose(law.numbers, np.array(expected, dtype=float), rtol=1e-9)
    assert law.dial_deg(law.angle_deg(77.0)) == pytest.approx(77.0)


def test_a_bowed_and_drifting_dial_is_undone_exactly() -> None:
    """loaded_at is dial_at the other way round, bow, drift and give included."""
    bowed = replace(BENDER, dial_bow_deg=1.5, drift_deg_per_bend=0.05)
    loaded = np.array([15.0, 67.5, 120.0])
    dial = bowed.dial_at(loaded, 4.0, made=[0, 1, 2])
    np.testing.assert_allclose(bowed.loaded_at(dial, 4.0, made=[0, 1, 2]), loaded, atol=1e-10)
    assert dial[1] - BENDER.dial_at(67.5, 4.0) == pytest.approx(1.5 + 0.05)


def test_a_straight_line_leaves_of_a_bowed_dial_what_a_parabola_must() -> None:
    """With 1.5° of bow the straight law misses by up to about 1° and crosses the truth twice."""
    bowed = replace(BENDER, dial_bow_deg=1.5)
    dial = np.linspace(15, 120, 211)
    miss = bend(bowed, STEEL, dial).angle_deg - true_law(bowed, STEEL).angle_deg(dial)
    assert np.count_nonzero(np.diff(np.sign(miss))) == 2
    assert 0.6 < np.abs(miss).max() < 1.2


# --- offcuts ------------------------------------------------------------------------------------


def test_exactly_measured_legs_obey_the_definitions_of_take_up_and_gain() -> None:
    """leg_a − mark = m + R·tan(θ/2) and leg_a + leg_b − L = 2R·tan(θ/2) − λθ, for centre lines."""
    still = replace(BENDER, setting_sd_deg=0.0, marking_sd_mm=0.0)
    tube = replace(STEEL, wall_sd_mm=0.0, flow_sd=0.0)
    angle = replace(EXACT, measures="angle")
    c = bend_offcuts(still, tube, [30, 90, 118], 180, 70, np.random.default_rng(1), angle_tool=angle, length_tool=EXACT)
    law = true_law(still, tube)
    half = np.tan(np.radians(c["angle_deg"]) / 2)
    np.testing.assert_allclose(c["leg_a_mm"] - 70, law.mark_offset_mm + law.radius_mm * half, atol=1e-9)
    gain = 2 * law.radius_mm * half - law.developed_radius_mm * np.radians(c["angle_deg"])
    np.testing.assert_allclose(c["leg_a_mm"] + c["leg_b_mm"] - c["length_mm"], gain, atol=1e-9)


@pytest.mark.parametrize(("legs_to", "sign"), [("outside", 1), ("inside", -1)])
def test_legs_to_an_edge_differ_by_half_a_diameter_times_the_tangent(legs_to: str, sign: int) -> None:
    """A square bend's legs to the outside are OD/2 longer, to the inside OD/2 shorter."""
    dial = true_law(BENDER, STEEL).dial_deg(90.0)
    still = replace(BENDER, setting_sd_deg=0.0)
    tube = replace(STEEL, wall_sd_mm=0.0, flow_sd=0.0)
    c = bend_offcuts(still, tube, dial, 180, 70, np.random.default_rng(1), length_tool=EXACT, legs_to=legs_to)
    assert (c["leg_a_mm"] - c["true_leg_a_mm"])[0] == pytest.approx(sign * 4.76 / 2)
    assert (c["leg_b_mm"] - c["true_leg_b_mm"])[0] == pytest.approx(sign * 4.76 / 2)


def test_readings_stand_on_the_tool_s_steps_and_scatter_as_it_says() -> None:
    """A step of 0.5 with sd 0.4: readings are multiples of 0.5, their sd √(0.4² + 0.5²/12)."""
    c = bend_offcuts(BENDER, STEEL, np.full(20_000, 80.0), 200, 80, np.random.default_rng(2))
    np.testing.assert_array_equal(c["angle_deg"] * 2, np.round(c["angle_deg"] * 2))
    assert np.std(c["angle_deg"] - c["true_angle_deg"]) == pytest.approx(np.hypot(0.4, 0.5 / np.sqrt(12)), rel=0.03)


def test_bends_scatter_about_the_law_with_setting_strength_and_wall() -> None:
    """The mean of many bends is the law's; their sd is at least b times the setting's."""
    bends = bend(BENDER, STEEL, np.full(20_000, 100.0), np.random.default_rng(3))
    law = true_law(BENDER, STEEL)
    assert bends.angle_deg.mean() == pytest.approx(float(law.angle_deg(100.0)), abs=0.02)
    assert 0.35 * law.b < bends.angle_deg.std() < 0.45
    assert bends.start_mm.std() == pytest.approx(0.3, rel=0.03)


def test_an_offcut_too_short_for_its_bend_is_refused() -> None:
    """A bend that would run off the end of the piece is an error, not a negative leg."""
    with pytest.raises(ValueError, match="run off its end"):
        bend_offcuts(BENDER, STEEL, 90, 80, 70, np.random.default_rng(1))


# --- whole lines --------------------------------------------------------------------------------


def test_a_square_bend_in_the_plane_is_where_a_pencil_puts_it() -> None:
    """One bend of 90° with R 20 and no stretch: arc from 40 to 40 + 31.4159, corner at 60."""
    line = form(
        cut_length_mm=100, mark_mm=[37], angle_deg=[90], twist_deg=[0], radius_mm=20, developed_radius_mm=20, start_mm=3
    )
    np.testing.assert_allclose(line.nodes_mm, [[0, 0, 0], [60, 0, 0], [60, 20 + 60 - 31.41592654, 0]], atol=1e-8)
    np.testing.assert_allclose(line.arc_mm, [[[40, 0, 0], [60, 20, 0]]], atol=1e-12)
    assert line.centreline_mm == pytest.approx(100)


@pytest.mark.parametrize("twist", [0.0, 37.0, -120.0, 180.0])
def test_twists_come_out_as_the_dihedral_with_its_sign(twist: float) -> None:
    """Two bends with a twist between them have that IUPAC dihedral; 0 is a U, 180 an offset."""
    nodes = nodes_of([100, 100, 100], [90, 90], [0, twist])
    found = dihedral_deg(*nodes)
    assert abs((found - twist + 180) % 360 - 180) < 1e-9
    # Two square bends 100 mm apart: their outer legs' ends stand a chord of the twist apart as well.
    chord = 200 * np.sin(np.radians(twist) / 2)
    assert np.linalg.norm(nodes[3] - nodes[0]) == pytest.approx(np.hypot(100, chord))


def test_a_clockwise_twist_seen_from_a_to_b_is_positive() -> None:
    """Looking along +x with +y up and +z to the right, up to right is clockwise: +90°."""
    assert dihedral_deg([0, 1, 0], [0, 0, 0], [1, 0, 0], [1, 0, 1]) == pytest.approx(90)


@pytest.mark.parametrize("seed", range(6))
def test_marks_made_with_the_true_law_reproduce_the_design(seed: int) -> None:
    """Nodes → marks by the true law → bent in the invented bender → the same nodes, and no tube left over."""
    rng = np.random.default_rng(seed)
    nodes = random_nodes(rng, 1 + seed)
    law = true_law(BENDER, STEEL)
    line = bend_line(BENDER, STEEL, **ideal_marks(nodes, law, seat_a_mm=5.0, seat_b_mm=4.0))
    assert fit_onto(line.nodes_mm, nodes)[1] < 1e-9
    # Book-keeping of the tube: what the arcs took and the straights make up the cut length.
    took = np.diff(line.used_mm, axis=1).sum()
    cut = ideal_marks(nodes, law, seat_a_mm=5.0, seat_b_mm=4.0)["cut_length_mm"]
    assert line.straight_mm.sum() + took == pytest.approx(cut, abs=1e-9)
    assert line.centreline_mm - cut == pytest.approx(0.02 / 0.98 * took, abs=1e-9)


def test_a_mirrored_line_is_not_taken_for_the_design() -> None:
    """Twists of the wrong sign miss the design: the check above can fail."""
    nodes = random_nodes(np.random.default_rng(9), 4)
    told = ideal_marks(nodes, true_law(BENDER, STEEL))
    assert fit_onto(bend_line(BENDER, STEEL, **told | {"twist_deg": -told["twist_deg"]}).nodes_mm, nodes)[1] > 5


def test_a_bend_made_with_the_tube_turned_end_for_end_is_the_same_bend() -> None:
    """Its mark is at the end of the bend plus the mark offset; the line comes out the same."""
    nodes = random_nodes(np.random.default_rng(4), 3)
    law = true_law(BENDER, STEEL)
    told = ideal_marks(nodes, law)
    line = bend_line(BENDER, STEEL, **told)
    turned = told["mark_mm"].copy()
    turned[1] = line.used_mm[1, 1] + law.mark_offset_mm
    again = bend_line(BENDER, STEEL, **told | {"mark_mm": turned, "feed": ["A", "B", "A"]})
    np.testing.assert_allclose(again.nodes_mm, line.nodes_mm, atol=1e-9)


def test_bends_that_run_into_each_other_are_refused() -> None:
    """Marks too close for their arcs are an error that names the straight."""
    with pytest.raises(ValueError, match="Straight 2 would be"):
        bend_line(BENDER, STEEL, cut_length_mm=200, mark_mm=[60, 65], dial_deg=[90, 90], twist_deg=[0, 0])


def test_a_line_bent_with_scatter_misses_by_what_scatter_can_do() -> None:
    """With scatter a three-bend line misses its nodes by millimetres: not by nothing, not by centimetres."""
    nodes = random_nodes(np.random.default_rng(4), 3)
    told = ideal_marks(nodes, true_law(BENDER, STEEL))
    rng = np.random.default_rng(5)
    misses = [fit_onto(bend_line(BENDER, STEEL, **told, rng=rng).nodes_mm, nodes)[1] for _ in range(200)]
    assert 0.3 < np.median(misses) < 3


# --- populations --------------------------------------------------------------------------------


def test_a_drawn_shop_is_the_same_for_the_same_seed_and_another_for_another() -> None:
    """Seeds decide everything."""
    first, again, other = (draw_shop(np.random.default_rng(seed), 3) for seed in (1, 1, 2))
    assert first == again
    assert first != other


def test_a_population_is_within_what_mechanics_allows() -> None:
    """100 benders, 300 pairs of every flow curve: springback 0.5 to 6 %, all legs positive, names unique."""
    rng = np.random.default_rng(6)
    shop = draw_shop(rng, 100, 3, kinds=("power", "swift", "voce", "linear"), bow_sd_deg=0.3, drift_sd_deg=0.02)
    ratios = np.array([springback(*pair)[0] for pair in shop.pairs])
    assert np.all((ratios > 0.94) & (ratios < 0.995))
    assert len({tube.tube for tube in shop.tubes}) == len(shop.pairs) == 300
    table = draw_offcuts(rng, shop, per_pair=6)
    assert len({row["offcut"] for row in table}) == 1800
    assert min(min(row["leg_a_mm"], row["leg_b_mm"]) for row in table) > 0


def test_tables_of_a_shop_are_written_with_the_columns_that_they_need(tmp_path: Path) -> None:
    """Headers as a shop folder has them, one line a row, every row marked as invented."""
    rng = np.random.default_rng(7)
    shop = draw_shop(rng, 2, 1)
    write_tables(tmp_path, shop_tables(shop, draw_offcuts(rng, shop, per_pair=4)))
    lines = (tmp_path / "offcuts.csv").read_text(encoding="utf-8").splitlines()
    assert lines[0].startswith("offcut,bender,tube,length_mm,mark_mm,dial_deg,angle_deg,leg_a_mm,leg_b_mm,legs_to")
    assert len(lines) == 1 + 8
    assert all("invented" in line for line in lines[1:])
    assert {path.name for path in tmp_path.iterdir()} == {"benders.csv", "tubes.csv", "tools.csv", "offcuts.csv"}


def test_rows_leave_out_what_no_one_in_the_shop_can_know() -> None:
    """The truths do not get into a file."""
    columns = bend_offcuts(BENDER, STEEL, [40, 80], 180, 70, np.random.default_rng(8))
    table = rows(columns, bender="lever", tube="steel", prefix="S")
    assert [row["offcut"] for row in table] == ["S1", "S2"]
    assert not any(name.startswith("true") for row in table for name in row)
