"""A published table beside a study, from the file to the sentence. All papers here are invented."""

from __future__ import annotations

import csv
import math

import numpy as np
import pandas as pd
import pytest
from report_kit import kit_study
from scipy import stats
from typer.testing import CliRunner

import cmjlab as cj
from cmjlab.results import stored_reason
from cmjlab.tables.published import PUBLISHED

METRIC = "jump_height_m"
SOURCE = "invented"


def paper(*rows):
    return pd.DataFrame([{"source": SOURCE, **row} for row in rows])


def one(study, **row):
    """Return the result and the point of a table with one row."""
    result = cj.compare_paper(study, paper(row))
    return result, result.points["comparison"].iloc[0]


MEAN = {"metric": METRIC, "statistic": "mean", "value": "31.4", "unit": "cm", "sd": "4.0", "n": 40}


def test_ours_is_what_the_study_itself_says(kit):
    rows = (
        {**MEAN, "session": "base1"},
        {"metric": METRIC, "statistic": "typical error", "value": "1.0", "unit": "cm", "n": 20, "sessions": 2},
        {"metric": METRIC, "statistic": "CV", "value": "3.0", "unit": "%", "n": 20, "sessions": 2},
        {"metric": METRIC, "statistic": "ICC(2,1)", "value": "0.90", "n": 20, "sessions": 2},
        {"metric": METRIC, "statistic": "change", "value": "1.0", "unit": "cm", "sd": "2.0", "n": 20, "group": "jump"},
        {"metric": METRIC, "statistic": "change", "value": "3.0", "unit": "%", "sd": "5.0", "n": 20},
        {"metric": METRIC, "statistic": "difference", "value": "1.0", "unit": "cm", "sd": "2.0", "n": 20,
         "n_other": 18, "group": "jump", "other_group": "usual"},
    )  # fmt: skip
    found = cj.compare_paper(kit, paper(*rows)).points["comparison"]
    table = kit.sessions_table()
    values = table.loc[table["session"] == "base1", METRIC].dropna()
    noise, between = kit.reliability(METRIC), kit.change_between(METRIC)
    jump = cj.change_within(table[table["group"] == "jump"], METRIC, before="base2", after="post")
    every = cj.change_within(table, METRIC, before="base2", after="post")
    expected = [
        values.mean(), noise.value("typical_error"), noise.value("typical_error_percent"),
        noise.value("icc_a1"), jump.value("mean_change"), every.value("percent_change"),
        between.value("change_difference"),
    ]  # fmt: skip
    np.testing.assert_allclose(found["ours"], expected, rtol=1e-12)
    row = noise.row("icc_a1")
    assert (found["ours_low"][3], found["ours_high"][3]) == (row["ci_low"], row["ci_high"])
    assert found["published"].tolist() == pytest.approx(
        [0.314, 0.010, 3.0, 0.90, 0.010, 3.0, 0.010]
    )


def test_both_errors_and_the_rounding_are_in_the_interval(kit):
    result, point = one(kit, **MEAN)
    table = kit.sessions_table()
    x = table.loc[table["session"] == kit.before, METRIC].dropna()
    mine = stats.t.ppf(0.975, len(x) - 1) * stats.sem(x)
    theirs = stats.t.ppf(0.975, 39) * 0.0405 / math.sqrt(40)  # sd 4.0 may be 4.05
    half = math.hypot(mine, theirs) + 0.0005
    assert point["low"] == pytest.approx(x.mean() - 0.314 - half, rel=1e-9)
    assert point["high"] == pytest.approx(x.mean() - 0.314 + half, rel=1e-9)
    row = result.row("published_difference")
    assert (row["ci_low"], row["unit"], row["n"]) == (point["low"], "m", len(x))
    finer = one(kit, **{**MEAN, "value": "31.400"})[1]
    assert finer["high"] - finer["low"] < point["high"] - point["low"] - 0.0009


def test_all_three_answers_and_what_is_said(kit):
    table = kit.sessions_table()
    mean = 100 * table.loc[table["session"] == kit.before, METRIC].mean()
    sure = {"metric": METRIC, "statistic": "mean", "unit": "cm", "sd": "1.00", "n": 4000}
    result = cj.compare_paper(
        kit,
        paper({**sure, "value": f"{mean:.2f}"}, {**sure, "value": f"{mean + 20:.2f}"},
              {**sure, "value": f"{mean + 1:.2f}", "sd": "9.0", "n": 5}),
        margin=0.05,
    )  # fmt: skip
    found = result.points["comparison"]
    assert found["verdict"].tolist() == ["replicated", "not_replicated", "cannot_tell"]
    assert found["beyond_margin"].tolist() == [False, True, False]
    keys = [s.key for s in result.sentences]
    assert keys == ["replication.summary", "replication.difference_replicated",
                    "replication.difference_beyond", "replication.difference_cannot_tell"]  # fmt: skip
    assert str(result.sentences[0]) == (
        "3 published numbers beside this study: 1 replicated, 1 not replicated, 1 that cannot be told."
    )
    ours, low, high = (100 * found[c][1] for c in ("ours", "low", "high"))
    text = str(result.sentences[2]).replace("−", "-")
    assert f"Ours is {ours:.2f} cm, published {mean + 20:.2f} cm (invented)" in text
    assert f"({low:.2f} to {high:.2f} cm) is more than the 5.00 cm that do not matter" in text


