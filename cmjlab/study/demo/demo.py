"""The invented demo study: written by one call from a seed, or found in the checkout."""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from cmjlab.checks import shown
from cmjlab.files.atomic_write import atomic_write
from cmjlab.files.new_folder import refuse_taken
from cmjlab.files.write import write_recording
from cmjlab.places import AROUND
from cmjlab.plan import DEFAULT_REPORT_METRICS
from cmjlab.simulate.jump import SimulatedJump, simulate_jump
from cmjlab.simulate.spoil import double_dip, early_movement
from cmjlab.simulate.study import SimulatedStudy, simulate_study
from cmjlab.study.demo import scenario
from cmjlab.study.demo.rules import find_rules
from cmjlab.study.demo.season import with_monitoring
from cmjlab.study.store.batch import Progress, ProgressCallback
from cmjlab.tables import DECISIONS

#: Decimals of truth.csv: enough for 0.001 mm and 1 µs.
_DIGITS = 8


def demo_study(*, mini: bool = False) -> Path:
    """Return the folder of the demo study.

    In a checkout this is its folder in ``sample_data``. Otherwise the study is simulated
    once into the user's cache directory (about half a minute).

    Parameters
    ----------
    mini : bool
        The small teaching subset instead: six athletes, two sessions.

    Returns
    -------
    Path

    Examples
    --------
    >>> import cmjlab as cj
    >>> cj.demo_study().name
    'merrowfold_block'
    >>> len(cj.Study.open(cj.demo_study(mini=True)).athletes)
    6
    """
    name = scenario.MINI_NAME if mini else scenario.NAME
    checkout = AROUND / "sample_data" / name
    if (checkout / "study.toml").is_file():
        return checkout
    cached = _cache_folder() / name
    if not (cached / "study.toml").is_file():
        cached.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=cached.parent) as part:
            made = write_demo(Path(part) / name, mini=mini)
            shutil.rmtree(cached, ignore_errors=True)
            made.replace(cached)
    return cached


def _cache_folder() -> Path:
    if sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA", Path.home() / "AppData" / "Local"))
    elif sys.platform == "darwin":
        base = Path.home() / "Library" / "Caches"
    else:
        base = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
    return base / "cmjlab"


def write_demo(
    folder: str | Path,
    *,
    seed: int = scenario.SEED,
    mini: bool = False,
    progress: ProgressCallback | None = None,
) -> Path:
    """Write the demo study: recordings, all tables of a study folder, and the truth.

    Parameters
    ----------
    folder : str or Path
        A folder that does not exist yet, or is empty.
    seed : int
        The same seed writes the same bytes (with the same version of zlib).
    mini : bool
        Write the teaching subset: six athletes, two sessions, coarser force.
    progress : callable, optional
        Called with a Progress after each recording written.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    StudyError
        When the folder holds files already.
    """
    folder = Path(folder)
    refuse_taken(folder, shown(str(folder)))
    study = _with_troubles(simulate_study(scenario.settings(), seed=seed), seed)
    rules = None if mini else scenario.subgroups(*find_rules(study))
    study = _subset(study) if mini else with_monitoring(study, seed)
    (folder / "recordings").mkdir(parents=True, exist_ok=True)
    for done, sim in enumerate(study.recordings, start=1):
        _write_recording(sim, folder / "recordings", mini)
        if progress is not None:
            progress(Progress(done, len(study.recordings), file_name(sim, packed=mini)))
    _write_tables(study, rules, folder)
    title, text = (
        (scenario.MINI_TITLE, scenario.MINI_README) if mini else (scenario.TITLE, scenario.README)
    )
    atomic_write(folder / "README.md", text.format(title=title, seed=seed))
    atomic_write(folder / "study.toml", _study_toml(study, title, mini))
    return folder


# ---- what went wrong ---------------------------------------------------------------------


def _place(sim: SimulatedJump) -> tuple[str, str, str]:
    rec = sim.recording
    return str(rec.athlete), str(rec.session), str(rec.trial)


def _with_troubles(study: SimulatedStudy, seed: int) -> SimulatedStudy:
    """Return the study with its real-life trouble in the recordings and tables."""
    out = []
    for sim in study.recordings:
        place = _place(sim)
        if place == scenario.EARLY_MOVEMENT:
            out.append(early_movement(sim, dip_m=0.012))
        elif place == scenario.DOUBLE_DIP:
            again = replace(
                sim, recording=sim.recording.replace(trial=str(study.settings.jumps + 1))
            )
            out += [double_dip(sim), again]
        elif place == scenario.ARMS_USED:
            out.append(_with_arms(sim, study, seed))
        else:
            out.append(sim)
    participation = study.participation.copy()
    participation["reason"] = [scenario.REASONS[a] for a in participation["athlete"]]
    roster = study.athletes.copy()
    random = np.random.default_rng([seed, 1])
    roster["sex"] = "female"
    roster["birth_year"] = random.integers(2003, 2009, len(roster))
    roster["position"] = random.choice(["back", "wing", "pivot", "keeper"], len(roster))
    roster["team"] = "Merrowfold"
    measures = study.measures.copy()
    measures["date"] = [scenario.DATES[s] for s in measures["session"]]
    return replace(study, recordings=tuple(out), participation=participation, athletes=roster,
                   measures=measures)  # fmt: skip


