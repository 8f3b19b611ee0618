"""The cut list: which piece of tube each length is cut from, with the least that is thrown away.

A cutting-stock problem of a shop's size, solved exactly: every length is set against every
piece on hand, so that nothing is lost to a rule of thumb.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from bendcal.cut_model import best_bars, rest_mm, waste_mm

__all__ = ["USABLE_MM", "Bar", "Cut", "CutList", "CutPiece", "cut_list"]

#: A rest of this length or more is kept: it still makes an offcut to bend [mm] (common practice).
USABLE_MM = 200.0


class Bar(NamedTuple):
    """A piece of tube on hand: its name and its length [mm]."""

    piece: str
    length_mm: float


@dataclass(frozen=True)
class Cut:
    """A length to be cut.

    Parameters
    ----------
    name : what it is for
    length_mm : the spare tube for the trim included [mm]
    practice : whether it is for practice; lines come first where tube is short
    """

    name: str
    length_mm: float
    practice: bool = False

    def __post_init__(self) -> None:
        if not (np.isfinite(self.length_mm) and self.length_mm > 0):
            raise ValueError(f"Cut {self.name!r}: its length is {self.length_mm} mm; it must be more than 0.")


@dataclass(frozen=True)
class CutPiece:
    """One piece of tube and what is cut from it, the longest first.

    Attributes
    ----------
    piece, length_mm : which one, and how long it is [mm]
    cuts : what is cut from it
    kerf_mm : what each cut of the saw takes [mm]
    usable_mm : the least rest that is kept [mm]
    """

    piece: str
    length_mm: float
    cuts: tuple[Cut, ...]
    kerf_mm: float
    usable_mm: float

    @property
    def rest_mm(self) -> float:
        """What is left of it [mm]."""
        return rest_mm(self.length_mm, [cut.length_mm for cut in self.cuts], self.kerf_mm)

    @property
    def waste_mm(self) -> float:
        """What is left of it and too short to be kept [mm]."""
        return waste_mm(self.rest_mm, self.usable_mm)

    @property
    def sentence(self) -> str:
        """What to cut from it, in words."""
        cuts = _listed(self.cuts)
        if self.rest_mm < 0.05:
            rest = "nothing is left"
        else:
            rest = f"{self.rest_mm:.1f} mm are left, {'too short to keep' if self.waste_mm else 'to be kept'}"
        return f"From {self.piece} ({self.length_mm:g} mm): {cuts}; {rest}."


@dataclass(frozen=True)
class CutList:
    """What is cut from what.

    Attributes
    ----------
    pieces : the pieces that are cut into, in the order of the stock
    missing : what no piece is left for, in the order in which it was asked for
    kept : the names of the pieces that stay whole
    kerf_mm, usable_mm : as they were given [mm]
    proven : whether it is certain that no other way of cutting is better
    """

    pieces: tuple[CutPiece, ...]
    missing: tuple[Cut, ...]
    kept: tuple[str, ...]
    kerf_mm: float
    usable_mm: float
    proven: bool

    @property
    def waste_mm(self) -> float:
        """All that is left and too short to be kept [mm]."""
        return float(sum(piece.waste_mm for piece in self.pieces))

    @property
    def missing_mm(self) -> float:
        """How much tube there is too little of [mm], what a saw takes left out."""
        return float(sum(cut.length_mm for cut in self.missing))

    @property
    def sentences(self) -> tuple[str, ...]:
        """The list in words, one sentence a piece; then what is missing and what is thrown away."""
        said = [piece.sentence for piece in self.pieces]
        if self.missing:
            said.append(f"No piece on hand is left for {_listed(self.missing)}.")
        if self.pieces:
            lost = f"{self.waste_mm:.1f} mm are thrown away: rests shorter than {self.usable_mm:g} mm."
            said.append(lost if self.waste_mm else "No rest is thrown away.")
        if not self.proven:
            said.append("There was no time to prove that nothing is better than this way of cutting.")
        return tuple(said)


def _listed(cuts: Sequence[Cut]) -> str:
    """Cuts in words; those alike are counted."""
    alike = Counter((cut.length_mm, cut.name) for cut in cuts)
    return ", ".join(f"{f'{count} × ' if count > 1 else ''}{length:.1f} mm for {name}" for (length, name), count in alike.items())


def cut_list(
    on_hand: Sequence[Bar], cuts: Sequence[Cut], *, kerf_mm: float = 0.0, usable_mm: float = USABLE_MM, time_limit_s: float = 20.0
) -> CutList:
    """Which piece of one tube each length is cut from.

    Of all ways of cutting that one is taken which, in this order: leaves the least length of
    lines uncut, then of practice pieces; throws the least away (a rest of `usable_mm` or more is
    kept); cuts into the fewest pieces; and into the shorter ones.

    Parameters
    ----------
    on_hand : the pieces of this tube; alike ones each by a name of its own
    cuts : what is to be cut
    kerf_mm : what one cut of the saw takes [mm]; a rolling cutter takes nothing. Where a piece is
        used up to its end the last cut falls away
    usable_mm : the least rest that is worth keeping [mm]
    time_limit_s : after so long [s] the best found so far is taken, and said to be unproven

    Returns
    -------
    CutList

    Raises
    ------
    ValueError : for a length that is not positive, or a kerf or least rest below 0

    Source: the assignment form of the cutting-stock problem, L. V. Kantorovich, Management
    Science 6 (1960) 366 (secondary), solved by the branch and bound of ``scipy.optimize.milp``.

    Examples
    --------
    >>> plan = cut_list([Bar("rack 1", 1000.0), Bar("rack 2", 700.0)], [Cut("clutch", 690.0), Cut("brake", 650.0)])
    >>> for sentence in plan.sentences:
    ...     print(sentence)
    From rack 1 (1000 mm): 650.0 mm for brake; 350.0 mm are left, to be kept.
    From rack 2 (700 mm): 690.0 mm for clutch; 10.0 mm are left, too short to keep.
    10.0 mm are thrown away: rests shorter than 200 mm.
    """
    if not (np.isfinite(kerf_mm) and kerf_mm >= 0):
        raise ValueError(f"kerf_mm is {kerf_mm}; what a saw takes is 0 mm or more.")
    if not (np.isfinite(usable_mm) and usable_mm >= 0):
        raise ValueError(f"usable_mm is {usable_mm}; the least rest worth keeping is 0 mm or more.")
    for bar in on_hand:
        if not (np.isfinite(bar.length_mm) and bar.length_mm > 0):
            raise ValueError(f"Piece {bar.piece!r}: its length is {bar.length_mm} mm; it must be more than 0.")
    bars, cuts = list(on_hand), list(cuts)
    proven, of = True, np.full(len(cuts), -1)
    if bars and cuts:
        length, practice = np.array([cut.length_mm for cut in cuts], float), np.array([cut.practice for cut in cuts], bool)
        stock = np.array([bar.length_mm for bar in bars], float)
        of, proven = best_bars(length, stock, practice, kerf_mm=kerf_mm, usable_mm=usable_mm, time_limit_s=time_limit_s)
    pieces, kept = [], []
    for j, bar in enumerate(bars):
        mine = sorted((cut for i, cut in enumerate(cuts) if of[i] == j), key=lambda cut: -cut.length_mm)
        if mine:
            pieces.append(CutPiece(bar.piece, float(bar.length_mm), tuple(mine), kerf_mm, usable_mm))
        else:
            kept.append(bar.piece)
    missing = tuple(cut for i, cut in enumerate(cuts) if of[i] < 0)
    return CutList(tuple(pieces), missing, tuple(kept), kerf_mm, usable_mm, proven)