def test_spreads_are_compared_by_their_ratio_as_the_f_test_does(kit):
    """MOVER on logarithms beside the exact F interval of two variances: near, and never the same."""
    table = kit.sessions_table()
    x = table.loc[table["session"] == kit.before, METRIC].dropna()
    _, point = one(
        kit, metric=METRIC, statistic="sd", value=f"{100 * x.std():.4f}", unit="cm", n=60
    )
    f = stats.f.ppf([0.025, 0.975], len(x) - 1, 59)
    assert point["difference"] == pytest.approx(1.0, abs=1e-4)
    np.testing.assert_allclose([point["low"], point["high"]], 1 / np.sqrt(f[::-1]), rtol=0.05)


@pytest.mark.parametrize(
    ("row", "code"),
    [
        ({"statistic": "mean", "value": "31.4", "unit": "cm"}, "published_needs_spread"),
        ({"statistic": "mean", "value": "31.4", "unit": "cm", "sd": "4.0"}, "published_needs_spread"),
        ({"statistic": "sd", "value": "4.0", "unit": "cm"}, "published_needs"),
        ({"statistic": "ICC(3,1)", "value": "0.91", "n": 20}, "published_needs"),
        ({"statistic": "ICC(3,k)", "value": "0.91", "n": 20, "low": "0.8", "high": "0.95"}, "published_needs"),
        ({"statistic": "cv", "value": "4.1", "sessions": 2}, "published_needs"),
        ({"statistic": "change", "value": "1.1", "unit": "cm", "p": "0.02"}, "published_needs_spread"),
    ],
)  # fmt: skip
def test_a_number_without_precision_is_kept_and_cannot_be_told(kit, row, code):
    result, point = one(kit, metric=METRIC, **row)
    assert (point["verdict"], point["reason_code"]) == ("cannot_tell", code)
    assert math.isfinite(point["ours"])
    assert math.isfinite(point["published"])
    assert result.row("published_value")["reason_code"] == code
    assert str(stored_reason(dict(point))) in str(result.sentences[1])


@pytest.mark.parametrize(
    "row",
    [
        {"statistic": "change", "value": "1.50", "unit": "cm", "n": 20, "p": "0.001"},
        {"statistic": "change", "value": "1.50", "unit": "cm", "n": 20, "p": "< 0.001"},
        {"statistic": "change", "value": "1.50", "unit": "cm", "low": "0.80", "high": "2.20"},
        {"statistic": "mean", "value": "31.50", "unit": "cm", "low": "30.10", "high": "32.90", "level": 90},
    ],
)  # fmt: skip
def test_precision_from_p_and_from_an_interval(kit, row):
    _, point = one(kit, metric=METRIC, **row)
    assert point["reason_code"] == ""
    low, high = point["published_low"], point["published_high"]
    if "p" in row:
        se = 0.015 / stats.t.ppf(1 - 0.0015 / 2, 19)  # p = .001 may be .0015
        assert high - low == pytest.approx(2 * stats.t.ppf(0.975, 19) * se, rel=1e-6)
    elif "level" in row:
        grow = stats.norm.ppf(0.975) / stats.norm.ppf(0.95)
        assert high - low == pytest.approx(grow * (0.028 + 2 * 0.00005), rel=1e-6)
    else:
        assert (low, high) == (pytest.approx(0.00795), pytest.approx(0.02205))


