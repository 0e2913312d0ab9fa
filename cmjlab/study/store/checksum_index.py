"""SHA-256 of files without reading them again: an index by what the system says of a file.

A file is read again when its size, its time of change, its place on the drive (inode) or the time
of change of that entry differs, or when it had changed less than two seconds before it was last
read: some drives count time in steps of two seconds, so a later change could hide behind the same
time. Whoever needs certainty (a report) asks for everything to be read again.
"""

from __future__ import annotations

import json
import time
from collections.abc import Collection
from pathlib import Path
from typing import TYPE_CHECKING

from cmjlab.files.atomic_write import atomic_write
from cmjlab.keys import file_sha256
from cmjlab.safe_open import read_text

if TYPE_CHECKING:
    from cmjlab.study.remote import RemoteFile

_RACY_NS = 2_000_000_000
#: Size, time of change of the content, inode, time of change of the entry (creation on Windows).
_Stamp = tuple[int, int, int, int]


def _stamp_of(remote: RemoteFile) -> _Stamp:
    return (remote.size, 0, remote.stamp, 0)


class ChecksumIndex:
    """Index kept in one JSON file; a damaged or missing file only costs time.

    Parameters
    ----------
    path : Path or None
        The file; None: nothing is kept.
    """

    def __init__(self, path: Path | None) -> None:
        self.path = path
        self.entries: dict[str, tuple[_Stamp, str, int]] = {}
        self.dirty = False
        if path is None:
            return
        try:
            data = json.loads(read_text(path))
            for file, (size, changed, inode, entry, sha, read) in data.items():
                stamp = (int(size), int(changed), int(inode), int(entry))
                self.entries[str(file)] = (stamp, str(sha), int(read))
        except (OSError, ValueError, TypeError, AttributeError):
            self.entries = {}

    def sha256(
        self, file: str, path: Path, *, remote: RemoteFile | None = None, anew: bool = False
    ) -> str:
        """Return the SHA-256 of a file's bytes; OSError when it cannot be read.

        ``remote``: where they are when they are not at the path. ``anew``: the bytes are read
        whatever the index says.
        """
        if remote is not None:
            return self._of_remote(file, remote, anew)
        stat = path.stat()
        stamp = (stat.st_size, stat.st_mtime_ns, stat.st_ino, stat.st_ctime_ns)
        known = self.entries.get(file)
        if (
            known is not None
            and not anew
            and known[0] == stamp
            and known[2] - max(stamp[1], stamp[3]) > _RACY_NS
        ):
            return known[1]
        now = time.time_ns()
        sha = file_sha256(path)
        self.entries[file] = (stamp, sha, now)
        self.dirty = True
        return sha

    def _of_remote(self, file: str, remote: RemoteFile, anew: bool) -> str:
        if anew or not self.knows(file, remote):
            self.note(file, remote, remote.sha256())
        return self.entries[file][1]

    def knows(self, file: str, remote: RemoteFile) -> bool:
        """Return whether a file at a URL is the one whose bytes were read."""
        known = self.entries.get(file)
        return known is not None and known[0] == _stamp_of(remote)

    def note(self, file: str, remote: RemoteFile, sha256: str) -> None:
        """Note the SHA-256 of a file at a URL that somebody read."""
        self.entries[file] = (_stamp_of(remote), sha256, time.time_ns())
        self.dirty = True

    def save(self, files: Collection[str]) -> None:
        """Write the index, without files that no longer exist."""
        gone = self.entries.keys() - set(files)
        if self.path is None or (not self.dirty and not gone):
            return
        kept = {
            f: [*stamp, sha, read] for f, (stamp, sha, read) in self.entries.items() if f in files
        }
        atomic_write(self.path, json.dumps(kept, ensure_ascii=False, indent=0))
        self.dirty = False
