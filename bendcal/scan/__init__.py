"""Offcuts read from a flatbed scan. Imported by itself (``import bendcal.scan``): the kit does not need it to start."""

from bendcal.scan.decode import NotAScan
from bendcal.scan.piece import ScanReading
from bendcal.scan.reading import ScanReadings, read_scan

__all__ = ["NotAScan", "ScanReading", "ScanReadings", "read_scan"]
