"""A calibration: the laws of a shop's benders with its tubes, and how the readings bear them out."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from math import inf, isfinite
from pathlib import Path

import numpy as np
import pandas as pd

from bendcal.atomic import write_atomically
from bendcal.blunders import find_blunders
from bendcal.bow import Bow
from bendcal.fit import NOISES, JointFit, fit_laws
from bendcal.law import PARAMETERS, Law
from bendcal.pieces import Pieces, pieces_of
from bendcal.prior import WIDTHS, Widths, pool_of
from bendcal.shop import Shop, UnknownName
from bendcal.version import __version__
from bendcal.waiting import long_work

__all__ = ["FORMAT", "Calibration", "calibrate", "load_calibration"]

FORMAT = 2


@dataclass(frozen=True, eq=False)
class Calibration:
    """What a shop's offcuts taught.

    Attributes
    ----------
    laws : (bender, tube) → Law
    residuals : one row a piece that counts: offcut, bender, tube, its dial and angle reading;
        reading − law for the angle [deg] and both legs [mm]; each reading − what all other
        pieces say, in units of its standard uncertainty (``z_…``); the chance that a reading
        of it is a blunder; leverage, from 0 (the piece taught nothing) to 1
    blunders : one sentence for each piece that the other readings do not believe
    cautions : one sentence for each law that is odd as a whole, or could not be given
    set_aside : (offcut, reason) of the pieces that do not count
    digest : SHA-256 of the readings that were used
    version : the package's version that made it
    reading_scale : how much wider than stated the tools' readings scatter, from the pieces
    joint : covariance of all laws together, their bows included, in the order of ``laws``; None where
        there are very many
    warm : what the next :func:`calibrate` may begin with

    Examples
    --------
    >>> Calibration({}, pd.DataFrame(), (), (), "", "0").law("small", "brake")
    Traceback (most recent call last):
    ...
    bendcal.shop.UnknownName: There is no law of bender 'small' with tube 'brake' yet: no offcut of that pair counts. Bend one marked offcut, enter it, and calibrate again. Known: none at all.
    """

    laws: Mapping[tuple[str, str], Law]
    residuals: pd.DataFrame
    blunders: tuple[str, ...]
    set_aside: tuple[tuple[str, str], ...]
    digest: str
    version: str
    reading_scale: float = 1.0
    cautions: tuple[str, ...] = ()
    joint: np.ndarray | None = None
    warm: np.ndarray | None = None

    def law(self, bender: str, tube: str) -> Law:
        """The law of `bender` with `tube`. Raises UnknownName where no offcut of that pair counts."""
        if (bender, tube) in self.laws:
            return self.laws[bender, tube]
        known = "; ".join(f"{b} with {t}" for b, t in self.laws) or "none at all"
        raise UnknownName(
            f"There is no law of bender {bender!r} with tube {tube!r} yet: no offcut of that pair counts. "
            f"Bend one marked offcut, enter it, and calibrate again. Known: {known}."
        )

    def covariance_between(self, first: tuple[str, str], second: tuple[str, str]) -> np.ndarray:
        """Covariance (6, 6) of the parameters and bows of two laws with one another, as `Law.spread` is of one.

        Zeros where there are too many laws to keep it: differences then look a little less
        certain than they are, never more.
        """
        one, two = (list(self.laws).index((self.law(*pair).bender, self.law(*pair).tube)) for pair in (first, second))
        if self.joint is None:
            return np.zeros((6, 6)) if one != two else self.laws[first].spread
        return self.joint[6 * one : 6 * one + 6, 6 * two : 6 * two + 6]

    def save(self, path: str | Path) -> None:
        """Write the calibration to `path` as JSON, whole or not at all.

        Raises
        ------
        OSError : where the file cannot be written; the sentence says why
        """
        laws = []
        for law in self.laws.values():
            facts = asdict(law)
            facts["parameters"] = dict(zip(PARAMETERS, map(float, law.parameters), strict=True))
            facts["covariance"] = law.covariance.to_numpy().tolist()
            facts["dof"] = law.dof if isfinite(law.dof) else None
            laws.append({name: value for name, value in facts.items() if name not in ("_numbers", "spread")})
        record = {
            "format": FORMAT, "version": self.version, "digest": self.digest, "laws": laws, "reading_scale": self.reading_scale,
            "blunders": list(self.blunders), "cautions": list(self.cautions), "joint": None if self.joint is None else self.joint.tolist(),
            "set_aside": [{"offcut": offcut, "reason": reason} for offcut, reason in self.set_aside],
            "residuals": self.residuals.astype(object).where(self.residuals.notna(), None).to_dict("records"),
        }
        write_atomically(path, (json.dumps(record, indent=1, ensure_ascii=False) + "\n").encode())

    def __str__(self) -> str:
        return "\n\n".join(str(law) for law in self.laws.values())

    __repr__ = __str__


@long_work
def calibrate(shop: Shop, *, widths: Widths = WIDTHS, warm: np.ndarray | None = None) -> Calibration:
    """Fit the law of every bender × tube that has an offcut which counts.

    Parameters
    ----------
    shop : what :func:`bendcal.read_shop` returned
    widths : what is believed before any offcut is bent
    warm : scales to begin with: ``warm`` of an earlier calibration of nearly the same shop

    Returns
    -------
    Calibration

    Raises
    ------
    ValueError : where no offcut counts, or the readings make a law that cannot be bent by
    """
    pairs = shop.pairs()
    if not pairs:
        aside = sum(not o.counts for o in shop.offcuts)
        found = f"all {aside} of them are set aside" if aside else "there are none"
        raise ValueError(f"No offcut counts ({found}). Bend a marked offcut, measure it, and enter it in offcuts.csv.")
    pieces = pieces_of(shop, pairs, widths)
    fit = fit_laws(pieces, pool_of(shop, pairs, widths), widths, warm=warm)
    laws, cautions, given = {}, [], []
    for k, pair in enumerate(pairs):
        try:
            laws[pair] = _law(shop, pair, k, pieces, fit, widths)
        except ValueError as error:
            cautions.append(str(error))
            continue
        given.append(k)
        cautions += _odd(laws[pair])
    if not laws:
        raise ValueError(" ".join(cautions))
    return Calibration(
        laws, _residuals(pieces, fit), tuple(blunder.sentence for blunder in find_blunders(pieces, fit)),
        tuple((o.offcut, o.set_aside) for o in shop.offcuts if not o.counts),
        shop.readings_digest, __version__, fit.scales[1], tuple(cautions),
        None if fit.joint is None else _joint(fit, given), fit.warm,
    )


def _joint(fit: JointFit, given: list[int]) -> np.ndarray:
    """Of the laws that could be given: covariance of all five numbers, and mean products of the bows, which nothing corrects for."""
    rows = (fit.p.shape[1] * np.array(given)[:, None] + np.arange(6)).ravel()
    joint = fit.joint[np.ix_(rows, rows)]
    joint[5::6, 5::6] += np.outer(fit.p[given, 5], fit.p[given, 5])
    return joint


def _law(shop: Shop, pair: tuple[str, str], k: int, pieces: Pieces, fit: JointFit, widths: Widths) -> Law:
    bender = shop.benders[pair[0]]
    mine = pieces.group == k
    # An angle or a dial that is a blunder covers nothing: a 9 typed for a 90 would stretch the range to where nobody bent.
    doubted = fit.chance[:, [0 in kind or 3 in kind for kind in NOISES]].sum(axis=1) > 0.5
    covering = mine & ~doubted if np.any(mine & ~doubted) else mine
    dial, angle = pieces.dial[covering], pieces.readings[covering, 0]
    return Law.of(
        *pair, fit.p[k, :5], fit.covariance[k, :5, :5], scatter_deg=fit.scatter_deg, marking_mm=widths.marking_sd_mm,
        dof=fit.dof, n_offcuts=int(mine.sum()), dial_range_deg=(float(dial.min()), float(dial.max())),
        angle_range_deg=(float(angle.min()), float(angle.max())),
        dial_step_deg=bender.dial_step_deg, dial_max_deg=bender.dial_max_deg, bow=fit.bow(k, pieces.bow_shape[pair[0]]),
    )


def _odd(law: Law) -> list[str]:
    """What no honest bender does, though the arithmetic allows it."""
    b, u = float(law.parameters["b"]), float(law.covariance.to_numpy()[1, 1]) ** 0.5
    if b - 2 * u > 1.0:
        return [
            f"{law.bender} with {law.tube}: each degree on the dial gives {b:.3f}° of bend, more than it shows; "
            "tube springs back, so it should be less. Were dial and finished angle exchanged all through?"
        ]
    return []


def _residuals(pieces: Pieces, fit: JointFit) -> pd.DataFrame:
    names = ("angle_deg", "leg_a_mm", "leg_b_mm")
    table = {key: [getattr(o, key) for o in pieces.offcuts] for key in ("offcut", "bender", "tube")}
    table |= {"dial_deg": pieces.dial, "reading_deg": pieces.readings[:, 0]}
    table |= {f"resid_{name}": fit.residual[:, i] for i, name in enumerate(names)}
    table |= {f"z_{name.rsplit('_', 1)[0]}": (pieces.readings - fit.expected)[:, i] / fit.expected_covariance[:, i, i] ** 0.5 for i, name in enumerate(names)}
    return pd.DataFrame(table | {"blunder_chance": 1.0 - fit.chance[:, 0], "leverage": fit.leverage})


class _WrongFormat(ValueError):
    """A calibration of another format: no damage, so not to be called one."""


def load_calibration(path: str | Path) -> Calibration:
    """Read what :meth:`Calibration.save` wrote.

    Parameters
    ----------
    path : the JSON file

    Returns
    -------
    Calibration

    Raises
    ------
    OSError : where the file cannot be read
    ValueError : where it is no calibration, or one of a newer format
    """
    path = Path(path)
    remake = "Calibrate the shop again to make a new one; its readings are safe in offcuts.csv."
    try:
        record = json.loads(path.read_text(encoding="utf-8"))
        version = record["format"]
        if version != FORMAT:
            raise _WrongFormat(f"{path.name} is of format {version}; this version reads format {FORMAT}. {remake}")
        laws = {}
        for facts in record["laws"]:
            facts = dict(facts)
            parameters = [facts["parameters"][name] for name in PARAMETERS]
            covariance = np.array(facts["covariance"], float)
            facts["dof"] = inf if facts["dof"] is None else facts["dof"]
            facts["bow"] = Bow(**{key: tuple(value) for key, value in facts["bow"].items()})
            for name in ("dial_range_deg", "angle_range_deg"):
                facts[name] = tuple(facts[name]) if facts[name] else None
            law = Law.of(parameters=parameters, covariance=covariance, **{
                key: value for key, value in facts.items() if key not in ("parameters", "covariance")
            })
            laws[law.bender, law.tube] = law
        aside = tuple((each["offcut"], each["reason"]) for each in record["set_aside"])
        residuals = pd.DataFrame(record["residuals"])
        # A column without a single reading comes back as nothing but None, and is one of numbers all the same.
        residuals = residuals.astype({name: float for name in residuals.columns if name not in ("offcut", "bender", "tube")})
        joint = None if record["joint"] is None else np.array(record["joint"], float)
        return Calibration(laws, residuals, tuple(record["blunders"]), aside, record["digest"], record["version"], record["reading_scale"], tuple(record["cautions"]), joint)
    except _WrongFormat:
        raise
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise ValueError(f"{path.name} is not a calibration that bendcal wrote ({type(error).__name__}). {remake}") from error
