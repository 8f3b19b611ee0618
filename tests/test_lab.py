"""The quiet JupyterLab: what it is started with, its settings, and pages for a shop of one's own."""

import asyncio
import json
import os
import re
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from tornado.websocket import websocket_connect

import bendcal
from bendcal.lab import LABCONFIG, first_names, lab_words, notebooks_folder, own_notebooks, with_names

ROOT = Path(__file__).resolve().parent.parent
CHROMIUM_FLAGS = (
    "--no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking "
    "--disable-component-update --disable-sync"
).split()


# --- what it is started with --------------------------------------------------------------------


def test_without_a_port_the_first_free_one_is_taken() -> None:
    """Only a port that was asked for is held to."""
    words = lab_words(ROOT / "notebooks")
    assert not [word for word in words if "port" in word]
    assert lab_words(ROOT / "notebooks", port=8899)[2:] == ["--ServerApp.port=8899", "--ServerApp.port_retries=0"]


def test_the_first_page_opens_and_the_folder_above_is_the_top() -> None:
    """Whoever looks around finds the shop folder beside the notebooks."""
    words = lab_words(ROOT / "notebooks")
    assert f"--ServerApp.root_dir={ROOT}" in words
    assert any(word.endswith("/tree/notebooks/0_start.ipynb") for word in words)


def test_a_folder_without_notebooks_says_where_they_come_from(tmp_path: Path) -> None:
    """An installed package without its folder has no pages to open."""
    with pytest.raises(FileNotFoundError, match="There are no notebooks in .* come with the kit's own folder"):
        notebooks_folder(tmp_path)


def test_the_settings_name_only_what_jupyterlab_has() -> None:
    """Each overridden setting and each switched-off shortcut is one that JupyterLab's own schemas know."""
    from jupyterlab.commands import get_app_dir

    schemas = Path(get_app_dir()) / "schemas"
    overrides = json.loads((LABCONFIG / "labconfig" / "default_setting_overrides.json").read_text(encoding="utf-8"))
    for plugin, settings in overrides.items():
        extension, _, name = plugin.partition(":")
        schema = json.loads((schemas / extension / f"{name}.json").read_text(encoding="utf-8"))
        assert set(settings) <= set(schema["properties"]), plugin
    known = {}
    for path in schemas.rglob("*.json"):
        for shortcut in json.loads(path.read_text(encoding="utf-8")).get("jupyter.lab.shortcuts", []):
            known.setdefault((shortcut["command"], tuple(shortcut["keys"])), set()).add(shortcut["selector"])
    for shortcut in overrides["@jupyterlab/shortcuts-extension:shortcuts"]["shortcuts"]:
        assert shortcut["disabled"]
        assert shortcut["selector"] in known[shortcut["command"], tuple(shortcut["keys"])], shortcut


# --- pages for a shop of one's own ---------------------------------------------------------------


def test_own_pages_are_set_to_the_shop_and_have_no_results(sample_folder: Path) -> None:
    """Folder, bender, tube and line are the shop's; nothing of the sample's results is left."""
    shop = bendcal.read_shop(sample_folder)
    new, kept = own_notebooks(shop, ROOT / "notebooks")
    assert [page.name for page in new] == sorted(page.name for page in (ROOT / "notebooks").glob("*.ipynb"))
    assert kept == []
    for page in new:
        cells = json.loads(page.read_text(encoding="utf-8"))["cells"]
        code = [cell for cell in cells if cell["cell_type"] == "code"]
        assert "folder = '..'" in "".join(code[0]["source"])
        assert all(cell["outputs"] == [] for cell in code)


def test_own_pages_say_nothing_that_is_true_of_the_sample_alone(sample_folder: Path) -> None:
    """No true number of the invented benders, and each page that says what it works on names the shop's own folder."""
    for page in own_notebooks(bendcal.read_shop(sample_folder), ROOT / "notebooks")[0]:
        before = (ROOT / "notebooks" / page.name).read_text(encoding="utf-8")
        after = page.read_text(encoding="utf-8")
        assert "About the sample" not in after and "simulator" not in after and "As it comes" not in after
        assert after.count("It works on the shop in whose folder it lies.") == before.count("As it comes") == 1


def test_own_pages_are_never_overwritten(sample_folder: Path) -> None:
    """A page that somebody worked in stays as it is."""
    shop = bendcal.read_shop(sample_folder)
    mine = own_notebooks(shop, ROOT / "notebooks")[0][0]
    mine.write_text("mine", encoding="utf-8")
    new, kept = own_notebooks(shop, ROOT / "notebooks")
    assert new == [] and mine in kept
    assert mine.read_text(encoding="utf-8") == "mine"


