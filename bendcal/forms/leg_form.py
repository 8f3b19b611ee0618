"""The boxes for one leg or node after the other, and for what is wrong with one that is there."""

from __future__ import annotations

from collections.abc import Callable

import ipywidgets as widgets

from bendcal.entries import BEING_ENTERED, faults_of_shape, put_line_aside, put_shape
from bendcal.faults import ShopFaults
from bendcal.forms.boxes import Boxes, button
from bendcal.forms.line_part import LinePart
from bendcal.forms.line_shape import STEPS, said_of_line, step_name
from bendcal.forms.line_values import HINTS, LineStep
from bendcal.forms.open_line import OpenLine
from bendcal.forms.pressing import Pressing
from bendcal.forms.saying import heading, small
from bendcal.forms.telling import clock
from bendcal.forms.understood import Understood, understood_name

__all__ = ["LegForm"]

_WALK = {
    "legs": (
        "Walk along the line from end A: the leg to the next corner, the bend at its end, and how far its plane is turned from the last bend's "
        "(the first bend has no twist). The last leg ends at end B, with no bend. Enter records it."
    ),
    "nodes": "From the seat of end A to that of end B: where each corner's centre lines cross, in the vehicle's x, y and z. Enter records it.",
}


class LegForm(LinePart):
    """Records the rows of the open line, one at a time."""

    def __init__(self, opened: Callable[[], OpenLine], pressing: Pressing, may_write: Callable[[], None]) -> None:
        super().__init__(opened, pressing, may_write)
        self.steps = {kind: Boxes(names, hints=HINTS) for kind, names in STEPS.items()}
        self.pick = Boxes({"step": "Which one"}, lists={"step": ()}, hints={"step": "its number in the table"})
        press = pressing.on_press
        self.record = button("Record", press(self._record), main=True)
        self.leave = button("Leave it as it is", pressing.safe(self._leave))
        self.back = button("Take the last one back", press(self._take_back))
        self.complete = button("The line is complete", press(self._complete))
        self.more = button("Go on entering it", press(self._go_on))
        self.correct = button("Correct it", press(self._correct))
        self.before = button("Put one in before it", press(self._put_in))
        self.out = button("Take it out", press(self._take_out))
        for boxes in (*self.steps.values(), self.pick):
            boxes.on_typed(pressing.safe(self._typed))
        for boxes in self.steps.values():
            boxes.on_enter(press(self._record))
        self.words = widgets.HTML()
        self.wrong = widgets.VBox([
            widgets.HTML(heading("One that is wrong") + small("What stood there is kept in lines.history.csv.")), self.pick.widget,
            widgets.HBox([self.correct, self.before, self.out], layout=widgets.Layout(flex_flow="row wrap")),
        ])  # fmt: skip
        self.widget = widgets.VBox([
            self.words, *(boxes.widget for boxes in self.steps.values()),
            widgets.HBox([self.record, self.leave, self.back, self.complete, self.more], layout=widgets.Layout(flex_flow="row wrap")),
        ])  # fmt: skip
        self.place: int | None = None  # where the next record goes, if not to the end
        self.over = False
        self._confirmed: tuple = ()

    # --- what stands in the boxes ---

    @property
    def kind(self) -> str:
        """What the open line is given by."""
        rows = self.opened().rows
        return rows.kind if rows else "legs"

    @property
    def boxes(self) -> Boxes:
        """Those of that kind."""
        return self.steps[self.kind]

    @property
    def first(self) -> widgets.Text:
        """The box to begin in."""
        return self.boxes[next(iter(self.boxes))]

    @property
    def at(self) -> int:
        """Before which row the next record goes, from 0."""
        rows = self.opened().rows
        return len(rows.rows) if self.place is None and rows else self.place or 0

    @property
    def step(self) -> LineStep:
        """What is typed at the moment."""
        return LineStep(self.kind, self.boxes.texts, self.at + 1)

    def refresh(self) -> None:
        """Show boxes and buttons as the open line wants them."""
        opened, rows = self.opened(), self.opened().rows
        shown = rows is not None
        count = len(rows.rows) if rows else 0
        entering = shown and not opened.complete
        ended = bool(count) and self.kind == "legs" and not rows.texts[-1]["angle_deg"]  # at end B: nothing comes after it
        typing = (entering and not ended) or self.place is not None
        self.words.value = heading(f"The {self.kind} of {opened.name}") + (small(_WALK[self.kind]) if typing else "") if shown else ""
        for kind, boxes in self.steps.items():
            boxes.widget.layout.display = None if shown and kind == self.kind and typing else "none"
        name = step_name(self.kind, self.at + 1)
        self.record.description = f"Record {name}" if self.place is None or self.over else f"Put it in as {name}"
        for each, there in (
            (self.record, typing), (self.leave, self.place is not None), (self.back, entering and count),
            (self.complete, entering and count), (self.more, shown and opened.complete),
        ):  # fmt: skip
            each.layout.display = None if shown and there else "none"
        self.wrong.layout.display = None if count else "none"
        self.pick.choose_from("step", [str(k) for k in range(1, count + 1)])
        if shown:
            self.boxes.show(self.step.understood())

    def lock(self, locked: bool) -> None:
        """No typing and no pressing meanwhile."""
        for boxes in (*self.steps.values(), self.pick):
            boxes.lock(locked)
        for each in (self.record, self.leave, self.back, self.complete, self.more, self.correct, self.before, self.out):
            each.disabled = locked

    def clear(self) -> None:
        """Empty the boxes; the next record goes to the end."""
        self.place, self.over, self._confirmed = None, False, ()
        for boxes in self.steps.values():
            boxes.fill(dict.fromkeys(boxes, ""))
            boxes.show(dict.fromkeys(boxes, Understood()))
        self.pick.fill({"step": ""})
        self.pick.show({"step": Understood()})

    def _typed(self) -> None:
        self.pressing.notices.clear("blocked", "asked")
        if self.opened().rows is not None:
            self.boxes.show(self.step.understood())

    # --- what is pressed ---

    def _record(self) -> widgets.Text | None:
        notices, opened = self.pressing.notices, self.opened()
        notices.clear()
        self.may_write()
        opened.look()
        if opened.rows is None:
            raise ValueError("Begin a line first, or choose one: its name goes into the box “Line”.")
        step, how = self.step, {"place": self.at, "over": self.over}
        if opened.complete and self.place is None:
            notices.say("blocked", f"{opened.name} is complete. Press “Go on entering it” first.", first="Not recorded. ")
            return None
        if blocked := step.blockers(opened.now.folder, opened.name, opened.rows, **how):
            notices.say("blocked", *blocked, first="Not recorded. ")
            told = step.understood()
            return next((self.boxes[name] for name, box in STEPS[self.kind].items() if not told[name].fine or f", {box}: " in blocked[0]), self.first)
        opened.now.learn()
        asked = step.asked(opened.rows, **how, radius_mm=opened.radius_mm)
        if asked and (step, how) != self._confirmed:
            self._confirmed = (step, how)
            notices.say("asked", *asked, "If it is so, press Enter once more. It is not recorded yet.")
            return self.boxes[list(self.boxes)[1]] if self.kind == "legs" and not step.texts["angle_deg"].strip() else self.first
        rows = step.record(opened.now.folder, opened.name, opened.rows, self.at, over=self.over)
        told = f"{clock()}. Recorded as {step_name(self.kind, self.at + 1)} of {opened.name}: {LineStep.shown(rows, self.at)}."
        ends = self.kind == "legs" and not rows.texts[-1]["angle_deg"] and not opened.complete
        self.clear()
        opened.look()
        self.refresh()  # before the focus goes to a button that only now is shown
        notices.say("done", f"{told} It ends at end B: press “The line is complete” when all is right." if ends else told, first="")
        return self.complete if ends else self.first

    def _meant(self) -> int | None:
        """Which row is meant, from 0; what is wrong with the answer is said."""
        opened = self.opened()
        opened.look()
        count = len(opened.rows.rows) if opened.rows else 0
        meant = understood_name(self.pick["step"].value, [str(k) for k in range(1, count + 1)], self.kind.removesuffix("s"))
        if meant.value:
            return int(str(meant.value)) - 1
        self.pressing.notices.say("blocked", meant.wrong or "Write its number in the table under “Which one” first.")
        return None

    def _correct(self) -> widgets.Text | None:
        return self._begin_at(over=True)

    def _put_in(self) -> widgets.Text | None:
        return self._begin_at(over=False)

    def _begin_at(self, *, over: bool) -> widgets.Text | None:
        place, opened = self._meant(), self.opened()
        if place is None:
            return self.pick["step"]
        self.may_write()
        self.clear()
        self.place, self.over = place, over
        name = step_name(self.kind, place + 1)
        if over:
            self.boxes.fill(dict(LineStep.of(opened.rows, place).texts))
        words = f"{name.capitalize()} stands in the boxes. Put right what is wrong, then press Enter." if over else f"Type the {name} that was left out, then press Enter."
        self.pressing.notices.clear()
        self.pressing.notices.say("asked", words, first="")
        return self.first

    def _leave(self) -> None:
        self.clear()
        self.pressing.notices.clear()
        self.pressing.notices.say("done", f"{clock()}. {self.opened().name} is as it was.")
        self.refresh()
        self.first.focus()

    def _take_back(self) -> widgets.Text | None:
        opened = self.opened()
        last = LineStep.of(opened.rows, len(opened.rows.rows) - 1)
        self._remove(last.number - 1)
        self.boxes.fill(dict(last.texts))
        return self.first

    def _take_out(self) -> widgets.Text | None:
        place = self._meant()
        if place is None:
            return self.pick["step"]
        self._remove(place)
        return None

    def _remove(self, place: int) -> None:
        opened, notices = self.opened(), self.pressing.notices
        notices.clear()
        self.may_write()
        rows, name = opened.rows.take_out(place), step_name(self.kind, place + 1)
        if faults := faults_of_shape(opened.now.folder, opened.name, rows):
            raise ValueError(" ".join(said_of_line(fault, self.kind) for fault in faults))
        put_shape(opened.now.folder, opened.name, rows, what=f"{name} taken out", before=LineStep.shown(opened.rows, place))
        self.clear()
        opened.look()
        notices.say("done", f"{clock()}. {name.capitalize()} is taken out; it stays in lines.history.csv.")

    def _complete(self) -> None:
        opened, notices = self.opened(), self.pressing.notices
        notices.clear()
        self.may_write()
        opened.look()
        last = step_name(self.kind, len(opened.rows.rows))
        if self.kind == "legs" and opened.rows.texts[-1]["angle_deg"]:
            notices.say("blocked", f"{last.capitalize()} has a bend at its end, and nothing after it. Record the leg that follows, or correct {last}: empty its bend and twist.", first="Not complete. ")
            return
        try:
            put_line_aside(opened.now.folder, opened.name, "")
        except ShopFaults as error:
            notices.say("blocked", *(said_of_line(fault, self.kind) for fault in error.faults), first="Not complete. ")
            return
        self.clear()
        opened.look()
        notices.say("done", f"{clock()}. {opened.name} is complete: {len(opened.rows.rows)} {self.kind}. It counts from now on.")

    def _go_on(self) -> widgets.Text | None:
        opened, notices = self.opened(), self.pressing.notices
        notices.clear()
        self.may_write()
        put_line_aside(opened.now.folder, opened.name, BEING_ENTERED)
        opened.look()
        notices.say("done", f"{clock()}. {opened.name} is being entered again, and does not count until it is complete.")
        return self.first
