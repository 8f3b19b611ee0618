"""bender_bodies.csv and obstacles.csv: read, resolved, and every fault told where it stands."""

from pathlib import Path

import pytest

from bendcal.faults import ShopFaults
from bendcal.files.folder import read_shop
from tests.a_shop import write_shop

BODIES = "bender,body,shape,x_mm,y_mm,z_mm,to_x_mm,to_y_mm,to_z_mm,width_mm,height_mm,diameter_mm,turn_deg,moves,grip_mm,note\n"
OBSTACLES = "obstacle,line,shape,x_mm,y_mm,z_mm,to_x_mm,to_y_mm,to_z_mm,width_mm,height_mm,diameter_mm,turn_deg,keep_mm,why,note\n"


def shop_with(folder: Path, *, bodies: str | None = None, obstacles: str | None = None, **more):
    """The small shop with these rows in it."""
    files = {"bender_bodies": bodies and BODIES + bodies, "obstacles": obstacles and OBSTACLES + obstacles}
    return read_shop(write_shop(folder, **files, **more))


def faults_of(folder: Path, **more) -> list:
    """The faults of such a shop."""
    with pytest.raises(ShopFaults) as caught:
        shop_with(folder, **more)
    return list(caught.value.faults)


def test_a_shop_without_these_files_has_no_bodies(tmp_path: Path) -> None:
    """Nothing measured, nothing in the way."""
    shop = shop_with(tmp_path)
    assert shop.bodies == () and shop.obstacles == ()


def test_bodies_are_read_with_their_bender_as_its_own_file_writes_it(tmp_path: Path) -> None:
    """Inches, blanks that mean the die and the bender's grip, two rows of one name."""
    rows = (
        "SMALL,handle,capsule,0,10,-20,-8 in,60,-20,,,18,,,,\n"
        "small,handle,sphere,0,10,-20,,,,,,30,,,,round boss\n"
        "small,arm,box,20,-40,0,220,-60,0,12,1/2 in,,45,lever,30,\n"
    )
    handle, boss, arm = shop_with(tmp_path, bodies=rows).bodies
    assert (handle.bender, handle.body, handle.moves, handle.grip_mm) == ("small", "handle", "die", None)
    assert handle.solid.to_mm.tolist() == pytest.approx([-203.2, 60, -20])
    assert (boss.solid.shape, boss.solid.to_mm, boss.note) == ("sphere", None, "round boss")
    assert (arm.moves, arm.grip_mm, arm.solid.height_mm, arm.solid.turn_deg) == ("lever", 30.0, 12.7, 45.0)


def test_obstacles_are_read_with_their_line(tmp_path: Path) -> None:
    """One for a line, in any capitals, and one for all lines that asks for no distance."""
    rows = "exhaust,Rear,cylinder,0,100,0,300,100,0,,,45,,50,hot,\nfloor,,wall,0,0,-30,0,0,0,,,,,,,\n"
    exhaust, floor = shop_with(tmp_path, obstacles=rows).obstacles
    assert (exhaust.line, exhaust.keep_mm, exhaust.why, exhaust.solid.diameter_mm) == ("rear", 50.0, "hot", 45.0)
    assert (floor.line, floor.keep_mm, floor.solid.shape) == ("", 0.0, "wall")


