"""The kit's version, in a room of its own so that any room may name it."""

__version__ = "0.1.0"
