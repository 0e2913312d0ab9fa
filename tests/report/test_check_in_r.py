"""check_in_R.R: base R recomputes the numbers from the tables, and sees a number that is wrong.

R runs in one test, where it is installed. Everything else about the script is checked without
it: its head says what the report holds, its code is whole, and what it would compute from the
written tables (again here, with scipy) is what the tables say.
"""

from __future__ import annotations

import ast
import os
import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from cmjlab.report.blocks.data import ReportData
from cmjlab.report.render.check_in_r import TOLERANCE, check_in_r
from cmjlab.report.write import write_tables

TEXT = ("athlete", "group", "session", "contrast", "metric", "statistic", "method")
NAMES = ["a - b", 'c"d\\', "Größe 日本 🦘"]
#: Numbers that R must be seen to recompute: "what: where, part".
COMPARED = {
    "typical error: jump_height_m, typical_error, estimate",
    "ICC: jump_height_m, icc_a1, mcgraw_wong, ci_high",
    "ICC: jump_height_m, icc_c1, mcgraw_wong, ci_low",
    "paired t: jump_height_m, mean_change, jump, p",
    "ANCOVA, HC2 standard error: jump_height_m, adjusted_difference, jump, usual, hc2_bm, df",
    "ANCOVA, classical standard error: jump_height_m, adjusted_difference, jump, usual, classical, se",
}
#: standard error, as the script names it -> kind of interval in the table
KINDS = {"classical standard error": "classical", "HC2 standard error": "hc2_bm"}


@pytest.fixture(scope="module")
def data(kit_report):
    return kit_report


@pytest.fixture(scope="module")
def odd() -> ReportData:
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
        "change_between": change_between(sessions, ["jump_height_m"], **change)
        .with_details()
        .table,
    }
    return ReportData("Odd\nname", "2026-11-02", "", "0", (), tables=tables)


# ---- the script, read without R ----------------------------------------------------------------

_STRING = r'"(?:[^"\\]|\\.)*"'


def _head(script: str) -> dict[str, Any]:
    """Return the settings at the script's head as Python values."""
    found = {}
    for line in script.split("# ---- ", 1)[0].splitlines():
        name, arrow, value = line.partition(" <- ")
        if arrow:
            parts = re.split(f"({_STRING})", value.replace("character()", "c()"))
            # names of list items go, vectors and lists become lists; strings stay as they are
            parts[::2] = [
                re.sub(r"\b\w+ = ", "", p)
                .replace("list(", "[")
                .replace("c(", "[")
                .replace(")", "]")
                for p in parts[::2]
            ]
            found[name] = None if value == "NA" else ast.literal_eval("".join(parts))
    return found


def _is_whole(script: str) -> bool:
    """Whether every bracket outside texts and remarks is closed by its own kind."""
    bare = re.sub(f"{_STRING}|#.*", "", script)
    opened, pairs = [], {")": "(", "]": "[", "}": "{"}
    for character in re.findall(r"[][(){}]", bare):
        if character not in pairs:
            opened.append(character)
        elif not opened or opened.pop() != pairs[character]:
            return False
    return not opened and '"' not in bare


def test_head_says_what_the_report_holds(data, odd):
    head = _head(check_in_r(data))
    assert head["metrics"][0] == "jump_height_m"
    assert set(head["metrics"]) <= set(data.tables["sessions"].columns)
    assert head["baselines"] == ["base1", "base2"]
    assert (head["before"], head["after"]) == ("base2", "post")
    assert head["contrasts"] == [["jump", "usual"]]
    assert head["covariates"] == []
    assert (head["level"], head["tolerance"]) == (0.95, TOLERANCE)
    assert {n for pair in _head(check_in_r(odd))["contrasts"] for n in pair} == set(NAMES)


def test_code_is_whole_whatever_groups_are_called(data, odd):
    for text in (check_in_r(data), check_in_r(odd)):
        assert _is_whole(text)
    assert not _is_whole(check_in_r(data).replace("})", "}", 1))


def test_script_is_ascii_whatever_groups_are_called(odd):
    text = check_in_r(odd)
    assert text.isascii()
    assert 'c("a - b"' in text or ', "a - b")' in text
    assert '"c\\"d\\\\"' in text
    assert "\\u00f6" in text
    assert "\\U0001f998" in text
    assert text.splitlines()[0].startswith("# Odd name, 2026-11-02")


def test_selection_is_adjusted_for(data):
    plan = {"groups_formed": "selected", "selected_on": ["jump_height_m"], "selected_in": "base1"}
    made = ReportData(
        data.title, data.date, "", "0", (), tables=data.tables,
        provenance={"report": {"plan": plan}},
    )  # fmt: skip
    text = check_in_r(made)
    assert 'covariates <- list(list(metric = "jump_height_m", session = "base1"))' in text
    assert "covariates <- list()" in check_in_r(data)


