"""What changes behind our back is seen: files of the same size and time, bits that flip in the store."""

from __future__ import annotations

import json
import os
import shutil
import time
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from study_kit import jump_bytes, make, read_long_ago

from cmjlab.report.build.analyses import analyse
from cmjlab.study.store.checksum_index import ChecksumIndex
from cmjlab.study.store.parts import Store
from cmjlab.study.study import Study


@pytest.mark.parametrize("how", ["in place", "another file"])
def test_same_size_and_time_but_other_bytes_are_seen(tmp_path, how):
    """The old time of change is put back, as a copy or a tool for archives does."""
    path = tmp_path / "f.csv"
    path.write_bytes(b"1111")
    old = time.time() - 60
    os.utime(path, (old, old))
    index = ChecksumIndex(tmp_path / "files.json")
    first = index.sha256("f.csv", path)
    index.save({"f.csv"})
    read_long_ago(tmp_path / "files.json")
    new = path if how == "in place" else tmp_path / "g.csv"
    new.write_bytes(b"2222")
    os.utime(new, (old, old))
    new.replace(path)
    assert ChecksumIndex(tmp_path / "files.json").sha256("f.csv", path) != first


def _unseen_change(folder: Path) -> str:
    """Change a recording so that nothing but its bytes tells it; return its name."""
    file = "sub-A01_ses-base1_run-01.csv"
    path, index = folder / "recordings" / file, folder / "results" / "store" / "files.json"
    path.write_bytes(jump_bytes(77))
    stat, data = path.stat(), json.loads(index.read_text())
    stamp = [stat.st_size, stat.st_mtime_ns, stat.st_ino, stat.st_ctime_ns]
    data[file] = [*stamp, data[file][-2], time.time_ns() + 10**10]
    index.write_text(json.dumps(data))
    return file


def test_a_report_reads_all_bytes_again(tmp_path):
    folder = make(tmp_path / "study", athletes="A01", sessions="base1")
    opened = Study.open(folder)
    before = opened.measure().set_index("file")["jump_height_m"]
    file = _unseen_change(folder)
    assert Study.open(folder).measure().set_index("file")["jump_height_m"].equals(before)
    opened.reread()
    after = opened.measure().set_index("file")["jump_height_m"]
    assert after[file] != before[file]
    assert Study.open(folder).measure().set_index("file")["jump_height_m"].equals(after)


def test_the_analyses_of_a_report_rest_on_what_the_files_hold_now(tmp_path):
    folder = make(tmp_path / "study", athletes="A01", sessions="base1")
    study = Study.open(folder)
    before = study.measure().set_index("file")["jump_height_m"]
    file = _unseen_change(folder)
    after = analyse(study).jumps.set_index("file")["jump_height_m"]
    assert after[file] != before[file]


@pytest.mark.parametrize("kind", ["jumps", "checks"])
def test_bits_that_flip_in_the_store_are_measured_again(tmp_path, kind):
    """Every byte of a part in turn would take long: 200 places, seeded."""
    folder = make(tmp_path / "study", athletes="A01", sessions="base1")
    first = Study.open(folder)
    table, checks = first.measure(), first.checks
    [part] = (folder / "results" / "store").glob(f"*/{kind}-*")
    whole, rng = part.read_bytes(), np.random.default_rng(4)
    store = Store(folder / "results", Study.open(folder).method.key)
    assert len(store.load()[0]) == 2
    for place in rng.integers(0, len(whole), 200):
        damaged = bytearray(whole)
        damaged[place] ^= 1 << int(rng.integers(0, 8))
        part.write_bytes(bytes(damaged))
        assert store.load()[0].empty
    calls, damaged_study = [], Study.open(folder)
    pd.testing.assert_frame_equal(damaged_study.measure(progress=calls.append), table)
    assert len(calls) == (2 if kind == "jumps" else 0)
    pd.testing.assert_frame_equal(damaged_study.checks, checks)  # read when they are wanted
    pd.testing.assert_frame_equal(
        store.load()[0].set_index("file")[["jump_height_m"]].sort_index(),
        table.set_index("file")[["jump_height_m"]].sort_index(),
    )


def test_checks_outlive_the_results_folder(tmp_path):
    folder = make(tmp_path / "study", athletes="A01", sessions="base1")
    study, checks = Study.open(folder), Study.open(folder).checks
    study.measure()
    shutil.rmtree(folder / "results")
    pd.testing.assert_frame_equal(study.checks, checks)
    assert not (folder / "results").exists()