def test_where_the_margin_comes_from(kit):
    other = "time_to_takeoff_s"
    rows = paper(MEAN, {**MEAN, "metric": other, "value": "800", "unit": "ms", "sd": "100"},
                 {**MEAN, "metric": "takeoff_velocity_m_per_s", "value": "2.5", "unit": "m/s", "sd": "0.20"})  # fmt: skip
    result = cj.compare_paper(kit, rows, margin={other: 0.03})
    found = result.points["comparison"]
    assert found["margin_from"].tolist() == ["plan", "given", "default"]
    assert found["margin_high"].tolist() == pytest.approx([0.015, 0.03, 0.04])
    assert [
        n.values["metrics"] for n in result.notes if n.code == "replication_margin_arbitrary"
    ] == [["takeoff_velocity_m_per_s"]]
    with pytest.raises(cj.ArgumentError, match="3 metrics"):
        cj.compare_paper(kit, rows, margin=0.02)
    with pytest.raises(cj.ArgumentError, match="jump_hight_m"):
        cj.compare_paper(kit, rows, margin={"jump_hight_m": 0.02})


def test_what_was_read_into_the_table_is_noted(kit):
    result = cj.compare_paper(
        kit,
        paper({**MEAN, "metric": "jump height"}, {**MEAN, "how": "flight time"},
              {"metric": METRIC, "statistic": "CV", "value": "4", "unit": "%", "n": 9, "sessions": 2},
              {"metric": METRIC, "statistic": "ICC", "value": "0.9", "n": 9, "sessions": 2}),
    )  # fmt: skip
    rows = {
        n.code: n.values["rows"]
        for n in result.notes
        if "rows" in n.values and n.code[:5] == "paper"
    }
    assert rows == {"paper_unit": [2, 3], "paper_metric": [2], "paper_defined_otherwise": [3],
                    "paper_cv_unstated": [4], "paper_icc_unstated": [5]}  # fmt: skip
    text = " ".join(n.text for n in result.notes)
    assert "put jump_height_flight_m into the column metric" in text


# ---- the file --------------------------------------------------------------------------------------


def write(path, rows, *, mark=",", encoding="utf-8"):
    names = [n for n in PUBLISHED.names if any(n in row for row in rows)]
    lines = [mark.join(names), *(mark.join(str(r.get(n, "")) for n in names) for r in rows)]
    path.write_text("\n".join(lines) + "\n", encoding=encoding)
    return path


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("mark", [";", "\t"])
def test_decimal_commas_delimiters_and_encodings(kit, tmp_path, mark, encoding):
    row = {**MEAN, "value": "31,4", "sd": "4,0", "source": "Müller"}
    result = cj.compare_paper(kit, write(tmp_path / "p.csv", [row], mark=mark, encoding=encoding))
    point = result.points["comparison"].iloc[0]
    expected = one(kit, **MEAN)[1]
    assert (point["low"], point["high"], point["rounding"]) == (
        expected["low"], expected["high"], expected["rounding"])  # fmt: skip
    assert point["source"] == "Müller"


def test_the_template_is_filled_in_and_read(kit, tmp_path):
    path = cj.paper_template(tmp_path / "paper.csv")
    with pytest.raises(cj.ArgumentError, match="exists already"):
        cj.paper_template(path)
    with pytest.raises(cj.StudyError, match="no row of numbers"):
        cj.compare_paper(kit, path)
    filled = [{**MEAN, "source": SOURCE}.get(n, "") for n in PUBLISHED.names]
    with path.open("a", newline="", encoding="utf-8") as file:
        csv.writer(file).writerow(filled)
    assert len(cj.compare_paper(kit, path).points["comparison"]) == 1
    text = path.read_text("utf-8-sig")
    assert [n for n in PUBLISHED.names if f"# {n}: " not in text.replace('"', "")] == []


def test_a_workbook_has_lost_its_zeros_and_says_so(kit, tmp_path):
    from openpyxl import Workbook

    book = Workbook()
    sheet = book.active
    sheet.append(["metric", "statistic", "value", "n", "sessions", "source"])
    sheet.append([METRIC, "ICC(3,1)", 0.9, 20, 2, SOURCE])
    book.save(tmp_path / "p.xlsx")
    result = cj.compare_paper(kit, tmp_path / "p.xlsx")
    assert result.points["comparison"]["rounding"].tolist() == [0.05]
    assert result.has_note("paper_zeros_lost")


