"""Make the sample shop folder anew: ``python tests/invented/make_sample.py`` from the project's folder.

The same seed makes the same files, byte for byte; a folder named behind the command gets them
instead. What they hold is invented; the truth behind them stands in `sample_shop`.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

if __name__ == "__main__":  # started as a file: the project lies two folders up
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.invented import sample_shop as shop
from tests.invented.offcuts import bend_offcuts, flattened, rows
from tests.invented.pattern import measure_line
from tests.invented.tables import csv_text, write_tables

# By luck some seeds give a piece that stands out as if it were another blunder. This one was taken, from
# 1900 on, because no angle but the blunder is 2.5 standard deviations off and all together scatter as told.
SEED = 1911
COMMAND = "python tests/invented/make_sample.py"
FOLDER = Path(__file__).resolve().parents[2] / "sample_measurements"
TYPED = "invented; typed in, not measured"
TAPED = "invented; as if taken with a tape, 1 mm"


def offcuts() -> list[dict]:
    """Every piece, bent and measured in the order of the bench, with its one blunder."""
    # RandomState, not Generator: its stream is promised never to change.
    rng = np.random.RandomState(SEED)
    table: list[dict] = []
    made: dict[str, int] = {}
    caliper = np.random.RandomState(SEED + 1)  # of its own, so that no other reading hangs on it
    for bender, tube, letter, day, angle_tool, length_tool, length, mark, dials in shop.SESSIONS:
        names = [f"{letter}{i + 1}" for i in range(len(dials))]
        columns = bend_offcuts(
            bender,
            tube,
            dials,
            length,
            mark,
            rng,
            angle_tool=angle_tool,
            length_tool=length_tool,
            legs_to=["outside" if name in shop.MEASURED_OUTSIDE else "centre" for name in names],
            made=made.get(bender.bender, 0),
        )
        made[bender.bender] = made.get(bender.bender, 0) + len(dials)
        if bender is shop.CALIPERED:
            columns["smallest_mm"], columns["largest_mm"] = (np.array(read, dtype=object) for read in flattened(columns, tube.od_mm, bender.radius_on_paper_mm, caliper))
        else:
            columns["smallest_mm"] = columns["largest_mm"] = np.full(len(dials), None)
        steps = f"{angle_tool.tool} {angle_tool.step:g} deg, {length_tool.tool} {length_tool.step:g} mm"
        table += rows(
            columns,
            bender=bender.bender,
            tube=tube.tube,
            prefix=letter,
            date=day,
            angle_tool=angle_tool.tool,
            length_tool=length_tool.tool,
            set_aside="",
            note="",
            made_by=f"invented; simulated {steps}",
        )
    for row in table:
        touch_up(row)
    return table


def touch_up(row: dict) -> None:
    """What befell single pieces: legs not measured, legs to the outside, digits swapped."""
    name = row["offcut"]
    if name in shop.LEGS_NOT_MEASURED:
        row["leg_a_mm"] = row["leg_b_mm"] = None
        row["note"] = "legs not measured"
    if name in shop.MEASURED_OUTSIDE:
        row["note"] = "legs measured to the outside edges"
    if name == shop.SWAPPED_DIGITS:
        right = row["angle_deg"]
        tens, units = divmod(int(right), 10)
        assert units > 0, "digits swapped would begin with a 0, which no one writes: take another piece"
        row["angle_deg"] = 10 * units + tens + right % 1
        row["set_aside"] = (
            f"digits swapped: {row['angle_deg']:g} was written, the dial and the legs say about {right:g}; "
            "thrown away before it could be read again"
        )


def lines() -> dict[str, list[dict]]:
    """lines.csv and a file for each line."""
    columns = ("line", "tube", "bender", "service", "end_a", "end_b", "trim_at", "note")
    files: dict[str, list[dict]] = {"lines.csv": []}
    for line, tube, bender, *rest in shop.LINES:
        values = (line, tube.tube, bender.bender, *rest)
        files["lines.csv"].append(dict(zip(columns, values, strict=True)) | {"made_by": TYPED})
        if line in shop.NODES:
            names = ("x_mm", "y_mm", "z_mm", "label")
            points = shop.NODES[line]
        else:
            names, points = ("leg_mm", "angle_deg", "twist_deg"), shop.FUEL
        files[f"lines/{line}.csv"] = [dict(zip(names, point, strict=True)) | {"made_by": TAPED} for point in points]
    return files


def pattern() -> list[dict]:
    """What was measured of the old near-side line, with one reading that was set aside and taken again."""
    table = measure_line(
        [node[:3] for node in shop.NEAR_SIDE],
        np.random.RandomState(SEED),
        angle_tool=shop.PROTRACTOR,
        length_tool=shop.RULE,
        datums=shop.BOLTS,
        taped=shop.TAPED,
    )
    place = next(i for i, row in enumerate(table) if (row["what"], row["from"], row["to"]) == ("distance", *shop.MISREAD))
    wrong = table[place] | {
        "length_mm": table[place]["length_mm"] + 100,
        "set_aside": "the tape was begun at its 10 cm mark, and that was not taken off; measured again",
    }
    return [row | {"made_by": "invented; simulated readings"} for row in [*table[:place], wrong, *table[place:]]]


def solid(shape, start, stop, width, height, diameter) -> dict:
    """The columns that say where a body is and how large."""
    points = {f"{axis}_mm": v for axis, v in zip("xyz", start, strict=True)} | {f"to_{axis}_mm": v for axis, v in zip("xyz", stop, strict=True)}
    return {"shape": shape} | points | {"width_mm": width, "height_mm": height, "diameter_mm": diameter}


def in_the_way() -> dict[str, list[dict]]:
    """bender_bodies.csv and obstacles.csv."""
    return {
        "bender_bodies.csv": [
            {"bender": bender.bender, "body": body} | solid(*where) | {"moves": moves, "note": note, "made_by": TAPED}
            for bender, body, *where, moves, note in shop.BODIES
        ],
        "obstacles.csv": [
            {"obstacle": name, "line": line} | solid(*where) | {"keep_mm": keep, "why": why, "note": note, "made_by": TAPED}
            for name, line, *where, keep, why, note in shop.OBSTACLES
        ],
    }


def tables() -> dict[str, list[dict]]:
    """Every CSV of the sample folder as rows, by its path in the folder."""
    limits = ("dial_step_deg", "dial_max_deg", "min_leg_mm", "min_between_mm", "min_last_mm", "note")
    end_columns = ("end", "form", "uses_mm", "uses_sd_mm", "straight_mm", "nut_mm", "nut_flats_mm", "nut_length_mm", "note")
    stock_columns = ("piece", "tube", "length_mm", "form", "count", "note")
    return {
        "benders.csv": [
            {"bender": b.bender, "die_radius_mm": b.radius_on_paper_mm}
            | {name: getattr(b, name) for name in limits}
            | {"made_by": "invented; as if measured with a rule, 0.5 mm"}
            for b in shop.BENDERS
        ],
        "tubes.csv": [
            {name: getattr(t, name) for name in ("tube", "alloy", "od_mm", "wall_mm", "temper", "note")}
            | {"made_by": "invented; nominal sizes"}
            for t in shop.TUBES
        ],
        "tools.csv": [
            {name: getattr(t, name) for name in ("tool", "measures", "step", "sd")}
            | {"made_by": "invented; the very numbers that the simulator used"}
            for t in shop.TOOLS
        ],
        "ends.csv": [
            dict(zip(end_columns, end, strict=True)) | {"made_by": "invented; measure what your own tool uses"}
            for end in shop.ENDS
        ],
        "stock.csv": [
            dict(zip(stock_columns, (piece, tube.tube, *rest), strict=True)) | {"made_by": TAPED}
            for piece, tube, *rest in shop.STOCK
        ],
        "offcuts.csv": offcuts(),
        "patterns/brake-near-side.csv": pattern(),
    } | in_the_way() | lines()


def texts() -> dict[str, str]:
    """Every CSV of the sample folder as text."""
    return {name: csv_text(table) for name, table in tables().items()}


if __name__ == "__main__":
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER
    write_tables(folder, tables())
    print(f"Made {len(texts())} files in {folder}")
