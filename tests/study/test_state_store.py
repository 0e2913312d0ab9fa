"""The store, the index of checksums, the lock and real kills."""

from __future__ import annotations

import errno
import json
import os
import platform
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pandas as pd
import pytest
import study_kit
from study_kit import jump_bytes, make

import cmjlab as cj
from cmjlab.errors import StudyError
from cmjlab.study.decide.decisions import Decision
from cmjlab.study.store import checksum_index
from cmjlab.study.store import parts as store_module
from cmjlab.study.store.checksum_index import ChecksumIndex
from cmjlab.study.store.lock import locked
from cmjlab.study.store.one_file import FileResult
from cmjlab.study.store.parts import CHECK_COLUMNS, JUMP_COLUMNS, Store
from cmjlab.study.study import Study


def _row(key: str, jump: int = 1) -> dict[str, object]:
    return {"key": key, "file": "f.csv", "sha256": "s", "stretch": 0, "jump": jump, "rate_hz": 1.0,
            "accepted_by_rules": True}  # fmt: skip


def _check(key: str) -> dict[str, object]:
    return {"key": key, "file": "f.csv", "jump": 1, "code": "no_flight", "status": "pass"}


def test_parts_are_only_added_and_come_back(tmp_path):
    store = Store(tmp_path, "m" * 64)
    store.append([FileResult("a", [_row("a")], [_check("a")])])
    first = set(store.folder.iterdir())
    store.append([FileResult("b", [_row("b")], [])])
    assert first < set(store.folder.iterdir())
    jumps, checks = store.load()
    assert sorted(jumps["key"]) == ["a", "b"]
    assert list(jumps.columns) == list(JUMP_COLUMNS)
    assert list(checks.columns) == list(CHECK_COLUMNS)
    assert list(checks["key"]) == ["a"]


def test_results_that_may_not_be_kept_are_not(tmp_path):
    store = Store(tmp_path, "m" * 64)
    store.append([FileResult("a", [_row("a")], [], keep=False)])
    assert store.load()[0].empty


def test_part_with_other_columns_is_not_used(tmp_path):
    """A new metric means: measure again. It is never filled with nothing."""
    store = Store(tmp_path, "m" * 64)
    store.append([FileResult("a", [_row("a")], [])])
    [part] = store.folder.glob("jumps-*")
    frame = pd.read_parquet(part).drop(columns="jump_height_m")
    frame.to_parquet(part)
    assert store.load()[0].empty


def test_jumps_without_their_checks_do_not_count(tmp_path):
    store = Store(tmp_path, "m" * 64)
    store.append([FileResult("a", [_row("a")], [_check("a")])])
    [checks] = store.folder.glob("checks-*")
    checks.unlink()
    assert store.load()[0].empty


def test_many_parts_become_one(tmp_path, monkeypatch):
    monkeypatch.setattr(store_module, "MOST_PARTS", 3)
    store = Store(tmp_path, "m" * 64)
    for number in range(5):
        store.append([FileResult(str(number), [_row(str(number))], [_check(str(number))])])
    assert len(list(store.folder.glob("jumps-*"))) <= 3
    jumps, checks = store.load()
    assert sorted(jumps["key"]) == sorted(checks["key"]) == list("01234")


def test_prune_keeps_only_what_is_asked(tmp_path):
    store = Store(tmp_path, "m" * 64)
    store.append([FileResult(k, [_row(k)], [_check(k)]) for k in "abc"])
    store.compact(keys={"b"})
    assert list(store.load()[0]["key"]) == ["b"]


def test_index_reads_a_file_again_when_a_change_could_hide(tmp_path):
    """Same size, same time of change, other bytes: seen, since the first read was so recent."""
    path = tmp_path / "f.csv"
    path.write_bytes(b"1111")
    now = time.time()
    os.utime(path, (now, now))
    index = ChecksumIndex(tmp_path / "files.json")
    first = index.sha256("f.csv", path)
    path.write_bytes(b"2222")
    os.utime(path, (now, now))
    assert index.sha256("f.csv", path) != first


