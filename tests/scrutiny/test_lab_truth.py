"""A lab's own truth page, on a study whose every jump is known exactly."""

from __future__ import annotations

import numpy as np
import pytest
from lab_kit import NOISE_N, RATE_HZ, SWAY_N, known_lab
from typer.testing import CliRunner

import cmjlab as cj
from cmjlab.errors import ArgumentError
from cmjlab.results import Reason
from cmjlab.scrutiny.lab.errors import metric_errors
from cmjlab.scrutiny.lab.noise_share import MeanSquare
from cmjlab.scrutiny.lab.rows import Noise, add_rows, metric_sentences
from cmjlab.scrutiny.lab.squad_profiles import profiles_like
from cmjlab.stats.common.rows import Rows


@pytest.fixture(scope="module")
def known(tmp_path_factory):
    folder = tmp_path_factory.mktemp("known") / "lab"
    truth = known_lab(folder)
    return cj.Study.open(folder), truth


@pytest.fixture(scope="module")
def result(known):
    return cj.lab_truth(known[0], profiles=12, repeats=20, seed=1)


def true_errors(known):
    study, truth = known
    jumps = study.measure()
    both = jumps.merge(truth, on=["athlete", "session", "trial"], suffixes=("", "_true"))
    assert len(both) == len(truth) == 72
    used = both[both["accepted"].astype(bool)]
    return (used["jump_height_m"] - used["jump_height_m_true"]).to_numpy(dtype=float)


def test_the_lab_is_found_as_it_was_made(result):
    lab = result.points["lab"].set_index("name")["value"]
    assert lab["rate"] == RATE_HZ
    assert lab["plate_noise_sd"] == pytest.approx(NOISE_N, rel=0.05)
    assert lab["sway_sd"] == pytest.approx(SWAY_N, rel=0.15)
    assert f"{RATE_HZ:g} Hz" in str(result.sentences[0])


def test_the_spread_told_is_that_of_the_real_errors(known, result):
    """The errors of this study are known, jump by jump: 72 recordings made apart from the analysis."""
    errors = true_errors(known)
    told = result.row("instrument_sd", metric="jump_height_m")
    real = errors.std(ddof=1)
    assert told["estimate"] == pytest.approx(real, rel=0.2)
    bias = result.row("instrument_bias", metric="jump_height_m")
    assert abs(bias["estimate"] - errors.mean()) < 3 * np.hypot(bias["se"], real / 72**0.5)
    assert told["se"] > 0
    assert told["ci_low"] < told["estimate"] < told["ci_high"]


def test_the_share_is_the_arithmetic_of_its_parts(known, result):
    noise = known[0].reliability("jump_height_m")
    error, single = noise.value("typical_error"), noise.value("sd_between_jumps")
    spread = result.value("instrument_sd", metric="jump_height_m")
    kept = 1 / 3  # three accepted jumps in nearly every session
    share = result.value("instrument_share", metric="jump_height_m")
    assert share == pytest.approx(100 * kept * spread**2 / error**2, rel=0.05)
    of_jumps = result.value("instrument_share_of_jumps", metric="jump_height_m")
    assert of_jumps == pytest.approx(100 * spread**2 / single**2)
    rest = result.value("biology_sd", metric="jump_height_m")
    assert rest**2 / error**2 + share / 100 == pytest.approx(1.0)


def test_the_true_share_of_the_jump_noise_lies_in_its_interval(known, result):
    """Jumps scatter by 1 % of height, the rest is the lab's: the truth can be counted."""
    study, truth = known
    within = truth.groupby(["athlete", "session"])["jump_height_m"].var().mean()
    lab = true_errors(known).var(ddof=1)
    row = result.row("instrument_share_of_jumps", metric="jump_height_m")
    assert row["ci_low"] < 100 * lab / (lab + within) < row["ci_high"]
    assert row["estimate"] > 40  # jumps of such a squad differ by 3 mm, the lab by more


def test_profiles_jump_as_the_squad_does(known, result):
    squad = result.points["squad"].set_index("metric")
    for metric, row in squad.iterrows():
        assert row["profiles_50"] == pytest.approx(row["squad_50"], rel=0.06), metric
    few = profiles_like(known[0].measure(), 3, gravity=9.80665)
    assert len(few.profiles) == 3
    assert len({p.depth_m for p in few.profiles}) == 3


def test_equal_from_run_to_run_and_another_seed_is_another_simulation(known):
    once, again, other = (
        cj.lab_truth(known[0], "jump_height_m", profiles=3, repeats=3, most=10, seed=s)
        for s in (4, 4, 5)
    )
    assert once.table.equals(again.table)
    assert once.value("instrument_sd") != other.value("instrument_sd")


def test_what_moves_height_is_named(result):
    causes = result.points["causes"].set_index("metric")
    assert causes.loc["time_to_takeoff_s", "cause"] == "onset"
    assert causes.loc["jump_height_m", "cause"] == "body_weight"
    said = " ".join(map(str, result.sentences_about("time_to_takeoff_s")))
    assert "mostly as the onset is misplaced" in said


