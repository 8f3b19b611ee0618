"""The invented shop of the sample: its truth, which the kit is to find, and what was written down.

Two benders: a small lever bender for 3/16 tube, and a large one with two dies that share its
dial, entered as two benders because a die has a radius and a mark offset of its own. Numbers,
places and readings are made up; no maker, vehicle or person is meant.
"""

from __future__ import annotations

from .bender import InventedBender, InventedTube
from .offcuts import InventedTool
from .section import FlowLaw

SMALL = InventedBender(
    "small",
    die_radius_mm=16.8,
    stated_radius_mm=17.0,
    mark_offset_mm=2.6,
    dial_zero_deg=1.3,
    dial_gain=1.008,
    give_deg_per_nm=0.45,
    stretch=0.016,
    min_leg_mm=25,
    min_between_mm=10,
    min_last_mm=20,
    note="one die for 3/16; mark goes on the 0 of the roller; radius measured on the die",
)
LARGE_QUARTER = InventedBender(
    "large-1/4",
    die_radius_mm=22.4,
    stated_radius_mm=22.0,
    mark_offset_mm=-1.7,
    dial_zero_deg=0.7,
    dial_gain=0.994,
    give_deg_per_nm=0.15,
    stretch=0.02,
    min_leg_mm=35,
    min_between_mm=15,
    min_last_mm=30,
    note="large bender with its 1/4 die; mark goes on the edge of the clamp",
)
LARGE_EIGHT = InventedBender(
    "large-8mm",
    die_radius_mm=28.3,
    stated_radius_mm=28.5,
    mark_offset_mm=0.8,
    dial_zero_deg=0.7,
    dial_gain=0.994,
    give_deg_per_nm=0.15,
    stretch=0.024,
    min_leg_mm=35,
    min_between_mm=15,
    min_last_mm=30,
    note="large bender with its 8 mm die; mark goes on the edge of the clamp",
)
BENDERS = (SMALL, LARGE_QUARTER, LARGE_EIGHT)

CUNI_3 = InventedTube(
    "cuni-3/16",
    "copper-nickel 90/10",
    4.76,
    0.71,
    124.0,
    FlowLaw("power", (520.0, 0.33)),
    wall_error_mm=0.01,
    temper="annealed",
    note="25 ft roll, straightened on the bench",
)
STEEL_3 = InventedTube(
    "steel-3/16",
    "low-carbon steel",
    4.76,
    0.71,
    209.0,
    FlowLaw("power", (640.0, 0.19)),
    wall_error_mm=-0.015,
    temper="annealed",
    note="brazed double wall, plated",
)
CUNI_4 = InventedTube(
    "cuni-1/4",
    "copper-nickel 90/10",
    6.35,
    0.71,
    124.0,
    FlowLaw("power", (560.0, 0.33)),
    wall_error_mm=0.015,
    temper="annealed",
    note="another lot than the 3/16",
)
STEEL_4 = InventedTube(
    "steel-1/4",
    "low-carbon steel",
    6.35,
    0.71,
    209.0,
    FlowLaw("power", (600.0, 0.20)),
    temper="annealed",
    note="brazed double wall, plated",
)
STEEL_8 = InventedTube(
    "steel-8mm",
    "low-carbon steel",
    8.0,
    1.0,
    209.0,
    FlowLaw("power", (620.0, 0.21)),
    wall_error_mm=-0.02,
    temper="annealed",
    note="fuel pipe, plated",
)
TUBES = (CUNI_3, STEEL_3, CUNI_4, STEEL_4, STEEL_8)

PROTRACTOR = InventedTool("protractor", "angle", 0.5, 0.4)
GAUGE = InventedTool("digital-gauge", "angle", 0.1, 0.3)
RULE = InventedTool("steel-rule", "length", 0.5, 0.3)
CALIPER = InventedTool("caliper", "length", 0.1, 0.2)
TOOLS = (PROTRACTOR, GAUGE, RULE, CALIPER)

# For each pair, in the order of the bench: bender, tube, letter of the pieces, day, angle tool, length tool,
# asked length and mark [mm], dial angles.
SESSIONS = (
    (SMALL, CUNI_3, "C", "2025-03-01", PROTRACTOR, RULE, 180, 70, (92, 47, 122, 25, 70, 107, 35, 92)),
    (SMALL, STEEL_3, "S", "2025-03-02", PROTRACTOR, RULE, 180, 70, (92, 50, 24, 76, 122, 62, 107, 36, 92)),
    (LARGE_QUARTER, CUNI_4, "D", "2025-03-08", GAUGE, RULE, 220, 90, (91, 46, 120, 24, 76, 60, 105)),
    (LARGE_QUARTER, STEEL_4, "T", "2025-03-09", GAUGE, RULE, 220, 90, (92, 47, 24, 121, 62, 77, 106)),
    (LARGE_EIGHT, STEEL_8, "F", "2025-03-15", GAUGE, CALIPER, 260, 105, (92, 62, 25, 47, 107, 77)),
)
CALIPERED = SMALL  # on the pieces of this bender somebody measured how flat the bends are
LEGS_NOT_MEASURED = ("C7", "S8", "D4")
MEASURED_OUTSIDE = ("S5",)
SWAPPED_DIGITS = "S6"

