"""Small studies for the tests: invented recordings as bytes, made once."""

from __future__ import annotations

import functools
import json
import tempfile
from pathlib import Path

import numpy as np

from cmjlab.files.write import write_recording
from cmjlab.recording import Recording
from cmjlab.simulate.jump import simulate_jump

RATE_HZ = 500.0
#: Two baselines and one test after the block, as study.toml states them.
SESSIONS = """\
[[sessions]]
session = "base1"
role = "baseline"
date = "2026-08-31"
[[sessions]]
session = "base2"
role = "baseline"
date = "2026-09-03"
[[sessions]]
session = "post"
role = "post"
date = "2026-10-26"
"""
SETTINGS = f'\n[study]\ntitle = "Kit"\n{SESSIONS}'


@functools.cache
def recording(seed: int) -> Recording:
    """Return an invented recording of one jump; another seed, other noise and size."""
    made = simulate_jump(rate_hz=RATE_HZ, noise_sd_n=1.5, seed=seed).recording
    return made.replace(force_n=made.force_n.sum(axis=1), plates=("total",))


@functools.cache
def jump_bytes(seed: int, copies: int = 1) -> bytes:
    """Return a recording with one or more jumps as the bytes of a .csv file."""
    force = np.concatenate([recording(seed + i).force_n[:, 0] for i in range(copies)])
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / "jump.csv"
        write_recording(Recording(force, RATE_HZ), path)
        return path.read_bytes()


def make(folder: Path, athletes: str = "A01,A02", sessions: str = "base1,post", trials: int = 2):
    """Write a study with recordings for every athlete, session and trial."""
    (folder / "recordings").mkdir(parents=True)
    (folder / "study.toml").write_text(SETTINGS, encoding="utf-8")
    lines = ["athlete,group"]
    seed = 0
    for number, athlete in enumerate(athletes.split(",")):
        lines.append(f"{athlete},{'jump' if number % 2 == 0 else 'usual'}")
        for session in sessions.split(","):
            for trial in range(1, trials + 1):
                name = f"sub-{athlete}_ses-{session}_run-{trial:02d}.csv"
                (folder / "recordings" / name).write_bytes(jump_bytes(seed))
                seed += 1
    (folder / "athletes.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return folder


def read_long_ago(index: Path) -> None:
    """Let an index say that its files were read when nothing could change behind its back."""
    data = json.loads(index.read_text())
    index.write_text(json.dumps({f: [*v[:-1], v[-1] + 10**10] for f, v in data.items()}))