def test_index_does_not_read_an_old_file_again(tmp_path, monkeypatch):
    path = tmp_path / "f.csv"
    path.write_bytes(b"1111")
    old = time.time() - 60
    os.utime(path, (old, old))
    index = ChecksumIndex(tmp_path / "files.json")
    first = index.sha256("f.csv", path)
    index.save({"f.csv"})
    study_kit.read_long_ago(tmp_path / "files.json")
    calls = []
    monkeypatch.setattr(checksum_index, "file_sha256", lambda p: calls.append(p) or "anew")
    again = ChecksumIndex(tmp_path / "files.json")
    assert again.sha256("f.csv", path) == first, "the index was not used"
    assert not calls
    os.utime(path, (old + 5, old + 5))
    assert again.sha256("f.csv", path) == "anew"


def test_index_forgets_files_that_are_gone(tmp_path):
    path = tmp_path / "f.csv"
    path.write_bytes(b"1")
    index = ChecksumIndex(tmp_path / "files.json")
    index.sha256("f.csv", path)
    index.save(set())
    assert json.loads((tmp_path / "files.json").read_text()) == {}


def test_lock_keeps_no_name_of_a_computer_and_leaves_no_word_behind(tmp_path):
    with locked(tmp_path / "store"):
        text = (tmp_path / "store" / "lock.json").read_text(encoding="utf-8")
        assert platform.node() not in text
        assert json.loads(text)["pid"] == os.getpid()
    assert not (tmp_path / "store" / "lock.json").exists()


def test_lock_names_its_holder(tmp_path):
    code = (
        "import sys, time; from pathlib import Path; from cmjlab.study.store.lock import locked\n"
        "with locked(Path(sys.argv[1])):\n print('held', flush=True); time.sleep(60)"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code, str(tmp_path / "store")], stdout=subprocess.PIPE, text=True
    ) as other:
        assert other.stdout is not None
        assert other.stdout.readline().strip() == "held"
        with (
            pytest.raises(StudyError, match=f"process {other.pid} on this computer since "),
            locked(tmp_path / "store", wait_s=0.2),
        ):
            pass
        with locked(tmp_path / "store", wait_s=0.2, force=True):
            pass
        other.kill()
    with locked(tmp_path / "store", wait_s=5):
        pass


@pytest.mark.skipif(os.name != "posix", reason="kill -9 is POSIX only")
@pytest.mark.parametrize("delay_s", [0.0, 0.03, 0.15, 0.4])
def test_a_real_kill_loses_nothing_but_time(tmp_path, delay_s):
    """The process is killed while it measures; the next run ends like an undisturbed one."""
    folder = make(tmp_path / "study", athletes="A01,A02,A03", trials=3)
    code = (
        "import sys; from cmjlab.study.store import batch; from cmjlab.study.study import Study\n"
        "batch._KEEP_EVERY_FILES = 1\n"
        "study = Study.open(sys.argv[1]); print('ready', flush=True); study.measure(workers=1)"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code, str(folder)], stdout=subprocess.PIPE, text=True
    ) as run:
        assert run.stdout is not None
        assert run.stdout.readline() == "ready\n"
        time.sleep(delay_s)
        run.send_signal(signal.SIGKILL)
    shutil.copytree(folder, tmp_path / "clean", ignore=shutil.ignore_patterns("results"))
    lived, fresh = Study.open(folder), Study.open(tmp_path / "clean")
    pd.testing.assert_frame_equal(lived.measure(), fresh.measure())
    pd.testing.assert_frame_equal(lived.checks, fresh.checks)


