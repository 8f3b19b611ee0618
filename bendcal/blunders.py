"""Blunders: pieces that the other readings do not believe, and what may have happened."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bendcal.fit import NOISES, JointFit
from bendcal.offcuts import Offcut
from bendcal.pieces import Pieces
from bendcal.slips import length_slip, swapped_digits, turn_slip

__all__ = ["Blunder", "find_blunders"]

#: A piece is named when the odds are even that one of its readings is a blunder.
_NAMED_FROM = 0.5

_ANGLE, _DIAL = (0,), (3,)

_NAMES = ("the angle", "leg A", "leg B", "the dial")


@dataclass(frozen=True)
class Blunder:
    """One piece in which a reading went wrong, by all that the other pieces say.

    Attributes
    ----------
    offcut : the piece
    readings : what disagrees: ``the angle``, ``leg A``, ``leg B``, ``the dial``
    times : how many standard uncertainties the worst of them is away from what all else says
    expected : what the other readings say it should have been [deg or mm]
    chance : probability that it is a blunder
    guess : what may have happened, as a question, or blank
    """

    offcut: Offcut
    readings: tuple[str, ...]
    times: float
    expected: tuple[float, ...]
    chance: float
    guess: str = ""

    @property
    def sentence(self) -> str:
        """What disagrees by how much, and the question to ask."""
        which = " and ".join(self.readings)
        verb = "disagrees" if len(self.readings) == 1 else "disagree"
        units = ["°" if name in ("the angle", "the dial") else " mm" for name in self.readings]
        wanted = " and ".join(f"{value:.1f}{unit}" for value, unit in zip(self.expected, units, strict=True))
        ask = f" {self.guess}" if self.guess else " Measure it again, or set it aside with the reason."
        return (
            f"Offcut {self.offcut.offcut}: {which} {verb} with the other readings by {self.times:.0f} times "
            f"{'its' if len(self.readings) == 1 else 'their'} uncertainty (they expect about {wanted}).{ask}"
        )

    def __str__(self) -> str:
        return self.sentence


def find_blunders(pieces: Pieces, fit: JointFit) -> tuple[Blunder, ...]:
    """The pieces of a fit that are more likely blunders than not.

    Parameters
    ----------
    pieces, fit : the offcuts and what was fitted to them

    Returns
    -------
    Blunders, in the pieces' order
    """
    found = []
    for i in np.flatnonzero(1.0 - fit.chance[:, 0] >= _NAMED_FROM):
        kind = 1 + int(np.argmax(fit.chance[i, 1:]))
        wrong = NOISES[kind]
        offcut = pieces.offcuts[i]
        off = _away(pieces.readings[i] - fit.expected[i], fit.expected_covariance[i])
        shown = _as_written(offcut, fit.expected[i])
        if wrong == _DIAL:
            # Where it may as well be the angle, an everyday slip in it is the likelier story.
            sd = np.sqrt(np.diag(fit.expected_covariance[i]))
            slip = _guess(offcut, _ANGLE, shown, sd, float(pieces.od_mm[i])) if fit.chance[i, NOISES.index(_ANGLE)] > 0.1 else ""
            if not slip:
                found.append(_wrong_dial(offcut, pieces, fit, i))
                continue
            wrong = _ANGLE
        found.append(Blunder(
            offcut, tuple(_NAMES[j] for j in wrong), float(max(abs(off[j]) for j in wrong)),
            tuple(shown[j] for j in wrong), float(1.0 - fit.chance[i, 0]),
            _guess(offcut, wrong, shown, np.sqrt(np.diag(fit.expected_covariance[i])), float(pieces.od_mm[i])),
        ))  # fmt: skip
    return tuple(found)


def _wrong_dial(offcut: Offcut, pieces: Pieces, fit: JointFit, i: int) -> Blunder:
    """A piece whose angle and legs agree with one another, and with another dial setting than the one noted."""
    a, b = fit.p[pieces.group[i], :2]
    dial = (offcut.angle_deg - a) / b
    u = float(np.hypot(fit.scatter_deg, fit.expected_covariance[i, 0, 0] ** 0.5)) / b
    guess, swapped = "", swapped_digits(offcut.dial_deg)
    if swapped is not None and abs(swapped - dial) <= 3.0 * u:
        guess = f"Were two digits swapped ({offcut.dial_deg:g} for {swapped:g})?"
    elif abs(offcut.dial_deg + 10 - dial) <= 3.0 * u or abs(offcut.dial_deg - 10 - dial) <= 3.0 * u:
        guess = f"Was the dial read 10° too {'low' if offcut.dial_deg < dial else 'high'}?"
    return Blunder(offcut, (_NAMES[3],), abs(offcut.dial_deg - dial) / u, (float(dial),), float(1.0 - fit.chance[i, 0]), guess)


def _away(off: np.ndarray, covariance: np.ndarray) -> np.ndarray:
    """How far each reading is from what the others say, the piece's own other readings among them, in its sd."""
    read = np.isfinite(off)
    precision = np.linalg.inv(covariance[np.ix_(read, read)])
    away = np.full(len(off), np.nan)
    away[read] = precision @ off[read] / np.sqrt(np.diag(precision))
    return away


def _as_written(offcut: Offcut, expected: Sequence[float]) -> tuple[float, float, float]:
    """Expected angle, leg A and leg B as a person would have written them."""
    return float(expected[0]), float(expected[1]) + offcut.mark_mm, float(expected[2]) + offcut.length_mm - offcut.mark_mm


def _guess(offcut: Offcut, wrong: tuple[int, ...], shown: tuple[float, ...], u: np.ndarray, od_mm: float) -> str:
    """The first everyday slip that would explain the reading within twice its uncertainty."""
    def fits(reading: int, value: float) -> bool:
        return abs(value - shown[reading]) <= 2.0 * u[reading] + 0.5

    legs = (offcut.leg_a_mm, offcut.leg_b_mm)
    if wrong == (0,):
        return turn_slip(offcut.angle_deg, shown[0], float(u[0]), signed=False)
    if None not in legs and fits(1, legs[1]) and fits(2, legs[0]):
        return "Were leg A and leg B exchanged?"
    # One crossing further out or in moves both legs by the same amount.
    beyond = od_mm / 2 * np.tan(np.radians(shown[0]) / 2)
    for word, share in _other_crossings(offcut.legs_to):
        if all(fits(j, legs[j - 1] - share * beyond) for j in wrong):
            return f"Was {'it' if len(wrong) == 1 else 'each'} measured to the {word}, not to the {offcut.legs_to}?"
    slips = (length_slip(legs[j - 1], shown[j], float(u[j])) for j in wrong)
    return next(filter(None, slips), "")


def _other_crossings(legs_to: str) -> tuple[tuple[str, float], ...]:
    """The crossings that were not meant, and how far beyond the meant one they lie, in shares of OD/2·tan(θ/2)."""
    place = {"inside": -1.0, "centre": 0.0, "outside": 1.0}
    return tuple((word, at - place[legs_to]) for word, at in place.items() if word != legs_to)
