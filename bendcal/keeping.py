"""The calibration that is kept in the shop folder, and what new offcuts say against it."""

from __future__ import annotations

from pathlib import Path

from bendcal.calibration import Calibration, load_calibration
from bendcal.drift import check_drift
from bendcal.shop import Shop

__all__ = ["KEPT", "keep", "news"]

KEPT = "calibration.json"


def keep(cal: Calibration, shop: Shop) -> Path:
    """Save a calibration in its shop's folder; returns the file.

    Parameters
    ----------
    cal : what :func:`bendcal.calibrate` returned
    shop : the shop that it is of, read from a folder

    Raises
    ------
    OSError : where the folder cannot be written to
    """
    path = shop.folder / KEPT
    cal.save(path)
    return path


def news(shop: Shop) -> tuple[str, ...]:
    """What the offcuts that are new since the last calibration say of it, one sentence a bender × tube.

    Parameters
    ----------
    shop : the shop as it is now

    Returns
    -------
    Sentences; none where nothing is new, where nothing is kept yet, or where what is kept cannot
    be read any more, by a version that keeps it otherwise

    Examples
    --------
    >>> news(Shop())
    ()
    """
    path = None if shop.folder is None else shop.folder / KEPT
    if path is None or not path.is_file():
        return ()
    try:
        kept = load_calibration(path)
    except ValueError:  # it is about to be made anew from the readings, which are what counts
        return ()
    return tuple(drift.sentence for drift in check_drift(kept, shop))
