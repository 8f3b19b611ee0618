"""Offcuts read from a flatbed scan, or from a photo on a reference page. Imported by itself (``import bendcal.scan``): the kit does not need it to start."""

from bendcal.scan.decode import NotAScan
from bendcal.scan.flat_pattern import pattern_on, read_flat_photos, read_flat_scan
from bendcal.scan.flat_reading import PatternReading
from bendcal.scan.photo import read_photo
from bendcal.scan.photos import read_photos
from bendcal.scan.piece import ScanReading
from bendcal.scan.reading import ScanReadings, read_scan

__all__ = [
    "NotAScan", "PatternReading", "ScanReading", "ScanReadings", "pattern_on", "read_flat_photos", "read_flat_scan", "read_photo", "read_photos", "read_scan",
]  # fmt: skip