def test_every_measure_has_its_sentences_and_the_figure_says_the_shares(result):
    for metric in result.settings["metrics"]:
        said = " ".join(map(str, result.sentences_about(metric)))
        assert "off the exact value on average" in said
        assert "of the variance of the typical error" in said or "cannot be told" in said
    figure = result.plot()
    share = result.value("instrument_share", metric="jump_height_m")
    assert f"{share:.1f} %" in figure.alt_text
    bars = [p for p in figure.axes[0].patches if p.get_height() < 1]
    widths = [p.get_width() for p in bars]
    assert any(abs(w - share) < 1e-9 for w in widths)
    assert sum(widths) == pytest.approx(100 * len(widths) / 2)


def test_more_than_everything_is_a_reason_and_no_number(result):
    errors = metric_errors(result.points["errors"], "jump_height_m")
    rows = Rows(level=0.95)
    small = MeanSquare(errors.scatter.variance / 10, 20.0)
    add_rows(rows, "jump_height_m", errors, Noise(small, small, 1 / 3))
    table = rows.frame().set_index("statistic")
    for statistic in ("instrument_share", "instrument_share_of_jumps", "biology_sd"):
        assert np.isnan(table.loc[statistic, "estimate"])
        assert table.loc[statistic, "reason_code"] == "lab_more_than_all"
    said = " ".join(map(str, metric_sentences(rows, "jump_height_m", errors)))
    assert "more than there is" in said


def test_an_upper_limit_above_all_is_kept_and_remarked(result):
    errors = metric_errors(result.points["errors"], "jump_height_m")
    rows = Rows(level=0.95)
    whole = MeanSquare(errors.scatter.variance * 1.2, 4.0)
    add_rows(rows, "jump_height_m", errors, Noise(whole, Reason("lab_no_jumps"), 1.0))
    row = next(rows.records("instrument_share"))
    assert row["ci_high"] > 100
    assert row["remark"].code == "lab_limit_above_all"


def test_one_session_tells_the_noise_of_jumps_only(tmp_path):
    known_lab(tmp_path / "lab", sessions=("base1",))
    study = cj.Study.open(tmp_path / "lab")
    metric = "force_at_zero_velocity_n_per_kg"  # of which the lab makes little
    found = cj.lab_truth(study, metric, profiles=3, repeats=4, most=10)
    assert found.row("instrument_share")["reason_code"] == "one_session_only"
    assert 0 < found.value("instrument_share_of_jumps") < 100
    assert found.has_note("lab_one_session")


def test_the_best_jump_keeps_what_order_statistics_say(tmp_path):
    known_lab(tmp_path / "lab", plan='summary = "best"\n')
    study = cj.Study.open(tmp_path / "lab")
    found = cj.lab_truth(
        study, ["jump_height_m", "time_to_takeoff_s"], profiles=3, repeats=4, most=10
    )
    noise = study.reliability(["jump_height_m", "time_to_takeoff_s"])
    for metric, kept in (("jump_height_m", 0.5595), ("time_to_takeoff_s", 1.0)):
        spread = found.value("instrument_sd", metric=metric)
        error = noise.value("typical_error", metric=metric)
        row = found.row("instrument_share", metric=metric)
        expected = 100 * kept * spread**2 / error**2
        if expected < 100:
            assert row["estimate"] == pytest.approx(expected, rel=0.03)
        else:
            assert row["reason_code"] == "lab_more_than_all"
    assert found.has_note("lab_best_jump")


def test_a_measure_without_exact_truth_says_so(known):
    found = cj.lab_truth(
        known[0], ["jump_height_m", "jump_height_se_m"], profiles=2, repeats=2, most=6
    )
    row = found.row("instrument_sd", metric="jump_height_se_m")
    assert row["reason_code"] == "lab_no_truth"
    assert found.has_note("lab_without_truth")


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"metrics": "jump_heigth_m"}, "Did you mean"),
        ({"profiles": 1}, "allowed is 2"),
        ({"repeats": 0}, "allowed is 2"),
        ({"most": 2}, "allowed is 5"),
        ({"level": 95}, "0.95"),
        ({"seed": -1}, "allowed is 0"),
    ],
)
def test_bad_arguments_are_named(known, wrong, words):
    with pytest.raises(ArgumentError, match=words):
        cj.lab_truth(known[0], **wrong)


def test_a_folder_is_no_opened_study():
    with pytest.raises(ArgumentError, match="Study.open"):
        cj.lab_truth("my_block")


def test_the_command_tells_and_keeps_it(known):
    from cmjlab.cli.app import app

    done = CliRunner().invoke(app, ["truth", str(known[0].folder), "--metric", "jump_height_m"])
    assert done.exit_code == 0, done.output
    assert "Share of instrument and method" in done.output
    assert (known[0].results / "truth.csv").is_file()
    assert (known[0].results / "truth.png").read_bytes()[1:4] == b"PNG"
