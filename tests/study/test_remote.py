"""A study at a URL: the same tables as in its folder, its recordings read by whoever measures."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import fsspec
import pandas as pd
import pytest
from cluster_kit import same, started
from study_kit import jump_bytes, make
from typer.testing import CliRunner

import cmjlab as cj
from cmjlab.cli.app import app
from cmjlab.study import remote
from cmjlab.study.export import write_results
from cmjlab.study.remote import RemoteFile
from cmjlab.study.study import Study

FILES = 12
FIRST = "sub-A01_ses-base1_run-01.csv"


@pytest.fixture(scope="module")
def base(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a study with a recording in a folder of its own, and one that is none."""
    folder = make(tmp_path_factory.mktemp("remote") / "block", trials=3)
    recordings = folder / "recordings"
    (recordings / "more").mkdir()
    (recordings / FIRST).rename(recordings / "more" / FIRST)
    (recordings / "sub-A02_ses-post_run-03.csv").write_bytes(b"")
    return folder


@pytest.fixture(scope="module")
def alone(base: Path) -> Path:
    """Return what was written from the folder."""
    study = Study.open(base, base.parent / "alone")
    write_results(study)
    return study.results


def put(base: Path, url: str) -> str:
    """Copy a study to a URL."""
    system, path = fsspec.core.url_to_fs(url)
    for file in base.rglob("*"):
        if file.is_file():
            there = f"{path}/{file.relative_to(base).as_posix()}"
            if system.protocol in ("file", ("file", "local")):
                Path(there).parent.mkdir(parents=True, exist_ok=True)
            system.pipe_file(there, file.read_bytes())
    return url


@pytest.fixture
def memory(base: Path) -> Iterator[str]:
    """Return the URL of a study that only this process sees."""
    system = fsspec.filesystem("memory")
    yield put(base, "memory://squad/block")
    system.rm("/squad", recursive=True)


@contextlib.contextmanager
def counted(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[str]]:
    """Note the names of recordings whose bytes are read in this process."""
    read: list[str] = []
    usual = RemoteFile.read

    def noted(self: RemoteFile) -> bytes:
        if "/recordings/" in self.url:
            read.append(self.url.rpartition("/")[2])
        return usual(self)

    with monkeypatch.context() as patch:
        patch.setattr(RemoteFile, "read", noted)
        yield read


# ---- the same tables ---------------------------------------------------------------------------


def test_a_study_in_memory_gives_the_tables_of_its_folder(memory, alone, tmp_path):
    study = Study.open(memory, tmp_path / "r")
    write_results(study)
    same(study.results, alone)
    assert study.place == memory
    assert (study.provenance()["tables"], study.title) == (
        Study.open(alone.parent / "block").provenance()["tables"],
        "Kit",
    )


def test_the_command_takes_a_url(memory, alone, tmp_path):
    done = CliRunner().invoke(app, ["measure", memory, "--results", str(tmp_path / "r")])
    assert done.exit_code == 0, done.output
    same(tmp_path / "r", alone)


def test_one_jump_is_read_from_there(memory, base, tmp_path):
    there = Study.open(memory, tmp_path / "r").jump(f"more/{FIRST}")
    here = Study.open(base, tmp_path / "r2").jump(f"more/{FIRST}")
    assert dict(there.metrics) == pytest.approx(dict(here.metrics), nan_ok=True, abs=0, rel=0)


def test_workers_read_a_url_that_they_see_themselves(base, alone, two, tmp_path, monkeypatch):
    url = put(base, f"file://{tmp_path.as_posix()}/store/block")
    with counted(monkeypatch) as read:
        study = Study.open(url, tmp_path / "r")
        study.measure(cluster=two)
    write_results(study)
    same(study.results, alone)
    # One file for asking the workers what they see, twice; and what could not be measured there.
    assert len(read) <= 3


def test_workers_that_do_not_see_the_url_get_the_bytes(memory, alone, two, tmp_path, monkeypatch):
    with counted(monkeypatch) as read:
        study = Study.open(memory, tmp_path / "r")
        study.measure(cluster=two)
    write_results(study)
    same(study.results, alone)
    assert len(set(read)) == FILES


