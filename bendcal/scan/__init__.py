"""Offcuts read from a flatbed scan, or from a photo on a reference page. Imported by itself (``import bendcal.scan``): the kit does not need it to start."""

from bendcal.scan.decode import NotAScan
from bendcal.scan.photo import read_photo
from bendcal.scan.photos import read_photos
from bendcal.scan.piece import ScanReading
from bendcal.scan.reading import ScanReadings, read_scan

__all__ = ["NotAScan", "ScanReading", "ScanReadings", "read_photo", "read_photos", "read_scan"]
