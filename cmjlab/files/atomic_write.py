"""Write a file whole or not at all."""

from __future__ import annotations

import contextlib
import errno
import os
import shutil
from collections.abc import Iterator
from pathlib import Path

from cmjlab.errors import StudyError
from cmjlab.files.abandoned import FILE, remove_abandoned, unfinished
from cmjlab.safe_open import read_file

#: What to do about errors of the system that people meet when something is read or written.
REMEDIES = {
    errno.EACCES: "Close the program that shows it, or name another place.",
    errno.EPERM: "Close the program that shows it, or name another place.",
    errno.ENOENT: "Name a place that exists.",
    errno.ENOTDIR: "A folder is needed there; this is a file.",
    errno.EEXIST: "A folder is needed there; this is a file.",
    errno.EISDIR: "A folder stands there; choose another name.",
    errno.EROFS: "This place can only be read; copy the folder to a place where you may write.",
    errno.ENOSPC: "The disk is full; make room and run the same command again.",
    errno.ENAMETOOLONG: "Choose a shorter name.",
}
_USUAL_REMEDY = "Name another place."
#: Largest file that is copied, in megabytes; a recording of one jump has less than one.
_COPY_LIMIT_MB = 2_000.0


def atomic_write(path: Path, content: str | bytes, *, lasting: bool = False) -> None:
    """Write a file under a name of its own first and put it in its place in one step.

    Parameters
    ----------
    path : Path
        File to write; its folder is made. A link is followed.
    content : str or bytes
        Text (written as UTF-8 with plain line ends) or bytes.
    lasting : bool
        Wait until the disk has everything, so that not even a power cut leaves half a file.

    Raises
    ------
    StudyError
        The file is held open by another program, or the folder cannot be written.
    """
    data = content.encode("utf-8") if isinstance(content, str) else content
    with _put_in_place(path) as temporary, open(temporary, "wb") as handle:
        handle.write(data)
        if lasting:
            handle.flush()
            os.fsync(handle.fileno())


def atomic_copy(source: Path, path: Path) -> None:
    """Copy a file with its times, whole or not at all; see :func:`atomic_write`."""
    data = read_file(source, limit_mb=_COPY_LIMIT_MB)
    with _put_in_place(path) as temporary:
        temporary.write_bytes(data)
        shutil.copystat(source, temporary)


@contextlib.contextmanager
def _put_in_place(path: Path) -> Iterator[Path]:
    """Yield a free name beside a file; what is then written under it takes the file's place."""
    target = Path(os.path.realpath(path)) if path.is_symlink() else path
    temporary = unfinished(target, FILE)
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        remove_abandoned(target.parent, FILE)
        yield temporary
        os.replace(temporary, target)
    except OSError as error:
        remedy = REMEDIES.get(error.errno or 0, _USUAL_REMEDY)
        raise StudyError(
            f"{path}: cannot be written ({error.strerror or error}). {remedy}"
        ) from error
    finally:
        with contextlib.suppress(OSError):
            temporary.unlink(missing_ok=True)
