"""What stands in a tube's way: the bender's own body and its bench, and obstacles near a line.

**The bender's frame.** A body is measured where the die is, with the dial at 0 and straight tube
in the groove. The origin lies on the die's axis, level with the middle of the tube. x runs along the
straight tube, from the part that is held to the part that swings; y runs square to it, from the
tube towards the die's axis; z runs along the die's axis so that the tube bends anticlockwise when
looked at from where z is positive (x, y and z are right-handed: x to the right and y away from
you on the bench, z is up). The tube's centreline lies at y = −die radius, z = 0.

    y ^      die's axis at (0, 0)
      |    .---.
      |   (  +  )       the part that swings ends up here, going round anticlockwise
      |    `---´
      +--===========================--> x      tube, at y = −die radius
         held   |   swings (lever)

With feed A it is end A's side that is held, with feed B end B's: see `marks`.
"""

from __future__ import annotations

from dataclasses import dataclass

from bendcal.solids import Solid

__all__ = ["MOVES", "BenderBody", "Obstacle"]

#: What a body of a bender may move with: the die and the part of the tube that is held, or the lever
#: and the part that swings (a bench too, where the lever stands still and the die is turned).
MOVES = ("die", "lever")


@dataclass(frozen=True, eq=False)
class BenderBody:
    """One body of a bender, or of what the bender is held in.

    Parameters
    ----------
    bender : the name of the bender
    body : what it is called: plate, handle, vice, bench
    solid : its shape and place, in the bender's frame with the dial at 0
    moves : ``die`` or ``lever``, see :data:`MOVES`
    grip_mm : tube this near to the bend, along the tube, is not held against the body, because it
        lies in the bender there [mm]; None for the bender's own shortest straight
    note : free text

    Raises ValueError where `moves` is neither, or the grip is negative.

    >>> BenderBody("small", "bench", Solid("wall", (0, 0, -60), (0, 0, 0))).moves
    'die'
    """

    bender: str
    body: str
    solid: Solid
    moves: str = "die"
    grip_mm: float | None = None
    note: str = ""

    def __post_init__(self) -> None:
        if self.moves not in MOVES:
            raise ValueError(f"Body {self.body!r}: moves is {self.moves!r}; it must be {' or '.join(MOVES)}.")
        if self.grip_mm is not None and not self.grip_mm >= 0:
            raise ValueError(f"Body {self.body!r}: grip_mm is {self.grip_mm}; it must be 0 or more, or left blank.")


@dataclass(frozen=True, eq=False)
class Obstacle:
    """One thing that lines must keep away from, where they are fitted.

    Parameters
    ----------
    obstacle : what it is called: exhaust, steering arm
    solid : its shape and place, in the coordinates of the line's nodes
    keep_mm : how far the tube's outside has to stay away [mm]
    why : why: hot, moving, sharp
    line : the line in whose coordinates it is given; blank for every line (where all share one origin)
    note : free text

    Raises ValueError where the distance is negative.

    >>> Obstacle("exhaust", Solid("cylinder", (0, 0, 0), (0, 500, 0), diameter_mm=45), 50, "hot").keep_mm
    50
    """

    obstacle: str
    solid: Solid
    keep_mm: float = 0.0
    why: str = ""
    line: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        if not self.keep_mm >= 0:
            raise ValueError(f"Obstacle {self.obstacle!r}: keep_mm is {self.keep_mm}; it must be 0 or more.")
