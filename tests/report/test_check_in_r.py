"""check_in_R.R: base R recomputes the numbers from the tables, and sees a number that is wrong."""

from __future__ import annotations

import shutil
import subprocess

import numpy as np
import pandas as pd
import pytest
from report_kit import kit_study

from cmjlab.report.blocks.data import ReportData
from cmjlab.report.gather import gather
from cmjlab.report.render.check_in_r import check_in_r
from cmjlab.report.write import write_tables


@pytest.fixture(scope="module")
def data(tmp_path_factory):
    return gather(kit_study(tmp_path_factory.mktemp("r")), date="2026-11-02")


def _run(data: ReportData, folder) -> subprocess.CompletedProcess[str]:
    program = shutil.which("Rscript")
    if program is None:
        pytest.skip("no Rscript on this machine; the script itself is tested without it")
    (folder / "check_in_R.R").write_text(check_in_r(data), encoding="utf-8")
    return subprocess.run(
        [program, "--vanilla", str(folder / "check_in_R.R")],
        capture_output=True, text=True, timeout=120, check=False, cwd=folder.parent,
    )  # fmt: skip


def test_r_agrees_with_every_number(data, tmp_path):
    write_tables(data, tmp_path)
    done = _run(data, tmp_path)
    assert done.stderr == ""
    assert done.returncode == 0
    assert "DIFFER" not in done.stdout
    assert "Verdict: R and cmjlab agree." in done.stdout
    for what in (
        "typical error: jump_height_m, typical_error, estimate",
        "ICC: jump_height_m, icc_a1, McGraw & Wong 1996, ci_high",
        "ICC: jump_height_m, icc_c1, McGraw & Wong 1996, ci_low",
        "paired t: jump_height_m, mean_change, jump, p",
        "ANCOVA, HC2 standard error: jump_height_m, jump - usual, df",
        "ANCOVA, classical standard error: jump_height_m, jump - usual, se",
    ):
        assert what in done.stdout, what


@pytest.mark.parametrize(
    ("table", "statistic"),
    [("reliability", "icc_a1"), ("change_within", "mean_change"), ("change_between", "adjusted_difference")],
)  # fmt: skip
def test_r_sees_a_number_that_is_wrong(data, tmp_path, table, statistic):
    write_tables(data, tmp_path)
    wrong = data.tables[table].copy()
    row = wrong.index[(wrong["statistic"] == statistic) & wrong["estimate"].notna()][0]
    wrong.loc[row, "estimate"] *= 1.00001
    wrong.to_csv(tmp_path / f"{table}.csv", index=False)
    done = _run(data, tmp_path)
    assert done.returncode == 1
    assert done.stdout.count("DIFFER") == 1
    assert "1 differ" in done.stdout
    assert "DO NOT AGREE" in done.stdout


def test_r_says_when_a_table_is_missing(data, tmp_path):
    write_tables(data, tmp_path)
    (tmp_path / "sessions.csv").unlink()
    done = _run(data, tmp_path)
    assert done.returncode != 0
    assert "sessions.csv is not beside this script" in done.stderr


NAMES = ["a - b", 'c"d\\', "Größe 日本 🦘"]


def _odd_study() -> ReportData:
    """Groups whose names hold the sign of a contrast, quotes, a backslash, other scripts."""
    rows, noise = [], np.random.default_rng(20261102)
    for g, group in enumerate(NAMES):
        for i in range(4):
            for s, session in enumerate(("base1", "base2", "post")):
                value = 0.3 + 0.01 * i + 0.004 * s + 0.005 * noise.normal()
                rows.append((f"00{g}{i}", group, session, "baseline" if s < 2 else "post", value))
    sessions = pd.DataFrame(rows, columns=["athlete", "group", "session", "role", "jump_height_m"])
    from cmjlab.stats.change.change import change_between, change_within
    from cmjlab.stats.reliability.reliability import reliability

    change = {"before": "base2", "after": "post"}
    tables = {
        "sessions": sessions,
        "reliability": reliability(sessions, ["jump_height_m"], use=["base1", "base2"]).table,
        "change_within": change_within(sessions, ["jump_height_m"], **change, group="group").table,
        "change_between": change_between(sessions, ["jump_height_m"], **change).table,
    }
    return ReportData("Odd\nname", "2026-11-02", "", "0", (), tables=tables)


def test_script_is_ascii_whatever_groups_are_called():
    text = check_in_r(_odd_study())
    assert text.isascii()
    assert 'c("a - b"' in text or ', "a - b")' in text
    assert '"c\\"d\\\\"' in text
    assert "\\u00f6" in text
    assert "\\U0001f998" in text
    assert text.splitlines()[0].startswith("# Odd name, 2026-11-02")


def test_r_reads_odd_names_and_ids_as_text(tmp_path):
    data = _odd_study()
    write_tables(data, tmp_path)
    done = _run(data, tmp_path)
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.count("ANCOVA, HC2 standard error") == 3 * 7
    assert done.stdout.count("paired t") == 3 * 5


def test_selection_is_adjusted_for(data):
    plan = {"groups_formed": "selected", "selected_on": ["jump_height_m"], "selected_in": "base1"}
    made = ReportData(
        data.title, data.date, "", "0", (), tables=data.tables,
        provenance={"report": {"plan": plan}},
    )  # fmt: skip
    text = check_in_r(made)
    assert 'covariates <- list(list(metric = "jump_height_m", session = "base1"))' in text
    assert "covariates <- list()" in check_in_r(data)
