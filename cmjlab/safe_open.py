"""Open files for reading: ordinary files only, of bounded size, and no link out of a study.

A study comes from somebody else as often as not. A pipe under the name of a table would make a
command wait for ever, a link to a device would fill the memory, a link out of the folder would show
what lies elsewhere on the machine. Every file that is not a part of cmjlab is opened here
(``tests/project/test_files_opened.py``).
"""

from __future__ import annotations

import errno
import os
import stat
from io import BufferedReader
from pathlib import Path
from typing import Any

from cmjlab.errors import CmjlabError
from cmjlab.safe_names import inside

#: Largest table, settings file or list that is read, in megabytes.
TABLE_LIMIT_MB = 50.0
#: The key under [study] of study.toml that allows links to lead into further folders.
LINKED = "linked_folders"
_MEGABYTE = 1_000_000
_KINDS = (
    (stat.S_ISFIFO, "a pipe"),
    (stat.S_ISSOCK, "a socket"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a device"),
)


class UnsafeFileError(CmjlabError, OSError):
    """A file is not opened: it is no ordinary file, too large, or lies outside the study."""

    def __str__(self) -> str:
        return f"{self.filename}: {self.strerror}."


def open_file(path: str | Path) -> BufferedReader:
    """Open an ordinary file for reading bytes; anything else is refused without waiting.

    Raises
    ------
    UnsafeFileError
        It is a folder, pipe, socket or device, or a link to one.
    OSError
        It cannot be opened.
    """
    _refuse_kind(os.stat(path).st_mode, path)
    handle = open(path, "rb", opener=_without_waiting)  # noqa: SIM115
    try:
        _refuse_kind(os.fstat(handle.fileno()).st_mode, path)  # it may have changed in between
    except UnsafeFileError:
        handle.close()
        raise
    return handle


def read_file(
    path: str | Path, *, limit_mb: float = TABLE_LIMIT_MB, study: Path | None = None
) -> bytes:
    """Return the bytes of an ordinary file.

    Parameters
    ----------
    path : path
    limit_mb : float
        A larger file is refused before anything of it is read.
    study : Path, optional
        Folder that a link must not leave, unless its study.toml allows where it leads.

    Raises
    ------
    UnsafeFileError
        No ordinary file, too large, or outside the study.
    OSError
        It cannot be opened.
    """
    if study is not None:
        refuse_link_out(Path(path), study)
    with open_file(path) as handle:
        size = os.fstat(handle.fileno()).st_size
        most = int(limit_mb * _MEGABYTE)
        data = b"" if size > most else handle.read(most + 1)
        if size > most or len(data) > most:
            found = max(size, len(data)) / _MEGABYTE
            raise _refused(path, f"{found:.0f} MB, and such a file has at most {limit_mb:g} MB")
        return data


def read_text(path: str | Path, *, study: Path | None = None) -> str:
    """Return the text of an ordinary UTF-8 file; see :func:`read_file`."""
    text = read_file(path, study=study).decode("utf-8")
    return text.replace("\r\n", "\n").replace("\r", "\n")


def refuse_link_out(path: Path, study: Path) -> None:
    """Raise when a link leads out of a study and into no folder that study.toml allows.

    Raises
    ------
    UnsafeFileError
        With what to write in study.toml.
    """
    if not path.is_symlink() or inside(path, study):
        return
    if any(inside(path, folder) for folder in linked_folders(study)):
        return
    raise _refused(path, _left(path))


def linked_folders(study: Path) -> list[Path]:
    """Return the folders into which links of a study may lead, as its study.toml says."""
    return [study / folder for folder in _stated(study)]


def _left(path: Path) -> str:
    there = os.path.realpath(path)
    return (
        f"a link out of the study, to {there}; copy the file into the study, or allow the folder:"
        f' {LINKED} = ["{Path(there).parent.as_posix()}"] under [study] of study.toml'
    )


def _stated(study: Path) -> list[str]:
    import tomllib

    path = study / "study.toml"
    if path.is_symlink() and not inside(path, study):
        return []
    try:
        head: Any = tomllib.loads(read_file(path).decode("utf-8-sig")).get("study", {})
        found = head.get(LINKED, [])
    except (OSError, ValueError, RecursionError, AttributeError):
        return []  # whatever is wrong with it is told where the settings are read
    return [f for f in found if isinstance(f, str)] if isinstance(found, list) else []


def _without_waiting(path: str, flags: int) -> int:
    """Open without waiting for the other end of a pipe."""
    return os.open(path, flags | getattr(os, "O_NONBLOCK", 0))


def _refuse_kind(mode: int, path: str | Path) -> None:
    if stat.S_ISREG(mode):
        return
    if stat.S_ISDIR(mode):
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(path))
    what = next((words for test, words in _KINDS if test(mode)), "no ordinary file")
    raise _refused(path, f"this is {what}; only ordinary files are read")


def _refused(path: str | Path, why: str) -> UnsafeFileError:
    return UnsafeFileError(errno.EINVAL, why, str(path))
