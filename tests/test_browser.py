"""The pages as a person uses them: a real browser types readings, by mouse and by keyboard alone."""

import os
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from a_browser import FLAGS, Person, kit_copy, running_lab

import bendcal
from bendcal.offcuts import Offcut
from bendcal.turntable import turntable

STEEL = ("180", "70", "92", "86,5", "89", "98")
BOXES = ("Straight length", "End A to mark", "Dial, lever held", "Finished angle", "Leg A", "Leg B")


@pytest.fixture(scope="module")
def kit(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The pages, the sample, and a shop of one's own."""
    return kit_copy(tmp_path_factory.mktemp("kit"))


@pytest.fixture(scope="module")
def served(kit: Path, chromium: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple]:
    """A window of a browser, which keeps JupyterLab's own files from page to page, and the address of JupyterLab."""
    from playwright.sync_api import sync_playwright

    with running_lab(kit, tmp_path_factory.mktemp("lab")) as at, sync_playwright() as play:
        browser = play.chromium.launch(executable_path=chromium, args=FLAGS)
        yield browser.new_context(viewport={"width": 1280, "height": 1000}), *at
        browser.close()


@pytest.fixture
def person(served: tuple, tmp_path: Path) -> Iterator[Person]:
    """Somebody with a fresh page; afterwards nothing may have gone wrong on it, nor been asked of another machine.

    With BENDCAL_SCREENSHOTS=FOLDER the screenshots are kept there.
    """
    window, address, token = served
    pictures = Path(os.environ.get("BENDCAL_SCREENSHOTS") or tmp_path)
    pictures.mkdir(exist_ok=True)
    page = window.new_page()
    somebody = Person(page, address, token, pictures)
    yield somebody
    page.close()
    assert somebody.complaints == []


def offcuts(folder: Path) -> list[Offcut]:
    """The pieces of the log."""
    return list(bendcal.read_shop(folder).offcuts)


def test_the_start_page_says_where_one_stands_and_begins_a_shop(person: Person, kit: Path) -> None:
    """What is missing is told; then the folder is made, and its own start page opens by a link and runs."""
    from playwright.sync_api import expect

    page = person.page
    person.open("notebooks/0_start.ipynb")
    person.run_all()
    expect(page.get_by_role("cell", name="steel-3/16 on small")).to_be_visible()
    page.get_by_role("button", name="Practice flares").click()
    expect(page.get_by_label("Length before")).to_be_visible()
    person.look("start")
    page.get_by_label("Your bender").fill("lever")
    page.get_by_label("Its outside diameter").fill("3/16 inn")
    expect(page.get_by_text('"3/16 inn" is not a length.').first).to_be_visible()
    page.get_by_role("button", name="Begin my own shop").click()
    expect(page.get_by_role("alert")).to_contain_text("Still to fill in: Your tube, Its metal, Its wall.")
    person.look("start-in-the-way")
    for box, text in {"Your tube": "cuni", "Its metal": "copper-nickel 90/10", "Its outside diameter": "3/16 in", "Its wall": "0,71"}.items():
        page.get_by_label(box).fill(text)
    page.get_by_label("Its wall").press("Enter")
    expect(page.get_by_role("status").filter(has_text="Your shop is made")).to_be_visible()
    person.look("start-begun")
    assert bendcal.read_shop(kit / "my_shop").tubes["cuni"].od_mm == 4.7625
    page.get_by_role("link", name="Open the start page of your own shop").click()
    expect(page.locator(".lm-TabBar-tab.lm-mod-current", has_text="0_start.ipynb").last).to_be_visible()
    expect(page).to_have_url(re.compile("my_shop/notebooks/0_start.ipynb"))


def test_readings_are_typed_recorded_and_found_again_after_a_restart(person: Person, kit: Path) -> None:
    """A wrong one is refused beside its box, a right one is on the disk and in table and picture; nothing is lost, however fast one types."""
    from playwright.sync_api import expect

    page, shop = person.page, kit / "shop"
    before = len(offcuts(shop))
    person.open("notebooks/1_calibrate_a_bender.ipynb")
    person.run_all()
    box = {name: page.get_by_label(name, exact=True) for name in BOXES}
    picture, rows = page.locator(".bendcal-picture img"), page.locator(".bendcal-readings tbody tr")
    expect(picture).to_have_attribute("alt", re.compile("small with steel-3/16: springback"))
    drawn, there = picture.get_attribute("src"), rows.count()

    # Something wrong, twice: what cannot be read at all, and what cannot be true.
    for name, text in zip(BOXES, STEEL, strict=True):
        box[name].fill(text)
    box["Finished angle"].fill("1.234,5")
    expect(page.get_by_text("Not understood.").first).to_be_visible()
    box["Finished angle"].fill("110")
    box["Finished angle"].press("Enter")
    alert = page.locator(".bendcal-blocked").get_by_role("alert").first
    expect(alert).to_contain_text("Not recorded. Finished angle: 110.0° at a dial of 92.0°. A bend does not finish further")
    expect(box["Finished angle"]).to_be_focused()
    page.get_by_role("button", name="Record", exact=True).scroll_into_view_if_needed()
    person.look("offcut-in-the-way")
    assert len(offcuts(shop)) == before

    # Put right, and recorded by Enter.
    box["Finished angle"].fill("86,5")
    expect(page.get_by_text("= 86.5°")).to_be_visible()
    box["Leg B"].press("Enter")
    done = page.locator(".bendcal-offcut-form .bendcal-done").get_by_role("status")
    expect(done).to_contain_text("Recorded as S10: steel-3/16 on small, 180 mm long")
    expect(box["Straight length"]).to_be_focused()
    expect(box["Leg B"]).to_have_value("")
    expect(rows).to_have_count(there + 1)
    expect(picture).not_to_have_attribute("src", drawn)
    person.look("offcut-recorded")

    # Fast, while the kernel draws: Enter must not overtake what was typed before it.
    typed = [("179.125", "70.375", "60.25", "55.875", "81.625", "100.125"), ("178.875", "69.625", "47.75", "43.125", "78.375", "101.625")]
    for number, texts in enumerate(typed, start=11):
        for text in texts:
            page.keyboard.type(text, delay=0)
            page.keyboard.press("Tab")
        box["Leg B"].press("Enter")
        expect(done).to_contain_text(f"Recorded as S{number}:", timeout=20_000)
        expect(box["Straight length"]).to_be_focused()
    kept = offcuts(shop)[-2:]
    assert [(o.length_mm, o.mark_mm, o.dial_deg, o.angle_deg, o.leg_a_mm, o.leg_b_mm) for o in kept] == [tuple(map(float, texts)) for texts in typed]

    # A slip of the pencil: asked twice, recorded, and then asked about.
    for text in ("180", "70", "92", "68", "89", "98"):
        page.keyboard.type(text)
        page.keyboard.press("Tab")
    box["Leg B"].press("Enter")
    expect(page.locator(".bendcal-asked").get_by_role("alert").first).to_contain_text("press Enter once more. It is not recorded yet.")
    page.get_by_role("button", name="Record", exact=True).scroll_into_view_if_needed()
    person.look("offcut-asked")
    page.keyboard.press("Enter")
    expect(page.locator(".bendcal-lesson-asked").get_by_role("alert")).to_contain_text("Offcut S13: the angle disagrees")
    page.locator(".bendcal-picture").scroll_into_view_if_needed()
    person.look("offcut-lesson")
    page.get_by_role("button", name="Take the last one back").click()
    expect(done).to_contain_text("S13 is taken back")
    expect(page.locator(".bendcal-lesson-asked").get_by_role("alert")).to_have_count(0)

    # After a restart the boxes are dead until the page is run; then every reading is there.
    person.restart()
    person.run_all()
    expect(rows).to_have_count(there + 4)
    expect(page.locator(".bendcal-readings")).to_contain_text("taken back right after it was entered")
    expect(box["Straight length"]).to_have_value("")
    page.get_by_role("button", name="Let it count again").scroll_into_view_if_needed()
    person.look("offcut-earlier")
    assert len(offcuts(shop)) == before + 4


def test_two_notebooks_on_one_shop_see_each_other(person: Person, kit: Path) -> None:
    """What is recorded in one is in table and picture of the other without a key being pressed there, and the other way round."""
    from playwright.sync_api import expect

    tab = person.page.context.new_page()
    other = Person(tab, person.address, person.token, person.pictures)
    other.open("notebooks/1_in_another_notebook.ipynb", workspace="another")
    other.run_all()
    person.open("notebooks/1_calibrate_a_bender.ipynb")
    person.run_all()
    theirs, mine = (page.locator(".bendcal-readings tbody tr") for page in (tab, person.page))
    there, drawn = theirs.count(), tab.locator(".bendcal-picture img").get_attribute("src")
    for name, text in zip(BOXES, ("179", "70", "66", "61", "82", "100"), strict=True):
        person.page.get_by_label(name, exact=True).fill(text)
    person.page.get_by_label("Leg B", exact=True).press("Enter")
    expect(mine).to_have_count(there + 1)
    expect(theirs).to_have_count(there + 1, timeout=15_000)
    expect(tab.locator(".bendcal-picture img")).not_to_have_attribute("src", drawn, timeout=15_000)
    piece = offcuts(kit / "shop")[-1].offcut
    tab.get_by_label("Piece", exact=True).fill(piece)
    tab.get_by_label("Because", exact=True).fill("seen from the other notebook")
    tab.get_by_role("button", name="Set it aside").click()
    expect(person.page.locator(".bendcal-readings")).to_contain_text("seen from the other notebook", timeout=15_000)
    tab.close()
    assert other.complaints == []


def test_everything_is_done_by_keyboard_alone(person: Person, kit: Path) -> None:
    """The page is run, the boxes reached, a piece recorded and set aside; keys pressed on a button change no cell."""
    from playwright.sync_api import expect

    page, keys, shop = person.page, person.page.keyboard, kit / "shop"
    person.open("notebooks/1_calibrate_a_bender.ipynb")
    person.run_by_keys()
    expect(page.get_by_label("Straight length")).to_be_visible(timeout=60_000)
    person.idle()
    cells = page.locator(".jp-Notebook .jp-Cell").count()

    person.tab_to("Straight length")
    count = len(offcuts(shop))
    for text in ("179,5", "70", "76", "71", "84,5", "98,5"):
        keys.type(text)
        keys.press("Tab")
    person.tab_to("Record", role="button")
    keys.press("m")  # on a button this would turn the cell into text, and the form would be gone
    keys.press("Space")
    done = page.locator(".bendcal-offcut-form .bendcal-done").get_by_role("status")
    expect(done).to_contain_text("Recorded as S")
    expect(page.get_by_label("Straight length")).to_be_focused()
    piece = offcuts(shop)[-1]
    assert len(offcuts(shop)) == count + 1 and piece.length_mm == 179.5
    person.tab_to("Piece")
    keys.type(piece.offcut)
    keys.press("Tab")
    keys.type("to try the keyboard")
    person.tab_to("Set it aside", role="button")
    for key in ("a", "b", "d", "d", "x", "v", "y", "r", "Enter"):
        keys.press(key)
    expect(done).to_contain_text(f"{piece.offcut} is set aside: to try the keyboard.")
    assert offcuts(shop)[-1].set_aside == "to try the keyboard"
    expect(page.locator(".jp-Notebook .jp-Cell")).to_have_count(cells)
    person.look("keyboard")


def test_the_line_turns_under_the_mouse_and_by_keys(person: Person) -> None:
    """Drag, arrow keys and buttons move its ends on the screen; the page around it feels none of the keys; it turns without a kernel."""
    from playwright.sync_api import expect

    page, keys = person.page, person.page.keyboard
    person.open("notebooks/3_corrected_mark_offsets.ipynb")
    expect(page.locator("iframe[title^='brake-near-side']")).to_have_count(0)
    person.run_all()
    frame = page.frame_locator("iframe[title^='brake-near-side']")
    canvas = frame.get_by_role("img")
    page.locator("iframe[title^='brake-near-side']").scroll_into_view_if_needed()
    expect(canvas).to_have_attribute("data-view", "-60.00 25.00 1.00")
    still = page.locator("img[alt^='brake-near-side: the bent line'] + iframe").locator("xpath=preceding-sibling::img")
    expect(still).to_be_hidden()

    def ends() -> list[list[float]]:
        return [[float(v) for v in end.split(",")] for end in canvas.get_attribute("data-ends").split(" ")]

    before = ends()
    canvas.hover(position={"x": 200, "y": 200})
    box = canvas.bounding_box()
    page.mouse.down()
    page.mouse.move(box["x"] + 260, box["y"] + 230, steps=5)
    page.mouse.up()
    expect(canvas).to_have_attribute("data-view", re.compile(r"-(89|90)\.\d\d (39|40)\.\d\d 1\.00"))  # to a dot
    after = ends()
    person.look("turntable")
    assert all(abs(a[0] - b[0]) + abs(a[1] - b[1]) > 5 for a, b in zip(before, after, strict=True))
    # From the front x runs to the right and y does not show: end B lies 98 mm to the right of end A.
    frame.get_by_role("button", name="Front", exact=True).click()
    expect(canvas).to_have_attribute("data-view", "-90.00 0.00 1.00")
    a, b = ends()
    assert (b[0] - a[0]) / (b[1] - a[1]) == pytest.approx(98 / 95, abs=0.01)
    cells = page.locator(".jp-Notebook .jp-Cell").count()
    canvas.focus()
    scrolled = canvas.bounding_box()
    for key in ("ArrowLeft", "ArrowUp", "ArrowUp", "d", "d", "+"):
        keys.press(key)
    expect(canvas).to_have_attribute("data-view", "-100.00 20.00 1.25")
    expect(frame.get_by_role("status")).to_have_text("Seen from 10° left of the front, 20° from above; 125 % of the first size.")
    assert canvas.bounding_box() == scrolled
    expect(page.locator(".jp-Notebook .jp-Cell")).to_have_count(cells)
    frame.get_by_text("The line in words").click()
    expect(frame.get_by_text("Line brake-near-side keeps clear")).to_be_visible()

    # Light or dark as the page around it, at once; and with the kernel gone it still turns.
    page.evaluate("document.body.dataset.jpThemeLight = 'false'")
    expect(frame.locator("html.dark")).to_have_count(1)
    person.look("turntable-dark")
    page.evaluate("document.body.dataset.jpThemeLight = 'true'")
    person.menu("Kernel", "kernelmenu:shutdown")
    canvas.press("Home")
    expect(canvas).to_have_attribute("data-view", "-60.00 25.00 1.00")


def test_where_frames_are_dropped_a_still_picture_stands_in(person: Person, kit: Path) -> None:
    """A page that somebody else ran is not trusted: its turntable is gone, and the four views with their words are there."""
    import nbformat
    from playwright.sync_api import expect

    shop = bendcal.read_shop(kit / "sample_measurements")
    made = turntable(bendcal.mark_out(shop, bendcal.calibrate(shop), "clutch"))
    cell = nbformat.v4.new_code_cell("made", id="one", outputs=[nbformat.v4.new_output("display_data", made._repr_mimebundle_())])
    kernel = {"kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"}}
    nbformat.write(nbformat.v4.new_notebook(cells=[cell], metadata=kernel), kit / "notebooks" / "from_elsewhere.ipynb")
    person.open("notebooks/from_elsewhere.ipynb")
    picture = person.page.locator(".jp-OutputArea img")
    expect(picture).to_be_visible()
    expect(picture).to_have_attribute("alt", re.compile("clutch: the bent line with its 3 bends"))
    expect(person.page.locator(".jp-OutputArea iframe")).to_have_count(0)
    person.look("turntable-untrusted")