@pytest.mark.parametrize(
    ("row", "parts"),
    [
        ({"metric": "jump hieght of joy"}, ("row 2, column metric", "'jump hieght of joy'", "cmjlab glossary")),
        ({"metric": "happiness"}, ("column metric", "happiness", "cmjlab glossary")),
        ({"statistic": "kurtosis"}, ("column statistic", "kurtosis", "typical error")),
        ({"unit": "ms"}, ("column unit", "found ms", "quantity m")),
        ({"unit": ""}, ("column unit", "found empty", "cm, ms")),
        ({"value": "1,234"}, ("column value", "1,234", "part thousands")),
        ({"value": "about 31"}, ("column value", "about 31")),
        ({"sd": "four"}, ("column sd", "four")),
        ({"session": "bsae1"}, ("column session", "bsae1", "Did you mean 'base1'?")),
        ({"group": "jmup"}, ("column group", "jmup", "Did you mean 'jump'?")),
        ({"statistic": "difference", "group": "jump"}, ("column other_group", "needs both groups")),
        ({"n": 1}, ("column n", "found 1", "expected 2")),
        ({"source": ""}, ("column source", "Fill it in")),
        ({"statistic": "ICC(3,1)", "value": "1.3", "unit": ""}, ("column value", "1.3", "1")),
        ({"statistic": "typical error", "value": "-1.3"}, ("column value", "-1.3", "above 0")),
        ({"low": "33", "high": "30"}, ("column high", "30", "above the lower limit")),
        ({"p": "1.5"}, ("column p", "1.5", "0 and 1")),
    ],
)  # fmt: skip
def test_cells_that_cannot_be_used_are_told(kit, tmp_path, row, parts):
    path = write(tmp_path / "paper.csv", [{**MEAN, "source": SOURCE, **row}], mark=";")
    with pytest.raises(cj.StudyError) as told:
        cj.compare_paper(kit, path)
    assert [p for p in ("paper.csv, row 2", *parts) if p.strip("'") not in str(told.value)] == []


def test_all_faults_are_told_at_once_and_a_missing_column_too(kit, tmp_path):
    rows = [{**MEAN, "metric": "happiness", "source": "s"}, {**MEAN, "unit": "ms", "source": "s"}]
    with pytest.raises(cj.StudyError) as told:
        cj.compare_paper(kit, write(tmp_path / "two.csv", rows))
    assert told.value.problems["row"].tolist() == ["2", "3"]
    path = tmp_path / "short.csv"
    path.write_text("metric,value\njump_height_m,31.4\n")
    with pytest.raises(cj.StudyError, match="column statistic"):
        cj.compare_paper(kit, path)
    with pytest.raises(cj.ReadError, match="cannot be opened"):
        cj.compare_paper(kit, tmp_path / "nowhere.csv")


def test_a_study_without_such_a_number_says_so(kit, tmp_path):
    _, point = one(kit, metric=METRIC, statistic="mean", value="31", unit="cm", sd="4", n=20,
                   session="base1", group="usual")  # fmt: skip
    assert (point["n"], point["reason_code"]) == (4, "")
    once = kit_study(tmp_path, sessions=("base1", "post"), athletes=4)
    result, point = one(once, metric=METRIC, statistic="typical error", value="1.1", unit="cm", n=20,
                        sessions=2)  # fmt: skip
    assert (point["verdict"], point["reason_code"]) == ("cannot_tell", "own_refused")
    assert "two without training in between are needed" in str(result.sentences[1])


# ---- figure and command ----------------------------------------------------------------------------


def test_the_figure_draws_both_numbers_and_the_difference_in_margins(kit):
    result = cj.compare_paper(
        kit, paper(MEAN, {"metric": METRIC, "statistic": "ICC(3,1)", "value": "0.9"})
    )
    figure = result.plot()
    left, right = figure.axes[:2]
    point = result.points["comparison"].iloc[0]
    marks = [line.get_xdata()[0] for line in left.lines if len(line.get_xdata()) == 1]
    assert marks == pytest.approx([100 * point["ours"], 31.4])
    ends = [line.get_xdata() for line in right.lines if len(line.get_xdata()) == 2]
    drawn = next(e for e in ends if e[0] != e[1])
    reach = np.clip([point["low"] / 0.015, point["high"] / 0.015], -4, 4)
    np.testing.assert_allclose(drawn, reach)
    assert figure.alt_text.startswith("2 published numbers")


def test_the_command_writes_template_table_and_figure(kit, tmp_path):
    from cmjlab.cli.app import app

    run = CliRunner().invoke
    path = tmp_path / "paper.csv"
    assert run(app, ["replicate", "--template", str(path)]).exit_code == 0
    assert path.exists()
    write(path, [{**MEAN, "source": SOURCE}], mark=";")
    words = ["replicate", str(kit.folder), str(path), "--results", str(tmp_path / "out")]
    done = run(app, [*words, "--margin", "jump_height_m=0.02"])
    assert done.exit_code == 0, done.output
    assert "beside this study" in done.output
    assert "prediction interval" in done.output
    assert (tmp_path / "out" / "replication.csv").exists()
    assert (tmp_path / "out" / "replication.svg").read_text().lstrip().startswith("<?xml")
    assert run(app, ["replicate", str(kit.folder)]).exit_code == 2
    assert run(app, [*words, "--margin", "much"]).exit_code == 2
