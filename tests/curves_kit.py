"""Curves from plain formulas for comparison with other programs, and studies with a known change of the force."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from study_kit import SESSIONS


def reference_curves() -> np.ndarray:
    """Return changes of 9 athletes along 25 points: smooth, uneven, with a rise near the end."""
    at = np.linspace(0.0, 1.0, 25)
    who = np.arange(1, 10)[:, None]
    noise = np.sin(3.0 * who * at + who**2) + 0.7 * np.cos(7.0 * at * (1 + who % 3) + 1.7 * who)
    rise = 0.9 * np.exp(-(((at - 0.8) / 0.1) ** 2))
    return noise * (0.5 + at) + rise


SETTINGS = """
[study]
title = "Curves"
[plan]
before = "base2"
after = "post"
control_group = "usual"
{plan}
"""


def curve_study(
    folder: Path, groups: dict[str, int], *, change: float = 0.0, jumps: int = 2, plan: str = ""
) -> dict[str, Any]:
    """Write a study of simulated force recordings.

    Parameters
    ----------
    folder : Path
    groups : dict
        Athletes of each group.
    change : float
        Net force at the lowest point that the first group gains until "post", in body weights;
        unweighting and take-off velocity stay as they are.
    jumps : int
        Of each athlete and session.
    plan : str
        Lines below [plan].

    Returns
    -------
    dict of str to SimulatedJump
        By the name of its file.
    """
    from cmjlab.files.write import write_recording
    from cmjlab.simulate.jump import RecordingSettings, simulate_jump
    from cmjlab.simulate.profile import Profile

    (folder / "recordings").mkdir(parents=True)
    (folder / "study.toml").write_text(SETTINGS.format(plan=plan) + SESSIONS, encoding="utf-8")
    rng = np.random.default_rng(20261128)
    names = [g for g, n in groups.items() for _ in range(n)]
    roster, seed = ["athlete,group"], 0
    every: dict[str, Any] = {}
    for number, group in enumerate(names):
        athlete = f"A{number + 1:02d}"
        roster.append(f"{athlete},{group}")
        own = rng.normal(0.0, 1.0, 4)
        for session in ("base1", "base2", "post"):
            day = rng.normal(0.0, 1.0, 4)
            gain = change if session == "post" and group == names[0] else 0.0
            for jump in range(1, jumps + 1):
                this = rng.normal(0.0, 1.0, 4)
                u, b, d, v = own * [0.05, 0.12, 0.03, 0.15] + (day + this) * [
                    0.012,
                    0.03,
                    0.008,
                    0.03,
                ]
                profile = Profile(
                    mass_kg=70.0 + number, unweighting=0.62 + u, braking=1.30 + b + gain,
                    depth_m=0.30 + d, takeoff_velocity_m_per_s=2.55 + v,
                )  # fmt: skip
                made = simulate_jump(
                    profile,
                    rate_hz=500.0,
                    noise_sd_n=1.0,
                    seed=seed,
                    settings=RecordingSettings(plates=1),
                )
                name = f"sub-{athlete}_ses-{session}_run-{jump:02d}.csv"
                every[name] = made
                write_recording(made.recording, folder / "recordings" / name)
                seed += 1
    (folder / "athletes.csv").write_text("\n".join(roster) + "\n", encoding="utf-8")
    return every
