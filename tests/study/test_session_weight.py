"""A jump without a quiet second, weighed by the athlete's other jumps of the session."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from study_kit import SETTINGS

from cmjlab.files.write import write_recording
from cmjlab.simulate.jump import RecordingSettings, SimulatedJump, simulate_jump
from cmjlab.simulate.profile import Profile
from cmjlab.simulate.spoil import restless_standing, start_late
from cmjlab.study.export import prune_store
from cmjlab.study.store import batch
from cmjlab.study.study import Study

LATE = "sub-A01_ses-base1_run-03.csv"
NEAR = "sub-A01_ses-base1_run-01.csv"
OTHER = "sub-A02_ses-base1_run-01.csv"


def _jump(seed: int, mass_kg: float = 80.0) -> SimulatedJump:
    return simulate_jump(
        Profile(mass_kg=mass_kg), noise_sd_n=1.5, sway_sd_n=3.0, seed=seed,
        settings=RecordingSettings(plates=1),
    )  # fmt: skip


def _folder(folder: Path, *, body_weight: str = "session", quiet: int = 2, seed: int = 0) -> Path:
    """Write a study: of the first athlete's jumps the last starts 0.1 s before the movement."""
    (folder / "recordings").mkdir(parents=True)
    choice = f'\n[method]\nbody_weight = "{body_weight}"\n'
    (folder / "study.toml").write_text(SETTINGS + choice, encoding="utf-8")
    (folder / "athletes.csv").write_text("athlete,group\nA01,jump\nA02,usual\n", encoding="utf-8")
    for trial in range(1, quiet + 1):
        name = f"sub-A01_ses-base1_run-{trial:02d}.csv"
        write_recording(_jump(seed + trial).recording, folder / "recordings" / name)
    write_recording(start_late(_jump(seed + 9)).recording, folder / "recordings" / LATE)
    for trial in (1, 2):
        name = f"sub-A02_ses-base1_run-{trial:02d}.csv"
        write_recording(_jump(seed + 20 + trial, 70.0).recording, folder / "recordings" / name)
    return folder


def _row(study: Study, file: str) -> pd.Series:
    return study.measure().set_index("file").loc[file]


def _error(study: Study) -> float:
    row = _row(study, LATE)
    return float((row["jump_height_m"] - _jump(9).truth["jump_height_m"]) / row["jump_height_se_m"])


def test_the_other_jumps_weigh_it(tmp_path):
    study = Study.open(_folder(tmp_path))
    row = _row(study, LATE)
    others = study.measure().set_index("file")["body_weight_n"]
    median = np.median([others[NEAR], others["sub-A01_ses-base1_run-02.csv"]])
    assert row["body_weight_n"] == pytest.approx(median, abs=1e-9)
    assert row["accepted"]
    assert abs(_error(study)) < 1.5
    assert row["jump_height_se_m"] < 0.01


def test_the_errors_are_as_large_as_said(tmp_path):
    """Over many studies the height is off by about one standard error."""
    scores = []
    for number in range(12):
        seed = 100 * number
        study = Study.open(_folder(tmp_path / str(number), quiet=2 + number % 2, seed=seed))
        row = _row(study, LATE)
        truth = _jump(seed + 9).truth["jump_height_m"]
        scores.append((row["jump_height_m"] - truth) / row["jump_height_se_m"])
    assert 0.3 < np.sqrt(np.mean(np.square(scores))) < 1.5


def test_notes_and_checks_say_so(tmp_path):
    study = Study.open(_folder(tmp_path))
    notes = study.reading_notes
    mine = notes[(notes["file"] == LATE) & (notes["code"] == "weight_of_session")]
    assert len(mine) == 1
    assert NEAR in mine["text"].iloc[0]
    assert not (notes.loc[notes["file"] != LATE, "code"] == "weight_of_session").any()
    checks = study.checks[study.checks["file"] == LATE].set_index("code")
    assert checks.loc["still_weighing", "status"] == "warn"
    assert "other jumps of the session" in checks.loc["still_weighing", "reason"]
    assert checks.loc["weight_vs_session", "status"] == "not_assessed"


def test_the_jump_in_full_has_the_same_numbers(tmp_path):
    study = Study.open(_folder(tmp_path))
    metrics = study.jump(LATE).metrics
    row = _row(study, LATE)
    assert metrics["jump_height_m"] == row["jump_height_m"]
    assert metrics["body_weight_n"] == row["body_weight_n"]


@pytest.mark.parametrize("body_weight", ["window", "rest_to_rest"])
def test_refused_where_the_method_does_not_allow_it(tmp_path, body_weight):
    study = Study.open(_folder(tmp_path, body_weight=body_weight))
    checks = study.checks[study.checks["file"] == LATE].set_index("code")
    assert checks.loc["still_weighing", "status"] == "fail"
    assert not _row(study, LATE)["accepted"]


def test_one_quiet_jump_is_not_enough(tmp_path):
    study = Study.open(_folder(tmp_path, quiet=1))
    assert not _row(study, LATE)["accepted"]


def test_another_athlete_weighs_nobody(tmp_path):
    study = Study.open(_folder(tmp_path, quiet=0))
    assert not _row(study, LATE)["accepted"]


def test_a_restless_neighbour_does_not_serve(tmp_path):
    folder = _folder(tmp_path)
    spoiled = restless_standing(_jump(1), sd_n=40.0)
    write_recording(spoiled.recording, folder / "recordings" / NEAR)
    assert not _row(Study.open(folder), LATE)["accepted"]


def _measured_files(monkeypatch) -> list[str]:
    """Return the list to which every file that is measured is added."""
    seen: list[str] = []
    whole = batch.measure_file

    def watched(task, method):
        seen.append(task.file)
        return whole(task, method)

    monkeypatch.setattr(batch, "measure_file", watched)
    return seen


def test_kept_results_follow_the_neighbours(tmp_path, monkeypatch):
    folder = _folder(tmp_path)
    before = _row(Study.open(folder), LATE)
    seen = _measured_files(monkeypatch)
    assert _row(Study.open(folder), LATE)["jump_height_m"] == before["jump_height_m"]
    assert seen == []  # all is kept, the second look too
    write_recording(_jump(1, 81.0).recording, folder / "recordings" / NEAR)
    after = _row(Study.open(folder), LATE)
    assert after["body_weight_n"] > before["body_weight_n"] + 1.0
    assert after["jump_height_m"] != before["jump_height_m"]
    assert sorted(seen) == [NEAR, LATE]
    seen.clear()
    write_recording(_jump(77, 71.0).recording, folder / "recordings" / OTHER)
    assert _row(Study.open(folder), LATE)["jump_height_m"] == after["jump_height_m"]
    assert seen == [OTHER]


def test_tidying_keeps_what_is_used(tmp_path, monkeypatch):
    folder = _folder(tmp_path)
    study = Study.open(folder)
    study.measure()
    prune_store(study)
    seen = _measured_files(monkeypatch)
    Study.open(folder).measure()
    assert seen == []


def test_parallel_and_serial_are_the_same(tmp_path):
    one = Study.open(_folder(tmp_path / "one")).measure(workers=1)
    two = Study.open(_folder(tmp_path / "two")).measure(workers=2)
    pd.testing.assert_frame_equal(one, two)


def test_a_rejected_neighbour_does_not_serve(tmp_path):
    from cmjlab.study.decide.decisions import Decision

    study = Study.open(_folder(tmp_path))
    rejected = study.decide(
        Decision(file=NEAR, jump=1, action="reject", who="N. N.", reason="another person")
    )
    assert not _row(rejected, LATE)["accepted"]
