"""Test day: heights against the own noise by hand, and each new file to its line."""

from __future__ import annotations

import math
import threading
import time

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from study_kit import jump_bytes, make
from typer.testing import CliRunner

from cmjlab.cli.app import app
from cmjlab.errors import StudyError
from cmjlab.plan import Plan
from cmjlab.study.own_noise import heights, own_noise
from cmjlab.study.study import Study
from cmjlab.study.today import today
from cmjlab.study.watch import Watch

PLAN = Plan(jumps_wanted=2, minimum_jumps=1)
BASE1 = [0.30, 0.32, 0.28, 0.35, 0.31]
BASE2 = [0.31, 0.31, 0.30, 0.34, 0.33]


def jumps(today_heights: dict[str, list[float]]) -> pd.DataFrame:
    rows = [
        (f"A{i}", session, value + step, True)
        for session, values in (("base1", BASE1), ("base2", BASE2))
        for i, value in enumerate(values)
        for step in (-0.005, 0.005)
    ]
    rows += [(a, "post", h, True) for a, hs in today_heights.items() for h in hs]
    table = pd.DataFrame(rows, columns=["athlete", "session", "jump_height_m", "accepted"])
    return table.assign(load_kg=0.0)


def test_typical_error_and_limit_by_hand():
    noise = own_noise(jumps({}), ["base1", "base2"], PLAN)
    te = np.std(np.subtract(BASE2, BASE1), ddof=1) / math.sqrt(2)
    assert noise.typical_error == pytest.approx(te)
    assert (noise.df, noise.athletes) == (4, 5)
    limit = stats.t.ppf(0.975, 4) * te * math.sqrt(1 + 1 / 2)
    assert noise.limit(2) == pytest.approx(limit)
    assert noise.limit(1) == pytest.approx(limit / math.sqrt(1.5) * math.sqrt(2))
    assert math.isnan(noise.limit(0))


def test_heights_of_today_by_hand():
    table = jumps({"A0": [0.40, 0.38], "A1": [0.31], "A9": [0.25], "A2": [0.10, 0.12]})
    noise = own_noise(table, ["base1", "base2"], PLAN)
    out = heights(table, "post", noise, PLAN)
    a0 = out.loc["A0"]
    assert (a0["height_m"], a0["best_m"], a0["last_m"]) == pytest.approx((0.39, 0.40, 0.38))
    assert a0["change_m"] == pytest.approx(0.39 - 0.305)
    assert out["beyond"].to_dict() == {"A0": "more", "A1": "no", "A9": "", "A2": "less"}
    assert math.isnan(out.loc["A9", "change_m"]), "no baseline: no change"


def test_jumps_that_do_not_count_and_other_loads_have_no_height():
    table = jumps({"A0": [0.40, 0.38]})
    table.loc[table["jump_height_m"] == 0.40, "accepted"] = False
    noise = own_noise(table, ["base1", "base2"], PLAN)
    assert heights(table, "post", noise, PLAN).loc["A0", "best_m"] == 0.38
    table["accepted"] = table["session"] != "post"
    assert heights(table, "post", noise, PLAN).empty


def test_the_best_of_today_is_compared_over_equally_many_jumps():
    plan = PLAN.replace(summary="best")
    table = jumps({"A0": [0.31, 0.33, 0.36]})
    noise = own_noise(table, ["base1", "base2"], plan)
    row = heights(table, "post", noise, plan).loc["A0"]
    assert row["best_m"] == 0.36
    assert row["height_m"] == 0.33, "the best of two, as in the baselines"
    assert row["change_m"] == pytest.approx(0.33 - (0.305 + 0.315) / 2)


@pytest.mark.parametrize(
    ("baselines", "code"), [([], "noise_before_today"), (["base1"], "noise_before_today")]
)
def test_without_two_baselines_the_noise_is_not_known(baselines, code):
    table = jumps({"A0": [0.5]})
    noise = own_noise(table, baselines, PLAN)
    assert noise.reason.code == code
    row = heights(table, "post", noise, PLAN).loc["A0"]
    assert row["beyond"] == ""
    assert math.isnan(row["noise_m"])


# ---- files arrive ---------------------------------------------------------------------------


@pytest.fixture
def folder(tmp_path):
    folder = make(tmp_path / "study", athletes="A01,A02,A03", sessions="base1,base2", trials=2)
    (folder / "names.csv").write_text("athlete,name\nA01,Invented Person\n", encoding="utf-8")
    return folder


def looks(watch: Watch, most: int = 6) -> list:
    return [news for news in (watch.look() for _ in range(most)) if news is not None]


