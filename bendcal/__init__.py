"""bendcal: learn what a hand tube bender really does, then mark the next line by it."""


from bendcal.calibration import Calibration, calibrate, load_calibration
from bendcal.compare import Comparison, compare
from bendcal.entries import append_offcut
from bendcal.estimate import Estimate
from bendcal.faults import ShopFaults
from bendcal.files import read_shop
from bendcal.law import Law
from bendcal.marks import MarkSheet, mark_out
from bendcal.version import __version__

__all__ = [
    "__version__", "Calibration", "Comparison", "Estimate", "Law", "MarkSheet", "ShopFaults",
    "calibrate", "append_offcut", "compare", "load_calibration", "mark_out", "read_shop",
]  # fmt: skip