ENDS = (
    # end, form, uses_mm, uses_sd_mm, straight_mm, nut_mm, nut_flats_mm, nut_length_mm
    ("m10-double", "double flare", 5.0, 0.4, 32, 24, 11, 15, "3/16 tube, M10 x 1 nut"),
    ("m10-bubble", "bubble flare", 4.0, 0.4, 32, 24, 11, 15, "3/16 tube, M10 x 1 nut"),
    ("m12-double", "double flare", 6.0, 0.5, 36, 27, 13, 17, "1/4 tube, M12 x 1 nut"),
    ("8mm-bubble", "bubble flare", 5.0, 0.5, 42, 31, 17, 19, "8 mm tube, M14 x 1.5 nut"),
    ("8mm-olive", "olive", 6.0, 0.5, 40, 28, 17, 16, "8 mm fuel fitting; never on a brake line"),
)
STOCK = (
    # piece, tube, length_mm, form, count
    ("cuni coil", CUNI_3, 3150, "coil", 1, "what is left of the roll"),
    ("rack 1", STEEL_3, 1000, "straight", 2, "plated lengths"),
    ("rack 2", STEEL_3, 335, "straight", 1, "left over"),
    ("quarter coil", CUNI_4, 2300, "coil", 1, "same lot as the offcuts"),
    ("rack 3", CUNI_4, 760, "straight", 1, "straightened already"),
    ("rack 4", STEEL_8, 1200, "straight", 1, "too short for the fuel line: something has to be bought"),
)

FAR_SIDE = (
    (0, 0, 0, "union on the near rail"),
    (0, 0, 72, "up the rail"),
    (0, 46, 64, "round the gusset"),
    (44, 60, 84, "onto the cross member"),
    (640, 60, 104, "far end of the cross member"),
    (660, 20, 88, "behind the far rail"),
    (622, -2, 88, "back towards the hose"),
    (622, -80, 100, "hose bracket, far side"),
)
NEAR_SIDE = (
    (0, 0, 0, "union on the near rail"),
    (64, 0, 0, "off the rail"),
    (98, 46, 0, "along the inner wing"),
    (98, 150, -30, "down"),
    (98, 150, -95, "hose bracket, near side"),
)
# The same line as if it were taken off the car: two bolts beside it, and where the tape was laid.
BOLTS = {"cross-member bolt": (160.0, 40.0, 20.0), "wing bolt": (60.0, 180.0, 40.0)}
TAPED = (("A", "2"), ("A", "3"), ("A", "B"), ("1", "B"), ("2", "cross-member bolt"), ("3", "wing bolt"), ("2", "wing bolt"))
MISREAD = ("A", "3")
CLUTCH = (
    (0, 0, 0, "master cylinder"),
    (0, 90, 0, "past the pedal box"),
    (70, 150, 20, "along the bulkhead"),
    (310, 150, 60, "down to the bell housing"),
    (310, 250, 130, "hose bracket"),
)
FUEL = (  # leg_mm, angle_deg, twist_deg
    (150, 45, 0),
    (120, 45, 180),
    (640, 90, -90),
    (140, 60, 35),
    (210, 30, -120),
    (130, None, None),
)
LINES = (
    # line, tube, bender, service, end_a, end_b, trim_at, note
    ("brake-far-side", CUNI_3, SMALL, "brake", "m10-double", "m10-double", "B", "six bends; over the cross member"),
    ("brake-near-side", STEEL_3, SMALL, "brake", "m10-double", "m10-bubble", "B", "three bends; bend this one first"),
    ("clutch", CUNI_4, LARGE_QUARTER, "clutch", "m12-double", "m12-double", "B", "three bends"),
    ("fuel-feed", STEEL_8, LARGE_EIGHT, "fuel", "8mm-bubble", "8mm-olive", "B", "five bends; tank to pump"),
)
NODES = {"brake-far-side": FAR_SIDE, "brake-near-side": NEAR_SIDE, "clutch": CLUTCH}

# In each bender's frame, its origin on the die's axis: body, shape, two points, width, height, diameter, what it moves with.
_SMALL_ON_THE_BENCH = (
    ("main handle", "capsule", (-18, 14, 0), (-185, 105, 0), None, None, 16, "die", ""),
    ("lever handle", "capsule", (25, -38, 0), (205, -77, 0), None, None, 15, "lever", "where it stands at 0 on the dial"),
    ("vice", "box", (-120, 62, -15), (-120, 62, -75), 90, 50, None, "die", "jaws, the main handle in them"),
    ("bench", "wall", (0, 0, -75), (0, 0, 0), None, None, None, "die", ""),
)
_LARGE_ON_THE_BENCH = (
    ("main handle", "capsule", (-29, 22, 0), (-296, 168, 0), None, None, 22, "die", ""),
    ("lever handle", "capsule", (40, -58, 0), (328, -120, 0), None, None, 22, "lever", "where it stands at 0 on the dial"),
    ("vice", "box", (-192, 99, -15), (-192, 99, -75), 110, 60, None, "die", "jaws, the main handle in them"),
    ("bench", "wall", (0, 0, -75), (0, 0, 0), None, None, None, "die", ""),
)
BODIES = (
    *((SMALL, *body) for body in _SMALL_ON_THE_BENCH),
    *((bender, *body) for bender in (LARGE_QUARTER, LARGE_EIGHT) for body in _LARGE_ON_THE_BENCH),
)
OBSTACLES = (
    # obstacle, line, shape, two points, width, height, diameter, keep_mm, why, note
    ("exhaust", "brake-far-side", "cylinder", (330, -200, 10), (330, 300, 10), None, None, 45, 50, "hot", "crosses below the cross member"),
    ("steering arm", "brake-near-side", "capsule", (20, 120, -90), (60, 200, -90), None, None, 24, 15, "moving", "at full lock"),
    ("exhaust manifold", "clutch", "box", (120, 205, 40), (260, 205, 60), 60, 50, None, 40, "hot", "too near on purpose"),
    ("propeller shaft", "fuel-feed", "cylinder", (200, -90, -60), (900, -90, -60), None, None, 60, 25, "moving", "in the line's own frame"),
)