def test_a_line_is_made_from_its_legs_to_its_sheet_by_keyboard_alone(person: Person, kit: Path) -> None:
    """Begun, a leg refused, all recorded, found again after a restart, complete, its sheet saved: without a mouse."""
    from playwright.sync_api import expect

    page, keys, shop = person.page, person.page.keyboard, kit / "shop"
    form = page.locator(".bendcal-line-form")
    done, blocked = (form.locator(f".bendcal-{kind}") for kind in ("done", "blocked"))
    rows = form.locator(".bendcal-line-rows tbody tr")
    person.open("notebooks/6_all_the_lines.ipynb")
    person.run_by_keys()
    expect(page.get_by_label("Line", exact=True)).to_be_visible(timeout=60_000)
    person.idle()

    # What it is made of: a choice is typed, or its beginning; the tube and the bender of the last line stand there already.
    person.tab_to("Line")
    keys.press("Control+a")
    for text in ("rear", "steel-3/16", "small", "brake", "m10-double", "m10-double", "B", "legs", "over the axle"):
        keys.press("Control+a")
        keys.type(text)
        keys.press("Tab")
    person.tab_to("Begin this line", role="button")
    keys.press("Space")
    expect(done).to_contain_text("rear is begun.")
    expect(page.get_by_label("Leg", exact=True)).to_be_focused()

    # One leg after the other; one of them cannot be, and is put right.
    for number, leg in enumerate((('3 5/8"', "92,5"), ("80", "190", "-90"), ("100 mm", "60", "180"), ("70",)), start=1):
        for text in leg:
            keys.type(text)
            keys.press("Tab")
        if number == 2:
            keys.press("Shift+Tab")
            keys.press("Enter")
            expect(blocked).to_contain_text("Not recorded. Leg 2, Bend at its end: found 190.0°.")
            expect(page.get_by_text("= -90°: 90° anticlockwise of the last one, seen from A")).to_be_visible()
            person.look("line-in-the-way")
            expect(page.get_by_label("Bend at its end")).to_be_focused()
            keys.press("Control+a")
            keys.type("45°")
        else:
            person.tab_to("Leg", most=300) if number == 1 else keys.press("Shift+Tab")
        keys.press("Enter")
        if number == 4:
            expect(form.locator(".bendcal-asked")).to_contain_text("leg 4 is the last one then, and ends at end B.")
            expect(page.get_by_label("Bend at its end")).to_be_focused()
            keys.press("Enter")
        expect(done).to_contain_text(f"Recorded as leg {number} of rear")
        expect(rows).to_have_count(number)
        if number < 4:
            expect(page.get_by_label("Leg", exact=True)).to_be_focused()
        assert len((shop / "lines/rear.csv").read_text(encoding="utf-8").splitlines()) == number + 1
    expect(page.get_by_role("button", name="The line is complete")).to_be_focused()
    expect(form.locator(".bendcal-line-picture img")).to_have_attribute("alt", re.compile("rear seen from"))
    person.look("line-entered")
    assert "rear" not in bendcal.read_shop(shop).lines

    # After a restart every leg is there.
    person.restart()
    person.run_by_keys()
    expect(page.get_by_role("button", name="The line is complete")).to_be_visible(timeout=60_000)
    person.idle()
    expect(rows).to_have_count(4)
    person.tab_to("The line is complete", role="button", most=300)
    keys.press("Space")
    expect(done).to_contain_text("rear is complete: 4 legs.")
    assert bendcal.read_shop(shop).lines["rear"].legs.leg_mm.tolist() == [92.075, 80, 100, 70]
    person.tab_to("Make its sheet", role="button", most=300)
    keys.press("Space")
    expect(done).to_contain_text("The sheet of rear is made", timeout=30_000)
    person.tab_to("Save rear.pdf", role="link", most=300)
    with page.expect_download() as saved:
        keys.press("Enter")
    assert Path(saved.value.path()).read_bytes() == (shop / "sheets/rear.pdf").read_bytes()
    page.locator(".bendcal-line-sheet").scroll_into_view_if_needed()
    person.look("line-sheet")


