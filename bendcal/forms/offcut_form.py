"""The form for offcuts: typed, understood, asked, recorded, and taught by at once."""

from __future__ import annotations

import os
import time
from collections.abc import Callable

import ipywidgets as widgets

from bendcal.beginning import practice_copy
from bendcal.entries import set_aside
from bendcal.files import is_sample
from bendcal.forms.boxes import Boxes, button
from bendcal.forms.chord_values import CHORD
from bendcal.forms.earlier import EarlierPieces
from bendcal.forms.lesson import Lesson
from bendcal.forms.offcut_values import NAMES, OffcutValues
from bendcal.forms.pressing import Pressing
from bendcal.forms.saying import Notices, heading, small
from bendcal.forms.shop_now import ShopNow
from bendcal.forms.sketch import EXAMPLE_TUBE, Sketch
from bendcal.forms.telling import CALIPER_HOW, CHORD_HOW, HINTS, HOW, SAMPLE_STAYS, clock, count_of, in_words, listening
from bendcal.forms.watching import watch
from bendcal.offcuts import CROSSINGS, Offcut

__all__ = ["OffcutForm"]

_MAIN = ("bender", "tube", "length_mm", "mark_mm", "dial_deg", "angle_deg", "leg_a_mm", "leg_b_mm")
_STAYS, _SELDOM = ("legs_to", "angle_tool", "length_tool"), ("offcut", "note", "set_aside")
_CALIPER = ("smallest_mm", "largest_mm")
_CLEARED = (*_MAIN[2:], *_CALIPER, *_SELDOM, "reach_mm", "chord_mm")  # after recording; the others stay for the next piece
_FIRST = "length_mm"
_SAME_WITHIN_S = 60.0
_TAKEN_BACK = "taken back right after it was entered"


