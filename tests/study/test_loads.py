"""Loads stated in recordings.csv and sessions.csv: whose mass is whose, and what is kept apart."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from study_kit import SETTINGS

from cmjlab.errors import StatsError
from cmjlab.files.write import write_recording
from cmjlab.simulate.jump import RecordingSettings, SimulatedJump, simulate_jump
from cmjlab.simulate.profile import Profile
from cmjlab.stats.common.loads import at_one_load
from cmjlab.stats.common.measures import add_force_distance
from cmjlab.study.check_study import check_study
from cmjlab.study.store import batch
from cmjlab.study.study import Study
from cmjlab.study.summarise import summarise_sessions

BODY = 75.0
#: Load of each trial of the session base1, kg -> take-off velocity, m/s.
SPEEDS = {0.0: 2.6, 20.0: 2.2, 40.0: 1.9}


def _jump(load: float, seed: int) -> SimulatedJump:
    return simulate_jump(
        Profile(mass_kg=BODY + load, takeoff_velocity_m_per_s=SPEEDS[load], depth_m=0.28),
        noise_sd_n=1.0, seed=seed, settings=RecordingSettings(plates=1),
    )  # fmt: skip


def _name(session: str, trial: int) -> str:
    return f"sub-A01_ses-{session}_run-{trial:02d}.csv"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """In base1 two jumps with each load; in base2 two jumps with 20 kg, stated for the session."""
    (tmp_path / "recordings").mkdir()
    (tmp_path / "study.toml").write_text(SETTINGS, encoding="utf-8")
    (tmp_path / "athletes.csv").write_text("athlete,group\nA01,jump\n", encoding="utf-8")
    rows = ["file,athlete,session,trial,load_kg"]
    trial = 0
    for load in SPEEDS:
        for _ in range(2):
            trial += 1
            write_recording(
                _jump(load, trial).recording, tmp_path / "recordings" / _name("base1", trial)
            )
            rows.append(f"{_name('base1', trial)},A01,base1,{trial},{load or ''}")
    for trial in (1, 2):
        write_recording(
            _jump(20.0, 50 + trial).recording, tmp_path / "recordings" / _name("base2", trial)
        )
    (tmp_path / "recordings.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    _session_load(tmp_path, "20")
    return tmp_path


def _session_load(folder: Path, load: str) -> None:
    (folder / "sessions.csv").write_text(f"session,load_kg\nbase2,{load}\n", encoding="utf-8")


def test_mass_is_the_athletes_with_every_load(folder):
    jumps = Study.open(folder).measure()
    assert jumps["load_kg"].tolist() == [0.0, 0.0, 20.0, 20.0, 40.0, 40.0, 20.0, 20.0]
    assert jumps["accepted"].all()
    assert jumps["body_mass_kg"].to_numpy() == pytest.approx(BODY, abs=0.1)
    loaded = jumps[jumps["load_kg"] > 0]
    assert loaded["system_mass_kg"].to_numpy() == pytest.approx(loaded["load_kg"] + BODY, abs=0.1)
    assert jumps.loc[jumps["load_kg"] == 0, "system_mass_kg"].isna().all()
    for row in jumps.to_dict("records"):
        height = SPEEDS[row["load_kg"]] ** 2 / (2 * 9.80665)
        assert row["jump_height_m"] == pytest.approx(height, abs=0.002)


def test_jump_in_full_knows_its_load(folder):
    jump = Study.open(folder).jump(_name("base2", 1))
    assert jump.load_kg == 20.0
    assert jump.system_mass_kg == pytest.approx(BODY + 20.0, abs=0.1)


def test_sessions_hold_one_load_only(folder):
    study = Study.open(folder)
    table = study.sessions_table()
    assert table["session"].astype(str).tolist() == ["base1"]
    assert table["n_jumps"].tolist() == [2]
    assert table["n_excluded"].tolist() == [0]
    assert table["jump_height_m"].iloc[0] == pytest.approx(2.6**2 / (2 * 9.80665), abs=0.002)
    assert study.flow()["jumps"]["recorded"].sum() == 2


def test_another_load_is_analysed_when_asked(folder):
    text = SETTINGS + "\n[plan]\nload_kg = 20\n"
    (folder / "study.toml").write_text(text, encoding="utf-8")
    table = Study.open(folder).sessions_table()
    assert table["session"].astype(str).tolist() == ["base1", "base2"]
    assert table["load_kg"].tolist() == [20.0, 20.0]
    assert table["body_mass_kg"].to_numpy() == pytest.approx(BODY, abs=0.1)


def test_the_check_tells_what_is_kept_apart(folder):
    problems = check_study(folder)
    told = problems[problems["code"] == "other_loads"]
    assert len(told) == 1
    assert told["severity"].iloc[0] == "note"
    assert told["found"].iloc[0].startswith("6 jump(s) with 20")


@pytest.mark.parametrize("load", ["-5", "900"])
def test_impossible_loads_are_told(folder, load):
    _session_load(folder, load)
    problems = check_study(folder)
    told = problems[problems["code"] == "impossible_load"]
    assert told["file"].tolist() == ["sessions.csv"]
    assert told["severity"].tolist() == ["fail"]


def test_a_load_heavier_than_the_plate_shows_is_told_for_its_file(folder):
    _session_load(folder, "150")
    jumps = Study.open(folder).measure().set_index("file")
    assert "150 kg is not less than" in jumps.loc[_name("base2", 1), "error"]


def test_heights_are_compared_at_the_same_load(folder):
    checks = Study.open(folder).checks
    for code in ("outlier_within_session", "far_below_own_best"):
        assert (checks.loc[checks["code"] == code, "status"] == "pass").all()


def test_only_files_with_another_load_are_measured_again(folder, monkeypatch):
    Study.open(folder).measure()
    seen: list[str] = []
    whole = batch.measure_file

    def watched(task, method):
        seen.append(task.file)
        return whole(task, method)

    monkeypatch.setattr(batch, "measure_file", watched)
    _session_load(folder, "25")
    jumps = Study.open(folder).measure()
    assert sorted(seen) == [_name("base2", 1), _name("base2", 2)]
    assert jumps.loc[jumps["session"] == "base2", "body_mass_kg"].to_numpy() == pytest.approx(
        BODY - 5.0, abs=0.1
    )


def _table(loads: list[float]) -> pd.DataFrame:
    return pd.DataFrame(
        {"athlete": "A01", "session": "s1", "load_kg": loads, "jump_height_m": [0.3, 0.2, 0.1]}
    )


def test_loads_are_never_averaged_together():
    assert summarise_sessions(_table([0.0, 20.0, 40.0]))["jump_height_m"].tolist() == [0.3]
    two = summarise_sessions(_table([20.0, 20.0, 40.0]), load_kg=20.0)
    assert two["jump_height_m"].tolist() == pytest.approx([0.25])
    with pytest.raises(StatsError, match="20, 40 kg"):
        summarise_sessions(_table([20.0, 20.0, 40.0]))
    assert len(at_one_load(_table([20.0] * 3))) == 3


def test_force_share_is_that_of_the_system():
    one = {
        "session": "s1",
        "body_weight_n": 700.0,
        "push_distance_m": 0.4,
        "mean_force_over_push_n": 1500.0,
    }
    table = pd.DataFrame([{"athlete": f"A{i}", **one, "load_kg": 20.0} for i in range(4)])
    table["push_distance_m"] += [0.0, 0.01, 0.02, 0.03]
    table["mean_force_over_push_n"] += [0.0, 10.0, 25.0, 30.0]
    share = add_force_distance(table)["force_share"]
    assert share.iloc[0] == pytest.approx(1500.0 / (700.0 + 20.0 * 9.80665) - 1.0)
