"""Names that become the names of files."""

from pathlib import Path

import pytest
from a_shop import changed, write_shop
from hypothesis import given
from hypothesis import strategies as st

from bendcal.beginning import begin_shop
from bendcal.faults import ShopFaults
from bendcal.file_names import unfit_name
from bendcal.files.folder import read_shop
from bendcal.lines import line_from_legs


@pytest.mark.parametrize("name", ["CON", "nul", "Aux", "prn", "com1", "LPT9", "com¹", "aux.v2", "nul .old"])
def test_no_file_is_called_like_a_device_of_windows(name: str) -> None:
    """In any case and with any ending such a name is a device there; the name alone is told."""
    assert unfit_name(name) == f"Windows keeps the name {name.partition('.')[0].strip()} for a device, so no file can carry it."


@pytest.mark.parametrize("name", ["console", "com", "com10", "null", "rear.aux", "front-left", "línea 2", "v1.2", "x" * 150])
def test_names_that_only_look_like_it_are_fit(name: str) -> None:
    """What merely holds a device's name, or has letters of another alphabet, is a name like any other."""
    assert unfit_name(name) == ""


@pytest.mark.parametrize("sign", '<>:"/\\|?*\t\n\x00\x7f')
def test_signs_that_some_system_does_not_take(sign: str) -> None:
    """Each of them is refused wherever it stands between letters, and the rule lists those that can be seen."""
    assert 'none of < > : " / \\ | ? *' in unfit_name(f"rear{sign}left")


@pytest.mark.parametrize(
    ("name", "rule"),
    [("", "at least one"), (" ", "at least one"), (".x", "full stop"), ("x.", "full stop"), ("x ", "blank"), ("ä" * 76, "76 letters are too many")],
)
def test_a_name_of_nothing_or_too_much(name: str, rule: str) -> None:
    """Blank names, names with a blank or a full stop at an end, and names that fill the disk's limit."""
    assert rule in unfit_name(name)


@given(st.text(max_size=30))
def test_a_fit_name_makes_one_file_in_its_folder(name: str) -> None:
    """Whatever passes names a file in the very folder, not one elsewhere."""
    if not unfit_name(name):
        assert Path("lines", f"{name}.csv").parent == Path("lines")
        assert Path("lines", f"{name}.csv").name == f"{name}.csv"


def test_a_line_of_such_a_name_is_refused_wherever_it_comes_from(tmp_path: Path) -> None:
    """In lines.csv with its row and the remedy, and as a name for a new line."""
    with pytest.raises(ShopFaults, match="lines.csv, row 2, column line: found \"aux\". Windows keeps the name aux .* Choose another name."):
        read_shop(write_shop(tmp_path, lines=changed("lines.csv", ("rear,", "aux,"))))
    with pytest.raises(ValueError, match="line name 'NUL': Windows keeps the name NUL for a device.* Choose another name."):
        line_from_legs("NUL", [9, 9], [90], [0], tube="t", bender="b")


def test_a_shop_of_such_a_name_is_not_begun(tmp_path: Path) -> None:
    """A folder has the same limits as a file; nothing is made."""
    with pytest.raises(ShopFaults, match='new shop: found "aux". Windows keeps the name aux .* Choose another name.'):
        begin_shop(tmp_path / "aux", bender={"bender": "small"}, tube={}, notebooks=tmp_path)
    assert list(tmp_path.iterdir()) == []
