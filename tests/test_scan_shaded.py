"""Dark paper: where a lit side begins, found as a step with a round dome behind it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bendcal.scan import read_flat_scan, read_scan
from bendcal.scan.shaded import round_edge
from tests.a_flat_line import LINE
from tests.a_flat_line import scanned as scanned_line
from tests.invented.scan import ScannedPiece, Scanner, save_scan, scan_of

PIECE = ScannedPiece(angle_deg=60.0, radius_mm=15.0, leg_a_mm=48.0, leg_b_mm=40.0, mark_mm=22.0, turned_deg=30.0)


def lit_cylinder(offset: np.ndarray, edge: float, half: float, lean: float, ambient: float, blur: float) -> np.ndarray:
    """What a matt cylinder throws back beside its edge, lit by a lamp that leans towards that side, added up in fine slices and blurred."""
    fine = np.linspace(offset[0] - 6 * blur, offset[-1] + 6 * blur, 6001)
    across = np.clip((fine - edge + half) / half, -1, 1)  # 1 at the edge
    lamp = np.array([lean, np.sqrt(1 - lean**2)])
    light = np.where(fine < edge, ambient + np.clip(lamp[0] * across + lamp[1] * np.sqrt(1 - across**2), 0, None), 0.0)
    return np.array([np.average(light, weights=np.exp(-(((fine - x) / blur) ** 2) / 2)) for x in offset])


@settings(max_examples=40)
@given(
    edge=st.floats(-0.08, 0.08), lean=st.floats(0.05, 0.7), ambient=st.floats(0.0, 0.2), half=st.sampled_from([2.38, 3.0, 4.0]), blur=st.floats(0.06, 0.12)
)  # fmt: skip
def test_the_edge_of_a_lit_cylinder_is_found(edge: float, lean: float, ambient: float, half: float, blur: float) -> None:
    """Its edge to 0.02 mm, wherever the lamp and whatever comes from all around, where the steepest place lies up to 0.1 mm inside."""
    offset = np.arange(-0.4 * half, 0.34, 0.02)
    values = lit_cylinder(offset, edge, half, lean, ambient, blur)
    place, high, left = round_edge(values[None], offset, np.arange(-0.3, 0.3, 0.0127), half, blur)
    assert place[0] == pytest.approx(edge, abs=0.02)
    assert high[0, 0] > 0 and high[0, 1] > 0 and left[0] < 0.01 * (values**2).sum()


def test_a_side_that_is_turned_away_has_no_step() -> None:
    """A lamp from the other side: no step, or less than none."""
    offset = np.arange(-0.95, 0.34, 0.02)
    away = [lit_cylinder(offset, 0.0, 2.38, -lean, 0.0, 0.08) for lean in (0.2, 0.4, 0.6)]
    _, high, _ = round_edge(np.array(away), offset, np.arange(-0.3, 0.3, 0.0127), 2.38, 0.08)
    assert (high[:, 0] < -0.06 * high[:, 1]).all()


def on_dark(folder: Path, piece: ScannedPiece, **scanner) -> Path:
    """A scan of the piece on dark paper, a finger's width of it all around."""
    xy = replace(piece, at_mm=(0.0, 0.0)).walk(0.5)[0]
    low, high = xy.min(axis=0) - 9.0, xy.max(axis=0) + 9.0
    pixels = scan_of([replace(piece, at_mm=tuple(-low))], Scanner(backdrop="dark", **scanner), tuple(high - low), np.random.default_rng(3), fine=1)
    return save_scan(folder / "dark.png", pixels)


@pytest.mark.parametrize("finish", ["bright", "dull", "copper", "plated"])
@pytest.mark.parametrize("turned_deg", [0.0, 75.0, 210.0])
def test_a_piece_on_dark_paper_is_read_as_closely_as_on_light(tmp_path: Path, finish: str, turned_deg: float) -> None:
    """However it lies to the lamp: the angle to 0.1°, the radius to 0.3 mm, the legs to 0.15 mm, and its ranges hold them; or its diameter is not seen."""
    piece = replace(PIECE, finish=finish, turned_deg=turned_deg)
    read = read_scan(on_dark(tmp_path, piece), od_mm=piece.od_mm).only
    if read.refused:
        assert "mm wide" in read.refused[0]
        return
    legs = sorted((float(read.leg_a.value), float(read.leg_b.value)), reverse=True)
    assert read.angle.value == pytest.approx(60.0, abs=0.1) and abs(read.angle.value - 60.0) < 3 * read.angle.u
    assert read.radius.value == pytest.approx(15.0, abs=0.3) and abs(read.radius.value - 15.0) < 3 * read.radius.u
    assert legs == pytest.approx([48.0, 40.0], abs=0.15)


@pytest.mark.parametrize(
    ("piece", "od_mm", "why"),
    [
        (replace(PIECE, tilt_deg=6.0, turned_deg=75.0), 4.76, "less sharp at one place"),
        (replace(PIECE, flattening=0.25), 4.76, "kinked|not one round bend"),
        (replace(PIECE, turned_deg=75.0), 4.0, "mm wide and more, for one of its sides fades"),
        (replace(PIECE, second_bend_deg=5.0), 4.76, "not one round bend"),
    ],
)  # fmt: skip
def test_what_is_not_one_flat_bend_is_refused_on_dark_paper_too(tmp_path: Path, piece: ScannedPiece, od_mm: float, why: str) -> None:
    """A lifted leg, a kink, another diameter than it is told to have, a second bend."""
    read = read_scan(on_dark(tmp_path, piece), od_mm=od_mm).only
    assert read.refused and any(word in " ".join(read.refused) for word in why.split("|")), read


def test_a_flat_line_is_read_on_dark_paper(tmp_path: Path) -> None:
    """Its bends, angles and legs, where every line was once refused."""
    angles, legs = LINE.measured()
    read = read_flat_scan(scanned_line(tmp_path / "line.png", LINE, scanner=Scanner(backdrop="dark")), od_mm=LINE.od_mm)
    assert not read.refused and read.bends == len(angles)
    for told, true in ((read.angle, angles), (read.leg, legs)):
        near = min((told.value - true, told.value - true[::-1]), key=lambda off: float(np.abs(off).max()))
        assert (np.abs(near) < 3.5 * told.u).all()
