"""The set-up files: run.py, the pins, and what the repository may hold."""

import re
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent


def pinned(name: str) -> dict[str, str]:
    """Each pin of a file of pins, with its hashes."""
    blocks = re.split(r"\n(?=\S)", (ROOT / name).read_text(encoding="utf-8").strip())
    return {block.split(" \\")[0]: block for block in blocks}


def test_the_pins_for_running_are_among_the_pins_for_testing() -> None:
    """Tests run with the very packages, hash for hash, that a user gets."""
    running, testing = pinned("constraints.txt"), pinned("constraints-test.txt")
    assert len(running) > 50
    assert running.items() <= testing.items()
