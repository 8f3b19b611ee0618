"""The set-up: run.py, the pins, and what the repository may hold at its top."""

import ast
import importlib.util
import json
import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path
from types import ModuleType

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from bendcal.version import __version__

ROOT = Path(__file__).resolve().parent.parent
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
PINS = ("constraints.txt", "constraints-test.txt")
TOP_LEVEL = {
    ".ci",
    ".gitattributes",
    ".gitignore",
    "CHANGELOG.md",
    "DEVELOPERS.md",
    "LICENSE",
    "README.md",
    "bendcal",
    "constraints-test.txt",
    "constraints.txt",
    "notebooks",
    "pyproject.toml",
    "run.py",
    "sample_measurements",
    "tests",
}


def pinned(name: str) -> dict[str, str]:
    """Each pin of a file of pins, with the whole entry that carries its hashes."""
    text = (ROOT / name).read_text(encoding="utf-8").strip()
    entries = re.split(r"\n(?=\S)", text)
    return {entry.partition(" \\")[0]: entry for entry in entries}


def tracked() -> list[Path]:
    """The files that git keeps; skipped where this is no clone of the repository."""
    if not (ROOT / ".git").exists() or shutil.which("git") is None:
        pytest.skip("not a git clone")
    listed = subprocess.run(
        ["git", "-c", f"safe.directory={ROOT.as_posix()}", "ls-files", "-z"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=True,
    )
    return [Path(name) for name in listed.stdout.split("\0") if name]


# ---------------------------------------------------------------- the pins


def test_the_pins_for_running_are_among_the_pins_for_testing() -> None:
    """Tests run with the very packages, hash for hash, that a user gets."""
    running, testing = (pinned(name) for name in PINS)
    assert len(running) > 50
    assert running.items() <= testing.items()


@pytest.mark.parametrize("name", PINS)
def test_every_pin_is_exact_and_hashed_and_names_no_server(name: str) -> None:
    """A pin is `name==version`, perhaps a marker, then hashes; no address and no option."""
    for pin, entry in pinned(name).items():
        assert re.fullmatch(r"[a-z0-9-]+==[0-9][\w.]*( ; .+)?", pin), pin
        lines = [line.strip(" \\") for line in entry.splitlines()[1:]]
        assert lines and all(re.fullmatch(r"--hash=sha256:[0-9a-f]{64}", h) for h in lines), pin


@pytest.mark.parametrize("name", PINS)
def test_every_dependency_is_pinned_within_its_bounds(name: str) -> None:
    """What pyproject.toml asks for, the builder too, is pinned at a version that it allows."""
    asked = PROJECT["project"]["dependencies"] + PROJECT["build-system"]["requires"]
    if name == "constraints-test.txt":
        asked = asked + PROJECT["project"]["optional-dependencies"]["test"]
    pins = [Requirement(pin) for pin in pinned(name)]
    for want in map(Requirement, asked):
        versions = [
            next(iter(pin.specifier)).version
            for pin in pins
            if canonicalize_name(pin.name) == canonicalize_name(want.name)
        ]
        assert versions, f"{want.name} is not pinned in {name}"
        assert all(want.specifier.contains(version) for version in versions), want


def test_the_version_is_the_same_wherever_it_is_told() -> None:
    """pyproject.toml and the package tell one version."""
    assert PROJECT["project"]["version"] == __version__


# ---------------------------------------------------------------- run.py


def load_run() -> ModuleType:
    """run.py as a module, without running it."""
    spec = importlib.util.spec_from_file_location("bendcal_run_script", ROOT / "run.py")
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


class Desk:
    """run.py in a folder of its own, with what it would start written down, not started."""

    def __init__(self, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self.run = load_run()
        self.done: list[str] = []
        self.exit_codes: dict[str, int] = {}
        for name in (*PINS, "pyproject.toml"):
            shutil.copy(ROOT / name, folder / name)
        venv = folder / ".venv"
        monkeypatch.setattr(self.run, "ROOT", str(folder))
        monkeypatch.setattr(self.run, "VENV", str(venv))
        monkeypatch.setattr(self.run, "STAMP", str(venv / "stamp.json"))
        monkeypatch.setattr(self.run, "LOG", str(venv / "setup.log"))
        monkeypatch.setattr(self.run, "venv_python", lambda: sys.executable)
        monkeypatch.setattr(self.run, "start", self.start)
        self.stamp = venv / "stamp.json"
        self.folder = folder

    def start(self, words: list[str], cwd: str | None = None, log: object = None, more: dict[str, str] | None = None) -> int:
        short = " ".join(words[2:]).replace(str(self.folder), "HERE").replace("\\", "/")
        self.done.append(short)
        if short.startswith("venv"):
            shutil.rmtree(self.folder / ".venv", ignore_errors=True)
            (self.folder / ".venv").mkdir()
        return next((code for word, code in self.exit_codes.items() if word in short), 0)

    def does(self, *words: str) -> list[str]:
        """Run with these words; what was started, in order."""
        self.done.clear()
        self.code = self.run.main(list(words))
        return list(self.done)


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Desk:
    """run.py where it can do no harm."""
    return Desk(tmp_path, monkeypatch)


MAKE = "venv --clear HERE/.venv"
INSTALL = "pip install --require-hashes --only-binary :all: -r HERE/"
PACKAGE = "pip install --no-deps --no-build-isolation --editable HERE"


def test_the_first_run_sets_up_and_does_the_main_job(desk: Desk) -> None:
    """With no words: make .venv, install the pins and the kit, calibrate, mark out."""
    assert desk.does() == [
        MAKE,
        INSTALL + "constraints.txt",
        PACKAGE,
        "bendcal calibrate sample_measurements",
        "bendcal marks sample_measurements",
    ]
    assert desk.code == 0


def test_a_second_run_installs_nothing(desk: Desk) -> None:
    """Once set up, only the main job is done."""
    desk.does("setup")
    assert desk.does("setup") == []
    assert [words.split()[0] for words in desk.does()] == ["bendcal", "bendcal"]


def test_testing_adds_its_packages_once_and_running_needs_no_more(desk: Desk) -> None:
    """`test` after a plain run adds the test pins; a plain run after that adds nothing."""
    desk.does("setup")
    assert desk.does("test", "-k", "arc") == [
        INSTALL + "constraints-test.txt",
        PACKAGE,
        "pytest -k arc",
    ]
    (every,) = desk.does("test")
    assert re.fullmatch("pytest --numprocesses=[234] --dist=loadfile --no-loadscope-reorder", every)
    assert desk.does("setup") == []


def test_other_pins_make_a_fresh_environment(desk: Desk) -> None:
    """When the pins have changed, nothing of the old environment is kept."""
    desk.does("setup")
    with open(desk.folder / "constraints.txt", "a", encoding="utf-8") as pins:
        pins.write("another==1.0\n")
    assert desk.does("setup") == [MAKE, INSTALL + "constraints.txt", PACKAGE]


def test_a_changed_project_file_installs_the_kit_alone(desk: Desk) -> None:
    """When only pyproject.toml has changed, the packages stay."""
    desk.does("setup")
    with open(desk.folder / "pyproject.toml", "a", encoding="utf-8") as project:
        project.write("# changed\n")
    assert desk.does("setup") == [PACKAGE]
    assert desk.does("setup") == []


def test_line_ends_make_no_difference_to_the_set_up(desk: Desk) -> None:
    """Pins checked out with Windows line ends are the same pins."""
    desk.does("setup")
    pins = desk.folder / "constraints.txt"
    pins.write_bytes(pins.read_bytes().replace(b"\n", b"\r\n"))
    assert desk.does("setup") == []


@pytest.mark.parametrize("key", ["python", "folder"])
def test_another_python_or_a_moved_folder_makes_a_fresh_environment(desk: Desk, key: str) -> None:
    """What was made by another Python, or elsewhere, is made again."""
    desk.does("setup")
    stamp = json.loads(desk.stamp.read_text(encoding="utf-8"))
    desk.stamp.write_text(json.dumps({**stamp, key: "other"}), encoding="utf-8")
    assert desk.does("setup")[0] == MAKE


@pytest.mark.parametrize("text", ["", "[]", "{", "\xff"])
def test_a_spoilt_stamp_makes_a_fresh_environment(desk: Desk, text: str) -> None:
    """A stamp that cannot be read is no stamp."""
    desk.does("setup")
    desk.stamp.write_bytes(text.encode("latin-1"))
    assert desk.does("setup")[0] == MAKE


def test_a_venv_whose_python_is_gone_is_made_again(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """When the system's Python was taken away beneath .venv, a fresh one is made."""
    desk.does("setup")
    gone = str(desk.folder / "no-such-python")
    monkeypatch.setattr(desk.run, "venv_python", lambda: gone)
    assert desk.run.read_stamp() == {}


@pytest.mark.parametrize("step", [INSTALL[:20], PACKAGE])
def test_a_failed_install_says_so_and_the_next_run_begins_afresh(desk: Desk, step: str) -> None:
    """Without network: a sentence that says what to do, and no half-made set-up is trusted."""
    desk.exit_codes = {step: 1}
    with pytest.raises(desk.run.Stopped, match="could not be installed.*network.*run this again"):
        desk.does("setup")
    assert not desk.stamp.exists()
    desk.exit_codes = {}
    assert desk.does("setup") == [MAKE, INSTALL + "constraints.txt", PACKAGE]


def test_a_failed_addition_is_not_trusted_either(desk: Desk) -> None:
    """When the test packages fail to install, the environment that they went into is remade."""
    desk.does("setup")
    desk.exit_codes = {"constraints-test": 1}
    with pytest.raises(desk.run.Stopped, match="could not be installed"):
        desk.does("test")
    desk.exit_codes = {}
    assert desk.does("setup")[0] == MAKE


def test_the_installers_own_errors_are_shown(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of what the installer said, its lines of errors follow the sentence."""
    (desk.folder / ".venv").mkdir()

    def fails(words: list[str], cwd: str | None = None, log: object = None) -> int:
        log.write(b"Collecting a\nERROR: No matching distribution found for a\n")  # type: ignore
        return 1

    monkeypatch.setattr(desk.run, "start", fails)
    with pytest.raises(desk.run.Stopped, match=r"(?s)said.*\n  ERROR: No matching distrib") as told:
        desk.run.pip("a")
    assert "Collecting" not in str(told.value)


def test_a_folder_that_cannot_be_made_says_so(desk: Desk) -> None:
    """When .venv cannot be made, the sentence names what may stand in the way."""
    desk.exit_codes = {"venv": 1}
    with pytest.raises(desk.run.Stopped, match="Close what may still use it"):
        desk.does("setup")


@pytest.mark.parametrize("part", ["venv", "ensurepip"])
def test_a_python_without_venv_says_what_to_install(
    desk: Desk, monkeypatch: pytest.MonkeyPatch, part: str
) -> None:
    """Debian ships Python without the part that makes environments."""
    real = importlib.util.find_spec
    monkeypatch.setattr(
        importlib.util, "find_spec", lambda name: None if name == part else real(name)
    )
    with pytest.raises(desk.run.Stopped, match="sudo apt install python3-venv"):
        desk.does("setup")


def test_an_old_python_is_told_which_one_is_needed(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Too old a Python stops before anything is made."""
    monkeypatch.setattr(desk.run.sys, "version_info", (3, 10, 13, "final", 0))
    with pytest.raises(desk.run.Stopped, match=r"needs Python 3\.11 or newer, and this is Python"):
        desk.does()
    assert desk.done == []
    needs = PROJECT["project"]["requires-python"]
    assert needs == ">={}.{}".format(*desk.run.NEEDED)


def test_run_py_can_be_read_by_an_old_python() -> None:
    """run.py uses only the standard library and no syntax that Python 2.7 or 3.4 cannot read."""
    tree = ast.parse((ROOT / "run.py").read_bytes())
    newer = (ast.JoinedStr, ast.AnnAssign, ast.NamedExpr, ast.AsyncFunctionDef, ast.Nonlocal)
    for node in ast.walk(tree):
        assert not isinstance(node, newer), ast.unparse(node)
        if isinstance(node, ast.FunctionDef):
            arguments = node.args
            plain = arguments.args + [a for a in (arguments.vararg, arguments.kwarg) if a]
            assert not arguments.kwonlyargs and not arguments.posonlyargs, node.name
            assert node.returns is None and all(a.annotation is None for a in plain), node.name
        if isinstance(node, (ast.List, ast.Tuple, ast.Set)):
            assert not any(isinstance(item, ast.Starred) for item in node.elts), ast.unparse(node)
        if isinstance(node, ast.Import):
            assert all(alias.name in sys.stdlib_module_names for alias in node.names)
        if isinstance(node, ast.ImportFrom):
            assert str(node.module).partition(".")[0] in sys.stdlib_module_names
    assert (ROOT / "run.py").read_bytes().isascii()


def test_the_main_job_stops_where_it_fails(desk: Desk) -> None:
    """If the calibration fails nothing is marked out, and the failure is passed on."""
    desk.exit_codes = {"calibrate": 2}
    assert desk.does()[-1] == "bendcal calibrate sample_measurements"
    assert desk.code == 2


@pytest.mark.parametrize("code", [0, 1, 5])
def test_what_pytest_says_is_passed_on(desk: Desk, code: int) -> None:
    """Failed tests, and no tests at all (5), are failures of `run.py test`."""
    desk.exit_codes = {"pytest": code}
    desk.does("test")
    assert desk.code == code


def test_other_words_go_to_the_kit_as_they_are(desk: Desk) -> None:
    """`run.py marks SHOP LINE` is `bendcal marks SHOP LINE`."""
    desk.does("setup")
    assert desk.does("marks", "my shop", "rear left") == ["bendcal marks my shop rear left"]
    assert desk.does("notebooks") == ["bendcal notebooks"]


def test_help_needs_no_set_up(desk: Desk, capsys: pytest.CaptureFixture[str]) -> None:
    """Asking for help makes nothing."""
    assert desk.does("--help") == []
    assert "run.py notebooks" in capsys.readouterr().out


def test_a_started_program_sees_only_this_kit(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Python settings that belong to other work do not reach what run.py starts."""
    monkeypatch.setenv("PYTHONPATH", "elsewhere")
    monkeypatch.setenv("PYTHONHOME", "elsewhere")
    monkeypatch.setenv("PIP_USER", "1")
    env = load_run().environment()
    assert env["PYTHONPATH"] == str(ROOT)
    assert "PYTHONHOME" not in env
    assert env["PIP_USER"] == "0"


# ---------------------------------------------------------------- the repository


def test_the_top_level_holds_only_what_belongs_there() -> None:
    """A person who opens the folder sees few names, and each has its use."""
    assert {path.parts[0] for path in tracked()} <= TOP_LEVEL


def test_no_file_names_a_package_server() -> None:
    """Where packages come from is the installer's setting; no file of ours names a server."""
    # Written in parts, or this file would find itself.
    hosts = ["py" + "pi.org", "python" + "hosted", "ana" + "conda.", "npm" + "js."]
    hosts.append("index" + "-url")
    for path in tracked():
        text = (ROOT / path).read_bytes().decode("utf-8", "replace").lower()
        assert [host for host in hosts if host in text] == [], path


def test_set_up_files_hold_no_address() -> None:
    """The script, the project file, the pins and the checks' script reach no fixed address."""
    for name in ("run.py", "pyproject.toml", *PINS, ".ci/run", "tests/conftest.py"):
        assert "://" not in (ROOT / name).read_text(encoding="utf-8"), name


def test_what_the_main_job_writes_is_ignored_by_git() -> None:
    """Running the kit on the sample leaves the clone clean."""
    tracked()
    for name in ("calibration.json", "sheets/a.csv", "sheets/a.pdf", "calibration.json.tmp"):
        asked = ["git", "-c", f"safe.directory={ROOT.as_posix()}", "check-ignore", "-q"]
        path = f"sample_measurements/{name}"
        assert subprocess.run([*asked, path], cwd=ROOT).returncode == 0, path


def test_the_checks_script_can_be_started() -> None:
    """git keeps .ci/run as a program, not as a plain file."""
    tracked()
    asked = ["git", "-c", f"safe.directory={ROOT.as_posix()}", "ls-files", "-s", ".ci/run"]
    shown = subprocess.run(asked, cwd=ROOT, capture_output=True, text=True, check=True)
    assert shown.stdout.startswith("100755")