def test_a_stopped_run_goes_on_where_it_stood(tmp_path, monkeypatch):
    folder = make(tmp_path / "study")
    monkeypatch.setattr("cmjlab.study.store.batch._KEEP_EVERY_FILES", 1)
    seen = []

    def stop(progress):
        seen.append(progress)
        if progress.done == 3:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        Study.open(folder).measure(progress=stop)
    assert (seen[-1].done, seen[-1].total) == (3, 8)
    seen.clear()
    Study.open(folder).measure(progress=seen.append)
    assert [p.total for p in seen] == [5] * 5


def test_two_processes_give_the_same_table(tmp_path):
    folder = make(tmp_path / "study")
    one = Study.open(folder, tmp_path / "one").measure(workers=1)
    two = Study.open(folder, tmp_path / "two").measure(workers=2)
    pd.testing.assert_frame_equal(one, two)


def test_cached_rows_do_not_hold_the_roster(tmp_path):
    folder = make(tmp_path / "study")
    Study.open(folder).measure()
    (folder / "athletes.csv").write_text("athlete,group\nA01,new\nA02,new\n")
    calls = []
    table = Study.open(folder).measure(progress=calls.append)
    assert set(table["group"]) == {"new"}
    assert not calls, "a change of the roster must not measure anything again"


def _not_kept(folder):
    study = Study.open(folder)
    assert len(study.measure()) == 8
    assert list(study.problems["code"]).count("results_not_kept") == 1
    assert not list((folder / "results").rglob("*.parquet"))


def test_folder_in_which_nothing_can_be_made(tmp_path, monkeypatch):
    """Refusals are made by hand: a superuser may write whatever the permissions say."""
    folder = make(tmp_path / "study")
    real = Path.mkdir

    def refuse(path, *rest, **named):
        if path.is_relative_to(folder):
            raise PermissionError(errno.EACCES, "Permission denied", str(path))
        real(path, *rest, **named)

    monkeypatch.setattr(Path, "mkdir", refuse)
    _not_kept(folder)


def test_folder_that_is_there_and_cannot_be_written_to(tmp_path, monkeypatch):
    folder = make(tmp_path / "study")
    real = os.access

    def refuse(path, mode):
        return real(path, mode) and not (mode == os.W_OK and Path(path).is_relative_to(folder))

    monkeypatch.setattr(os, "access", refuse)
    _not_kept(folder)


def test_results_elsewhere_leave_the_study_untouched(tmp_path):
    folder = make(tmp_path / "study")
    before = sorted((p.relative_to(folder), p.stat().st_mtime_ns) for p in folder.rglob("*"))
    study = Study.open(folder, tmp_path / "elsewhere")
    study.measure()
    assert (
        sorted((p.relative_to(folder), p.stat().st_mtime_ns) for p in folder.rglob("*")) == before
    )
    calls = []
    Study.open(folder, tmp_path / "elsewhere").measure(progress=calls.append)
    assert not calls


def test_no_results_folder_can_be_made(tmp_path):
    """Where no results can be kept the study is measured all the same, and says so."""
    folder = make(tmp_path / "study")
    (tmp_path / "file").write_text("in the way")
    study = Study.open(folder, tmp_path / "file")
    assert len(study.measure()) == 8
    assert list(study.problems["code"]).count("results_not_kept") == 1


def test_unreadable_file_is_a_row_and_is_tried_again(tmp_path, monkeypatch):
    folder = make(tmp_path / "study", athletes="A01", sessions="base1")
    victim = "sub-A01_ses-base1_run-01.csv"
    real = store_module.Path.stat

    def stat(self, **how):
        if self.name == victim:
            raise PermissionError(13, "Permission denied")
        return real(self, **how)

    with monkeypatch.context() as patch:
        patch.setattr("cmjlab.study.store.checksum_index.Path.stat", stat)
        table = Study.open(folder).measure()
    row = table[table["file"] == victim].iloc[0]
    assert "cannot be opened (Permission denied)" in row["error"]
    assert not row["accepted"]
    assert (Study.open(folder).measure()["error"] == "").all()


