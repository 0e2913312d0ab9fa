"""The one script that makes committed numbers again knows all of them, and moves none by itself."""

from __future__ import annotations

import gzip
import json
from pathlib import Path

import pytest
import remake
from golden_kit import METHODS, moved
from places import CALIBRATION, TESTS
from remake import GOLDEN, PARTS, golden, replace_files, wanted


def test_every_committed_table_is_made_by_one_part():
    written = [name for part in PARTS.values() for name in part.writes]
    assert len(written) == len(set(written))
    assert all((TESTS / name).exists() for name in written)
    tables = {f"calibration/{p.name}" for p in CALIBRATION.glob("*.csv")}
    assert {name for name in written if name.startswith("calibration/")} == tables


def test_every_script_of_a_table_is_run_by_a_part(monkeypatch: pytest.MonkeyPatch):
    run = []
    monkeypatch.setattr(remake.subprocess, "run", lambda command, **_: run.append(command[1]))
    for name, part in PARTS.items():
        if name not in ("golden", "demo"):
            part.make()
    made = {p for p in CALIBRATION.glob("*.py") if "__main__" in p.read_text("utf-8")}
    made.remove(CALIBRATION / "dossier.py")  # writes a page about the tables, and none of them
    assert {Path(p) for p in run} == made


def test_the_quick_ones_come_by_default_and_the_long_ones_when_asked():
    quick = ["golden", "demo", "alarms", "onsets", "budget", "profiles", "follow", "replication"]
    assert wanted([]) == quick
    assert wanted(["--long"]) == list(PARTS)
    assert wanted(["mixed", "golden"]) == ["golden", "mixed"]


def test_docstring_names_every_part_and_table():
    assert remake.__doc__ is not None
    for name, part in PARTS.items():
        assert f"\n{name} " in remake.__doc__
        for path in part.writes:
            assert Path(path).name in remake.__doc__


def test_an_unknown_name_is_told_with_those_there_are(capsys: pytest.CaptureFixture[str]):
    with pytest.raises(SystemExit):
        wanted(["golen"])
    assert "nothing is called golen; there are: golden, demo" in capsys.readouterr().err


def _kept(tmp_path: Path) -> tuple[Path, dict]:
    kept = json.loads(GOLDEN.read_text("utf-8"))
    return tmp_path / "golden.json", kept


def test_golden_numbers_gain_keys_and_are_otherwise_the_same(tmp_path: Path):
    path, kept = _kept(tmp_path)
    del kept["default"]["metrics"]["jump_height_m"]  # as if this metric were new
    path.write_text(json.dumps(kept), "utf-8")
    golden(path)
    again, committed = json.loads(path.read_text("utf-8")), json.loads(GOLDEN.read_text("utf-8"))
    assert list(again) == list(committed)
    for name in METHODS:
        assert moved(committed[name], again[name]) == moved(again[name], committed[name]) == []


@pytest.mark.parametrize("gone", [True, False])
def test_a_golden_number_that_moved_needs_a_new_engine(
    gone: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    path, kept = _kept(tmp_path)
    if gone:
        kept["filtered"]["metrics"]["no_longer_m"] = 1.0
    else:
        kept["filtered"]["metrics"]["jump_height_m"] += 1e-6
    before = json.dumps(kept)
    path.write_text(before, "utf-8")
    with pytest.raises(SystemExit, match=r"filtered: metrics .*\n1 number\(s\) moved: raise"):
        golden(path)
    assert path.read_text("utf-8") == before
    monkeypatch.setattr("cmjlab.keys.ENGINE", kept["engine"] + 1)
    golden(path)
    assert json.loads(path.read_text("utf-8"))["engine"] == kept["engine"] + 1


def test_a_folder_is_brought_to_what_was_made(tmp_path: Path):
    made, kept = tmp_path / "made", tmp_path / "kept"
    for folder in (made, kept):
        (folder / "recordings").mkdir(parents=True)
    (made / "truth.csv").write_text("new")
    (kept / "truth.csv").write_text("old")
    (kept / "recordings" / "gone.csv").write_text("old")
    (made / "recordings" / "come.csv").write_text("new")
    for folder, level in ((made, 9), (kept, 1)):
        (folder / "same.csv.gz").write_bytes(gzip.compress(b"1,2\n" * 99, level, mtime=0))
    (kept / "results").mkdir()
    (kept / "results" / "report.html").write_text("mine")
    packed = (kept / "same.csv.gz").read_bytes()
    replace_files(made, kept)
    files = {p.relative_to(kept).as_posix() for p in kept.rglob("*") if p.is_file()}
    assert files == {"truth.csv", "recordings/come.csv", "same.csv.gz", "results/report.html"}
    assert (kept / "truth.csv").read_text() == "new"
    assert (kept / "same.csv.gz").read_bytes() == packed
