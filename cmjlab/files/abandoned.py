"""What a run that was cut off left half-written: named so that the next run knows it, and removes it.

A program that is killed, or whose computer loses power, cannot tidy up. Everything that cmjlab
writes stands under such a name until it is whole, so nothing under it was ever finished.
"""

from __future__ import annotations

import contextlib
import shutil
import time
import uuid
from pathlib import Path

#: Endings of half-written files and folders.
FILE, FOLDER = ".tmp", ".part"
#: Something this old that was not touched since belongs to no run that still goes on.
ABANDONED_AFTER_S = 3600.0
_DIGITS = 12
_seen: set[str] = set()


def unfinished(path: Path, ending: str) -> Path:
    """Return a free hidden name beside a path for what is not whole yet."""
    return path.with_name(f".{uuid.uuid4().hex[:_DIGITS]}{ending}")


def remove_abandoned(folder: Path, ending: str) -> None:
    """Remove what runs that were cut off left in a folder; looks once a folder in each process.

    Parameters
    ----------
    folder : Path
        Only what lies in it directly is looked at.
    ending : str
        :data:`FILE` or :data:`FOLDER`.
    """
    key = f"{folder}{ending}"
    if key in _seen:
        return
    _seen.add(key)
    pattern = f".{'[0-9a-f]' * _DIGITS}{ending}"
    for path in folder.glob(pattern):
        with contextlib.suppress(OSError):
            if time.time() - _touched(path) < ABANDONED_AFTER_S:
                continue
            if path.is_dir() and not path.is_symlink():
                shutil.rmtree(path, ignore_errors=True)
            else:
                path.unlink(missing_ok=True)


def _touched(path: Path) -> float:
    """Return when a file, or anything in a folder, was written last; a link is not followed."""
    places = [path]
    if path.is_dir() and not path.is_symlink():
        places += path.rglob("*")
    return max(place.lstat().st_mtime for place in places)
