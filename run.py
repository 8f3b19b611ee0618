"""Set the kit up beside this file and run it: python run.py (Windows: py run.py).

    python run.py              calibrate the sample, then mark out one of its lines
    python run.py notebooks    open the notebooks in JupyterLab
    python run.py test         run every check; what follows goes to pytest
    python run.py setup        set up only
    python run.py WORDS ...    the same as the command: bendcal WORDS ...

Nothing outside this folder is changed: the first run makes the folder .venv beside
this file, puts the packages there that the pins name, and later runs use it again.
"""
# Written so that an old Python can read it too, and say in plain words that it is too old.
from __future__ import print_function

import hashlib
import json
import os
import subprocess
import sys

NEEDED = (3, 11)
ROOT = os.path.dirname(os.path.abspath(__file__))
VENV = os.path.join(ROOT, ".venv")
STAMP = os.path.join(VENV, "bendcal-setup.json")
LOG = os.path.join(VENV, "setup.log")
PINS = {"run": "constraints.txt", "test": "constraints-test.txt"}
SAMPLE = "sample_measurements"


class Stopped(Exception):
    """A reason to stop, as a sentence for the person at the keyboard."""


def say(sentence):
    print(sentence)
    sys.stdout.flush()


def again():
    return "py run.py" if os.name == "nt" else "python3 run.py"


def venv_python():
    if os.name == "nt":
        return os.path.join(VENV, "Scripts", "python.exe")
    return os.path.join(VENV, "bin", "python")


def environment():
    """The surroundings for all that is started: only .venv and this folder count."""
    env = dict(os.environ)
    env.pop("PYTHONHOME", None)
    # By this a folder whose name has letters outside the system's own alphabet works too.
    env["PYTHONPATH"] = ROOT
    env["PYTHONNOUSERSITE"] = "1"
    env["PYTHONUTF8"] = "1"
    env["PIP_USER"] = "0"
    env["PIP_DISABLE_PIP_VERSION_CHECK"] = "1"
    return env


def start(words, cwd=None, log=None, more=None):
    """Run a program to its end and return its exit code; Ctrl+C is the program's to answer.

    With an open file as `log` its words go there, and here a dot is printed every few
    seconds, to show that something still happens. `more` goes into its surroundings.
    """
    env = dict(environment(), **(more or {}))
    process = subprocess.Popen(
        words, cwd=cwd, env=env, stdout=log, stderr=subprocess.STDOUT if log else None
    )
    while True:
        try:
            return process.wait(timeout=3 if log else None)
        except subprocess.TimeoutExpired:
            sys.stdout.write(".")
            sys.stdout.flush()
        except KeyboardInterrupt:
            pass


def digest(name):
    with open(os.path.join(ROOT, name), "rb") as file:
        return hashlib.sha256(file.read().replace(b"\r\n", b"\n")).hexdigest()


def read_stamp():
    """What the finished set-up was made from; empty if there is none that can be used."""
    try:
        with open(STAMP, "rb") as file:
            stamp = json.loads(file.read().decode("utf-8"))
        works = subprocess.call([venv_python(), "-c", ""], env=environment()) == 0
    except (OSError, ValueError):
        return {}
    return stamp if works and isinstance(stamp, dict) else {}


def write_stamp(stamp):
    with open(STAMP, "wb") as file:
        file.write(json.dumps(stamp, indent=1, sort_keys=True).encode("utf-8"))


def set_up(wanted):
    """Make .venv, or bring it up to date; `wanted` is "run" or "test".

    The stamp is taken away first and written last, so that what was left half made is
    made again.
    """
    target = {
        "python": "%d.%d" % sys.version_info[:2],
        "folder": os.path.normcase(ROOT),
        "pins": [digest(PINS["run"]), digest(PINS["test"])],
        "project": digest("pyproject.toml"),
    }
    stamp = read_stamp()
    same = [name for name in target if stamp.get(name) == target[name]]
    fresh = not {"python", "folder", "pins"}.issubset(same)
    has = [] if fresh else stamp.get("has", [])
    if not fresh and wanted in has and "project" in same:
        return
    if os.path.exists(STAMP):
        os.remove(STAMP)
    if fresh:
        make_venv()
    if wanted not in has:
        what = "the packages" if wanted == "run" else "the packages, those for the checks too"
        say("Fetching %s; this happens once and takes a minute or so ..." % what)
        pip("--require-hashes", "--only-binary", ":all:", "-r", os.path.join(ROOT, PINS[wanted]))
        has = ["run"] if wanted == "run" else ["run", "test"]
    pip("--no-deps", "--no-build-isolation", "--editable", ROOT)
    write_stamp(dict(target, has=has))
    say("Set up in %s\n" % VENV)


