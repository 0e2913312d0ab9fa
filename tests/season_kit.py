"""A small study with two weeks of monitoring and an athlete who returns; invented."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

import cmjlab as cj
from cmjlab.simulate.jump import RecordingSettings, record
from cmjlab.simulate.profile import Profile
from cmjlab.study.folder.create import create_study

ROLES = {"base1": "baseline", "base2": "baseline", "mon1": "monitoring", "mon2": "monitoring",
         "post": "post"}  # fmt: skip
DATES = {"base1": "2026-08-24", "base2": "2026-08-31", "mon1": "2026-09-14", "mon2": "2026-09-21",
         "post": "2026-10-26"}  # fmt: skip
BACK = "A03"
LOW = {"mon1": 0.30, "mon2": 0.22}  # m/s slower at take-off
SPARED = {"mon1": -16.0, "mon2": -10.0}


def season_study(folder: Path, *, stable: dict[str, str] | None = None) -> cj.Study:
    """Return an opened study of eight athletes; five of them are tested in the weeks.

    ``stable`` fills the column of that name in sessions.csv.
    """
    random = np.random.default_rng(7)
    ids = [f"A{i:02d}" for i in range(8)]
    recordings = []
    for i, athlete in enumerate(ids):
        for session, role in ROLES.items():
            if role == "monitoring" and i > 4:
                continue
            day = float(random.normal(0, 0.02))
            back = athlete == BACK
            for trial in (1, 2):
                speed = 2.35 + 0.05 * i + day + float(random.normal(0, 0.015))
                speed -= LOW.get(session, 0.0) if back else 0.0
                spared = SPARED.get(session, 0.0) if back else 0.0
                uneven = {
                    f"asymmetry_{p}_percent": spared + float(random.normal(0, 1.0))
                    for p in ("braking", "propulsion")
                }
                made, _ = record(
                    Profile(mass_kg=60.0 + i, takeoff_velocity_m_per_s=speed),
                    RecordingSettings(quiet_before_s=1.5, quiet_after_s=1.0, **uneven),
                    rate_hz=500.0, noise_sd_n=1.0, sway_sd_n=0.0, seed=int(random.integers(1e9)),
                )  # fmt: skip
                recordings.append(made.replace(athlete=athlete, session=session, trial=str(trial)))
    roster = pd.DataFrame({"athlete": ids, "group": ["jump", "usual"] * 4})
    away = pd.DataFrame(
        [
            {
                "athlete": BACK,
                "from": "2026-09-02",
                "to": "2026-09-10",
                "status": "pain",
                "reason": "hurt",
            }
        ]
    )
    notes = pd.DataFrame([{"session": s, "stable": v} for s, v in (stable or {}).items()])
    settings = {
        "study": {"title": "Weeks"},
        "sessions": [{"session": s, "role": r, "date": DATES[s]} for s, r in ROLES.items()],
        "plan": {"jumps_wanted": 2, "control_group": "usual"},
    }
    tables = {"participation": away} | ({"sessions": notes} if stable else {})
    place = create_study(folder / "weeks", roster, recordings, settings, tables=tables)
    names = pd.DataFrame({"athlete": [BACK], "name": ["Zoë <b>&Ünal"]})
    names.to_csv(place / "names.csv", index=False, encoding="utf-8")
    return cj.Study.open(place)
