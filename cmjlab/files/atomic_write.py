"""Write a file whole or not at all."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

from cmjlab.errors import StudyError


def write_whole(path: Path, content: str | bytes) -> None:
    """Write a file beside its place first and put it there in one step.

    Parameters
    ----------
    path : Path
        File to write; its folder is made.
    content : str or bytes
        Text (written as UTF-8 with plain line ends) or bytes.

    Raises
    ------
    StudyError
        The file is held open by another program, or the folder cannot be written.
    """
    part = path.with_name(path.name + ".part")
    data = content.encode("utf-8") if isinstance(content, str) else content
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part.write_bytes(data)
        os.replace(part, path)
    except OSError as error:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
        raise StudyError(
            f"{path}: cannot be written ({error.strerror or error}). Close the program that shows"
            " it, or name another place."
        ) from None