def test_the_first_names_are_of_a_bender_that_bent_two_tubes(sample_folder: Path) -> None:
    """So that the comparison has something to compare; without readings the first of each table will do."""
    names = first_names(bendcal.read_shop(sample_folder))
    assert names == {
        "bender": "small", "tube": "cuni-3/16", "first_tube": "cuni-3/16", "second_tube": "steel-3/16", "line": "brake-far-side",
        "pattern": "brake-near-side",
    }  # fmt: skip
    (sample_folder / "offcuts.csv").unlink()
    assert first_names(bendcal.read_shop(sample_folder))["second_tube"] == "steel-3/16"


def test_a_name_with_quotation_marks_stays_a_name() -> None:
    """Names go into the page as Python texts, whatever stands in them."""
    page = {"cells": [{"cell_type": "code", "source": "tube = \"a\"  # yours\nn = 'b'\n", "outputs": []}]}
    source = "".join(with_names(page, {"tube": "3/16\" 'soft' \\"})["cells"][0]["source"])
    told = {}
    exec(source, told)
    assert told["tube"] == "3/16\" 'soft' \\" and told["n"] == "b"
    assert source.startswith("tube = ") and "# yours" in source


# --- JupyterLab itself ---------------------------------------------------------------------------


@dataclass
class Lab:
    """A running JupyterLab, as the command starts it."""

    address: str
    token: str
    log: Path
    process: subprocess.Popen

    def get(self, path: str, method: str = "GET") -> str:
        """What the server answers."""
        request = urllib.request.Request(f"{self.address}{path}", method=method, headers={"Authorization": f"token {self.token}"})
        with urllib.request.urlopen(request, timeout=30) as answer:
            return answer.read().decode()


@pytest.fixture(scope="module")
def lab(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Lab]:
    """``bendcal notebooks --shop`` on a copy of the sample, with settings of its own."""
    folder = tmp_path_factory.mktemp("lab")
    shop = shutil.copytree(ROOT / "sample_measurements", folder / "my shop", ignore=shutil.ignore_patterns("calibration.json", "sheets"))
    names = ("JUPYTER_CONFIG_DIR", "JUPYTERLAB_SETTINGS_DIR", "JUPYTERLAB_WORKSPACES_DIR", "JUPYTER_RUNTIME_DIR", "IPYTHONDIR")
    env = os.environ | {name: str(folder / name.lower()) for name in names} | {"PYTHONPATH": str(ROOT), "PYTHONUTF8": "1"}
    env.pop("JUPYTER_TOKEN", None)
    # Where the tests run as root (in a container) JupyterLab wants to be told that this is meant.
    config = folder / "jupyter_config_dir" / "jupyter_server_config.json"
    config.parent.mkdir()
    config.write_text(json.dumps({"ServerApp": {"allow_root": True}}), encoding="utf-8")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    log = folder / "log.txt"
    words = ["notebooks", "--shop", str(shop), "--no-browser", "--port", str(port)]
    with open(log, "wb") as out:
        process = subprocess.Popen([sys.executable, "-m", "bendcal", *words], cwd=folder, env=env, stdout=out, stderr=subprocess.STDOUT)
    try:
        found = None
        until = time.monotonic() + 60
        while not found and time.monotonic() < until and process.poll() is None:
            time.sleep(0.1)
            found = re.search(r"(http://[\w.]+:\d+)/\S*token=(\w+)", log.read_text(encoding="utf-8", errors="replace"))
        assert found, log.read_text(encoding="utf-8", errors="replace")
        running = Lab(found[1], found[2], log, process)
        yield running
        running.get("/api/shutdown", method="POST")
        process.wait(30)
    finally:
        process.kill()
        process.wait(30)


def test_lab_says_what_it_made_and_how_to_stop_it(lab: Lab) -> None:
    """The terminal tells the new pages, the address and the way out, and no line of noise before."""
    told = lab.log.read_text(encoding="utf-8", errors="replace")
    assert told.count("New: ") == len(list((ROOT / "notebooks").glob("*.ipynb")))
    assert "To stop: close the page, then press Ctrl+C here." in told
    assert "[I " not in told and "not recognized" not in told


def test_lab_is_quiet(lab: Lab) -> None:
    """No news, no questions about updates, no extension manager, no debugger; keys that delete a cell are off."""
    told = json.loads(lab.get("/lab/api/settings/@jupyterlab/apputils-extension:notification"))
    assert told["schema"]["properties"]["fetchNews"]["default"] == "false"
    assert told["schema"]["properties"]["checkForUpdates"]["default"] is False
    page = re.search(r'id="jupyter-config-data"[^>]*>(.*?)</script>', lab.get("/lab"), re.DOTALL)
    disabled = json.dumps(json.loads(page[1])["disabledExtensions"])
    for name in ("announcements", "debugger-extension", "extensionmanager-extension"):
        assert name in disabled