def _with_arms(sim: SimulatedJump, study: SimulatedStudy, seed: int) -> SimulatedJump:
    """Return a jump that the arms helped: faster at take-off, flagged by a person only."""
    higher = sim.profile.replace(
        takeoff_velocity_m_per_s=sim.profile.takeoff_velocity_m_per_s * 1.05
    )
    how = study.settings
    new = simulate_jump(higher, rate_hz=how.rate_hz, noise_sd_n=how.noise_sd_n,
                        sway_sd_n=how.sway_sd_n, settings=sim.settings, seed=seed)  # fmt: skip
    rec = sim.recording
    named = new.recording.replace(athlete=rec.athlete, session=rec.session, trial=rec.trial)
    return replace(new, recording=named)


def _subset(study: SimulatedStudy) -> SimulatedStudy:
    """Return six athletes who were always there, and the first two sessions."""
    missing = set(study.participation["athlete"])
    trouble = {scenario.EARLY_MOVEMENT[0], scenario.DOUBLE_DIP[0]}
    roster = study.athletes[~study.athletes["athlete"].isin(missing | trouble)]
    roster = roster.groupby("group").head(scenario.MINI_PER_GROUP).reset_index(drop=True)
    ids, sessions = set(roster["athlete"]), list(scenario.MINI_SESSIONS)
    keep = [s for s in study.recordings if _place(s)[0] in ids and _place(s)[1] in sessions]
    truth, measures = study.truth, study.measures
    return replace(
        study,
        athletes=roster,
        sessions=study.sessions[study.sessions["session"].isin(sessions)],
        recordings=tuple(keep),
        measures=measures[measures["athlete"].isin(ids) & measures["session"].isin(sessions)],
        participation=study.participation.iloc[:0],
        truth=truth[
            (truth["athlete"].isin(ids) & truth["session"].isin(sessions))
            | ((truth["level"] == "population") & (truth["group"] == ""))
        ],
    )


# ---- writing -----------------------------------------------------------------------------


def file_name(sim: SimulatedJump, *, packed: bool = False) -> str:
    """Return the name of a recording's file, by the entity names of the open BIDS standard.

    Most files are packed (gz); with ``packed`` all are.
    """
    athlete, session, trial = _place(sim)
    plain = (athlete, session) in scenario.PLAIN_FILES or _is_comma_file(sim)
    plain = plain and not packed
    return f"sub-{athlete}_ses-{session}_run-{int(trial):02d}.csv{'' if plain else '.gz'}"


def _is_comma_file(sim: SimulatedJump) -> bool:
    return _place(sim) == scenario.DECIMAL_COMMA


def _write_recording(sim: SimulatedJump, folder: Path, mini: bool) -> None:
    delimiter, decimal = (";", ",") if _is_comma_file(sim) else (",", ".")
    resolution_n = 1.0 if mini else 0.1
    write_recording(sim.recording, folder / file_name(sim, packed=mini), delimiter=delimiter, decimal=decimal,
                    resolution_n=resolution_n)  # fmt: skip


def _write_tables(study: SimulatedStudy, rules: pd.DataFrame | None, folder: Path) -> None:
    tables = {
        "athletes": study.athletes,
        "sessions": scenario.session_notes(list(study.sessions["session"])),
        "measures": study.measures,
        "truth": _truth(study),
    }
    if rules is not None:
        tables |= {
            "participation": study.participation,
            "decisions": _decisions(study),
            "subgroups": rules,
            "block": scenario.block(),
            "targets": scenario.targets(),
        }
    for name, table in tables.items():
        atomic_write(folder / f"{name}.csv", table.to_csv(index=False, lineterminator="\n"))


def _decisions(study: SimulatedStudy) -> pd.DataFrame:
    (rejected,) = (file_name(s) for s in study.recordings if _place(s) == scenario.ARMS_USED)
    return DECISIONS.frame(
        [
            {
                "file": rejected,
                "jump": 1,
                "action": "reject",
                "reason": "the arms left the hips, seen by the coach",
                "who": "C1",
                "when": f"{scenario.DATES['post']}T17:42:00",
            }
        ]
    )


def _truth(study: SimulatedStudy) -> pd.DataFrame:
    """Return the truth table with the exact values of every jump before it."""
    group = dict(zip(study.athletes["athlete"], study.athletes["group"], strict=True))
    rows: list[dict[str, Any]] = []
    for sim in study.recordings:
        athlete, session, trial = _place(sim)
        place = {"level": "jump", "athlete": athlete, "group": group[athlete],
                 "session": session, "trial": trial}  # fmt: skip
        for key in DEFAULT_REPORT_METRICS:
            rows.append({**place, "metric": key, "statistic": "true_value",
                         "value": sim.truth[key]})  # fmt: skip
        for event in ("onset", "takeoff", "landing"):
            rows.append({**place, "metric": event, "statistic": "event_s",
                         "value": sim.events[event]})  # fmt: skip
    columns = [*study.truth.columns]
    columns.insert(columns.index("session") + 1, "trial")
    table = pd.concat([pd.DataFrame(rows), study.truth])[columns]
    table["value"] = [float(f"{v:.{_DIGITS}g}") for v in table["value"]]
    return table


def _study_toml(study: SimulatedStudy, title: str, mini: bool) -> str:
    import tomli_w

    sessions = [
        {"session": s, "role": role, "date": scenario.DATES[s]}
        for s, role in zip(study.sessions["session"], study.sessions["role"], strict=True)
    ]
    data = {
        "study": {"title": title, "recordings": "recordings"},
        "sessions": sessions,
        "plan": scenario.plan(mini=mini),
        "method": {},
    }
    head = "# Invented data: no person, team or place stands behind them. See README.md.\n\n"
    return head + tomli_w.dumps(data)
