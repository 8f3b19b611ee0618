"""Tube on hand: what a row may say, and how stock.csv is read."""

from pathlib import Path

import pytest

from bendcal import ShopFaults, read_shop
from bendcal.stock import StockLength, on_hand_mm
from tests.a_shop import write_shop

HEADER = "piece,tube,length_mm,form,count,note\n"


def faults(folder: Path, rows: str) -> list[str]:
    """The sentences of all faults of a shop with this stock.csv."""
    with pytest.raises(ShopFaults, match="must be put right") as caught:
        read_shop(write_shop(folder, stock=HEADER + rows))
    return [fault.sentence for fault in caught.value.faults]


def test_pieces_alike_are_named_apart() -> None:
    """Two of a kind are one of two and two of two; one keeps its name, and none has none."""
    assert StockLength("rack", "t", 1000.0, count=2).names == ("rack (1 of 2)", "rack (2 of 2)")
    assert StockLength("rack", "t", 1000.0).names == ("rack",)
    assert StockLength("rack", "t", 1000.0, count=0).names == ()


def test_what_is_on_hand_is_counted_by_tube() -> None:
    """Two of 500 mm are 1000 mm; another tube does not count."""
    stock = [StockLength("a", "t", 500.0, count=2), StockLength("b", "u", 70.0), StockLength("c", "t", 30.0, "coil")]
    assert [on_hand_mm(stock, tube) for tube in ("t", "u", "v")] == [1030.0, 70.0, 0.0]


@pytest.mark.parametrize(
    ("change", "said"),
    [({"length_mm": 0.0}, "length is 0.0 mm"), ({"form": "rolled"}, "form 'rolled' is none of coil, straight"), ({"count": 1.5}, "count is 1.5"), ({"count": -1}, "count is -1")],
)
def test_a_piece_that_cannot_be_is_refused(change: dict, said: str) -> None:
    """No length, a form that there is not, half a piece."""
    with pytest.raises(ValueError, match=said):
        StockLength(**({"piece": "a", "tube": "t", "length_mm": 100.0} | change))


def test_a_table_of_stock_is_read(tmp_path: Path) -> None:
    """Units, capitals and blanks as in every table; a blank form is a straight length, a blank count is one."""
    rows = 'coil 1,brake 3/16,"7,62 m",Coil,,25 ft\nrack,BRAKE 3/16,39 3/8 in,,3,\n'
    coil, rack = read_shop(write_shop(tmp_path, stock=HEADER + rows)).stock
    assert coil == StockLength("coil 1", "brake 3/16", 7620.0, "coil", 1, "25 ft")
    assert (rack.tube, rack.form, rack.count) == ("brake 3/16", "straight", 3)
    assert rack.length_mm == pytest.approx(1000.125)


def test_a_shop_without_stock_has_none(tmp_path: Path) -> None:
    """stock.csv is not needed; one that is called otherwise is asked about."""
    assert read_shop(write_shop(tmp_path)).stock == ()
    (tmp_path / "stock.csv.txt").write_text(HEADER)
    shop = read_shop(tmp_path)
    assert [caution.rule for caution in shop.cautions] == ["It is not read; stock.csv would be."]


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("a,brake,1000,,,", 'stock.csv, row 2, column tube: found "brake". There is no tube of that name'),
        ("a,brake 3/16,0,,,", 'stock.csv, row 2, column length_mm: found "0". It is not more than 0'),
        ("a,brake 3/16,1000,roll,,", 'stock.csv, row 2, column form: found "roll". It is none of: coil, straight'),
        ("a,brake 3/16,1000,,1.5,", 'stock.csv, row 2, column count: found "1.5". A count is a whole number'),
        ("a,brake 3/16,1000,,-1,", 'stock.csv, row 2, column count: found "-1". It is less than 0'),
        (",brake 3/16,1000,,,", "stock.csv, row 2, column piece: found an empty cell. It may not be left blank"),
        ("a,brake 3/16,1000,,,\nA,brake 3/16,900,,,", 'stock.csv, row 3, column piece: found "A". Row 2 has the same piece'),
    ],
)
def test_a_row_that_cannot_be_right_is_told_with_its_place(row: str, said: str, tmp_path: Path) -> None:
    """File, row, column, what was found, and the rule."""
    (told,) = faults(tmp_path, row + "\n")
    assert told.startswith(said)


def test_stock_teaches_nothing(tmp_path: Path) -> None:
    """Tube on hand is no reading: a calibration stays good when it changes."""
    before = read_shop(write_shop(tmp_path)).readings_digest
    assert read_shop(write_shop(tmp_path, stock=HEADER + "a,brake 3/16,1000,,,\n")).readings_digest == before
