"""Measuring on a cluster: the same bytes as in one process, and sentences that help."""

from __future__ import annotations

import shutil
import socket
import sys
import time
from pathlib import Path
from typing import Any

import dask
import distributed
import pandas as pd
import pytest
from cluster_kit import (
    FILES,
    client_of,
    measured,
    same,
    started,
)
from typer.testing import CliRunner

import cmjlab as cj
from cmjlab.cli.app import app
from cmjlab.keys import ENGINE
from cmjlab.method import Method
from cmjlab.study.store import batch, cluster
from cmjlab.study.study import Study

# ---- the same tables ---------------------------------------------------------------------------


def test_the_command_writes_the_same_bytes_as_one_process(base, alone, two, tmp_path):
    words = ["measure", str(base), "--results", str(tmp_path / "r"), "--cluster", two]
    done = CliRunner().invoke(app, words)
    assert done.exit_code == 0, done.output
    same(tmp_path / "r", alone)
    errors = pd.read_csv(tmp_path / "r" / "jumps.csv", encoding="utf-8-sig")["error"].dropna()
    assert sorted(e.split(": ")[1][:16] for e in errors) == ["the file is empt", "this is a PNG pi"]


def test_the_workers_measured_and_not_this_process(base, alone, two, tmp_path, monkeypatch):
    def here(task, method):
        raise AssertionError(task.file)

    monkeypatch.setattr(batch, "measure_file", here)
    monkeypatch.setattr(cluster, "measure_file", here)
    told = measured(base, tmp_path / "r", two)
    assert [p.done for p in told] == list(range(1, FILES + 1))
    assert {p.total for p in told} == {FILES}
    same(tmp_path / "r", alone)


def test_the_order_in_which_files_end_does_not_show(base, alone, two, tmp_path, monkeypatch):
    usual, orders = cluster._parts, []
    for turned in (False, True):
        order = [-1, 1][turned]
        monkeypatch.setattr(
            cluster, "_parts", lambda *a, order=order: type(usual(*a))([*usual(*a)][::order])
        )
        told = measured(base, tmp_path / str(turned), two)
        orders.append([p.what for p in told])
        same(tmp_path / str(turned), alone)
    assert orders[0] != orders[1]


def test_weights_of_the_session_are_measured_there_too(base, two, tmp_path):
    folder = Path(shutil.copytree(base, tmp_path / "s"))
    with (folder / "study.toml").open("a", encoding="utf-8") as file:
        file.write('[method]\nbody_weight = "session"\n')
    study = Study.open(folder, tmp_path / "one")
    one = study.measure(workers=1)
    pd.testing.assert_frame_equal(Study.open(folder, tmp_path / "r").measure(cluster=two), one)


@pytest.mark.skipif(sys.platform != "linux", reason="a path that each process sees otherwise")
def test_workers_that_do_not_see_the_study_get_its_bytes(base, alone, two, tmp_path, monkeypatch):
    monkeypatch.chdir(base.parent)
    unseen = Path("/proc/self/cwd/base")
    sent = []
    usual = cluster._with_bytes
    monkeypatch.setattr(cluster, "_with_bytes", lambda task: sent.append(task) or usual(task))
    monkeypatch.setattr(cluster, "measure_file", None)
    measured(unseen, tmp_path / "r", two)
    assert len(sent) == FILES
    same(tmp_path / "r", alone)


def test_a_relative_path_is_seen_by_all(base, alone, two, tmp_path, monkeypatch):
    monkeypatch.chdir(base.parent)
    monkeypatch.setattr(cluster, "_with_bytes", None)
    measured(Path("base"), tmp_path / "r", two)
    same(tmp_path / "r", alone)


# ---- encrypted ----------------------------------------------------------------------------------


def test_an_encrypted_cluster_is_used_with_certificates_and_not_without(base, alone, tmp_path):
    safe = distributed.security.Security.temporary()
    names = {
        "ca-file": "tls_ca_file",
        "client.cert": "tls_client_cert",
        "client.key": "tls_client_key",
    }
    settings = {}
    for name, attribute in names.items():
        path = tmp_path / f"{name}.pem"
        path.write_text(getattr(safe, attribute))
        settings[f"distributed.comm.tls.{name}"] = str(path)
    with started(1, protocol="tls", security=safe, silence_logs=50) as made:
        address = made.scheduler_address
        assert address.startswith("tls://")
        with pytest.raises(cj.ArgumentError, match="needs certificates on both sides"):
            Study.open(base, tmp_path / "r").measure(cluster=address)
        with dask.config.set(settings):
            measured(base, tmp_path / "r", address)
    same(tmp_path / "r", alone)


# ---- sentences that help -----------------------------------------------------------------------


