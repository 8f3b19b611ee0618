"""Make the pictures of forms that README.md shows: a browser uses a copy of the kit's pages, as the tests do.

    python tests/remake_screens.py
"""

from __future__ import annotations

import io
import shutil
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PICTURES = ROOT / "notebooks" / "pictures"
#: Not compared by the tests: another browser draws letters otherwise.
SCREENS = ("form-offcut.png", "form-line.png")
COLOURS = 64  # enough for a page, and a quarter of the bytes


def offcut(person) -> tuple[str, str, str]:
    """A reading half typed, one of it not understood: (form, what is seen first, what last)."""
    page = person.page
    person.open("notebooks/1_calibrate_a_bender.ipynb")
    person.run_all()
    typed = {"Straight length": '7 1/8"', "End A to mark": "70", "Dial, lever held": "92", "Finished angle": "86,5", "Leg A": "89 mm", "Leg B": "98 kg"}
    for name, text in typed.items():
        page.get_by_label(name, exact=True).fill(text)
    page.get_by_label("Leg B", exact=True).press("Enter")
    page.locator(".bendcal-offcut-form .bendcal-blocked").get_by_role("alert").wait_for()
    return ".bendcal-offcut-form", ".bendcal-bender", ".bendcal-offcut-form .bendcal-blocked"


def line(person) -> tuple[str, str, str]:
    """A line with two legs, the third being typed."""
    page = person.page
    person.open("notebooks/6_all_the_lines.ipynb")
    person.run_all()
    facts = {"Line": "rear", "Tube": "steel-3/16", "Bender": "small", "It carries": "brake", "End A": "m10-double", "End B": "m10-double"}
    for name, text in facts.items():
        page.get_by_label(name, exact=True).fill(text)
    page.get_by_role("button", name="Begin this line").click()
    for number, leg in enumerate((('3 5/8"', "92,5", ""), ("80", "45", "-90")), start=1):
        for name, text in zip(("Leg", "Bend at its end", "Twist from last bend"), leg, strict=True):
            page.get_by_label(name, exact=True).fill(text)
        page.get_by_role("button", name=f"Record leg {number}").click()
        page.locator(".bendcal-line-form .bendcal-done", has_text=f"Recorded as leg {number}").wait_for()
    for name, text in zip(("Leg", "Bend at its end", "Twist from last bend"), ("100 mm", "60°", "150"), strict=True):
        page.get_by_label(name, exact=True).fill(text)
    page.get_by_text("150°: 150° clockwise").wait_for()
    page.locator(".bendcal-line-picture img").wait_for()
    return ".bendcal-line-form", ".bendcal-leg-mm", ".bendcal-line-picture"


def clipped(person, form: str, first: str, last: str) -> bytes:
    """The part of a form from one element to another, in few colours."""
    from PIL import Image

    page = person.page
    page.mouse.move(2, 2)
    page.locator(last).first.evaluate("there => there.scrollIntoView({block: 'center'})")
    boxes = [page.locator(each).first.bounding_box() for each in (form, first, last)]
    top, bottom = boxes[1]["y"] - 8, boxes[2]["y"] + boxes[2]["height"] + 8
    shot = page.screenshot(clip={"x": boxes[0]["x"] - 4, "y": top, "width": boxes[0]["width"], "height": bottom - top}, caret="hide")
    out = io.BytesIO()
    Image.open(io.BytesIO(shot)).convert("RGB").quantize(COLOURS).save(out, format="PNG", optimize=True)
    return out.getvalue()


def main() -> int:
    """Write them; the exit code."""
    from playwright.sync_api import sync_playwright

    from tests.a_browser import FLAGS, Person, kit_copy, running_lab

    chromium = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
    with tempfile.TemporaryDirectory() as kit, tempfile.TemporaryDirectory() as scratch:
        with running_lab(kit_copy(Path(kit)), Path(scratch)) as at, sync_playwright() as play:
            browser = play.chromium.launch(executable_path=chromium, args=FLAGS)
            for name, show in zip(SCREENS, (offcut, line), strict=True):
                person = Person(browser.new_page(viewport={"width": 1300, "height": 1300}), *at, Path(scratch))
                data = clipped(person, *show(person))
                (PICTURES / name).write_bytes(data)
                print(f"{name}: {len(data) / 1000:.0f} kB")
            browser.close()
    return 0


if __name__ == "__main__":
    sys.path.insert(0, str(ROOT))
    sys.exit(main())