def test_a_new_file_is_told_once_and_only_it_is_measured(folder, monkeypatch):
    watch = Watch(folder, "post")
    (first,) = looks(watch)
    assert first.jumps.empty
    measured = []
    from cmjlab.study.store import batch

    one = batch.measure_file
    monkeypatch.setattr(batch, "measure_file", lambda t, m: measured.append(t.file) or one(t, m))
    (folder / "recordings" / "sub-A01_ses-post_run-1.csv").write_bytes(jump_bytes(20))
    (news,) = looks(watch)
    assert measured == ["sub-A01_ses-post_run-1.csv"]
    (line,) = news.lines({"A01": "Invented Person"})
    assert line.startswith("Invented Person, jump 1: ")
    assert "Valid jumps: 1 of 3." in line
    assert news.lines({})[0].startswith("A01, jump 1: ")
    assert looks(watch) == []


def test_a_file_that_still_grows_is_left_until_it_is_whole(folder):
    watch = Watch(folder, "post")
    looks(watch)
    data, path = jump_bytes(21), folder / "recordings" / "sub-A02_ses-post_run-1.csv"
    for part in range(1, 5):
        path.write_bytes(data[: len(data) * part // 4])
        assert watch.look() is None
    (news,) = looks(watch)
    assert list(news.jumps["accepted"]) == [True]


def test_what_does_not_count_what_has_no_place_and_what_is_decided(folder):
    watch = Watch(folder, "post")
    looks(watch)
    rec = folder / "recordings"
    (rec / "sub-A01_ses-post_run-1.csv").write_bytes(b"no numbers\n")
    (rec / "who is this.csv").write_bytes(jump_bytes(31))
    (news,) = looks(watch)
    lines = news.lines({})
    assert any(t.startswith("A01, jump 1: does not count. ") for t in lines)
    assert any("who is this.csv" in t for t in lines)
    (rec / "sub-A01_ses-post_run-2.csv").write_bytes(jump_bytes(22))
    (news,) = looks(watch)
    assert len(news.lines({})) == 1, "what was told is not told again"
    (folder / "decisions.csv").write_text(
        "file,jump,action,reason,who,when\n"
        "sub-A01_ses-post_run-2.csv,1,reject,wobble,T1,2026-10-26T10:00:00+01:00\n",
        encoding="utf-8",
    )
    (news,) = looks(watch)
    assert news.lines({}) == ["A01, jump 2: does not count. wobble"]


def test_a_table_that_is_just_being_edited_stops_nothing(folder):
    watch = Watch(folder, "post")
    looks(watch)
    good = (folder / "study.toml").read_text(encoding="utf-8")
    (folder / "study.toml").write_text("[study", encoding="utf-8")
    (news,) = looks(watch)
    assert news.problem
    assert "cannot be read at the moment" in news.lines({})[0]
    (folder / "study.toml").write_text(good, encoding="utf-8")
    (news,) = looks(watch)
    assert news.problem == ""
    with pytest.raises(StudyError, match="Did you mean 'post'"):
        Watch(folder, "pots").look()


def test_the_line_comes_while_watching(folder):
    """How long it takes is measured by hand, see DEVELOPERS.md; here only that it comes."""
    path = folder / "recordings" / "sub-A03_ses-post_run-1.csv"
    threading.Timer(0.5, lambda: path.write_bytes(jump_bytes(23))).start()
    begun = time.monotonic()
    for news in Watch(folder, "post"):
        if len(news.jumps) or time.monotonic() - begun > 60:
            break
    assert list(news.jumps["file"]) == [path.name]


def test_the_command_shows_heights_and_names_only_when_asked(folder):
    for trial in (1, 2):
        path = folder / "recordings" / f"sub-A01_ses-post_run-{trial}.csv"
        path.write_bytes(jump_bytes(20 + trial))
    run = CliRunner()
    plain = run.invoke(app, ["today", str(folder), "--session", "post"])
    assert plain.exit_code == 0, plain.output
    assert "height (cm)" in plain.output
    assert "Own noise: typical error" in plain.output
    assert "Invented Person" not in plain.output
    for more in ([], ["--sheet"]):
        named = run.invoke(app, ["today", str(folder), "--session", "post", "--names", *more])
        assert "Invented Person" in named.output
        assert "A01" not in named.output
    state = today(Study.open(folder), "post")
    shown = 100 * state.athletes.set_index("athlete").loc["A01", "height_m"]
    assert f"{shown:.1f}" in plain.output
    early = run.invoke(app, ["today", str(folder), "--session", "base2"])
    assert "Own noise: not known (one baseline session before today" in early.output