@pytest.mark.parametrize(
    ("page", "forms"),
    [
        ("0_start.ipynb", (".bendcal-begin-form", ".bendcal-tool-form")),
        ("1_calibrate_a_bender.ipynb", (".bendcal-offcut-form",)),
        ("5_measure_a_pattern.ipynb", (".bendcal-reading-form", ".bendcal-flat-form")),
        ("6_all_the_lines.ipynb", (".bendcal-line-form",)),
        ("7_offcuts_from_pictures.ipynb", (".bendcal-scan-form",)),
    ],
)
def test_nobody_is_kept_out_by_a_form(person: Person, page: str, forms: tuple[str, ...]) -> None:
    """Names of boxes, contrast and roles, in the light theme and in the dark one, by an automatic checker; and with something in the way."""
    from playwright.sync_api import expect

    person.open(f"notebooks/{page}")
    person.run_all()
    if page.startswith("0"):
        person.page.get_by_role("button", name="Tools").click()
        expect(person.page.get_by_label("Finest division")).to_be_visible()
    main = person.page.locator(forms[-1])
    main.get_by_role("button", name=re.compile("^(Record|Add|Read)")).first.click()
    expect(main.get_by_role("alert").or_(main.get_by_role("status")).first).to_be_visible(timeout=30_000)
    for theme in ("JupyterLab Dark", "JupyterLab Light"):
        person.theme(theme)
        for form in forms:
            assert person.barriers(form) == [], theme
            person.page.locator(form).scroll_into_view_if_needed()
        person.look(f"{page[0]}-{theme.rpartition(' ')[2].lower()}")


