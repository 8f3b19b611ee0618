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

from bendcal.lab import LABCONFIG, with_names

ROOT = Path(__file__).resolve().parent.parent
FLAGS = (
    "--no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking "
    "--disable-component-update --disable-sync"
).split()  # fmt: skip
_LEFT_OVER = shutil.ignore_patterns("calibration.json", "sheets", "*.tmp", "*.lock", ".ipynb_checkpoints")


def kit_copy(folder: Path) -> Path:
    """The pages, the sample, and a shop that may be written to, which page 1 is set to.

    >>> import tempfile
    >>> sorted(path.name for path in kit_copy(Path(tempfile.mkdtemp())).iterdir())
    ['notebooks', 'sample_measurements', 'shop']
    """
    shutil.copytree(ROOT / "notebooks", folder / "notebooks", ignore=_LEFT_OVER)
    for name in ("sample_measurements", "shop"):
        shutil.copytree(ROOT / "sample_measurements", folder / name, ignore=_LEFT_OVER)
    page = folder / "notebooks" / "1_calibrate_a_bender.ipynb"
    page.write_text(json.dumps(with_names(json.loads(page.read_text(encoding="utf-8")), {"folder": "../shop"})), encoding="utf-8")
    return folder


@contextlib.contextmanager
def running_lab(root: Path, scratch: Path) -> Iterator[tuple[str, str]]:
    """JupyterLab on a free port of this machine alone, with settings of its own: (address, token)."""
    names = ("JUPYTER_CONFIG_DIR", "JUPYTERLAB_SETTINGS_DIR", "JUPYTERLAB_WORKSPACES_DIR", "JUPYTER_RUNTIME_DIR", "IPYTHONDIR")
    env = os.environ | {name: str(scratch / name.lower()) for name in names}
    env |= {"PYTHONPATH": str(ROOT), "PYTHONUTF8": "1", "JUPYTER_CONFIG_PATH": str(LABCONFIG)}
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
    """

    page: object
    address: str
    token: str
    pictures: Path
    complaints: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.page.on("console", lambda told: self.complaints.append(told.text) if told.type == "error" else None)
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("request", lambda asked: self._request(asked.url))

    def _request(self, url: str) -> None:
        if not re.match(r"(http|ws)://127\.0\.0\.1:|data:|blob:", url):
            self.complaints.append(f"asked {url}")

    def open(self, name: str) -> None:
        """Open a page and wait until JupyterLab is there."""
        self.page.goto(f"{self.address}/lab/tree/{name}?token={self.token}&reset")
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

    def look(self, name: str) -> None:
        """Keep a screenshot."""
        self.page.screenshot(path=self.pictures / f"{name}.png")
