"""A lab whose plates, sway and jumps are known, as a study folder, for the tests of cj.scrutiny."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from cmjlab.files.write import write_recording
from cmjlab.simulate.design import StudySettings
from cmjlab.simulate.study import simulate_study

NOISE_N, SWAY_N, RATE_HZ = 2.0, 3.0, 500.0
_SETTINGS = """
[study]
title = "Known lab"
[plan]
report_metrics = ["jump_height_m", "time_to_takeoff_s", "countermovement_depth_m"]
"""
_SESSION = '[[sessions]]\nsession = "{name}"\nrole = "{role}"\ndate = "2026-09-{day:02d}"\n'


def known_lab(
    folder: Path, *, plan: str = "", sessions: tuple[str, ...] = ("base1", "base2")
) -> pd.DataFrame:
    """Write a study of 12 athletes and three jumps a session; return the true height of each jump.

    Columns athlete, session, trial, jump_height_m. Height hardly differs between jumps, so that what
    the test shows of noise is mostly the lab's.
    """
    settings = StudySettings(
        groups={"a": 4, "b": 4, "c": 4}, sessions=dict.fromkeys((*sessions, "post"), "baseline"),
        effects={"a": {}, "b": {}, "c": {}}, learning={}, allocation="random", response_sd={},
        day_sd={"height": 0.01}, jump_sd={"height": 0.01, "time": 0.01, "depth": 0.01},
        rate_hz=RATE_HZ, noise_sd_n=NOISE_N, sway_sd_n=SWAY_N,
    )  # fmt: skip
    made = simulate_study(settings, seed=5, population=False)
    (folder / "recordings").mkdir(parents=True)
    lines = [_SESSION.format(name=s, role="baseline", day=i + 1) for i, s in enumerate(sessions)]
    (folder / "study.toml").write_text(_SETTINGS + plan + "".join(lines), encoding="utf-8")
    made.athletes[["athlete"]].to_csv(folder / "athletes.csv", index=False)
    rows = []
    for jump in made.recordings:
        rec = jump.recording
        if rec.session not in sessions:
            continue
        name = f"sub-{rec.athlete}_ses-{rec.session}_run-{rec.trial}.csv"
        write_recording(rec, folder / "recordings" / name)
        rows.append((rec.athlete, rec.session, str(rec.trial), jump.truth["jump_height_m"]))
    return pd.DataFrame(rows, columns=["athlete", "session", "trial", "jump_height_m"])


def two_plates(
    *, athletes: int = 12, jumps: int = 3, bias: float = 0.01, slope: float = 1.0, seed: int = 3,
    spread: tuple[float, float] = (0.002, 0.003),
) -> tuple[pd.DataFrame, pd.DataFrame]:  # fmt: skip
    """Return the same invented jumps as two plates show them; the second reads bias + slope · first.

    ``spread``: SDs of the second's deviation, of each athlete and of each jump, metres.
    """
    rng = np.random.default_rng(seed)
    who = np.repeat(np.arange(athletes), jumps)
    level = 0.32 + 0.04 * rng.standard_normal(athletes)
    first = level[who] + 0.012 * rng.standard_normal(who.size)
    own, each = spread
    second = bias + slope * first + own * rng.standard_normal(athletes)[who]
    second = second + each * rng.standard_normal(who.size)
    keys = pd.DataFrame({
        "athlete": [f"A{i:02d}" for i in who], "session": "base1",
        "trial": [str(i + 1) for i in np.tile(np.arange(jumps), athletes)], "accepted": True,
    })  # fmt: skip
    return keys.assign(jump_height_m=first), keys.assign(jump_height_m=second)
