"""Saving a file whole or not at all.

A file is written beside its target under a name of its own, forced to the disk, and then put in
the target's place in one step. Whoever reads meanwhile sees the old file or the new one, never
half of either; a cut cable or a killed notebook leaves the old one.
"""

from __future__ import annotations

import contextlib
import os
import re
import secrets
import time
from collections.abc import Sequence
from pathlib import Path

__all__ = ["NotSaved", "make_folder", "sweep_leftovers", "write_atomically", "write_together"]

_LEFTOVER = re.compile(r"\.bendcal-[0-9a-f]{12}\.tmp\Z")
REPLACE_ATTEMPTS = 8
FIRST_PAUSE_S = 0.02  # doubled after each attempt: 2.5 s in all


class NotSaved(OSError):
    """A file could not be put in place; what was there before is untouched.

    Parameters
    ----------
    path : the file that was to be written
    sentence : what happened and what to do; this is what str() gives
    """

    def __init__(self, path: Path, sentence: str) -> None:
        super().__init__(sentence)
        self.path = path

    def __str__(self) -> str:
        return str(self.args[0])

    def __reduce__(self) -> tuple:
        return NotSaved, (self.path, str(self))


def write_atomically(path: str | os.PathLike[str], data: bytes) -> None:
    """Write `data` to `path` whole or not at all, and on the disk before this returns.

    Parameters
    ----------
    path : the file to write; its folder must be there. A link is followed, not replaced
    data : the whole content

    Raises
    ------
    NotSaved : with a sentence, where the folder is missing, full or write-protected, or where
        another program holds the file open (a spreadsheet on Windows does)

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write_atomically(Path(folder) / "note.txt", b"kept")
    ...     (Path(folder) / "note.txt").read_bytes()
    b'kept'
    """
    write_together([(path, data)])


def write_together(contents: Sequence[tuple[str | os.PathLike[str], bytes]]) -> None:
    """Write files that belong together: all of them, or none where one cannot be written.

    Each is whole at any moment, whatever happens. Only where the power fails between two of them may some be new and some old.

    Parameters
    ----------
    contents : for each file its path, as for :func:`write_atomically`, and its whole content

    Raises
    ------
    NotSaved : as :func:`write_atomically`, for the first that cannot be written; every file is then as it was

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     (Path(folder) / "b.txt").mkdir()
    ...     try:
    ...         write_together([(Path(folder) / "a.txt", b"a"), (Path(folder) / "b.txt", b"b")])
    ...     except NotSaved:
    ...         [entry.name for entry in Path(folder).iterdir()]
    ['b.txt']
    """
    unchanged = "The file is as it was." if len(contents) == 1 else "Nothing was changed."
    staged: list[tuple[Path, Path]] = []
    done: list[tuple[Path, bytes | None]] = []
    try:
        for path, data in contents:
            staged.append(_staged(Path(os.path.realpath(path)), data, unchanged))
        for target, temporary in staged:
            before = target.read_bytes() if len(staged) > 1 and target.exists() else None
            try:
                _replace(temporary, target)
            except OSError as error:
                raise NotSaved(
                    target,
                    f"{target.name} could not be replaced ({error.strerror or error}). "
                    f"It is probably open in {'a spreadsheet' if target.suffix == '.csv' else 'another program'}: close it there, then save again. {unchanged}",
                ) from error
            done.append((target, before))
    except BaseException:  # a Ctrl-C between two steps too
        _put_back(done)
        raise
    finally:
        for _, temporary in staged:
            _remove(temporary)
    for folder in dict.fromkeys(target.parent for target, _ in staged):
        _sync_folder(folder)


def make_folder(folder: str | os.PathLike[str]) -> None:
    """Make a folder where there is none, in one that is there.

    Raises
    ------
    NotSaved : with a sentence, where it cannot be made

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as shop:
    ...     make_folder(Path(shop) / "sheets")
    ...     (Path(shop) / "sheets").is_dir()
    True
    """
    target = Path(folder)
    try:
        target.mkdir(exist_ok=True)
    except OSError as error:
        remedy = f"Allow writing in {target.parent}, or copy that folder to a place of your own"
        if isinstance(error, FileExistsError):
            remedy = f"A file of that name is in its place: rename or remove {target.name}"
        elif isinstance(error, FileNotFoundError):
            remedy = f"There is no folder {target.parent}: make it"
        raise NotSaved(target, f"The folder {target} cannot be made ({error.strerror or error}). {remedy}, then save again. Nothing was changed.") from error


