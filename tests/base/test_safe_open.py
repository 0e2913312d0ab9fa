"""Only ordinary files of bounded size are opened, at once, and no link leads out of a study."""

from __future__ import annotations

import os
import socket
import time
from pathlib import Path

import pytest
from study_kit import make

import cmjlab as cj
from cmjlab.errors import CmjlabError, StudyError
from cmjlab.files.table import read_table
from cmjlab.safe_open import UnsafeFileError, open_file, read_file, read_text
from cmjlab.study.frozen_plan import plan_state
from cmjlab.study.study import Study
from cmjlab.tables import USER_TABLES
from cmjlab.words.catalog import read_words

pytestmark = pytest.mark.skipif(
    os.name != "posix", reason="pipes and devices are made the POSIX way"
)
_SOCKETS: list[socket.socket] = []


def _pipe(path: Path) -> None:
    os.mkfifo(path)


def _device(path: Path) -> None:
    path.symlink_to("/dev/zero")


def _socket(path: Path) -> None:
    made = socket.socket(socket.AF_UNIX)
    here = os.getcwd()
    os.chdir(path.parent)  # the address of a socket is short
    try:
        made.bind(path.name)
    finally:
        os.chdir(here)
    _SOCKETS.append(made)


KINDS = {"pipe": _pipe, "device": _device, "socket": _socket}


@pytest.fixture(autouse=True)
def _close_sockets():
    yield
    while _SOCKETS:
        _SOCKETS.pop().close()


@pytest.fixture(params=KINDS)
def odd(request):
    """Return what makes something that is no ordinary file, and its word."""
    return KINDS[request.param], request.param


def test_what_is_no_ordinary_file_is_refused_at_once(tmp_path, odd):
    make_it, word = odd
    make_it(tmp_path / "a")
    begun = time.monotonic()
    for read in (open_file, read_file, read_text, cj.read_recording, read_table):
        with pytest.raises(CmjlabError, match=word):
            read(tmp_path / "a")
    assert time.monotonic() - begun < 2


@pytest.mark.parametrize("stem", ["study.toml", *(f"{s}.csv" for s in USER_TABLES if s != "names")])
def test_a_pipe_in_place_of_a_table_is_a_problem_and_no_wait(tmp_path, stem):
    folder = make(tmp_path / "study", athletes="A01", sessions="base1")
    (folder / stem).unlink(missing_ok=True)
    os.mkfifo(folder / stem)
    table = cj.check_study(folder)
    assert table[table["file"] == stem]["found"].str.contains("pipe").any()


def test_a_table_whose_link_is_broken_is_a_problem(tmp_path):
    folder = make(tmp_path / "study", athletes="A01", sessions="base1")
    (folder / "targets.csv").symlink_to(folder / "gone.csv")
    table = cj.check_study(folder)
    assert table[table["file"] == "targets.csv"]["found"].str.contains("cannot be opened").any()


def test_a_pipe_among_the_recordings_is_a_row_with_its_reason(tmp_path, odd):
    make_it, word = odd
    folder = make(tmp_path / "study", athletes="A01", sessions="base1")
    name = "sub-A01_ses-base1_run-07.csv"
    if word == "device":
        pytest.skip("leaves the study: told before anything is opened")
    make_it(folder / "recordings" / name)
    jumps = Study.open(folder).measure().set_index("file")
    assert word in jumps.loc[name, "error"]
    assert jumps["error"].ne("").sum() == 1


@pytest.mark.parametrize("name", ["words.toml", "analysis_plan.json"])
def test_other_files_of_a_study_that_are_pipes_are_refused(tmp_path, name):
    folder = make(tmp_path / "study", athletes="A01", sessions="base1")
    os.mkfifo(folder / name)
    study = Study.open(folder)
    with pytest.raises(CmjlabError, match="pipe"):
        read_words(folder / name) if name == "words.toml" else plan_state(study)


def test_words_that_are_a_folder_are_refused(tmp_path):
    (tmp_path / "words.toml").mkdir()
    with pytest.raises(StudyError, match=r"words\.toml.*cannot be opened"):
        read_words(tmp_path / "words.toml")


def test_size_is_looked_at_before_anything_is_read(tmp_path):
    with open(tmp_path / "a.csv", "wb") as handle:
        handle.truncate(20_000_000_000)  # takes no room on the disk
    with pytest.raises(UnsafeFileError, match="20000 MB, and such a file has at most 50 MB"):
        read_file(tmp_path / "a.csv")