def test_prune_frees_what_is_not_used_and_nothing_else(tmp_path):
    folder = make(tmp_path / "study", athletes="A01", sessions="base1,post")
    with open(folder / "study.toml", "a") as file:
        file.write("[method]\nonset_sd = 3.0\n")
    Study.open(folder).measure()
    (folder / "study.toml").write_text(study_kit.SETTINGS)
    (folder / "recordings" / "sub-A01_ses-post_run-02.csv").unlink()
    table = Study.open(folder).measure()
    assert len(list((folder / "results" / "store").glob("*-*/"))) == 2
    assert cj.prune_store(Study.open(folder)) > 0
    assert len(list((folder / "results" / "store").glob("*-*/"))) == 1
    calls = []
    pd.testing.assert_frame_equal(Study.open(folder).measure(progress=calls.append), table)
    assert not calls


def test_decisions_of_a_folder_that_cannot_be_written_to(tmp_path, monkeypatch):
    """They are kept with the results, and count after those of the study."""
    folder = make(tmp_path / "study", athletes="A01", sessions="base1")
    name = "sub-A01_ses-base1_run-01.csv"
    study = Study.open(folder).decide(Decision("reject", name, reason="first", who="T"))
    monkeypatch.setattr(
        "cmjlab.study.folder.study_folder.os.access", lambda path, how: path != folder
    )
    study = Study.open(folder, tmp_path / "results")
    assert study.measure().set_index("file").loc[name, "verdict"] == "reject"
    study = study.decide(Decision("accept", name, reason="second", who="T"))
    assert (tmp_path / "results" / "decisions.csv").exists()
    assert list(study.decisions["reason"]) == ["first", "second"]
    assert study.measure().set_index("file").loc[name, "verdict"] == "accept"


def test_engine_is_part_of_the_key(tmp_path, monkeypatch):
    folder = make(tmp_path / "study", athletes="A01", sessions="base1")
    study = Study.open(folder)
    key = study.task("sub-A01_ses-base1_run-01.csv").key
    monkeypatch.setattr("cmjlab.study.store.one_file.ENGINE", 999_999)
    assert study.task("sub-A01_ses-base1_run-01.csv").key != key


def test_kit_makes_different_jumps():
    assert jump_bytes(0) != jump_bytes(1)
    assert len(study_kit.recording(0).plates) == 1


def test_two_runs_at_once_end_alike(tmp_path):
    """The second waits for the first, then finds the work done."""
    folder = make(tmp_path / "study", trials=3)
    code = (
        "import sys; from cmjlab.study.study import Study\n"
        "seen = []; Study.open(sys.argv[1]).measure(workers=1, progress=seen.append)\n"
        "print(len(seen))"
    )
    runs = [
        subprocess.Popen(
            [sys.executable, "-c", code, str(folder)], stdout=subprocess.PIPE, text=True
        )
        for _ in range(2)
    ]
    measured = sorted(int(run.communicate()[0]) for run in runs)
    assert [run.returncode for run in runs] == [0, 0]
    assert measured == [0, 12]
    calls = []
    assert len(Study.open(folder).measure(progress=calls.append)) == 12
    assert not calls


def test_a_log_that_is_a_workbook_is_read_but_not_added_to(tmp_path):
    folder = make(tmp_path / "study", athletes="A01", sessions="base1")
    name = "sub-A01_ses-base1_run-01.csv"
    study = Study.open(folder).decide(Decision("reject", name, reason="r", who="T"))
    study.decisions.to_excel(folder / "decisions.xlsx", index=False)
    (folder / "decisions.csv").unlink()
    study = Study.open(folder)
    assert study.measure().set_index("file").loc[name, "verdict"] == "reject"
    with pytest.raises(StudyError, match=r"save it as decisions\.csv"):
        study.decide(Decision("accept", name, reason="r", who="T"))