@pytest.mark.parametrize(
    "word", ["", "here", "tcp://host", "http://h:1", "tcp://h:1/x", 8786, True]
)
def test_what_is_no_address_is_told_with_those_that_are(base, word, tmp_path):
    with pytest.raises(cj.ArgumentError, match="tcp://HOST:PORT, or tls://HOST:PORT"):
        Study.open(base, tmp_path).measure(cluster=word)


def test_a_scheduler_that_does_not_answer_is_told_soon(base, tmp_path, monkeypatch):
    monkeypatch.setattr(cluster, "CONNECT_S", 1.0)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        address = f"tcp://127.0.0.1:{free.getsockname()[1]}"
    begun = time.monotonic()
    with pytest.raises(cj.ArgumentError) as stop:
        Study.open(base, tmp_path).measure(cluster=address)
    assert time.monotonic() - begun < 4
    assert f"no scheduler answers at {address} within 1 s. Start one (dask scheduler)" in str(
        stop.value
    )


def test_a_scheduler_without_workers_is_told_with_the_command(base, tmp_path):
    with started(0) as made, pytest.raises(cj.ArgumentError) as stop:
        Study.open(base, tmp_path).measure(cluster=made.scheduler_address)
    assert str(stop.value).endswith(f"Start one: dask worker {made.scheduler_address}")


@pytest.mark.parametrize(
    ("change", "back", "found"),
    [
        ("k.ENGINE = 99", f"k.ENGINE = {ENGINE}", f"cmjlab {cj.__version__} (ENGINE 99)"),
        ("c.__version__ = '0.0.1'", f"c.__version__ = {cj.__version__!r}", "cmjlab 0.0.1 (ENGINE"),
        ("s.modules['cmjlab'] = None", "s.modules['cmjlab'] = c", "no cmjlab that can be used"),
    ],
)
def test_a_worker_of_another_version_is_refused_and_both_are_named(
    base, two, tmp_path, change, back, found
):
    begin = (
        "import sys as s, builtins as b; c = b.c = getattr(b, 'c', None) or __import__('cmjlab');"
    )
    begin += "k = b.k = getattr(b, 'k', None) or __import__('cmjlab.keys').keys;"
    with client_of(two) as client:
        one = sorted(client.nthreads())[0]
        try:
            client.run(exec, f"{begin} {change}", workers=[one])
            with pytest.raises(cj.ArgumentError) as stop:
                Study.open(base, tmp_path).measure(cluster=two)
        finally:
            client.run(exec, f"{begin} {back}", workers=[one])
    assert f"the worker at {one} has {found}" in str(stop.value)
    assert f"this computer has cmjlab {cj.__version__} (ENGINE {ENGINE})" in str(stop.value)
    assert not list(tmp_path.rglob("*.parquet"))


class Came:
    """What came back of a part."""

    def __init__(self, value: Any) -> None:
        self.value = value

    def result(self) -> Any:
        return self.value


def test_a_worker_that_joined_late_with_another_version_measures_nothing(monkeypatch):
    work = cluster._Work(None, "tcp://h:1", cluster.Measuring(Method()), carry=False)
    monkeypatch.setattr(cluster, "measure_chunk", None)
    came = cluster.done_there(work.job, [None], ("0.0.1", 1))
    assert came == ((cj.__version__, ENGINE), "")
    with pytest.raises(
        cj.ArgumentError, match=r"a worker at tcp://h:1 has cmjlab 0\.0\.1 \(ENGINE 1"
    ):
        work._results(Came((("0.0.1", 1), "")), [])


def test_an_error_that_nobody_foresaw_comes_back_as_text(monkeypatch):
    work = cluster._Work(None, "tcp://h:1", cluster.Measuring(Method()), carry=False)
    monkeypatch.setattr(cluster, "measure_chunk", None)
    came = cluster.done_there(work.job, [None], (cj.__version__, ENGINE))
    with pytest.raises(cj.StudyError, match="could not do a part .TypeError"):
        work._results(Came(came), [])


def test_a_single_recording_takes_no_cluster(base):
    file = base / "recordings" / "sub-A01_ses-base1_run-01.csv"
    done = CliRunner().invoke(app, ["measure", str(file), "--cluster", "tcp://h:1"])
    assert done.exit_code == 2
    assert "--cluster: for a study folder" in done.output


def test_what_is_kept_already_needs_no_cluster(base, alone, tmp_path):
    """Nothing to measure: nobody is asked, and nothing is waited for."""
    kept = Path(shutil.copytree(alone, tmp_path / "r"))
    told = measured(base, kept, "tcp://127.0.0.1:1")
    # files that cannot be kept are tried again; here all can
    assert told == []
