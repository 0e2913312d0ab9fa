"""The invented demo study: complete, small, true to its truth, and made again from its seed."""

from __future__ import annotations

import gzip
from pathlib import Path

import pandas as pd
import pytest
from places import SAMPLE_DATA

from cmjlab.errors import StudyError
from cmjlab.files.read import read_recording
from cmjlab.jump.measure import measure
from cmjlab.study.check_study import check_study
from cmjlab.study.demo import demo, scenario
from cmjlab.study.demo.demo import demo_study, write_demo
from cmjlab.tables import USER_TABLES

ROOT = SAMPLE_DATA
BLOCK, MINI = ROOT / scenario.NAME, ROOT / scenario.MINI_NAME


def size_of(folder: Path) -> int:
    files = (f for f in folder.rglob("*") if "results" not in f.relative_to(folder).parts)
    return sum(f.stat().st_size for f in files if f.is_file())


def table(folder: Path, name: str) -> pd.DataFrame:
    return pd.read_csv(folder / f"{name}.csv", dtype={"trial": str}, keep_default_na=False)


def test_sizes_and_places() -> None:
    assert demo_study() == BLOCK
    assert demo_study(mini=True) == MINI
    assert size_of(BLOCK) < 13_000_000
    assert size_of(MINI) < 1_000_000
    for folder in (ROOT, BLOCK, MINI):
        assert "invented" in (folder / "README.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("folder", [BLOCK, MINI])
def test_the_study_has_no_problem(folder: Path) -> None:
    problems = check_study(folder)
    assert problems.empty, problems.to_string()


@pytest.mark.parametrize("folder", [BLOCK, MINI])
def test_tables_are_valid_by_their_published_schema(folder: Path) -> None:
    from frictionless import Resource, Schema

    for stem, declared in USER_TABLES.items():
        path = folder / f"{stem}.csv"
        if path.is_file():
            schema = Schema.from_descriptor(declared.frictionless())
            report = Resource(path=path.name, basepath=str(folder), schema=schema).validate()
            assert report.valid, (path, report.flatten(["rowNumber", "fieldName", "message"]))


def test_who_was_there() -> None:
    roster = table(BLOCK, "athletes")
    assert roster.groupby("group").size().to_dict() == {
        "strength": 10, "fast_braking": 10, "usual": 10,
    }  # fmt: skip
    names = {f.name.split(".")[0] for f in (BLOCK / "recordings").iterdir()}
    weekly = {n for n in names if "_ses-mon" in n}
    # 30 × 3 × 3, less one session, less one who left, and one jump that was taken again
    assert len(names - weekly) == 270 - 3 - 3 + 1
    # 12 × 3 × 3, less one who was travelling
    assert len(weekly) == 108 - 3
    assert len({n.split("_")[0] for n in weekly}) == 12
    assert not [n for n in names if n.startswith(("sub-A19_ses-base2", "sub-A27_ses-post"))]
    assert not (BLOCK / "names.csv").exists()
    assert len(list((MINI / "recordings").iterdir())) == 36


@pytest.mark.parametrize(
    "name", ["sub-A03_ses-base1_run-01.csv.gz", "sub-A12_ses-post_run-03.csv.gz",
             "sub-A05_ses-post_run-01.csv", "sub-A01_ses-base1_run-02.csv",
             "sub-A21_ses-base2_run-02.csv.gz", "sub-A30_ses-post_run-01.csv.gz"],
)  # fmt: skip
def test_measured_values_are_near_the_truth(name: str) -> None:
    """Bars: three standard errors of the jump itself, or three times what sway of 2 N spreads."""
    jump = measure(read_recording(BLOCK / "recordings" / name))
    athlete, session, run = (part.split("-")[1] for part in name.split(".")[0].split("_"))
    truth = table(BLOCK, "truth").query("level == 'jump'")
    mine = truth[
        (truth["athlete"] == athlete) & (truth["session"] == session)
        & (truth["trial"] == str(int(run)))
    ].set_index("metric")["value"]  # fmt: skip
    assert jump.accepted
    for key in ("jump_height_m", "countermovement_depth_m"):
        error = jump.metrics[key.replace("_m", "_se_m")]
        assert error < 0.005
        assert jump.metrics[key] == pytest.approx(mine[key], abs=3 * error), key
    for key, bar in (
        ("braking_duration_s", 0.003), ("force_at_zero_velocity_n_per_kg", 0.12),
    ):  # fmt: skip
        assert jump.metrics[key] == pytest.approx(mine[key], abs=bar), key
    for event, bar in (("onset", 0.050), ("takeoff", 0.001), ("landing", 0.002)):
        assert jump.events[event] == pytest.approx(mine[event], abs=bar), event


@pytest.mark.parametrize(
    ("name", "accepted"),
    [
        ("sub-A12_ses-base2_run-02.csv.gz", False),  # early movement
        ("sub-A08_ses-base1_run-02.csv.gz", False),  # double dip ...
        ("sub-A08_ses-base1_run-04.csv.gz", True),  # ... taken again
        ("sub-A14_ses-post_run-03.csv.gz", True),  # arms: no rule can see it, a person did
    ],
)
def test_what_went_wrong_is_seen(name: str, accepted: bool) -> None:
    assert measure(read_recording(BLOCK / "recordings" / name)).accepted is accepted
    if "A14" in name:
        (row,) = table(BLOCK, "decisions").to_dict("records")
        assert (row["file"], row["action"]) == (name, "reject")


def test_weeks_of_monitoring_show_who_came_back() -> None:
    """Height and asymmetry of the returning athlete against the own weeks before, as put in."""
    truth = table(BLOCK, "truth").query("metric == 'jump_height_m' and athlete == 'A09'")
    true = truth[truth["level"] == "athlete"].set_index("session")["value"]
    drop = true[["mon1", "mon2", "mon3"]] / true["base2"] - 1
    assert drop.is_monotonic_increasing
    assert drop["mon1"] == pytest.approx(-0.20, abs=0.01)
    assert drop["mon3"] > -0.08
    seen = []
    for week in ("mon1", "mon3"):
        files = sorted((BLOCK / "recordings").glob(f"sub-A09_ses-{week}_*"))
        assert len(files) == 3
        jumps = [measure(read_recording(f)) for f in files]
        assert all(j.accepted for j in jumps)
        seen.append(sum(j.metrics["braking_impulse_asymmetry_percent"] for j in jumps) / 3)
    assert seen[1] - seen[0] == pytest.approx(10.0, abs=3.0)  # 14 points spared, then 4


def test_decimal_commas() -> None:
    text = (BLOCK / "recordings" / "sub-A05_ses-post_run-01.csv").read_text(encoding="utf-8")
    assert ";" in text.splitlines()[1]
    assert "." not in text


def test_an_occupied_folder_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(StudyError, match="a new or empty folder is needed"):
        write_demo(tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["mine.txt"]


def test_without_a_checkout_the_demo_is_simulated_once_into_the_cache(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    calls = []

    def small_demo(folder: Path, **options: object) -> Path:
        calls.append(options)
        folder.mkdir()
        (folder / "study.toml").write_text("[study]")
        return folder

    for name in ("XDG_CACHE_HOME", "LOCALAPPDATA", "HOME"):
        monkeypatch.setenv(name, str(tmp_path / "cache"))
    monkeypatch.setattr(demo, "AROUND", tmp_path / "lib")
    monkeypatch.setattr(demo, "write_demo", small_demo)
    first, second = demo.demo_study(mini=True), demo.demo_study(mini=True)
    assert first == second
    assert first.is_relative_to(tmp_path / "cache")
    assert (first / "study.toml").is_file()
    assert calls == [{"mini": True}]
    assert [p.name for p in first.parent.iterdir()] == [scenario.MINI_NAME]  # nothing left over


@pytest.mark.slow
@pytest.mark.parametrize(("folder", "mini"), [(BLOCK, False), (MINI, True)])
def test_the_seed_makes_the_same_study_again(tmp_path: Path, folder: Path, mini: bool) -> None:
    told = []
    again = write_demo(tmp_path / "again", mini=mini, progress=told.append)
    assert told[-1].done == told[-1].total == len(list((again / "recordings").iterdir()))
    before = sorted(p.relative_to(folder) for p in folder.rglob("*") if p.is_file())
    before = [p for p in before if "results" not in p.parts]
    after = sorted(p.relative_to(again) for p in again.rglob("*") if p.is_file())
    assert before == after
    for name in after:
        old, new = (folder / name).read_bytes(), (again / name).read_bytes()
        if name.suffix == ".gz":  # packing may differ between versions of zlib
            old, new = gzip.decompress(old), gzip.decompress(new)
        assert old == new, name
