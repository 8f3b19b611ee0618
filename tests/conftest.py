"""What every test shares: quiet drawing, repeatable hypothesis, a sample to work on."""

import gc
import os
import shutil
from pathlib import Path

# Python looks for what it can throw away after every 700 new objects, among hundreds of thousands that stay: a tenth of the time of a page of print.
gc.set_threshold(50_000, 10, 10)

# Before anything imports matplotlib: figures are made in memory, never in a window.
os.environ["MPLBACKEND"] = "Agg"

import pytest
from hypothesis import settings

ROOT = Path(__file__).resolve().parent.parent
SAMPLE = ROOT / "sample_measurements"

# The same examples on every run and every machine, and no failure because a machine is slow.
settings.register_profile(
    "bendcal", deadline=None, derandomize=True, database=None, print_blob=False
)
settings.load_profile("bendcal")


@pytest.fixture
def sample_folder(tmp_path: Path) -> Path:
    """A fresh copy of the shipped sample, without anything an earlier run left in it."""
    copy = tmp_path / "sample_measurements"
    left_over = shutil.ignore_patterns("calibration.json", "sheets", "*.tmp", "*.lock")
    return Path(shutil.copytree(SAMPLE, copy, ignore=left_over))


def _program(*names: str) -> str:
    """The first of these programs that is on the PATH; without any the test is skipped.

    With BENDCAL_REQUIRE_BROWSER=1 (as .ci/run sets it) a missing program fails the test.
    """
    for name in names:
        found = shutil.which(name)
        if found:
            return found
    missing = f"none of these programs is installed: {', '.join(names)}"
    if os.environ.get("BENDCAL_REQUIRE_BROWSER") == "1":
        pytest.fail(f"{missing}; BENDCAL_REQUIRE_BROWSER=1 says that it must be")
    pytest.skip(missing)


@pytest.fixture(scope="session")
def chromium() -> str:
    """Path of a Chromium for the tests that use the notebooks as a person does."""
    return _program("chromium", "chromium-browser", "google-chrome")


@pytest.fixture(scope="session")
def pdftoppm() -> str:
    """Path of poppler's pdftoppm for the tests that measure a printed page."""
    return _program("pdftoppm")
