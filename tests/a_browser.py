"""A JupyterLab of its own on a copy of the pages, and a person's browser on it."""

from __future__ import annotations

import contextlib
import json
import os
import re
import secrets
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from bendcal.lab import LABCONFIG, PAGE_START, with_names

ROOT = Path(__file__).resolve().parent.parent
FLAGS = (
    "--no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking "
    "--disable-component-update --disable-sync"
).split()  # fmt: skip
#: The pages that the tests write from.
WRITING = ("1_calibrate_a_bender.ipynb", "6_all_the_lines.ipynb")
_LEFT_OVER = shutil.ignore_patterns("calibration.json", "sheets", "*.tmp", "*.lock", ".ipynb_checkpoints")


def kit_copy(folder: Path) -> Path:
    """The pages, the sample, and a shop that may be written to, which pages 1 and 6 are set to.

    >>> import tempfile
    >>> sorted(path.name for path in kit_copy(Path(tempfile.mkdtemp())).iterdir())
    ['notebooks', 'sample_measurements', 'shop']
    """
    shutil.copytree(ROOT / "notebooks", folder / "notebooks", ignore=_LEFT_OVER)
    for name in ("sample_measurements", "shop"):
        shutil.copytree(ROOT / "sample_measurements", folder / name, ignore=_LEFT_OVER)
    for name in WRITING:
        page = folder / "notebooks" / name
        page.write_text(json.dumps(with_names(json.loads(page.read_text(encoding="utf-8")), {"folder": "../shop"})), encoding="utf-8")
    second = folder / "notebooks" / "1_in_another_notebook.ipynb"
    second.write_text((folder / "notebooks" / WRITING[0]).read_text(encoding="utf-8"), encoding="utf-8")
    return folder


@contextlib.contextmanager
def running_lab(root: Path, scratch: Path) -> Iterator[tuple[str, str]]:
    """JupyterLab on a free port of this machine alone, with settings of its own: (address, token)."""
    names = ("JUPYTER_CONFIG_DIR", "JUPYTERLAB_SETTINGS_DIR", "JUPYTERLAB_WORKSPACES_DIR", "JUPYTER_RUNTIME_DIR", "IPYTHONDIR")
    env = os.environ | {name: str(scratch / name.lower()) for name in names}
    env |= {"PYTHONPATH": str(ROOT), "PYTHONUTF8": "1", "JUPYTER_CONFIG_PATH": str(LABCONFIG), "PYTHONSTARTUP": str(PAGE_START)}
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    token, address = secrets.token_hex(16), f"http://127.0.0.1:{port}"
    words = [
        "--no-browser", "--ip=127.0.0.1", f"--port={port}", "--ServerApp.port_retries=0", f"--IdentityProvider.token={token}",
        f"--ServerApp.root_dir={root}", "--ServerApp.allow_root=True",
    ]  # fmt: skip

    def ask(path: str, method: str = "GET") -> None:
        request = urllib.request.Request(address + path, method=method, headers={"Authorization": f"token {token}"})
        urllib.request.urlopen(request, timeout=10).close()

    with open(scratch / "lab.txt", "wb") as log:
        process = subprocess.Popen([sys.executable, "-m", "jupyterlab", *words], env=env, stdout=log, stderr=subprocess.STDOUT)
    try:
        until = time.monotonic() + 60
        while True:
            try:
                ask("/api/status")
                break
            except OSError:
                told = (scratch / "lab.txt").read_text(encoding="utf-8", errors="replace")
                assert process.poll() is None and time.monotonic() < until, told
                time.sleep(0.1)
        yield address, token
        with contextlib.suppress(OSError):
            ask("/api/shutdown", "POST")
            process.wait(20)
    finally:
        process.kill()
        process.wait(20)


