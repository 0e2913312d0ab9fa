"""SHA-256 of files without reading them again: an index by size and time of change.

A file is read again when its size or time of change differs, or when it had changed less
than two seconds before it was last read: some drives count time in steps of two seconds,
so a later change could hide behind the same time.
"""

from __future__ import annotations

import json
import time
from collections.abc import Collection
from pathlib import Path

from cmjlab.files.atomic_write import atomic_write
from cmjlab.keys import file_sha256
from cmjlab.safe_open import read_text

_RACY_NS = 2_000_000_000


class ChecksumIndex:
    """Index kept in one JSON file; a damaged or missing file only costs time.

    Parameters
    ----------
    path : Path or None
        The file; None: nothing is kept.
    """

    def __init__(self, path: Path | None) -> None:
        self.path = path
        self.entries: dict[str, tuple[int, int, str, int]] = {}
        self.dirty = False
        if path is None:
            return
        try:
            data = json.loads(read_text(path))
            for file, (size, changed, sha, read) in data.items():
                self.entries[str(file)] = (int(size), int(changed), str(sha), int(read))
        except (OSError, ValueError, TypeError, AttributeError):
            self.entries = {}

    def sha256(self, file: str, path: Path) -> str:
        """Return the SHA-256 of a file's bytes; OSError when it cannot be read."""
        stat = path.stat()
        known = self.entries.get(file)
        if (
            known is not None
            and known[:2] == (stat.st_size, stat.st_mtime_ns)
            and known[3] - stat.st_mtime_ns > _RACY_NS
        ):
            return known[2]
        now = time.time_ns()
        sha = file_sha256(path)
        self.entries[file] = (stat.st_size, stat.st_mtime_ns, sha, now)
        self.dirty = True
        return sha

    def save(self, files: Collection[str]) -> None:
        """Write the index, without files that no longer exist."""
        gone = self.entries.keys() - set(files)
        if self.path is None or (not self.dirty and not gone):
            return
        kept = {f: list(v) for f, v in self.entries.items() if f in files}
        atomic_write(self.path, json.dumps(kept, ensure_ascii=False, indent=0))
        self.dirty = False