def make_venv():
    from importlib.util import find_spec

    if find_spec("venv") is None or find_spec("ensurepip") is None:
        raise Stopped(
            "This Python lacks its part 'venv', which the set-up needs. On Debian, Ubuntu and "
            "their kin this brings it: sudo apt install python3-venv\nThen run this again: "
            + again()
        )
    say("Making the folder %s (Python %s) ..." % (VENV, sys.version.split()[0]))
    # A Python that lives in .venv itself cannot make it anew; the one beneath it can.
    python = getattr(sys, "_base_executable", None) or sys.executable
    if start([python, "-m", "venv", "--clear", VENV]) != 0:
        raise Stopped(
            "The folder .venv could not be made (see above). Close what may still use it, such "
            "as an open JupyterLab, and make sure that this folder can be written to: %s\nThen "
            "run this again: %s" % (ROOT, again())
        )


def pip(*words):
    """Install into .venv. What pip says goes to a log; its errors are shown if it fails."""
    with open(LOG, "ab") as log:
        before = log.tell()
        code = start([venv_python(), "-m", "pip", "install"] + list(words), log=log)
    say("")
    if code == 0:
        return
    with open(LOG, "rb") as log:
        log.seek(before)
        lines = log.read().decode("utf-8", "replace").splitlines()
    errors = [line for line in lines if line.startswith("ERROR")] or lines[-5:]
    raise Stopped(
        "The packages could not be installed. The usual reason is that the network could not "
        "be reached: check it and run this again: %s\nIf the network is fine: ready-made "
        "packages are needed, and a 32-bit or very new Python may have none. This is Python "
        "%s; the kit is tried with 3.11 to 3.13, 64-bit.\nWhat the installer said (all of it "
        "is in %s):\n  %s"
        % (again(), sys.version.split()[0], LOG, "\n  ".join(errors[-5:]))
    )


def bendcal(*words, **where):
    return start([venv_python(), "-m", "bendcal"] + list(words), **where)


def check(words):
    """Run pytest: with words of one's own just so, else every check, files side by side: one on each core, two to four."""
    more = {}
    if not words:
        count = max(2, min(4, os.cpu_count() or 1))
        # In the order of their names: the browser's, which take longest, begin early.
        words = ["--numprocesses=%d" % count, "--dist=loadfile", "--no-loadscope-reorder"]
        # Each with one thread of its own: several would only get into one another's way.
        more = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
    return start([venv_python(), "-m", "pytest"] + words, cwd=ROOT, more=more)


def main_job():
    for words in (["calibrate", SAMPLE], ["marks", SAMPLE]):
        say("> bendcal " + " ".join(words))
        code = bendcal(*words, cwd=ROOT)
        if code != 0:
            return code
        say("")
    say("To open the notebooks, where you work with your own bender: %s notebooks" % again())
    return 0


def main(words):
    if sys.version_info < NEEDED:
        raise Stopped(
            "The kit needs Python %d.%d or newer, and this is Python %s.\nA newer one stands "
            "beside it without disturbing it; with that one, run this again."
            % (NEEDED + (sys.version.split()[0],))
        )
    if words and words[0] in ("-h", "--help", "help"):
        say(__doc__.strip())
        return 0
    set_up("test" if words[:1] == ["test"] else "run")
    if not words:
        return main_job()
    if words == ["setup"]:
        return 0
    if words[0] == "test":
        return check(words[1:])
    return bendcal(*words)


if __name__ == "__main__":
    try:
        sys.exit(main(sys.argv[1:]))
    except Stopped as reason:
        sys.exit("\n%s" % reason)
    except KeyboardInterrupt:
        sys.exit("\nStopped. Run this again whenever you like: %s" % again())