# ---- what the script computes, computed here ---------------------------------------------------

Found = dict[str, float]


def _read(folder: Path, name: str) -> pd.DataFrame:
    path = folder / f"{name}.csv"
    columns = pd.read_csv(path, nrows=0).columns
    texts = {c: str for c in TEXT if c in columns}
    return pd.read_csv(path, dtype=texts, keep_default_na=False, na_values=[""])


def _interval(value: float, se: float, df: float, level: float) -> Found:
    half = stats.t.ppf(0.5 + level / 2, df) * se
    p = 2 * stats.t.sf(abs(value / se), df)
    return {"estimate": value, "ci_low": value - half, "ci_high": value + half, "se": se, "df": df,
            "p": p}  # fmt: skip


def _reliability(y: np.ndarray, level: float) -> dict[str, Found]:
    """Return typical error and ICCs from the two-way mean squares (McGraw & Wong 1996)."""
    (n, k), a = y.shape, (1 - level) / 2
    df, rows, columns = (n - 1) * (k - 1), y.mean(1, keepdims=True), y.mean(0, keepdims=True)
    mse = ((y - rows - columns + y.mean()) ** 2).sum() / df
    msr, msc = k * rows.var(ddof=1), n * columns.var(ddof=1)
    low, high = (
        msr / mse / stats.f.ppf(1 - a, n - 1, df),
        msr / mse * stats.f.ppf(1 - a, df, n - 1),
    )
    r = (msr - mse) / (msr + (k - 1) * mse + k * (msc - mse) / n)
    u, v = k * r / (n * (1 - r)), 1 + k * r * (n - 1) / (n * (1 - r))
    dfa = (u * msc + v * mse) ** 2 / ((u * msc) ** 2 / (k - 1) + (v * mse) ** 2 / df)
    f1, f2 = stats.f.ppf(1 - a, n - 1, dfa), stats.f.ppf(1 - a, dfa, n - 1)
    rest = k * msc + (k * n - k - n) * mse
    return {
        "typical_error": {
            "estimate": np.sqrt(mse),
            "ci_low": np.sqrt(mse * df / stats.chi2.ppf(1 - a, df)),
            "ci_high": np.sqrt(mse * df / stats.chi2.ppf(a, df)),
        },
        "icc_a1": {
            "estimate": r,
            "ci_low": max(-1.0, n * (msr - f1 * mse) / (f1 * rest + n * msr)),
            "ci_high": max(-1.0, n * (f2 * msr - mse) / (rest + n * f2 * msr)),
        },
        "icc_c1": {
            "estimate": (msr - mse) / (msr + (k - 1) * mse),
            "ci_low": (low - 1) / (low + k - 1),
            "ci_high": (high - 1) / (high + k - 1),
        },
    }


def _ancova(x: np.ndarray, y: np.ndarray, w: np.ndarray, level: float) -> dict[str, Found]:
    """Return the contrast w by its classical and its HC2 standard error (Bell & McCaffrey df)."""
    q, r = np.linalg.qr(x)
    back = np.linalg.inv(r)
    inverse, beta, df = back @ back.T, back @ (q.T @ y), len(y) - x.shape[1]
    residual, hat = y - x @ beta, x @ inverse @ x.T
    left, influence = 1 - np.diag(hat), x @ inverse @ w
    plain = np.sqrt((residual @ residual) / df * (w @ inverse @ w))
    robust = np.sqrt((influence**2 * residual**2 / left).sum())
    weight = influence**2 / left
    robust_df = (influence @ influence) ** 2 / (weight @ (np.eye(len(y)) - hat) ** 2 @ weight)
    return {
        "classical standard error": _interval(w @ beta, plain, df, level),
        "HC2 standard error": _interval(w @ beta, robust, robust_df, level),
    }


