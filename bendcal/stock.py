"""Tube on hand: coils and straight lengths, each with what is left of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

__all__ = ["SHAPES_ON_HAND", "StockLength", "on_hand_mm"]

SHAPES_ON_HAND = ("coil", "straight")


@dataclass(frozen=True)
class StockLength:
    """One coil or straight length of tube on hand, or several that are alike.

    Parameters
    ----------
    piece : the name that is written on it
    tube : the tube's name in the shop
    length_mm : what is left of it [mm], of one if there are several
    form : one of :data:`SHAPES_ON_HAND`
    count : how many there are; 0 when it is used up
    note : free text

    Raises
    ------
    ValueError : where the length is not positive, the form unknown, or the count no whole number

    Examples
    --------
    >>> StockLength("rack 1", "brake", 1000.0, count=2).count
    2
    """

    piece: str
    tube: str
    length_mm: float
    form: str = "straight"
    count: int = 1
    note: str = ""

    def __post_init__(self) -> None:
        if not self.length_mm > 0:
            raise ValueError(f"Piece {self.piece!r}: its length is {self.length_mm} mm; it must be more than 0.")
        if self.form not in SHAPES_ON_HAND:
            raise ValueError(f"Piece {self.piece!r}: form {self.form!r} is none of {', '.join(SHAPES_ON_HAND)}.")
        if self.count != int(self.count) or self.count < 0:
            raise ValueError(f"Piece {self.piece!r}: the count is {self.count:g}; it must be a whole number, 0 or more.")
        object.__setattr__(self, "count", int(self.count))

    @property
    def names(self) -> tuple[str, ...]:
        """A name for each of them: ``rack 1``, or ``rack 1 (1 of 2)`` and ``rack 1 (2 of 2)``."""
        if self.count == 1:
            return (self.piece,)
        return tuple(f"{self.piece} ({k} of {self.count})" for k in range(1, self.count + 1))


def on_hand_mm(stock: Sequence[StockLength], tube: str) -> float:
    """How much of one tube there is altogether [mm].

    Examples
    --------
    >>> on_hand_mm([StockLength("a", "t", 500.0, count=2), StockLength("b", "u", 100.0)], "t")
    1000.0
    """
    return float(sum(each.length_mm * each.count for each in stock if each.tube == tube))
