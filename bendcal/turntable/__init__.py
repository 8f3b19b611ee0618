"""The finished line as a thing to turn in the hand: its scene as plain numbers, and a page that draws and turns it."""

from bendcal.turntable.page import Turntable, turntable
from bendcal.turntable.scene import LineScene, line_scene

__all__ = ["LineScene", "Turntable", "line_scene", "turntable"]
