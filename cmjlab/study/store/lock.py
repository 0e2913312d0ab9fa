"""The lock of a study: one run at a time writes results or decisions."""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import platform
import time
import uuid
from collections.abc import Iterator
from pathlib import Path

from cmjlab.errors import StudyError
from cmjlab.safe_open import read_text

#: Lock of the files that a command writes for people: those of one run stand together. Printing a
#: PDF may take two minutes.
WRITING, WRITING_WAIT_S = "writing", 300.0


def writing(folder: Path) -> contextlib.AbstractContextManager[None]:
    """Hold the lock of the files that are written into a results folder; nothing elsewhere."""
    if not (folder / "store").is_dir():
        return contextlib.nullcontext()
    return locked(folder, name=WRITING, wait_s=WRITING_WAIT_S)


@contextlib.contextmanager
def locked(
    folder: Path, *, name: str = "lock", wait_s: float = 30.0, force: bool = False
) -> Iterator[None]:
    """Hold the study's lock; one run at a time writes results or decisions.

    Parameters
    ----------
    folder : Path
        Folder that holds the lock (created when missing).
    name : str
        What is locked: "lock", results that are kept or decisions; or :data:`WRITING`.
    wait_s : float
        How long to wait for another run.
    force : bool
        Go on without the lock (for network drives whose locks stay behind).

    Raises
    ------
    StudyError
        When another run holds the lock longer than that; it names the holder.
    """
    if force:
        yield
        return
    from filelock import FileLock, Timeout

    folder.mkdir(parents=True, exist_ok=True)
    holder = folder / f"{name}.json"
    lock = FileLock(folder / name)
    try:
        lock.acquire(timeout=wait_s)
    except Timeout:
        raise StudyError(
            f"{folder.parent.name}: another run is writing ({_holder(holder)}). Wait until it has"
            " ended; if it no longer exists, use force."
        ) from None
    except (NotImplementedError, OSError):  # a drive without locks: parts are safe without one
        yield
        return
    try:
        with contextlib.suppress(OSError):
            holder.write_text(json.dumps(_me()), encoding="utf-8")
        yield
    finally:
        with contextlib.suppress(OSError):
            holder.unlink(missing_ok=True)
        lock.release()


def _computer() -> str:
    """Return what tells this computer from others without its name: folders are passed on."""
    return hashlib.sha256(f"{platform.node()} {uuid.getnode()}".encode()).hexdigest()[:12]


def _me() -> dict[str, object]:
    return {
        "computer": _computer(),
        "pid": os.getpid(),
        "since": time.strftime("%Y-%m-%d %H:%M:%S"),
    }


def _holder(path: Path) -> str:
    try:
        who = json.loads(read_text(path))
        place = "this computer" if who["computer"] == _computer() else "another computer"
        return f"process {who['pid']} on {place} since {who['since']}"
    except (OSError, ValueError, KeyError, TypeError):
        return "its name is not known"
