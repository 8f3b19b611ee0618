"""The columns of every table in a shop folder, and what each may hold."""

from __future__ import annotations

from bendcal.bodies import MOVES
from bendcal.ends import FORMS
from bendcal.files.cells import Column
from bendcal.lines import SERVICES
from bendcal.offcuts import CROSSINGS
from bendcal.solids import SHAPES
from bendcal.stock import SHAPES_ON_HAND

__all__ = ["BENDERS", "BENDER_BODIES", "ENDS", "FLARES", "LEGS", "LINES", "NODES", "OBSTACLES", "OFFCUTS", "STOCK", "TOOLS", "TUBES"]


def _name(column: str) -> Column:
    return Column(column, required=True, filled=True)


def _reading(column: str, kind: str) -> Column:
    # No limits here: whether a reading can be true is judged with all the others of its offcut.
    return Column(column, kind, required=True, filled=True)


BENDERS = (
    _name("bender"),
    Column("die_radius_mm", "length", required=True, above=0),
    Column("dial_step_deg", "angle", above=0),
    Column("dial_max_deg", "angle", above=0),
    Column("min_leg_mm", "length", least=0),
    Column("min_between_mm", "length", least=0),
    Column("min_last_mm", "length", least=0),
    Column("note"),
)

TUBES = (
    _name("tube"),
    _name("alloy"),
    Column("od_mm", "length", required=True, filled=True, above=0),
    Column("wall_mm", "length", required=True, filled=True, above=0),
    Column("temper"),
    Column("note"),
    Column("e_gpa", "GPa", above=0),
    Column("yield_mpa", "MPa", above=0),
    Column("k_mpa", "MPa", above=0),
    Column("n", "number", least=0),
)

TOOLS = (
    _name("tool"),
    Column("measures", "choice", required=True, filled=True, choices=("angle", "length")),
    # Degrees or millimetres, as the tool measures: read when that is known.
    Column("step", required=True, filled=True),
    Column("sd", required=True, filled=True),
)

ENDS = (
    _name("end"),
    Column("form", "choice", required=True, filled=True, choices=FORMS),
    Column("uses_mm", "length", required=True, filled=True, least=0),
    Column("uses_sd_mm", "length", least=0),
    Column("straight_mm", "length", least=0),
    Column("nut_mm", "length", above=0),
    Column("nut_flats_mm", "length", above=0),
    Column("nut_length_mm", "length", above=0),
    Column("note"),
)

FLARES = (
    _name("end"),
    Column("before_mm", "length", required=True, filled=True, above=0),
    Column("after_mm", "length", required=True, filled=True, above=0),
    Column("date"),
    Column("length_tool"),
    Column("set_aside"),
    Column("note"),
)

OFFCUTS = (
    _name("offcut"),
    _name("bender"),
    _name("tube"),
    _reading("length_mm", "length"),
    _reading("mark_mm", "length"),
    _reading("dial_deg", "angle"),
    _reading("angle_deg", "angle"),
    Column("leg_a_mm", "length"),
    Column("leg_b_mm", "length"),
    Column("legs_to", "choice", choices=CROSSINGS),
    Column("smallest_mm", "length"),
    Column("largest_mm", "length"),
    Column("date"),
    Column("angle_tool"),
    Column("length_tool"),
    Column("set_aside"),
    Column("note"),
)

LINES = (
    _name("line"),
    _name("tube"),
    _name("bender"),
    Column("service", "choice", choices=SERVICES),
    Column("end_a"),
    Column("end_b"),
    Column("trim_at", "choice", choices=("A", "B")),
    Column("set_aside"),
    Column("note"),
)

STOCK = (
    _name("piece"),
    _name("tube"),
    Column("length_mm", "length", required=True, filled=True, above=0),
    Column("form", "choice", choices=SHAPES_ON_HAND),
    Column("count", "number", least=0),
    Column("note"),
)

NODES = (
    Column("x_mm", "length", required=True, filled=True),
    Column("y_mm", "length", required=True, filled=True),
    Column("z_mm", "length", required=True, filled=True),
    Column("label"),
)

LEGS = (
    Column("leg_mm", "length", required=True, filled=True, above=0),
    Column("angle_deg", "angle", required=True),
    Column("twist_deg", "angle", required=True),
)

_SOLID = (
    Column("shape", "choice", required=True, filled=True, choices=tuple(SHAPES)),
    *(Column(f"{axis}_mm", "length", required=True, filled=True) for axis in "xyz"),
    *(Column(f"to_{axis}_mm", "length") for axis in "xyz"),
    Column("width_mm", "length", above=0),
    Column("height_mm", "length", above=0),
    Column("diameter_mm", "length", above=0),
    Column("turn_deg", "angle"),
)

BENDER_BODIES = (
    _name("bender"),
    _name("body"),
    *_SOLID,
    Column("moves", "choice", choices=MOVES),
    Column("grip_mm", "length", least=0),
    Column("note"),
)

OBSTACLES = (
    _name("obstacle"),
    Column("line"),
    *_SOLID,
    Column("keep_mm", "length", least=0),
    Column("why"),
    Column("note"),
)