@pytest.fixture
def s3(base: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """Return the URL of a study in an object store of this computer, for processes started later."""
    from moto.server import ThreadedMotoServer

    server = ThreadedMotoServer("127.0.0.1", 0, verbose=False)
    server.start()
    host, port = server.get_host_and_port()
    let_in = {"endpoint_url": f"http://{host}:{port}", "key": "invented", "secret": "invented"}
    let_in |= {"client_kwargs": {"region_name": "eu-west-1"}}
    monkeypatch.setenv("FSSPEC_S3", json.dumps(let_in))
    monkeypatch.setitem(fsspec.config.conf, "s3", let_in)
    try:
        fsspec.filesystem("s3").mkdir("squad")
        yield put(base, "s3://squad/block")
    finally:
        fsspec.filesystem("s3").clear_instance_cache()
        server.stop()


def test_an_object_store_is_read_by_the_workers(s3, alone, tmp_path, monkeypatch):
    with started(2) as made, counted(monkeypatch) as read:
        words = ["measure", s3, "--results", str(tmp_path / "r"), "--cluster"]
        done = CliRunner().invoke(app, [*words, made.scheduler_address])
    assert done.exit_code == 0, done.output
    same(tmp_path / "r", alone)
    assert len(read) <= 3
    with counted(monkeypatch) as read:
        Study.open(s3, tmp_path / "r").measure()
    assert read == []


# ---- what changes there ------------------------------------------------------------------------


def test_only_what_changed_there_is_read_again(memory, tmp_path, monkeypatch):
    Study.open(memory, tmp_path / "r").measure()
    with counted(monkeypatch) as read:
        Study.open(memory, tmp_path / "r").measure()
    assert read == []
    fsspec.filesystem("memory").pipe_file(f"/squad/block/recordings/more/{FIRST}", jump_bytes(77))
    with counted(monkeypatch) as read:
        table = Study.open(memory, tmp_path / "r").measure()
    assert set(read) == {FIRST}
    fresh = Study.open(memory, tmp_path / "r2").measure()
    pd.testing.assert_frame_equal(table, fresh)


def test_a_report_reads_all_bytes_again(memory, tmp_path, monkeypatch):
    study = Study.open(memory, tmp_path / "r")
    study.measure()
    with counted(monkeypatch) as read:
        study.reread()
    assert len(read) == FILES


def test_reload_sees_what_is_new_there(memory, tmp_path):
    study = Study.open(memory, tmp_path / "r")
    new = "sub-A01_ses-base1_run-09.csv"
    fsspec.filesystem("memory").pipe_file(f"/squad/block/recordings/{new}", jump_bytes(9))
    assert new not in set(study.files["file"])
    assert new in set(study.reload().files["file"])


def test_a_decision_is_kept_with_the_results_and_counts(memory, tmp_path):
    study = Study.open(memory, tmp_path / "r")
    file = f"more/{FIRST}"
    after = study.decide(cj.Decision("reject", file, 1, reason="stepped off", who="T1"))
    assert (tmp_path / "r" / "decisions.csv").exists()
    row = after.measure().set_index("file").loc[file]
    assert not row["accepted"]


def test_a_file_that_is_gone_is_a_row_and_is_tried_again(memory, tmp_path):
    study = Study.open(memory, tmp_path / "r")
    system = fsspec.filesystem("memory")
    data = system.cat_file(f"/squad/block/recordings/more/{FIRST}")
    system.rm_file(f"/squad/block/recordings/more/{FIRST}")
    row = study.measure().set_index("file").loc[f"more/{FIRST}"]
    assert row["error"] == f"more/{FIRST}: cannot be opened (No such file or directory)."
    system.pipe_file(f"/squad/block/recordings/more/{FIRST}", data)
    row = Study.open(memory, tmp_path / "r").measure().set_index("file").loc[f"more/{FIRST}"]
    assert row["error"] == "" or pd.isna(row["error"])


def test_what_stands_here_goes_with_the_study(memory, tmp_path):
    study = Study.open(memory, tmp_path / "r")
    folder = study.folder
    assert (folder / "study.toml").exists()
    assert {p.stat().st_size for p in (folder / "recordings").rglob("*.csv")} == {0}
    other = study.with_choices(plan=study.plan)
    del study
    assert folder.exists()
    del other
    assert not folder.exists()


# ---- sentences that help -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("url", "results", "said"),
    [
        ("memory://squad/nothing", "r", "there is no study; name the folder in which study.toml"),
        ("memory://squad/block", None, "name a folder of this computer for results (--results"),
        ("nowhere://squad/block", "r", "this kind of URL cannot be opened"),
        ("memory://squad/block", "memory://r", "results are written on this computer first"),
    ],
)
def test_what_cannot_be_opened_is_told(memory, url, results, said, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(cj.CmjlabError) as stop:
        Study.open(url, results)
    assert said in str(stop.value)
    assert not any(tmp_path.iterdir())


@pytest.mark.parametrize("folder", ["../other", "a/../../other"])
def test_recordings_outside_the_study_are_refused(memory, folder, tmp_path):
    system = fsspec.filesystem("memory")
    text = system.cat_file("/squad/block/study.toml").decode()
    text = text.replace("[study]", f'[study]\nrecordings = "{folder}"')
    system.pipe_file("/squad/block/study.toml", text.encode())
    with pytest.raises(cj.StudyError, match="leads out of the study"):
        Study.open(memory, tmp_path)


def test_a_name_that_leads_out_writes_nothing(monkeypatch, memory, tmp_path):
    usual = remote._listed

    def listed(url: str, *, deep: bool) -> dict[str, Any]:
        found = usual(url, deep=deep)
        return {"../../../out.csv": {"size": 1}} if deep else found

    monkeypatch.setattr(remote, "_listed", listed)
    with pytest.raises(cj.StudyError, match="leads out of it; rename the file"):
        Study.open(memory, tmp_path)


def test_a_file_over_the_limit_is_not_read(memory, tmp_path, monkeypatch):
    study = Study.open(memory, tmp_path / "r")
    task = study.task(f"more/{FIRST}")
    large = RemoteFile(task.remote.url, 10**12, 1)
    monkeypatch.setattr(RemoteFile, "read", None)
    from dataclasses import replace

    with pytest.raises(cj.ReadError, match="1000000 MB is more than the limit"):
        replace(task, remote=large).bytes()


@pytest.mark.parametrize(
    ("text", "url"),
    [("s3://bucket/study", True), ("memory://x", True), ("C:\\data\\x", False), ("my_block", False),
     ("C://data", False), ("./a://b", False), (Path("s3://bucket"), False), (None, False)],
)  # fmt: skip
def test_what_is_a_url(text, url):
    assert remote.is_url(text) is url
