"""Whatever stands in a folder: a list of problems, never a crash, and no file is passed over."""

from __future__ import annotations

import os

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from study_kit import SETTINGS, make

import cmjlab as cj
from cmjlab.study.study import Study
from cmjlab.tables import PROBLEMS, USER_TABLES

QUICK = settings(
    max_examples=40, deadline=None, derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)  # fmt: skip
CELL = st.sampled_from(
    ["", "A1", "base1", "0", "-1", "1e999", "nan", "2026-02-30", "x;y", '"', "\n", "#", "=1+1", "\x00",
     "Zoe\u0308", "9" * 400, "1.1.2026", "true", "move", "onset", "accept"]
)  # fmt: skip


def assert_list_of_problems(folder) -> None:
    table = cj.check_study(folder)
    assert list(table.columns) == PROBLEMS.names
    assert set(table["severity"]) <= {"fail", "warn", "note"}


@QUICK
@given(
    stem=st.sampled_from([*USER_TABLES, "study"]),
    data=st.binary(max_size=200),
    suffix=st.sampled_from([".csv", ".xlsx"]),
)
def test_any_bytes(tmp_path_factory, stem, data, suffix):
    folder = tmp_path_factory.mktemp("bytes")
    (folder / "study.toml").write_text(SETTINGS)
    name = "study.toml" if stem == "study" else f"{stem}{suffix}"
    (folder / name).write_bytes(data)
    assert_list_of_problems(folder)


@QUICK
@given(stem=st.sampled_from(list(USER_TABLES)), data=st.data())
def test_any_cells(tmp_path_factory, stem, data):
    folder = tmp_path_factory.mktemp("cells")
    (folder / "study.toml").write_text(SETTINGS)
    names = USER_TABLES[stem].names
    rows = data.draw(st.lists(st.lists(CELL, min_size=1, max_size=len(names) + 2), max_size=4))
    text = ",".join(names) + "\n" + "\n".join(",".join(r) for r in rows)
    (folder / f"{stem}.csv").write_text(text, encoding="utf-8")
    assert_list_of_problems(folder)


VALUE = st.sampled_from(
    [
        "3",
        '"x"',
        "true",
        "[]",
        "{}",
        "1.5",
        '["a"]',
        "{ a = 1 }",
        "2026-01-01",
        "[[1]]",
        "[{ a = 1 }]",
        "nan",
    ]
)
KEY = st.sampled_from(
    ["study", "sessions", "plan", "method", "layout", "study.title", "study.recordings", "other",
     "study.file_names", "plan.level", "plan.report_metrics", "plan.change_that_matters",
     "method.preset", "method.onset_sd", "layout.rate_hz", "sessions.session"]
)  # fmt: skip


@QUICK
@given(st.dictionaries(KEY, VALUE, max_size=4))
def test_any_settings(tmp_path_factory, values):
    folder = tmp_path_factory.mktemp("toml")
    (folder / "study.toml").write_text("\n".join(f"{k} = {v}" for k, v in values.items()))
    assert_list_of_problems(folder)


def test_folders_in_the_place_of_files(tmp_path):
    for name in ("athletes.csv", "study.toml"):
        (tmp_path / name).mkdir()
    (tmp_path / "recordings").write_text("a file")
    assert_list_of_problems(tmp_path)


def allow(folder, place) -> None:
    """Let links of a study lead into a folder."""
    text = (folder / "study.toml").read_text()
    line = f'linked_folders = ["{place.as_posix()}"]'
    (folder / "study.toml").write_text(text.replace("[study]", f"[study]\n{line}"))


def test_linked_folders_are_followed_once(tmp_path):
    folder = make(tmp_path / "study", athletes="A01", sessions="base1")
    allow(folder, tmp_path)
    (folder / "recordings").rename(tmp_path / "disk")
    (folder / "recordings").mkdir()
    (folder / "recordings" / "link").symlink_to(tmp_path / "disk")
    (tmp_path / "disk" / "loop").symlink_to(folder / "recordings")
    files = list(Study.open(folder).measure()["file"])
    assert files == [f"link/sub-A01_ses-base1_run-0{i}.csv" for i in (1, 2)]


def test_names_in_two_unicode_forms_are_told(tmp_path):
    folder = make(tmp_path / "study", athletes="A01", sessions="base1")
    for form in ("Zo\u00eb", "Zoe\u0308"):
        (folder / "recordings" / f"sub-{form}_ses-base1_run-1.csv").write_text("no numbers")
    if len(list((folder / "recordings").iterdir())) < 4:
        pytest.skip("this file system keeps one form only")
    assert "file_name_twice" in set(cj.check_study(folder)["code"])


def test_closed_folder_is_told(tmp_path, monkeypatch):
    folder = make(tmp_path / "study", athletes="A01", sessions="base1")
    (folder / "recordings" / "closed").mkdir()
    real = os.scandir

    def scandir(place):
        if str(place).endswith("closed"):
            raise PermissionError(13, "Permission denied", str(place))
        return real(place)

    monkeypatch.setattr(os, "scandir", scandir)
    table = cj.check_study(folder).set_index("code")
    assert table.loc["folder_closed", ["file", "found"]].tolist() == ["closed", "Permission denied"]


def test_broken_link_is_a_row_with_its_reason(tmp_path):
    folder = make(tmp_path / "study", athletes="A01", sessions="base1")
    name = "sub-A01_ses-base1_run-07.csv"
    (folder / "recordings" / name).symlink_to(folder / "gone.csv")
    table: pd.DataFrame = Study.open(folder).measure()
    assert "cannot be opened" in table.set_index("file").loc[name, "error"]
