"""Which metrics can be pooled: verdicts, conversions and refusals on jumps with known differences."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from lab_kit import two_plates
from reference.agreement_data import CARDIAC_IC, CARDIAC_RV, PEFR_MINI, PEFR_WRIGHT
from typer.testing import CliRunner

import cmjlab as cj
from cmjlab.cli.app import app
from cmjlab.errors import ArgumentError, StatsError
from cmjlab.scrutiny.pool.matched import matched_files

HEIGHT = "jump_height_m"


def verdict(result, metric=HEIGHT):
    return result.points["verdict"].set_index("metric").loc[metric]


def pooled(noise=0.014, rule=None, **plates):
    return cj.pool_metrics(*two_plates(**plates), noise={HEIGHT: noise}, rule=rule)


def test_plates_that_read_alike_are_pooled_as_they_are():
    found = pooled(athletes=30, bias=0.0, spread=(0.0005, 0.001))
    assert verdict(found)["verdict"] == "as_it_is"
    assert "pool as it is" in str(found.sentences_about(HEIGHT)[1])


def test_a_constant_difference_is_taken_off_by_an_offset():
    found = pooled(athletes=30)
    row = verdict(found)
    assert (row["verdict"], row["slope"]) == ("after_conversion", 1.0)
    assert row["offset"] == pytest.approx(-0.01, abs=0.0015)
    bias = found.row("pool_bias")
    assert bias["ci_low"] < 0.01 < bias["ci_high"]
    assert row["offset"] == pytest.approx(-bias["estimate"])


def test_a_difference_that_grows_needs_a_slope_and_the_conversion_brings_it_back():
    found = pooled(athletes=30, slope=1.1, bias=-0.02)
    row = verdict(found)
    assert row["verdict"] == "after_conversion"
    assert row["slope"] == pytest.approx(1 / 1.1, abs=0.03)
    pairs = found.points["pairs"]
    left = pairs[f"{HEIGHT}_1"] - (row["offset"] + row["slope"] * pairs[f"{HEIGHT}_2"])
    assert abs(left.mean()) < 1e-9
    assert left.std() == pytest.approx(found.value("conversion_error"), rel=0.15)
    assert np.corrcoef(left, pairs[f"{HEIGHT}_2"])[0, 1] == pytest.approx(0.0, abs=0.1)


def test_a_slope_that_does_not_matter_is_told_and_not_used():
    found = pooled(athletes=30, slope=1.01, bias=0.01, spread=(0.0, 0.0003))
    low, high = (found.value("pool_slope", column) for column in ("ci_low", "ci_high"))
    assert not low <= 1 <= high
    assert verdict(found)["slope"] == 1.0
    assert (
        verdict(pooled(athletes=30, slope=1.01, bias=0.01, spread=(0.0, 0.0003), noise=0.002))[
            "slope"
        ]
        != 1.0
    )


def test_plates_that_differ_from_athlete_to_athlete_are_not_pooled():
    found = pooled(athletes=30, spread=(0.012, 0.002))
    row = verdict(found)
    assert (row["verdict"], row["reason_code"]) == ("do_not_pool", "pool_too_much")
    assert "also after conversion it would add" in str(found.sentences_about(HEIGHT)[1])


def test_few_athletes_cannot_show_it():
    found = pooled(athletes=5)
    assert (verdict(found)["verdict"], verdict(found)["reason_code"]) == (
        "do_not_pool",
        "pool_not_shown",
    )
    assert found.has_note("pool_few")
    two = pooled(athletes=2)
    assert verdict(two)["reason_code"] == "pool_few_athletes"
    assert two.row("pool_bias")["reason_code"] == "pool_few_athletes"


def test_two_that_do_not_go_together_are_not_pooled():
    first, second = two_plates(athletes=20)
    mixed = second.assign(**{HEIGHT: np.random.default_rng(1).permutation(second[HEIGHT])})
    found = cj.pool_metrics(first, mixed, noise={HEIGHT: 0.02})
    assert verdict(found)["reason_code"] == "pool_no_relation"


def test_the_same_numbers_are_the_same_and_have_no_intervals():
    first, _ = two_plates()
    found = cj.pool_metrics(first, first.copy())
    assert verdict(found)["verdict"] == "as_it_is"
    assert found.value("pool_bias") == 0.0
    assert found.row("pool_bias")["reason_code"] == "pool_equal"
    assert np.isnan(found.row("pool_slope")["ci_low"])
    assert "both show the same in all 36 jumps" in str(found.sentences[0])


def test_the_share_is_the_arithmetic_of_the_error_and_the_typical_error():
    found = pooled(athletes=30)
    assert found.settings["jumps_of_a_value"] == 3
    made = found.value("pool_error_converted")
    pairs = found.points["pairs"]
    d = pairs[f"{HEIGHT}_1"] - pairs[f"{HEIGHT}_2"]
    groups = d.groupby(pairs["athlete"])
    between, within = 3 * groups.mean().var(), groups.var().mean()
    expected = between / 3 + within * (1 / 3 - 1 / 3) + between / 90
    assert made == pytest.approx(100 * expected / 0.014**2, rel=1e-9)
    plain = found.value("pool_error_plain")
    assert plain == pytest.approx(100 * (d.mean() ** 2 + between / 3) / 0.014**2, rel=1e-9)


def test_the_rule_decides_and_is_stated():
    strict = pooled(athletes=30, rule=cj.PoolRule(allowed_percent=1.0))
    assert verdict(strict)["verdict"] == "do_not_pool"
    assert "at most 1 %" in str(next(n for n in strict.notes if n.code == "pool_rule"))
    lax = pooled(athletes=30, rule=cj.PoolRule(allowed_percent=100.0))
    assert verdict(lax)["verdict"] == "as_it_is"


def test_one_that_is_exact_gives_least_squares():
    first, second = two_plates(athletes=30, slope=1.2, bias=-0.05, spread=(0.0, 0.01))
    exact = cj.pool_metrics(first, second, noise={HEIGHT: 0.014}, rule=cj.PoolRule(error_ratio=0.0))
    x, y = second[HEIGHT].to_numpy(), first[HEIGHT].to_numpy()
    back = np.polyfit(y, x, 1)[0]  # second on first, which has no error
    assert exact.value("pool_slope") == pytest.approx(1 / back, rel=1e-9)


def test_without_typical_error_the_noise_of_jumps_is_the_yardstick_and_said():
    found = cj.pool_metrics(*two_plates(athletes=30))
    assert found.has_note("pool_by_jumps")
    first, _ = two_plates(athletes=30)
    own = first.groupby("athlete")[HEIGHT].var().mean() / 3
    expected = found.value("pool_error_converted") / 100 * own
    again = pooled(athletes=30, noise=1.0).value("pool_error_converted") / 100
    assert expected == pytest.approx(again, rel=1e-6)


def test_one_jump_each_and_no_noise_is_not_judged_but_converted():
    found = cj.pool_metrics(*two_plates(athletes=20, jumps=1))
    assert verdict(found)["verdict"] == ""
    assert found.row("pool_error_plain")["reason_code"] == "pool_no_noise"
    assert "The conversion would be" in str(found.sentences_about(HEIGHT)[1])


def test_a_metric_with_gaps_uses_complete_pairs():
    first, second = two_plates(athletes=20)
    second.loc[second.index[:5], HEIGHT] = np.nan
    found = cj.pool_metrics(first, second, noise={HEIGHT: 0.014})
    assert verdict(found)["jumps"] == 55


def test_jumps_accepted_by_one_only_are_left_out_and_told():
    first, second = two_plates(athletes=20)
    first.loc[3, "accepted"] = False
    second.loc[[7, 8], "accepted"] = False
    found = cj.pool_metrics(first, second.iloc[:-1], noise={HEIGHT: 0.014})
    note = next(n for n in found.notes if n.code == "pool_accepted_by_one")
    assert note.values == {"first": 2, "second": 1, "of": 59}
    assert next(n for n in found.notes if n.code == "pool_unmatched").values == {"n": 1}
    assert verdict(found)["jumps"] == 56


def test_files_with_another_number_of_jumps_are_left_out():
    one = pd.DataFrame(
        {
            "athlete": "A",
            "session": "s",
            "file": ["a", "b", "b"],
            "jump": [1, 1, 2],
            HEIGHT: [0.3, 0.3, 0.3],
        }
    )
    two = one.iloc[:2].copy()
    found = matched_files(one, two, [HEIGHT])
    assert found.pairs["file"].tolist() == ["a"]
    assert [n.code for n in found.notes] == ["pool_other_number"]


@pytest.fixture(scope="module")
def by_method():
    study = cj.Study.open(cj.demo_study())
    other = cj.Method.preset("fixed_20_newton")
    return study, other, cj.pool_metrics(study, method=other)


def test_a_study_by_two_methods(by_method):
    study, other, found = by_method
    assert found.settings["matched_by"] == ["file", "jump"]
    jumps, again = study.measure(), study.with_choices(method=other).measure()
    both = jumps.merge(again, on=["file", "jump"], suffixes=("", "_2"))
    both = both[both["accepted"].astype(bool) & both["accepted_2"].astype(bool)]
    d = both["time_to_takeoff_s_2"] - both["time_to_takeoff_s"]
    assert found.value("pool_bias", metric="time_to_takeoff_s") == pytest.approx(d.mean())
    assert d.mean() < -0.02  # a threshold of 20 N finds the onset later than fitted curves do
    typical = study.reliability("time_to_takeoff_s").value("typical_error")
    left = verdict(found, "time_to_takeoff_s")
    assert typical > 0
    assert left["verdict"] in ("after_conversion", "do_not_pool")
    assert study.measure().equals(jumps)


def test_the_figure_shows_jumps_means_and_conversion(by_method):
    found = by_method[2]
    figure = found.plot(metric="time_to_takeoff_s")
    lines = figure.axes[0].get_lines()
    row = verdict(found, "time_to_takeoff_s")
    assert len(lines[0].get_xdata()) == row["jumps"]
    assert len(lines[1].get_xdata()) == row["athletes"]
    second = row["seen_to"]
    first = row["offset"] + row["slope"] * second
    drawn = next(line for line in lines if line.get_label().startswith("taken off"))
    assert drawn.get_ydata()[-1] == pytest.approx(1000 * (second - first))
    assert drawn.get_xdata()[-1] == pytest.approx(1000 * (second + first) / 2)
    assert "limit of agreement" in figure.alt_text


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"second": None}, "name one of the two"),
        ({"method": cj.Method()}, "name one of the two"),
        ({"second": "plates.csv"}, "an opened study or a table"),
        ({"metrics": "jump_heigth_m"}, "Did you mean"),
        ({"noise": 0.014}, "mapping of metric to typical error"),
        ({"noise": {HEIGHT: -1.0}}, "allowed is"),
        ({"rule": {"allowed_percent": 5}}, "PoolRule"),
        ({"level": 95}, "0.95"),
    ],
)
def test_bad_arguments_are_named(change, words):
    first, second = two_plates()
    with pytest.raises(ArgumentError, match=words):
        cj.pool_metrics(**{"first": first, "second": second, **change})


def test_a_method_needs_files_and_another_method(by_method):
    study = by_method[0]
    first, _ = two_plates()
    with pytest.raises(ArgumentError, match="first is a table"):
        cj.pool_metrics(first, method=cj.Method(onset_rule="sd"))
    with pytest.raises(ArgumentError, match="nothing would differ"):
        cj.pool_metrics(study, method=study.method)
    with pytest.raises(ArgumentError, match="a Method is needed"):
        cj.pool_metrics(study, method={"onset_rule": "sd"})


def test_bad_tables_are_named():
    first, second = two_plates()
    with pytest.raises(StatsError, match="second: the table has no column 'athlete'"):
        cj.pool_metrics(first, second.drop(columns="athlete"))
    with pytest.raises(StatsError, match="stands twice"):
        cj.pool_metrics(first.drop(columns="trial"), second)
    with pytest.raises(StatsError, match="share no jump"):
        cj.pool_metrics(
            first, second.assign(athlete="Z9" + second["trial"], trial=second.index.astype(str))
        )
    with pytest.raises(StatsError, match="no jump is accepted in both"):
        cj.pool_metrics(first, second.assign(accepted=False))
    with pytest.raises(ArgumentError, match="holds no numbers"):
        cj.pool_metrics(first, second.assign(**{HEIGHT: "high"}), HEIGHT)
    with pytest.raises(ArgumentError, match="no metric with values in common"):
        cj.pool_metrics(first, second.drop(columns=HEIGHT))


def test_the_command_takes_a_method_a_file_or_other_plates(kit, tmp_path):
    folder = str(kit.folder)
    run = CliRunner().invoke
    done = run(
        app,
        [
            "pool",
            folder,
            "--set",
            "onset_rule=percent",
            "--metric",
            HEIGHT,
            "--results",
            str(tmp_path),
        ],
    )
    assert done.exit_code == 0, done.output
    assert "limits of agreement" in done.output or "both show the same" in done.output
    assert (tmp_path / "pool.csv").is_file()
    lab = tmp_path / "lab.toml"
    lab.write_text('[method]\npreset = "fixed_20_newton"\n', encoding="utf-8")
    done = run(app, ["pool", folder, "--method", str(lab), "--results", str(tmp_path)])
    assert done.exit_code == 0, done.output
    plates = tmp_path / "plates.csv"
    jumps = kit.measure()
    jumps.assign(jump_height_m=jumps[HEIGHT] + 0.01)[
        ["athlete", "session", "trial", "jump", HEIGHT]
    ].to_csv(plates, index=False)
    done = run(
        app,
        ["pool", folder, "--other", str(plates), "--metric", HEIGHT, "--results", str(tmp_path)],
    )
    assert done.exit_code == 0, done.output


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "name the second"),
        (["--set", "onset_rule=percent", "--other", "x.csv"], "not both"),
        (["--method", "nowhere.toml"], "no such file"),
        (["--set", "onset_rule"], "name=value"),
        (["--set", "onset_rule=percent", "--allowed", "0"], "allowed_percent"),
    ],
)
def test_the_command_says_what_is_missing(kit, tmp_path, words, said):
    done = CliRunner().invoke(app, ["pool", str(kit.folder), "--results", str(tmp_path), *words])
    assert done.exit_code == 2
    assert said in " ".join(done.output.split())


def test_a_file_without_a_method_is_refused(kit, tmp_path):
    lab = tmp_path / "lab.toml"
    lab.write_text('[study]\ntitle = "x"\n', encoding="utf-8")
    done = CliRunner().invoke(
        app, ["pool", str(kit.folder), "--method", str(lab), "--results", str(tmp_path)]
    )
    assert done.exit_code == 2
    assert "there is no section [method]" in " ".join(done.output.split())


def long_table(values, name):
    rows = [
        {"athlete": f"P{i:02d}", "session": "once", "trial": str(j + 1), name: v}
        for i, own in enumerate(values)
        for j, v in enumerate(own)
    ]
    return pd.DataFrame(rows)


def test_bland_altman_1999_cardiac_pairs_with_changing_truth():
    """Section 5.3: bias 0.6022, SD 0.9906, limits -1.3395 and 2.5438 (R, as in the tests of agreement)."""
    found = cj.pool_metrics(
        long_table(CARDIAC_IC, "output"),
        long_table(CARDIAC_RV, "output"),
        "output",
        noise={"output": 1.0},
    )
    assert found.value("pool_bias") == pytest.approx(0.602166666666667, abs=1e-9)
    assert found.value("pool_limit_lower") == pytest.approx(-1.33945658506526, abs=1e-9)
    assert found.value("pool_limit_upper") == pytest.approx(2.54378991839859, abs=1e-9)


def test_bland_altman_1986_two_meters_read_once():
    """First readings of both meters: bias -2.12, limits -78.10 and 73.86 with 1.96 SD (R)."""
    found = cj.pool_metrics(
        long_table(PEFR_MINI[:, :1], "flow"),
        long_table(PEFR_WRIGHT[:, :1], "flow"),
        "flow",
        noise={"flow": 20.0},
    )
    assert found.value("pool_bias") == pytest.approx(-2.11764705882353, abs=1e-9)
    assert found.value("pool_limit_lower") == pytest.approx(-78.097301611094, abs=1e-9)
    assert found.value("pool_limit_upper") == pytest.approx(73.8620074934469, abs=1e-9)
    assert [found.value("pool_bias", c) for c in ("ci_low", "ci_high")] == pytest.approx(
        [-22.0488376966452, 17.8135435789981], abs=1e-9
    )