@pytest.mark.parametrize(
    ("row", "column", "told"),
    [
        ("tiny,handle,sphere,0,0,0,,,,,,9,,,,", "bender", "There is no bender of that name"),
        ("small,,sphere,0,0,0,,,,,,9,,,,", "body", "may not be left blank"),
        ("small,handle,cone,0,0,0,,,,,,9,,,,", "shape", "none of: box, cylinder"),
        ("small,handle,sphere,0,,0,,,,,,9,,,,", "y_mm", "may not be left blank"),
        ("small,handle,sphere,0,0,0,,,,,,,,,,", "diameter_mm", "Diameter_mm of a sphere is missing"),
        ("small,handle,sphere,0,0,0,,,,,,-3,,,,", "diameter_mm", "not more than 0"),
        ("small,handle,sphere,0,0,0,1,1,1,,,9,,,,", "to_x_mm", "A sphere has one point only"),
        ("small,handle,capsule,0,0,0,,,,,,9,,,,", "to_x_mm", "A capsule needs two points"),
        ("small,handle,capsule,0,0,0,50,,0,,,9,,,,", "to_y_mm", "A point needs all three"),
        ("small,handle,capsule,5,5,5,5,5,5,,,9,,,,", "to_x_mm", "lie at the same place"),
        ("small,bench,wall,0,0,-9,0,0,0,,,9,,,,", "diameter_mm", "A wall has no diameter_mm"),
        ("small,plate,box,0,0,0,9,0,0,9,,,,,,", "height_mm", "Height_mm of a box is missing"),
        ("small,rod,cylinder,0,0,0,9,0,0,,,9,45,,,", "turn_deg", "A cylinder has no turn_deg"),
        ("small,handle,sphere,0,0,0,,,,,,9,,vice,,", "moves", "none of: die, lever"),
        ("small,handle,sphere,0,0,0,,,,,,9,,,-1,", "grip_mm", "less than 0"),
    ],
)
def test_every_fault_of_a_body_is_told_with_its_row_and_column(tmp_path: Path, row: str, column: str, told: str) -> None:
    """File, row 3 as a spreadsheet shows it, the column, and what the rule is."""
    (fault,) = faults_of(tmp_path, bodies=f"small,good,sphere,0,0,0,,,,,,9,,,,\n{row}\n")
    assert (fault.file, fault.row, fault.column) == ("bender_bodies.csv", 3, column)
    assert told.casefold() in fault.sentence.casefold()


def test_all_faults_are_collected_with_those_of_other_files(tmp_path: Path) -> None:
    """Two rows of bodies, one obstacle and a tube: four faults in one report."""
    faults = faults_of(
        tmp_path, bodies="tiny,a,sphere,0,0,0,,,,,,9,,,,\nsmall,b,cone,0,0,0,,,,,,9,,,,\n", obstacles="floor,nowhere,wall,0,0,0,0,0,1,,,,,,,\n",
        tubes="tube,alloy,od_mm,wall_mm\nbrake 3/16,low-carbon steel,4.76,9\n",
    )  # fmt: skip
    assert sorted((fault.file, fault.row) for fault in faults) == [
        ("bender_bodies.csv", 2), ("bender_bodies.csv", 3), ("obstacles.csv", 2), ("tubes.csv", 2),
    ]  # fmt: skip


def test_a_line_whose_own_file_is_faulty_is_told_once(tmp_path: Path) -> None:
    """An obstacle that names it adds no fault of its own."""
    faults = faults_of(tmp_path, obstacles="floor,rear,wall,0,0,0,0,0,1,,,,,,,\n", lines__rear="x_mm,y_mm,z_mm\n0,0,0\n")
    assert {fault.file for fault in faults} == {"lines/rear.csv"}


def test_a_misspelled_file_name_is_a_caution(tmp_path: Path) -> None:
    """obstacle.csv is not read, and that is said."""
    shop = shop_with(tmp_path, obstacle=OBSTACLES)
    assert any(caution.file == "obstacle.csv" and "obstacles.csv would be" in caution.sentence for caution in shop.cautions)


def test_a_decimal_comma_and_semicolons_are_read(tmp_path: Path) -> None:
    """As a spreadsheet writes it where the comma is the decimal sign."""
    text = (OBSTACLES + "exhaust,rear,sphere,0,100,2,,,,,,45.5,,50,hot,\n").replace(",", ";").replace(".", ",")
    (one,) = read_shop(write_shop(tmp_path, obstacles=text)).obstacles
    assert one.solid.diameter_mm == 45.5
