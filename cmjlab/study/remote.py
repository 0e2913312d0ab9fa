"""A study that lies at a URL (an object store, a server): its tables here, its recordings there.

The tables are small; they are copied into a temporary folder that is removed with the study. A
recording has an empty file of its name there, and its bytes are read from the URL by whoever
measures it. Everything goes through fsspec, which knows the kinds of URL; what it needs to be let in
stands in its own settings and never in a study.
"""

from __future__ import annotations

import errno
import hashlib
import re
import shutil
import tempfile
import weakref
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from cmjlab.errors import ArgumentError, StudyError
from cmjlab.extras import optional
from cmjlab.files.atomic_write import atomic_write
from cmjlab.safe_names import safe_name
from cmjlab.safe_open import TABLE_LIMIT_MB

_URL = re.compile(r"[A-Za-z][A-Za-z0-9+.-]+://.+")
_MEGABYTE = 1_000_000
#: A larger file is read piece by piece for its checksum.
_WHOLE_MB = 50.0


def is_url(place: object) -> bool:
    """Return whether a place is a URL and no path of this computer."""
    return isinstance(place, str) and _URL.fullmatch(place) is not None


@dataclass(frozen=True)
class RemoteFile:
    """One file at a URL.

    Attributes
    ----------
    url : str
    size : int
        Bytes, as the list of files says.
    stamp : int
        Another one when the list says another version, time or size.
    """

    url: str
    size: int
    stamp: int

    def read(self) -> bytes:
        """Return its bytes; OSError when they cannot be had."""
        system, path = _system(self.url)
        try:
            return bytes(system.cat_file(path))
        except Exception as problem:
            raise _unreadable(self.url, problem) from problem

    def sha256(self) -> str:
        """Return the SHA-256 of its bytes; OSError when they cannot be had."""
        if self.size <= _WHOLE_MB * _MEGABYTE:
            return hashlib.sha256(self.read()).hexdigest()
        system, path = _system(self.url)
        try:
            with system.open(path, "rb") as handle:
                return hashlib.file_digest(handle, "sha256").hexdigest()
        except Exception as problem:
            raise _unreadable(self.url, problem) from problem


def _unreadable(url: str, problem: Exception) -> OSError:
    """Return an error of the system for whatever a library says; each has errors of its own."""
    if isinstance(problem, OSError) and problem.errno:
        return problem
    if isinstance(problem, FileNotFoundError):
        return FileNotFoundError(errno.ENOENT, "No such file or directory", url)
    return OSError(errno.EIO, f"{type(problem).__name__}: {problem}"[:200], url)


def _system(url: str) -> tuple[Any, str]:
    """Return the file system of a URL and the path in it."""
    fsspec = optional("fsspec", extra="cluster", purpose="a study at a URL needs")
    try:
        system, path = fsspec.core.url_to_fs(url)
    except (ImportError, ValueError) as problem:
        raise ArgumentError(
            f"{url}: this kind of URL cannot be opened ({problem}). Install what it needs with pip"
            " on this computer and on all workers."
        ) from problem
    return system, str(path)


@dataclass(frozen=True)
class Mirror:
    """What stands here of a study at a URL.

    Attributes
    ----------
    url : str
    folder : Path
        Tables, and an empty file for each recording.
    files : dict of Path to RemoteFile
        The recordings by their empty files.
    """

    url: str
    folder: Path
    files: dict[Path, RemoteFile] = field(repr=False)

    def list_recordings(self, recordings: Path) -> None:
        """Make an empty file for each file below the recordings folder.

        Raises
        ------
        StudyError
            The recordings folder lies outside the study, or the list cannot be had.
        """
        below = recordings.relative_to(self.folder) if self._holds(recordings) else None
        if below is None:
            raise StudyError(
                f"{self.url}: recordings = {recordings.name!r} leads out of the study; at a URL they"
                " lie below it."
            )
        home = "/".join([self.url, *below.parts])
        try:
            recordings.mkdir(parents=True, exist_ok=True)
            for name, told in _listed(home, deep=True).items():
                path = recordings / name
                if not self._holds(path):
                    raise StudyError(f"{home}: the name {name!r} leads out of it; rename the file.")
                path.parent.mkdir(parents=True, exist_ok=True)
                path.touch()
                stamp = int(hashlib.sha256(repr(told).encode()).hexdigest()[:15], 16)
                self.files[path] = RemoteFile(f"{home}/{name}", int(told.get("size") or 0), stamp)
        except OSError as problem:  # "a" and "a/b" may both be files there, and never here
            raise StudyError(
                f"{home}: names there cannot stand in a folder ({problem.strerror}:"
                f" {problem.filename}). Rename them."
            ) from problem

    def _holds(self, path: Path) -> bool:
        return ".." not in path.parts and path.is_relative_to(self.folder)


def mirrored(url: str) -> Mirror:
    """Copy the tables of a study at a URL into a temporary folder.

    Raises
    ------
    StudyError
        There is nothing, or it cannot be read.
    """
    url = url.rstrip("/")
    listed = _listed(url, deep=False)
    if not listed:
        raise StudyError(f"{url}: there is no study; name the folder in which study.toml lies.")
    place = Path(tempfile.mkdtemp(prefix="cmjlab-"))
    mirror = Mirror(url, place / safe_name(url.rpartition("/")[2]), {})
    weakref.finalize(mirror, shutil.rmtree, place, ignore_errors=True)
    mirror.folder.mkdir()
    for name, told in listed.items():
        size = int(told.get("size") or 0)
        if size <= TABLE_LIMIT_MB * _MEGABYTE:
            atomic_write(mirror.folder / safe_name(name), _bytes_of(f"{url}/{name}", size))
    return mirror


def _bytes_of(url: str, size: int) -> bytes:
    try:
        return RemoteFile(url, size, 0).read()
    except OSError as problem:
        raise StudyError(f"{url}: cannot be read ({problem.strerror or problem}).") from problem


def _listed(url: str, *, deep: bool) -> dict[str, dict[str, Any]]:
    """Return what is told of each file in a folder at a URL, by its name below it."""
    system, path = _system(url)
    try:
        system.invalidate_cache()
        found: dict[str, Any] = system.find(path, detail=True, maxdepth=None if deep else 1)
    except FileNotFoundError:
        return {}
    except Exception as problem:
        raise StudyError(
            f"{url}: the list of files cannot be had ({type(problem).__name__}: {problem})"[:400]
            + ". Look at the URL, and at the settings of fsspec that let you in."
        ) from problem
    home = path.rstrip("/") + "/"
    return {
        name.removeprefix(home): told
        for name, told in sorted(found.items())
        if name.startswith(home) and name != home and told.get("type") == "file"
    }
