"""What git knows of the project."""

from __future__ import annotations

import subprocess

import pytest
from places import ROOT


def git_files(*, new: bool = False) -> list[str]:
    """Return the files that git holds, from the root; ``new`` adds those not yet committed.

    In an unpacked source distribution there is no git: what asks for this is skipped.
    """
    options = ["-co", "--exclude-standard"] if new else []
    try:
        done = subprocess.run(
            ["git", "ls-files", "-z", *options],
            cwd=ROOT,
            capture_output=True,
            text=True,
            check=True,
        )
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("not a git checkout")
    return [name for name in done.stdout.split("\0") if name and (ROOT / name).is_file()]
