"""Works on a disk that fills up; runs in a user's own name space, where it may mount one."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path


def main(source: Path, place: Path, free_kb: int, words: list[str]) -> None:
    """Mount a small disk, leave so much room, run the command, make room and run it again."""
    size = sum(p.stat().st_size for p in source.rglob("*") if p.is_file()) + 30_000_000
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", place], check=True)
    study = Path(shutil.copytree(source, place / "s"))
    room = os.statvfs(place)
    filler = place / "filler"
    filler.write_bytes(b"\0" * max(0, room.f_bavail * room.f_frsize - free_kb * 1000))
    command = [sys.executable, "-m", "cmjlab", *(w.format(s=study) for w in words)]
    first = subprocess.run(command, capture_output=True, text=True, check=False)
    half = [str(p) for e in (".tmp", ".part") for p in place.rglob(f".*{e}")]
    filler.unlink()
    again = subprocess.run(command, capture_output=True, text=True, check=False)
    print(json.dumps({
        "code": first.returncode, "said": first.stderr[-1000:], "half": half,
        "again": again.returncode, "said_again": again.stderr[-1000:],
    }))  # fmt: skip


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]), int(sys.argv[3]), sys.argv[4:])
