"""What a command tells of its shop beside its own work: first what looks wrong, last what was left out."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from bendcal.calibration import Calibration, calibrate
from bendcal.faults import Caution, Fault
from bendcal.files import read_shop
from bendcal.layout import paragraph
from bendcal.shop import Shop

__all__ = ["Notices", "print_list"]


def print_list(heading: str, sentences: Sequence[str]) -> None:
    """Sentences below a heading, with a blank line after them; nothing at all where there are none.

    Examples
    --------
    >>> print_list("To buy:", ["a coil"]), print_list("To know:", [])
    To buy:
      - a coil
    <BLANKLINE>
    (None, None)
    """
    if sentences:
        print(heading)
        for sentence in sentences:
            print(paragraph(sentence, first="  - "))
        print()


class Notices:
    """The shop of one command, and what is still to be said of it.

    What no law is learnt from may have faults: that part is left out, the job that needs it stops, and no other. What
    stops the job is told as that alone, and not as left out as well.
    """

    def __init__(self) -> None:
        self._left_out: list[tuple[Caution, tuple[Fault, ...]]] = []

    def shop(self, folder: str) -> Shop:
        """The shop; all that looks wrong in it is printed first.

        Parameters
        ----------
        folder : the shop folder

        Raises
        ------
        ShopFaults : as :func:`bendcal.read_shop`
        """
        shop = read_shop(folder, whole=False)
        aside = {_place(faults[0]): faults for faults in shop.unread.values()}
        self._left_out = [(each, aside[_place(each)]) for each in shop.cautions if _place(each) in aside]
        print_list("Looks wrong; see whether it is:", [each.sentence for each in shop.cautions if _place(each) not in aside])
        return shop

    def read(self, folder: str) -> tuple[Shop, Calibration]:
        """The shop and what its offcuts teach.

        The fit takes a moment only, so it is made afresh each time: a stored one could be of
        older readings.

        Parameters
        ----------
        folder : the shop folder
        """
        shop = self.shop(folder)
        return shop, calibrate(shop)

    def finish(self, told: Iterable[Fault] = ()) -> None:
        """Print what was left out, once the job is done or has stopped.

        Parameters
        ----------
        told : the faults that stopped it, and are told by themselves
        """
        told = set(told)
        left = [caution.sentence for caution, faults in self._left_out if not told.issuperset(faults)]
        if left:
            print()
        print_list("Left out, because it cannot be read as it is:", left)


def _place(remark: Caution | Fault) -> tuple:
    return remark.file, remark.row, remark.column, remark.found
