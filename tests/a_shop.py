"""A small invented shop folder to spoil: one bender, one tube, two offcuts, two lines."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

# Invented numbers: a die of 15 mm, a springback of 2 degrees, legs as an arc of 15.3 mm gives them.
FILES = {
    "benders.csv": "bender,die_radius_mm,dial_step_deg,dial_max_deg,note\nsmall,15,1,180,invented\n",
    "tubes.csv": "tube,alloy,od_mm,wall_mm\nbrake 3/16,low-carbon steel,4.76,0.71\n",
    "tools.csv": "tool,measures,step,sd\nprotractor,angle,0.5,0.4\nrule,length,0.5,0.3\n",
    "ends.csv": "end,form,uses_mm,uses_sd_mm,straight_mm\nM10,double flare,5,0.4,32\n",
    "offcuts.csv": (
        "offcut,bender,tube,length_mm,mark_mm,dial_deg,angle_deg,leg_a_mm,leg_b_mm,legs_to,date,"
        "angle_tool,length_tool,set_aside,note\n"
        "1,small,brake 3/16,200,90,92,90,104.5,102.5,centre,2025-03-01,protractor,rule,,\n"
        "2,small,brake 3/16,200,90,47,45,96.5,104.5,centre,2025-03-01,protractor,rule,,\n"
    ),
    "lines.csv": (
        "line,tube,bender,service,end_a,end_b,trim_at,note\n"
        "rear,brake 3/16,small,brake,M10,M10,B,\n"
        "front,brake 3/16,small,brake,M10,,A,\n"
    ),
    "lines/rear.csv": "x_mm,y_mm,z_mm,label\n0,0,0,seat\n100,0,0,\n100,80,0,clip\n100,80,60,seat\n",
    "lines/front.csv": "leg_mm,angle_deg,twist_deg\n100,90,0\n80,45,90\n120\n",
}


def write_shop(folder: Path, **changes: str | bytes | None) -> Path:
    """Write the shop, with files changed or (None) left out; names without .csv, __ for a slash.

    >>> import tempfile
    >>> sorted(path.name for path in write_shop(Path(tempfile.mkdtemp()), ends=None, tools=None).glob("*.csv"))
    ['benders.csv', 'lines.csv', 'offcuts.csv', 'tubes.csv']
    """
    files: dict[str, str | bytes | None] = dict(FILES)
    files |= {f"{name.replace('__', '/')}.csv": content for name, content in changes.items()}
    for name, content in files.items():
        if content is not None:
            path = Path(folder) / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return Path(folder)


def changed(file: str, *swaps: tuple[str, str]) -> str:
    """One file's text with pieces swapped; a piece that is not there is an error of the test.

    >>> changed("tubes.csv", ("4.76", "6"))
    'tube,alloy,od_mm,wall_mm\\nbrake 3/16,low-carbon steel,6,0.71\\n'
    """
    text = FILES[file]
    for old, new in swaps:
        assert old in text, f"{old!r} is not in {file}"
        text = text.replace(old, new)
    return text


@contextlib.contextmanager
def ordinary_user() -> Iterator[Path]:
    """A folder of one's own, with the rights of somebody whom the system can refuse something."""
    if not hasattr(os, "geteuid"):
        pytest.skip("this system keeps rights in another way")
    with tempfile.TemporaryDirectory() as made:
        os.chmod(made, 0o777)
        root = os.geteuid() == 0
        if root:
            os.seteuid(65534)
        try:
            yield Path(made)
        finally:
            if root:
                os.seteuid(0)