@pytest.mark.parametrize("stem", ["athletes.csv", "athletes.xlsx", "measures.xlsx", "study.toml"])
def test_a_table_of_twenty_gigabytes_is_a_problem(tmp_path, stem):
    folder = make(tmp_path / "study", athletes="A01", sessions="base1")
    (folder / "athletes.csv").unlink()
    with open(folder / stem, "wb") as handle:
        handle.truncate(20_000_000_000)
    table = cj.check_study(folder)
    assert table[table["file"] == stem]["found"].str.contains("20000 MB").any()


# ---- links ---------------------------------------------------------------------------------


SECRET = "athlete,group\nsecret_of_the_machine,x\n"


@pytest.mark.parametrize("stem", [s for s in USER_TABLES if s != "names"])
def test_a_table_that_leads_out_of_the_study_is_not_read(tmp_path, stem):
    folder = make(tmp_path / "study", athletes="A01", sessions="base1")
    (tmp_path / "elsewhere.csv").write_text(SECRET)
    (folder / f"{stem}.csv").unlink(missing_ok=True)
    (folder / f"{stem}.csv").symlink_to(tmp_path / "elsewhere.csv")
    table = cj.check_study(folder)
    assert table["found"].str.contains("link out of the study").any()
    assert not table.astype(str).stack().str.contains("secret_of_the_machine").any()
    with pytest.raises(StudyError, match="out of the study"):
        Study.open(folder)


def test_words_and_settings_that_lead_out_are_not_read(tmp_path):
    folder = make(tmp_path / "study", athletes="A01", sessions="base1")
    (tmp_path / "words.toml").write_text("[secret]\nword = 'x'\n")
    (folder / "words.toml").symlink_to(tmp_path / "words.toml")
    with pytest.raises(CmjlabError, match="link out of the study"):
        read_words(folder / "words.toml")
    (folder / "study.toml").rename(tmp_path / "study.toml")
    (folder / "study.toml").symlink_to(tmp_path / "study.toml")
    assert cj.check_study(folder)["found"].str.contains("link out of the study").any()


def _linked_recordings(tmp_path: Path, what: str) -> Path:
    folder = make(tmp_path / "study", athletes="A01", sessions="base1")
    inside = folder / "recordings"
    disk = tmp_path / "disk"
    if what == "file":
        disk.mkdir()
        file = next(inside.iterdir())
        file.rename(disk / file.name)
        file.symlink_to(disk / file.name)
    elif what == "folder":
        inside.rename(disk)
        inside.mkdir()
        (inside / "monday").symlink_to(disk)
    else:
        inside.rename(disk)
        inside.symlink_to(disk)
    return folder


@pytest.mark.parametrize("what", ["file", "folder", "all"])
def test_recordings_that_lead_out_need_a_word_in_study_toml(tmp_path, what):
    folder = _linked_recordings(tmp_path, what)
    problems = cj.check_study(folder).set_index("code")
    assert problems.loc["link_out_of_study", "severity"] == "fail"
    remedy = problems.loc["link_out_of_study", "remedy"]
    with pytest.raises(StudyError):
        Study.open(folder)
    line = remedy.partition("write ")[2].partition(" under")[0]  # as it is said, so it is pasted
    text = (folder / "study.toml").read_text()
    (folder / "study.toml").write_text(text.replace("[study]", f"[study]\n{line}"))
    assert Study.open(folder).measure()["error"].eq("").all()


def test_a_folder_that_study_toml_names_elsewhere_needs_no_second_word(tmp_path):
    folder = make(tmp_path / "study", athletes="A01", sessions="base1")
    (folder / "recordings").rename(tmp_path / "disk")
    text = (folder / "study.toml").read_text()
    (folder / "study.toml").write_text(text.replace("[study]", '[study]\nrecordings = "../disk"'))
    assert len(Study.open(folder).measure()) == 2


@pytest.mark.parametrize("value", ["3", "[1]", "true", "{ a = 1 }"])
def test_linked_folders_are_texts(tmp_path, value):
    folder = make(tmp_path / "study", athletes="A01", sessions="base1")
    text = (folder / "study.toml").read_text()
    (folder / "study.toml").write_text(
        text.replace("[study]", f"[study]\nlinked_folders = {value}")
    )
    assert "bad_setting" in set(cj.check_study(folder)["code"])