@dataclass
class Person:
    """Somebody at the screen; what goes wrong on the page, or asks another machine for something, is noted.

    Attributes
    ----------
    page : the browser's page
    address, token : of JupyterLab
    pictures : where screenshots go
    complaints : what the browser's console called an error, and requests to elsewhere
    restarted : whether the kernel was restarted, after which forms on the page are dead until it is run
    """

    page: object
    address: str
    token: str
    pictures: Path
    complaints: list[str] = field(default_factory=list)
    restarted: bool = False

    def __post_init__(self) -> None:
        self.page.on("console", lambda told: self._console(told.text) if told.type == "error" else None)
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("request", lambda asked: self._request(asked.url))

    def _console(self, text: str) -> None:
        # On a busy machine JupyterLab draws the dead form of the old kernel once more before the page is run again, and says so;
        # and once it took a topic of the restarted kernel ("kernel." and its number) for a message. Both are its own, and only after a restart.
        its_own = "widget model not found" in text or ("Kernel message validation error" in text and '"kernel.' in text)
        if not (self.restarted and its_own):
            self.complaints.append(text)

    def _request(self, url: str) -> None:
        if not re.match(r"(http|ws)://127\.0\.0\.1:|data:|blob:", url):
            self.complaints.append(f"asked {url}")

    def open(self, name: str, *, workspace: str = "") -> None:
        """Open a page and wait until JupyterLab is there; in another tab it needs a workspace of its own."""
        where = f"lab/workspaces/{workspace}" if workspace else "lab"
        self.page.goto(f"{self.address}/{where}/tree/{name}?token={self.token}&reset")
        self.page.wait_for_selector("#jupyterlab-splash", state="detached", timeout=60_000)
        self.idle()

    def idle(self) -> None:
        """Wait until the kernel has nothing to do."""
        from playwright.sync_api import expect

        expect(self.page.locator(".jp-StatusBar-TextItem", has_text="| Idle").first).to_be_visible(timeout=60_000)

    def menu(self, name: str, command: str) -> None:
        """Choose an entry of a menu."""
        self.page.locator(".lm-MenuBar-itemLabel", has_text=name).first.click()
        self.page.locator(f'.lm-Menu-item[data-command="{command}"]').click()

    def run_all(self) -> None:
        """Menu Run, Run All Cells; returns when the last cell has run."""
        from playwright.sync_api import expect

        self.menu("Run", "runmenu:run-all")
        last = self.page.locator(".jp-Notebook .jp-CodeCell").last.locator(".jp-InputPrompt")
        expect(last).to_have_text(re.compile(r"\[\d+\]:"), timeout=60_000)
        self.idle()

    def run_by_keys(self) -> None:
        """Run All Cells by the command palette, without the mouse."""
        from playwright.sync_api import expect

        keys = self.page.keyboard
        keys.press("Control+Shift+c")
        expect(self.page.locator(".lm-CommandPalette-input, .jp-ModalCommandPalette input").first).to_be_focused()
        keys.type("run all cells")
        expect(self.page.locator(".lm-CommandPalette-item.lm-mod-active")).to_contain_text("Run All Cells")
        keys.press("Enter")

    def tab_to(self, name: str, *, role: str = "textbox", most: int = 150) -> None:
        """Press Tab until the box or button of that name has the focus."""
        wanted = self.page.get_by_label(name, exact=True) if role == "textbox" else self.page.get_by_role(role, name=name, exact=True)
        for _ in range(most):
            if wanted.evaluate("here => here === document.activeElement"):
                return
            self.page.keyboard.press("Tab")
        raise AssertionError(f"Tab does not come to {name}")

    def restart(self) -> None:
        """Menu Kernel, Restart."""
        self.restarted = True
        self.menu("Kernel", "kernelmenu:restart")
        self.page.locator(".jp-Dialog .jp-mod-accept").click()
        self.idle()

    def theme(self, name: str) -> None:
        """Menu Settings, Theme."""
        from playwright.sync_api import expect

        self.page.locator(".lm-MenuBar-itemLabel", has_text="Settings").first.click()
        self.page.locator('.lm-Menu-item[data-type="submenu"]', has_text="Theme").first.click()
        self.page.locator('.lm-Menu-item[data-command="apputils:change-theme"]', has_text=re.compile(f"^{name}$")).first.click()
        expect(self.page.locator(f'body[data-jp-theme-name="{name}"]')).to_be_attached()

    def barriers(self, within: str) -> list[str]:
        """What an automatic checker finds that would keep somebody out, in one part of the page."""
        from axe_playwright_python.sync_playwright import Axe

        found = Axe().run(self.page, context=within).response["violations"]
        return [f"{each['id']}: {each['help']}: {node['html'][:160]}" for each in found for node in each["nodes"]]

    def look(self, name: str) -> None:
        """Keep a screenshot."""
        self.page.screenshot(path=self.pictures / f"{name}.png")