def _recomputed(folder: Path, head: dict[str, Any]) -> Iterator[tuple[str, pd.DataFrame, Found]]:
    """Yield what the script compares: its words, cmjlab's rows, the same numbers by scipy."""
    sessions, level = _read(folder, "sessions"), head["level"]
    groups = sessions.groupby("athlete", sort=False)["group"].first()
    noise, within, between = (
        _read(folder, n) for n in ("reliability", "change_within", "change_between")
    )
    for metric in head["metrics"]:
        wide = sessions.pivot(index="athlete", columns="session", values=metric)
        y = wide[head["baselines"]].dropna().to_numpy(float)
        for name, found in _reliability(y, level).items():
            rows = noise[(noise["metric"] == metric) & (noise["statistic"] == name)]
            rows = rows[rows["group"].isna()]
            words = f"typical error: {metric}, {name}"
            if name != "typical_error":
                rows = rows[rows["interval_kind"] == "mcgraw_wong"]
                words = f"ICC: {metric}, {name}, mcgraw_wong"
            yield words, rows, found
        for group in sorted(groups.dropna().unique()):
            change = (wide[head["after"]] - wide[head["before"]])[groups == group].dropna()
            se = change.std() / np.sqrt(len(change))
            found = _interval(change.mean(), se, len(change) - 1, level)
            found = {key: found[key] for key in ("estimate", "ci_low", "ci_high", "p")}
            rows = within[(within["metric"] == metric) & (within["group"] == group)]
            rows = rows[rows["statistic"] == "mean_change"]
            yield f"paired t: {metric}, mean_change, {group}", rows, found
        kept = wide[[head["before"], head["after"]]].dropna().join(groups).dropna()
        levels = sorted(kept["group"].unique())
        x = np.column_stack([*(kept["group"] == g for g in levels), kept[head["before"]]])
        for first, second in head["contrasts"]:
            w = np.zeros(x.shape[1])
            w[levels.index(first)], w[levels.index(second)] = 1.0, -1.0
            rows = between[
                (between["metric"] == metric) & (between["contrast"] == f"{first} - {second}")
            ]
            rows = rows[rows["statistic"] == "adjusted_difference"]
            fits = _ancova(x.astype(float), kept[head["after"]].to_numpy(), w, level)
            for kind, found in fits.items():
                key = KINDS[kind]
                mine = rows[rows["interval_kind"] == key]
                where = f"{metric}, adjusted_difference, {first}, {second}, {key}"
                yield f"ANCOVA, {kind}: {where}", mine, found


@pytest.mark.parametrize("which", ["data", "odd"])
def test_tables_hold_what_the_script_computes(which, request, tmp_path):
    made = request.getfixturevalue(which)
    write_tables(made, tmp_path)
    compared = set()
    for words, rows, found in _recomputed(tmp_path, _head(check_in_r(made))):
        assert len(rows), words
        row = rows.iloc[0]
        if np.isnan(row["estimate"]):
            assert row["text"]
            continue
        for part, value in found.items():
            if not np.isnan(row[part]):
                assert row[part] == pytest.approx(value, rel=TOLERANCE, abs=1e-12), (words, part)
                compared.add(f"{words}, {part}")
    if which == "data":
        assert compared >= COMPARED
    else:
        assert len([c for c in compared if "HC2" in c]) == 3 * 6


def test_script_picks_the_rows_by_these_words(data):
    text = check_in_r(data)
    for words in ("typical_error", "icc_a1", "icc_c1", "mcgraw_wong", "mean_change"):
        assert f'"{words}"' in text
    for words in ("adjusted_difference", "HC2 standard error", "classical standard error"):
        assert f'"{words}"' in text


# ---- R itself ----------------------------------------------------------------------------------


def _run(program: str, data: ReportData, folder: Path, locale: str = "C.UTF-8") -> Any:
    (folder / "check_in_R.R").write_text(check_in_r(data), encoding="utf-8")
    return subprocess.run(
        [program, "--vanilla", str(folder / "check_in_R.R")],
        capture_output=True, text=True, timeout=120, check=False, cwd=folder.parent,
        env={**os.environ, "LC_ALL": locale},
    )  # fmt: skip


def test_r_agrees_and_sees_what_is_wrong(data, odd, tmp_path):
    program = shutil.which("Rscript")
    if program is None:
        pytest.skip("no Rscript on this machine; the script itself is tested without it")
    write_tables(data, tmp_path)
    done = _run(program, data, tmp_path)
    assert (done.stderr, done.returncode) == ("", 0)
    assert "DIFFER" not in done.stdout
    assert "Verdict: R and cmjlab agree." in done.stdout
    for what in COMPARED:
        assert what in done.stdout, what
    for table, statistic in (
        ("reliability", "icc_a1"), ("change_within", "mean_change"),
        ("change_between", "adjusted_difference"),
    ):  # fmt: skip
        wrong = data.tables[table].copy()
        row = wrong.index[(wrong["statistic"] == statistic) & wrong["estimate"].notna()][0]
        wrong.loc[row, "estimate"] *= 1.00001
        write_tables(data, tmp_path)
        wrong.to_csv(tmp_path / f"{table}.csv", index=False)
        done = _run(program, data, tmp_path)
        assert (done.returncode, done.stdout.count("DIFFER")) == (1, 1), table
        assert "1 differ" in done.stdout
        assert "DO NOT AGREE" in done.stdout
    (tmp_path / "sessions.csv").unlink()
    done = _run(program, data, tmp_path)
    assert done.returncode != 0
    assert "sessions.csv is not beside this script" in done.stderr
    write_tables(odd, tmp_path)
    for locale in ("C.UTF-8", "C"):
        done = _run(program, odd, tmp_path, locale)
        assert done.returncode == 0, done.stdout + done.stderr
        assert done.stdout.count("ANCOVA, HC2 standard error") == 3 * 7
        assert done.stdout.count("paired t") == 3 * 5