def test_no_cell_leaves_the_page_when_it_is_scrolled_away(lab: Lab) -> None:
    """Older versions of JupyterLab take cells that are out of sight from the page, with what was typed into their forms."""
    told = json.loads(lab.get("/lab/api/settings/@jupyterlab/notebook-extension:tracker"))
    assert told["schema"]["properties"]["windowingMode"]["default"] == "none"


def test_a_person_runs_the_pages_in_a_browser(lab: Lab, chromium: str) -> None:
    """Each page of one's own shop opens and runs to its end, without an error, a message or a question in the way."""
    from playwright.sync_api import expect, sync_playwright

    pages = sorted(page.name for page in (ROOT / "notebooks").glob("*.ipynb"))
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=chromium, args=CHROMIUM_FLAGS)
        page = browser.new_page(viewport={"width": 1200, "height": 900})
        page.goto(f"{lab.address}/lab/tree/notebooks/{pages[0]}?token={lab.token}&reset")
        page.wait_for_selector("#jupyterlab-splash", state="detached", timeout=60_000)
        for name in pages:
            # The first one is there already, the others are opened beside it from the list of files.
            if name != pages[0]:
                page.locator(f'.jp-DirListing-item[title^="Name: {name}"]').dblclick()
            expect(page.locator(".lm-TabBar-tab.lm-mod-current", has_text=name)).to_be_visible(timeout=60_000)
            shown = page.locator(".jp-NotebookPanel:not(.lm-mod-hidden)")
            # Of its own kernel: the line at the bottom may still tell that of the page before.
            expect(shown.locator('.jp-Notebook-ExecutionIndicator[data-status="idle"]')).to_be_attached(timeout=60_000)
            idle = page.locator(".jp-StatusBar-TextItem", has_text="| Idle").first
            expect(idle).to_be_visible(timeout=60_000)
            page.locator(".lm-MenuBar-itemLabel", has_text="Run").first.click()
            page.locator('.lm-Menu-item[data-command="runmenu:run-all"]').click()
            cells = shown.locator(".jp-Notebook .jp-CodeCell")
            # The last cell has its number when all before it have run.
            expect(cells.last.locator(".jp-InputPrompt")).to_have_text(re.compile(r"\[\d+\]:"), timeout=60_000)
            expect(idle).to_be_visible(timeout=60_000)
            assert shown.locator('.jp-OutputArea-output[data-mime-type="application/vnd.jupyter.stderr"]').count() == 0
            assert page.locator(".jp-Dialog, .Toastify__toast").count() == 0
            # The start page has forms instead of pictures.
            made = shown.get_by_role("button", name="Practice flares") if name.startswith("0") else shown.locator(".jp-RenderedImage img")
            assert made.count() >= 1
        browser.close()


def test_a_large_picture_arrives_at_a_form(lab: Lab) -> None:
    """A message of 12 MB, as a chosen file makes one, reaches a kernel of the kit's own JupyterLab; without its settings 10 MB are the most."""
    kernel = json.loads(lab.get("/api/kernels", method="POST"))["id"]
    head = {"msg_id": "large", "username": "", "session": "large", "msg_type": "execute_request", "version": "5.3", "date": "2025-01-01T00:00:00Z"}
    code = f"length = len('{'x' * 12_000_000}')"
    asked = {"code": code, "silent": False, "store_history": False, "user_expressions": {"length": "length"}, "allow_stdin": False, "stop_on_error": True}

    async def answered() -> dict:
        line = await websocket_connect(f"{lab.address.replace('http', 'ws', 1)}/api/kernels/{kernel}/channels?token={lab.token}", max_message_size=10**9)
        await line.write_message(json.dumps({"header": head, "parent_header": {}, "metadata": {}, "content": asked, "channel": "shell", "buffers": []}))
        while True:
            told = await asyncio.wait_for(line.read_message(), 60)
            assert told is not None, "the server hung up"
            told = json.loads(told)
            if told["channel"] == "shell" and told["header"]["msg_type"] == "execute_reply":
                break
        line.close()
        while await line.read_message() is not None:
            pass
        return told["content"]

    content = asyncio.run(answered())
    assert content["user_expressions"]["length"]["data"]["text/plain"] == "12000000"
    lab.get(f"/api/kernels/{kernel}", method="DELETE")