def test_what_is_in_the_way_is_typed_in_and_drawn(person: Person) -> None:
    """On the start page: the bodies of a bender and an obstacle with its line, each with what is in the boxes; nobody is kept out."""
    from playwright.sync_api import expect

    page = person.page
    person.open("notebooks/0_start.ipynb")
    person.run_all()
    for title, form, draw, shape, seen in (
        ("What is in the way at the bender", ".bendcal-body-form", "Draw the bodies", "sphere", "knob (in the boxes) (sphere)"),
        ("Obstacles near the lines", ".bendcal-obstacle-form", "Draw them with the line", "sphere", "knob (in the boxes)"),
    ):
        page.get_by_role("button", name=title).click()
        main = page.locator(form)
        for box, text in {"What it is": "knob", "Shape": shape, "x of one end": "40", "y of one end": "60", "z of one end": "0", "Diameter": "1 in"}.items():
            main.get_by_label(box, exact=True).fill(text)
        if "body" in form:
            main.get_by_label("Bender", exact=True).fill("small")
        main.get_by_role("button", name=draw).click()
        picture = main.get_by_role("img", name=re.compile(re.escape(seen)))
        expect(picture).to_be_visible()
        assert person.barriers(form) == []
        picture.scroll_into_view_if_needed()
        person.look(form.removeprefix("."))
