"""What the pieces teach, refreshed after each: the law in words, its picture with its bands, and what to bend next."""

from __future__ import annotations

from html import escape

import ipywidgets as widgets

from bendcal.figures.fit import law_fit
from bendcal.forms.saying import heading, picture_html, small
from bendcal.forms.shop_now import ShopNow
from bendcal.oval import oval_of

__all__ = ["Lesson"]


class Lesson:
    """The panel below the boxes: words first, for they are there at once, then the picture.

    Examples
    --------
    >>> lesson = Lesson()
    >>> lesson.show(ShopNow("no such folder"), "small", "thin")
    >>> "cannot be read" in lesson.words.value
    True
    """

    def __init__(self) -> None:
        self.words, self.asked, self.picture = widgets.HTML(), widgets.HTML(), widgets.HTML()
        self.asked.add_class("bendcal-lesson-asked")
        self.words.add_class("bendcal-lesson")
        self.picture.add_class("bendcal-picture")
        self.widget = widgets.VBox([self.words, self.asked, self.picture])
        self._shown: tuple = ()

    def show(self, now: ShopNow, bender: str, tube: str) -> None:
        """Show what all pieces that count teach of this bender with this tube.

        Parameters
        ----------
        now : the shop
        bender, tube : names
        """
        now.learn()
        oval = oval_of(now.shop.offcuts_for(bender, tube), now.shop.tubes[tube]) if now.shop and tube in now.shop.tubes else None
        shown = (bender, tube, now.folder, now.shop.readings_digest if now.shop else now.trouble, oval and oval.sentences)
        if shown == self._shown:
            return
        law, title = now.law(bender, tube), heading(f"What the pieces of {tube} on {bender} teach" if tube else "What the pieces teach")
        if now.shop is None:
            said = f"The shop folder cannot be read as a whole, so nothing is fitted. Readings can be recorded all the same. {now.trouble}"
        elif law is None:
            said = f"No piece of {tube} on {bender} counts yet." if now.cal or not now.why_not else now.why_not
        else:
            said = str(law)
        advice = now.advice(bender, tube) if now.shop else ""
        flat = small(" ".join(filter(None, (oval.warning, *oval.sentences)))) if oval else ""
        self.words.value = title + small(said) + flat + (f'<p role="status" style="margin: 4px 0; line-height: 1.45; max-width: 56em"><b>{escape(advice)}</b></p>' if advice else "")
        self.asked.value = self._questions(now, bender, tube)
        self.picture.value = "" if law is None else picture_html(law_fit(law, now.shop, lengths=False))
        self._shown = shown

    @staticmethod
    def _questions(now: ShopNow, bender: str, tube: str) -> str:
        """Pieces of this pair that the others do not believe: asked, and never refused."""
        if now.cal is None:
            return ""
        mine = [f"Offcut {o.offcut}:" for o in now.shop.offcuts_for(bender, tube)]
        told = [each for each in now.cal.blunders if any(each.startswith(name) for name in mine)]
        if not told:
            return ""
        items = "".join(f"<li>{escape(each)}</li>" for each in told)
        after = "If it is right as it stands, leave it: it counts for little by itself, and further pieces will decide."
        return f'<div role="alert" style="border-left: 6px double; padding: 4px 10px; line-height: 1.45; max-width: 52em"><b>A question:</b><ul style="margin: 2px 0">{items}</ul>{after}</div>'
