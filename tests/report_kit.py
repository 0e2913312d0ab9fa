"""A small study with everything a report needs; invented, made once per place."""

from __future__ import annotations

import functools
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pandas as pd

import cmjlab as cj
from cmjlab.recording import Recording
from cmjlab.simulate.jump import RecordingSettings, record
from cmjlab.simulate.profile import Profile
from cmjlab.study.folder.create import create_study

#: A browser that prints pages, None where there is none.
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
ROLES = {"base1": "baseline", "base2": "baseline", "post": "post"}
NAMES = {"A00": 'Zoë <b>&"Ünal" 日本', "A01": "O'Brien $x$ {{7*7}}", "A02": "Łukasz 1.5"}
DATES = {"base1": "2026-08-31", "base2": "2026-09-07", "post": "2026-10-26"}


@functools.cache
def _jump(mass_kg: float, speed_m_per_s: float, seed: int) -> Recording:
    """Return one invented jump; most studies of the tests hold the same ones."""
    profile = Profile(mass_kg=mass_kg, takeoff_velocity_m_per_s=speed_m_per_s)
    made, _ = record(
        profile, RecordingSettings(), rate_hz=500.0, noise_sd_n=1.0, sway_sd_n=0.0, seed=seed
    )
    return made.replace(force_n=made.total_n, plates=("total",))


def kit_study(
    folder: Path,
    sessions: tuple[str, ...] = ("base1", "base2", "post"),
    athletes: int = 8,
    *,
    metrics: tuple[str, ...] = (),
    names: dict[str, str] | None = None,
) -> cj.Study:
    """Return an opened study: two groups, two jumps each, one athlete left before the last session.

    ``metrics`` are the report's measures (default: the Plan's), ``names`` goes to names.csv.
    """
    roster = pd.DataFrame(
        {
            "athlete": [f"A{i:02d}" for i in range(athletes)],
            "group": ["jump" if i % 2 == 0 else "usual" for i in range(athletes)],
        }
    )
    recordings = []
    for i, athlete in enumerate(roster["athlete"]):
        for s, session in enumerate(sessions):
            if session == "post" and i == athletes - 1:
                continue
            for trial in (1, 2):
                seed = 100 * i + 10 * s + trial
                gain = 0.05 if session == "post" and i % 2 == 0 else 0.0
                speed = 2.3 + 0.05 * (i % 12) + gain + 0.02 * ((seed * 7) % 5 - 2)
                made = _jump(60.0 + i % 30, speed, seed)
                recordings.append(made.replace(athlete=athlete, session=session, trial=str(trial)))
    left = pd.DataFrame(
        [{"athlete": roster["athlete"].iloc[-1], "session": "post", "status": "left",
          "reason": "moved away"}]
    )  # fmt: skip
    settings: dict[str, Any] = {
        "study": {"title": "Kit"},
        "sessions": [{"session": s, "role": ROLES[s], "date": DATES[s]} for s in sessions],
        "plan": {
            "jumps_wanted": 2,
            "control_group": "usual",
            "change_that_matters": {"jump_height_m": 0.015},
        },
    }
    if metrics:
        settings["plan"]["report_metrics"] = list(metrics)
    place = create_study(
        folder / "kit", roster, recordings, settings,
        tables={"participation": left} if "post" in sessions else None,
    )  # fmt: skip
    if names:
        table = pd.DataFrame({"athlete": list(names), "name": list(names.values())})
        table.to_csv(place / "names.csv", index=False, encoding="utf-8")
    return cj.Study.open(place)


def text_of(section: object) -> str:
    """Return all words of a section in one text, with plain blanks."""
    parts: list[str] = []
    for b in section.blocks:  # type: ignore[attr-defined]
        if b.kind in ("paragraph", "heading"):
            parts.append(b.text)
        elif b.kind == "items":
            parts += b.items
        elif b.kind == "table":
            parts += [b.title, *b.columns, *(c for row in b.rows for c in row), b.note]
        elif b.kind == "facts":
            parts += [t for pair in b.pairs for t in pair]
        elif b.kind == "figure":
            parts += [b.caption, b.alt]
    return " ".join(parts).replace("\u00a0", " ")


def printed(path: Path, place: Path) -> bytes:
    """Return a page as a browser prints it (PDF)."""
    out = place / f"{path.stem}.pdf"
    assert CHROMIUM
    subprocess.run(
        [CHROMIUM, "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
         "--disable-background-networking", "--disable-component-update", "--disable-sync",
         f"--user-data-dir={place / ('profile-' + path.stem)}", "--no-pdf-header-footer",
         f"--print-to-pdf={out}", path.as_uri()],
        check=True, capture_output=True, timeout=120,
    )  # fmt: skip
    return out.read_bytes()