def sweep_leftovers(folder: str | os.PathLike[str], *, older_than_s: float = 60.0) -> int:
    """Remove what a killed save left behind; returns how many files that were.

    Parameters
    ----------
    folder : the folder to sweep; only this kit's own temporary names are touched
    older_than_s : age [s] below which a file may still be in use and is left alone

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     (Path(folder) / ".bendcal-0123456789ab.tmp").touch()
    ...     sweep_leftovers(folder), sweep_leftovers(folder, older_than_s=-1.0)
    (0, 1)
    """
    swept = 0
    with contextlib.suppress(OSError):  # sweeping is a courtesy: it never stops a save
        for entry in list(os.scandir(folder)):
            if not _LEFTOVER.fullmatch(entry.name):
                continue
            with contextlib.suppress(OSError):
                if time.time() - entry.stat().st_mtime > older_than_s:
                    os.unlink(entry.path)
                    swept += 1
    return swept


def _staged(target: Path, data: bytes, unchanged: str) -> tuple[Path, Path]:
    """The target, and beside it a file that holds what it is to hold."""
    if target.is_dir():
        raise NotSaved(target, f"{target} is a folder, so no file of that name can be saved. Rename or remove it, then save again.")
    if target.exists() and not os.access(target, os.W_OK, effective_ids=os.access in os.supports_effective_ids):
        # Replacing would get round the protection that somebody put on the file.
        raise NotSaved(target, f"{target} is write-protected. Allow writing to it, then save again.")
    temporary = target.with_name(f".bendcal-{secrets.token_hex(6)}.tmp")
    try:
        _write_through(temporary, data, like=target)
    except OSError as error:
        _remove(temporary)
        raise NotSaved(target, _why_not_written(target, error, unchanged)) from error
    except BaseException:
        _remove(temporary)
        raise
    return target, temporary


def _put_back(done: list[tuple[Path, bytes | None]]) -> None:
    """What the files held before, newest first; one that was not there goes again."""
    for target, before in reversed(done):
        if before is None:
            _remove(target)
        else:
            with contextlib.suppress(OSError):
                write_atomically(target, before)


def _write_through(temporary: Path, data: bytes, *, like: Path) -> None:
    """Write and force to the disk; a new file gets the usual permissions, an old one keeps its own."""
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    with os.fdopen(os.open(temporary, flags, 0o666), "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
    if like.exists():
        with contextlib.suppress(OSError):
            os.chmod(temporary, like.stat().st_mode & 0o7777)


def _replace(temporary: Path, target: Path) -> None:
    """Replace, with patience for a virus scanner or another notebook's reading on Windows."""
    pause = FIRST_PAUSE_S
    for attempt in range(REPLACE_ATTEMPTS):
        try:
            os.replace(temporary, target)
            return
        except PermissionError:
            if attempt == REPLACE_ATTEMPTS - 1:
                raise
            time.sleep(pause)
            pause *= 2


def _sync_folder(folder: Path) -> None:
    """Force the new name itself to the disk, where the system can (Windows cannot)."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _remove(temporary: Path) -> None:
    with contextlib.suppress(OSError):
        temporary.unlink(missing_ok=True)


def _why_not_written(target: Path, error: OSError, unchanged: str) -> str:
    if isinstance(error, FileNotFoundError):
        return f"The folder {target.parent} does not exist. Make it, then save again."
    if isinstance(error, PermissionError):
        return (
            f"{target.name} could not be saved: nothing may be written in the folder "
            f"{target.parent}. Allow writing there, or copy the folder to a place of your own."
        )
    return (
        f"{target.name} could not be saved in {target.parent} ({error.strerror or error}). "
        f"Make room there, or save to another place. {unchanged}"
    )