class OffcutForm:
    """Boxes for one offcut, what the pieces teach, and the pieces so far.

    Parameters
    ----------
    folder : the shop folder
    bender, tube : what to begin with; the last piece's where blank or not in the shop
    seconds : a clock that only goes forward

    Attributes
    ----------
    widget : what a notebook shows
    """

    def __init__(self, folder: str | os.PathLike[str], bender: str = "", tube: str = "", *, seconds: Callable[[], float] = time.monotonic) -> None:
        self.now, self.seconds = ShopNow(folder), seconds
        self.notices, self.lesson = Notices(), Lesson()
        self.pressing = Pressing(self.notices, lambda: self.now.folder, self._lock, lambda key: self.boxes[key or _FIRST].focus(), self._after)
        lists = {name: () for name in ("bender", "tube", "angle_tool", "length_tool", "chord_tool")} | {"legs_to": CROSSINGS}
        self.boxes = Boxes(NAMES, lists=lists, hints=HINTS)
        safe = self.pressing.safe
        self.record = button("Record", self._press(self._record), main=True)
        self.back = button("Take the last one back", self._press(self._take_back))
        self.leave = button("Leave it as it is", safe(self._leave))
        self.read = button("Read the folder again", safe(lambda: self._refresh(tell=True)))
        self.practise = button("Practise on a copy", safe(self._practise))
        self.earlier = EarlierPieces(
            self._press(self._correct), self._press(self._aside), self._press(self._again)
        )
        self.boxes.on_typed(safe(self._typed))
        self.boxes.on_enter(self._press(self._record))
        self.sketch = Sketch(safe(self._draw))
        self.place = widgets.HTML()
        self.widget = widgets.VBox([
            self.place, self.boxes.column(*_MAIN), widgets.HBox([self.record, self.leave, self.back, self.read, self.practise]),
            self.notices.widget, widgets.HTML(heading("The angle by a chord, where you have a caliper") + small(CHORD_HOW)), self.boxes.column(*CHORD),
            self.sketch.widget, widgets.HTML(heading("How flat the bend is, where you have a caliper") + small(CALIPER_HOW)), self.boxes.column(*_CALIPER),
            widgets.HTML(heading("Seldom changed")),
            widgets.HBox([self.boxes.column(*_STAYS), self.boxes.column(*_SELDOM)], layout=widgets.Layout(flex_flow="row wrap")),
            self.lesson.widget, self.earlier.widget, self.pressing.echo.widget,
        ])  # fmt: skip
        self.widget.add_class("bendcal-offcut-form")
        self.correcting, self._pointing = "", False
        self._confirmed: OffcutValues | None = None
        self._last: list[tuple[str, OffcutValues, float]] = []
        safe(lambda: self._begin(bender, tube))()
        self.look = watch("offcuts", lambda: self.now, lambda: self.pressing.echo.waiting, safe(self._refresh))

    # --- what stands in the boxes ---

    @property
    def values(self) -> OffcutValues:
        """What is typed at the moment."""
        return OffcutValues(**self.boxes.texts)

    @property
    def pair(self) -> tuple[str, str]:
        """Bender and tube as understood; blank where they are not."""
        told = self.values.understood(self.now.shop)
        return str(told["bender"].value or ""), str(told["tube"].value or "")

    def _begin(self, bender: str, tube: str) -> None:
        shop = self.now.shop
        last = shop.offcuts[-1] if shop and shop.offcuts else None
        known = [o for o in shop.offcuts if (o.bender, o.tube) == (bender, tube)] if shop else []
        last = known[-1] if known else last
        benders, tubes = self.now.names("bender"), self.now.names("tube")
        begin = {
            "bender": bender if bender in benders else last.bender if last else (benders or [""])[0],
            "tube": tube if tube in tubes else last.tube if last else (tubes or [""])[0],
            "legs_to": last.legs_to if last else "", "angle_tool": last.angle_tool if last else "", "length_tool": last.length_tool if last else "",
        }  # fmt: skip
        self.boxes.fill(begin)
        self._refresh(always=True)

    def _refresh(self, *, always: bool = False, tell: bool = False) -> None:
        """Show the shop as it is on the disk; somebody else may have written into it."""
        changed = self.now.look()
        sample = is_sample(self.now.folder)
        self.practise.layout.display = None if sample else "none"
        self.leave.layout.display = None if self.correcting else "none"
        self.back.disabled = not self._last
        self.record.description = f"Record instead of {self.correcting}" if self.correcting else "Record"
        self.place.value = small(SAMPLE_STAYS if sample else f"Readings go to {self.now.folder / 'offcuts.csv'}") + small(HOW)
        if changed or always:
            for noun in ("bender", "tube"):
                self.boxes.choose_from(noun, self.now.names(noun))
            tools = self.now.shop.tools.values() if self.now.shop else ()
            for kind in ("angle", "length"):
                self.boxes.choose_from(f"{kind}_tool", [tool.tool for tool in tools if tool.measures == kind])
            self.boxes.choose_from("chord_tool", [tool.tool for tool in tools if tool.measures == "length"])
        told = self.values.understood(self.now.shop)
        self.boxes.show(told)
        self.earlier.show(self.now, *self.pair)
        if tell:
            self.notices.say("done", f"{clock()}. {count_of(self.now.shop)}")
        if all(self.pair) or self.now.shop is None:
            self.lesson.show(self.now, *self.pair)

    def _typed(self) -> None:
        self.notices.clear("blocked", "asked")
        self._refresh()

    # --- what is pressed ---

    def _draw(self) -> None:
        """Draw what stands in the boxes, and an invented piece's numbers where nothing does."""
        self.now.look()
        told = self.values.understood(self.now.shop)
        if wrong := [f"{NAMES[name]}: {each.wrong}" for name, each in told.items() if each.wrong]:
            self.notices.say("blocked", *wrong, first="Nothing to draw. ")
            return
        self.notices.clear("blocked")
        shop, (bender, tube) = self.now.shop, self.pair
        self.now.learn()
        law = self.now.law(bender, tube)
        known = shop.tubes.get(tube, EXAMPLE_TUBE) if shop else EXAMPLE_TUBE
        self.sketch.show(told, known, float(law.parameters["radius_mm"]) if law else None)

    def _press(self, does: Callable[[], str | None]) -> Callable[[], None]:
        """A handler that does it when all that was typed has arrived."""
        def doing() -> str | None:
            self._pointing = False
            return does()

        return self.pressing.on_press(doing)

    def _after(self) -> None:
        if not self._pointing:
            self._refresh()

    def _lock(self, locked: bool) -> None:
        self.boxes.lock(locked)
        self.earlier.lock(locked)
        for each in (self.record, self.leave, self.read, self.practise, self.sketch.button):
            each.disabled = locked
        self.back.disabled = locked or not self._last

    def _record(self) -> str | None:
        """Record what is typed; returns the box that needs attention."""
        self.notices.clear()
        self.now.look()
        values, sample = self.values, is_sample(self.now.folder)
        if blocked := (((SAMPLE_STAYS, ()),) if sample else values.blocked(self.now.shop)):
            self.notices.say("blocked", *(sentence for sentence, _ in blocked), first="Not recorded. ")
            return self._point_at("✗ in the way: see below", blocked)
        self.now.learn()
        asked = (*self._repeated(values), *values.asked(self.now.shop, self.now.law(*self.pair)))
        if asked and values != self._confirmed:
            self._confirmed = values
            again = "If it is so, press Enter once more. It is not recorded yet."
            self.notices.say("asked", *(sentence for sentence, _ in asked), again)
            return self._point_at("? look again: see below", asked)
        piece, told = listening(lambda: values.record(self.now.folder, self.now.shop, instead_of=self.correcting))
        self._last.append((piece.offcut, values, self.seconds()))
        instead = f" instead of {self.correcting}" if self.correcting else ""
        self._confirmed, self.correcting = None, ""
        self.boxes.fill(dict.fromkeys(_CLEARED, ""))
        self.sketch.clear()
        self.now.look()
        kept = f"{in_words(piece)}. Write {piece.offcut} on the piece. {count_of(self.now.shop)}"
        self.notices.say("done", kept, first=f"{clock()}. Recorded as {piece.offcut}{instead}: ")
        self.notices.say("asked", *told)
        return _FIRST

    def _repeated(self, values: OffcutValues) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """Whether the very same was recorded a moment ago."""
        for name, before, when in self._last[-1:]:
            if before == values and self.seconds() - when < _SAME_WITHIN_S:
                same = f"The very same readings were recorded {self.seconds() - when:.0f} s ago as {name}. Is this a second piece?"
                return ((same, _MAIN[2:]),)
        return ()

    def _point_at(self, words: str, said: tuple[tuple[str, tuple[str, ...]], ...]) -> str:
        """Point at the boxes that it is about; returns the first of them."""
        keys = [key for _, about in said for key in about]
        misread = {key for key, each in self.values.understood(self.now.shop).items() if each.wrong}
        self.boxes.point_at(words, [key for key in keys if key not in misread])
        self._pointing = True
        return next((key for key in self.boxes if key in keys), _FIRST)

    def _take_back(self) -> None:
        name, values, _ = self._last[-1]
        self._may_write()
        set_aside(self.now.folder, name, _TAKEN_BACK)
        self._last.pop()
        self.boxes.fill(vars(values))
        self.notices.clear()
        self.notices.say("done", f"{clock()}. {name} is taken back: it stays in the log, set aside. Its readings stand in the boxes again.")

    def _correct(self) -> None:
        piece = self._piece_meant()
        if piece is None:
            return
        self._may_write()
        self.boxes.fill(vars(OffcutValues.of(piece)))
        self.correcting = piece.offcut
        self.earlier.clear()
        self.notices.clear()
        self.notices.say("asked", f"The readings of {piece.offcut} stand in the boxes. Put right what is wrong, then press Enter.", first="")

    def _leave(self) -> None:
        self.boxes.fill(dict.fromkeys(_CLEARED, ""))
        self.notices.clear()
        self.notices.say("done", f"{clock()}. {self.correcting} is as it was. {count_of(self.now.shop)}")
        self.correcting = ""
        self._refresh()
        self.boxes[_FIRST].focus()

    def _aside(self) -> None:
        piece = self._piece_meant()
        if piece is None:
            return
        if not self.earlier.reason:
            self.notices.say("blocked", f"Write under “Because” why {piece.offcut} does not count. {piece.offcut} still counts.")
            return
        self._change(piece, self.earlier.reason, f"{piece.offcut} is set aside: {self.earlier.reason}.")

    def _again(self) -> None:
        piece = self._piece_meant()
        if piece is not None:
            self._change(piece, "", f"{piece.offcut} counts again.")

    def _change(self, piece: Offcut, reason: str, done: str) -> None:
        self._may_write()
        set_aside(self.now.folder, piece.offcut, reason)
        self.now.look()
        self.earlier.clear()
        self.notices.clear()
        self.notices.say("done", f"{clock()}. {done} {count_of(self.now.shop)}")

    def _piece_meant(self) -> Offcut | None:
        self.now.look()
        meant = self.earlier.piece
        if self.now.shop is not None and meant.value:
            return next(o for o in self.now.shop.offcuts if o.offcut == meant.value)
        self.notices.say("blocked", meant.wrong or "Write the name of the piece under “Piece” first.")
        return None

    def _practise(self) -> None:
        self.now = ShopNow(practice_copy(self.now.folder))
        self.notices.clear()
        self._refresh(always=True)
        self.notices.say("done", f"You practise on a copy of the sample, {self.now.folder}. Delete it whenever you like. {count_of(self.now.shop)}")

    def _may_write(self) -> None:
        if is_sample(self.now.folder):
            raise ValueError(SAMPLE_STAYS)
