"""The page that draws a scene and lets it be turned: by mouse, finger, keys or buttons, with nothing from outside it.

It goes into a notebook as a frame of its own: what is pressed in it reaches no shortcut of the page around it, and it
turns without a kernel. A notebook that is not trusted drops frames; there the still picture before it is seen.
"""

from __future__ import annotations

import base64
import json
import os
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from pathlib import Path

from bendcal.atomic import write_atomically
from bendcal.bodies import Obstacle
from bendcal.clearance import Clearances
from bendcal.figures.bent_line import views
from bendcal.figures.paper import Picture
from bendcal.landing import landing_of
from bendcal.marks import MarkSheet
from bendcal.supports import supports_for
from bendcal.turntable.scene import LineScene, line_scene

__all__ = ["Turntable", "turntable"]

_HERE = Path(__file__).resolve().parent
_HEIGHT_PX = 640

_BUTTONS = (
    ("left", "Turn left"), ("right", "Turn right"), ("up", "From higher"), ("down", "From lower"), ("nearer", "Nearer"), ("further", "Further"),
    ("front", "Front"), ("above", "Above"), ("side", "Side"), ("quarter", "Three-quarter"),
)  # fmt: skip
_HOW = "Drag to turn it, or press the arrow keys in the picture; + and − go nearer and further, Shift with an arrow or a drag moves it, Home goes back."


@dataclass(frozen=True, eq=False)
class Turntable:
    """A line that can be turned; a notebook shows it when it is a cell's last value.

    Attributes
    ----------
    scene : what is drawn
    still : the picture for where nothing can be turned
    """

    scene: LineScene
    still: Picture

    def html(self) -> str:
        """A whole page, complete in itself: no other file and no network."""
        scene, words = self.scene, "".join(f"<li>{escape(each)}</li>" for each in self.scene.sentences)
        buttons = "".join(f'<button type="button" data-does="{does}">{name}</button>' for does, name in _BUTTONS)
        numbers = json.dumps(scene.numbers(), separators=(",", ":")).replace("<", "\\u003c")
        return (
            f'<!doctype html><html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width"><title>{escape(scene.title)}</title>'
            f"<style>{_part('turntable.css')}</style></head><body><h1>{escape(scene.title)}</h1>"
            f'<canvas id="view" tabindex="0" role="img" aria-label="{escape(self.still.alt, quote=True)}" aria-describedby="how told"></canvas>'
            f'<div class="buttons">{buttons}</div><p id="told" role="status" class="soft"></p><p id="how" class="soft">{_HOW}</p>'
            f'<p class="soft">{escape(_key(scene))}</p><details><summary>The line in words</summary><ul>{words}</ul></details>'
            f'<script id="scene" type="application/json">{numbers}</script><script>{_part("turntable.js")}</script></body></html>'
        )

    def save(self, path: str | os.PathLike[str]) -> Path:
        """Write the page to a file that any browser opens, on a telephone beside the vehicle too; returns where.

        Parameters
        ----------
        path : the file, such as ``brake-rear.html``

        Raises
        ------
        OSError : where it cannot be written
        """
        path = Path(path)
        write_atomically(path, self.html().encode())
        return path

    def _repr_mimebundle_(self, **_: object) -> dict[str, str]:
        png = base64.b64encode(self.still.png()).decode()
        # The page in the frame hides the picture before it; where the frame was dropped the picture stays.
        picture = f'<img src="data:image/png;base64,{png}" alt="{escape(self.still.alt, quote=True)}">'
        frame = f'<iframe srcdoc="{escape(self.html(), quote=True)}" title="{escape(self.scene.title, quote=True)}" style="width: 100%; height: {_HEIGHT_PX}px; border: 0"></iframe>'
        return {"text/html": picture + frame, "image/png": png, "text/plain": repr(self)}

    def __repr__(self) -> str:
        return f"<Turntable: {self.still.alt}>"


def turntable(sheet: MarkSheet, *, obstacles: Sequence[Obstacle] = (), clearances: Clearances | None = None, clips: bool = True) -> Turntable:
    """A marked line to be turned, with its fittings, clips, obstacles, and where each of its ends will fall.

    Parameters
    ----------
    sheet : what :func:`bendcal.mark_out` returned
    obstacles : what it must keep away from, such as ``shop.obstacles``
    clearances : how near it comes to them, from :func:`bendcal.clearance.obstacle_clearances`: said in its words
    clips : whether its clips are drawn where :func:`bendcal.supports.supports_for` puts them

    Raises
    ------
    LegTooShort : where the bends overlap
    """
    landings = [landing_of(sheet, end=end) for end in "AB"] if sheet.legs.bends else []
    said = [clearances.sentence] if clearances is not None else []
    scene = line_scene(sheet, obstacles=obstacles, supports=supports_for(sheet) if clips else None, landings=landings, sentences=said)
    return Turntable(scene, views(sheet.line, sheet.tube, radius_mm=float(sheet.law.parameters["radius_mm"])))


def _key(scene: LineScene) -> str:
    """What the signs mean, of those that are there."""
    kinds = {body.kind for body in scene.bodies}
    signs = [
        (True, "Ringed numbers: bends; filled letters: ends; darker tube: bends."),
        ("fitting" in kinds, "Nuts and ends are drawn simply, not to measure."),
        ("clip" in kinds, "Dark sleeves: clips."),
        (bool(scene.keep_aways), "Dotted: the distance to keep. What lies outside it in any one view keeps clear."),
        (bool(scene.ellipsoids), "Dashed, shaded: where that end falls, 19 times in 20, with the other end in its fitting."),
    ]  # fmt: skip
    return " ".join(sentence for there, sentence in signs if there)


def _part(name: str) -> str:
    return (_HERE / name).read_text(encoding="utf-8")
