"""bendcal: learn what a hand tube bender really does, then mark the next line by it."""

__version__ = "0.1.0"
