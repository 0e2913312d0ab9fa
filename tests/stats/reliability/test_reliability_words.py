"""What reliability says: verdict by purpose, sentences word for word, GRRAS, retest days."""

import numpy as np
import pandas as pd
import pytest
from reliability_kit import squad, table

from cmjlab.stats.reliability.grras import grras_table
from cmjlab.stats.reliability.reliability import reliability
from cmjlab.stats.reliability.sentences import verdict_points, verdict_sentences

#: Differences whose SD is exactly √2 · 0.8 cm, without session change; athletes far apart.
HEIGHT = "jump_height_m"


def exact_squad(n=10, te=0.008, between=0.05, shift=0.0):
    """Return a table with exactly this typical error and session change."""
    z = np.arange(n) - (n - 1) / 2
    z = z / z.std(ddof=1)
    d = np.where(np.arange(n) % 2 == 0, 1.0, -1.0)
    d = (d - d.mean()) / (d - d.mean()).std(ddof=1) * te * np.sqrt(2)
    mean = 0.34 + between * z
    values = np.column_stack([mean - (d + shift) / 2, mean + (d + shift) / 2])
    return table(values, HEIGHT, ["base1", "base2"])


def test_the_sentence_of_the_verdict():
    result = reliability(exact_squad(), change_that_matters=0.02)
    assert result.value("typical_error") == pytest.approx(0.008)
    # t(9, .975) = 2.262157: 2.262157 · √2 · 0.8 cm = 2.559 cm; / √10 = 0.809 cm.
    assert list(map(str, result.sentences)) == [
        "Jump height (take-off velocity): the smallest detectable change is 2.6 cm for one athlete and,"
        " if all athletes change alike, 0.8 cm for the squad mean. A change of 2.0 cm is detectable for the squad mean; 10 athletes"
        " do not tell whether it is for one athlete (interval of the smallest detectable change 1.8"
        " to 4.7 cm)."
    ]


def test_answers_follow_from_the_interval():
    answers = {}
    for wanted in (0.001, 0.02, 0.05):
        verdict = reliability(exact_squad(), change_that_matters=wanted).points["verdict"]
        answers[wanted] = verdict.set_index("purpose")["answer"].to_dict()
    assert answers[0.001] == {"one_athlete": "no", "squad_mean": "no"}
    assert answers[0.02] == {"one_athlete": "cannot_tell", "squad_mean": "yes"}
    assert answers[0.05] == {"one_athlete": "yes", "squad_mean": "yes"}


@pytest.mark.parametrize("n", [2, 3, 30])
def test_every_verdict_has_a_sentence(n):
    """The squad mean is never less detectable than one athlete, so six verdicts are possible."""
    seen = {}
    for low, high in ((1.0, 2.0), (1.0, 40.0), (3.0, 9.0)):
        for matters in (0.05, 0.5, 1.5, 2.5, 60.0):
            rows = [
                ("a", "smallest_detectable_change", low, low, high, n),
                (
                    "a",
                    "smallest_detectable_change_mean",
                    *(x / n**0.5 for x in (low, low, high)),
                    n,
                ),
            ]
            names = ["metric", "statistic", "estimate", "ci_low", "ci_high", "n"]
            table_of = pd.DataFrame(rows, columns=names).assign(group=None)
            verdict = verdict_points(table_of, {"a": matters})
            answers = tuple(verdict.set_index("purpose")["answer"])
            (sentence,) = verdict_sentences(verdict)
            seen[answers] = str(sentence)
    assert {a for pair in seen for a in pair} == {"yes", "no", "cannot_tell"}
    assert len(set(seen.values())) == len(seen)
    for (one, mean), text in seen.items():
        assert (f"{n} athletes do not tell" in text) == ("cannot_tell" in (one, mean))
        assert ("detectable for one athlete and for the squad mean" in text) == (one == "yes")


def test_without_a_declared_change_the_verdict_says_so():
    result = reliability(exact_squad())
    assert "No change that matters was declared" in str(result.sentences[0])
    row = result.rows("change_that_matters").iloc[0]
    assert row["reason_code"] == "none_declared"
    stand_in = result.rows("smallest_worthwhile_change").iloc[0]
    assert stand_in["remark_code"] == "arbitrary_change"
    assert stand_in["leads"]
    assert not row["leads"]
    declared = reliability(exact_squad(), change_that_matters=0.02)
    assert declared.row("change_that_matters")["leads"]
    assert not declared.row("smallest_worthwhile_change")["leads"]


def test_a_session_change_is_said():
    result = reliability(exact_squad(shift=0.02))
    assert (
        "Jump height (take-off velocity): from base1 to base2 the mean of the squad changed by +2.0 cm"
        " (95 % interval +1.2 to +2.8 cm). The typical error sets this common change aside."
    ) in map(str, result.sentences)
    keys = [s.key for s in reliability(exact_squad()).sentences]
    assert keys == ["reliability.smallest_detectable"]


def test_identical_sessions_get_no_verdict():
    frame = exact_squad(te=0.0)
    frame[HEIGHT] = frame.groupby("athlete")[HEIGHT].transform("first")
    result = reliability(frame, change_that_matters=0.02)
    assert set(result.points["verdict"]["answer"]) == {"not_estimable"}
    assert result.sentences == ()
    assert result.has_note("identical_sessions")


def test_retest_days():
    frame = exact_squad()
    frame["date"] = frame["session"].map({"base1": "2031-08-01", "base2": "2031-08-08"})
    frame.loc[frame["athlete"] == "A1", "date"] = ["2031-08-01", "2031-08-10"]
    result = reliability(frame)
    assert result.settings["retest_days"] == 7
    note = [n.text for n in result.notes if n.code == "retest_interval"][0]
    assert "7 days apart (median of 10 retests, 7 to 9)" in note
    assert reliability(exact_squad()).has_note("retest_interval_unknown")
    frame["date"] = ""
    assert reliability(frame).has_note("retest_interval_unknown")


def test_grras_table():
    result = reliability(exact_squad(), change_that_matters=0.02)
    items = result.points["grras"].set_index("topic")
    assert items["item"].tolist() == list(range(1, 16))
    assert items.loc["title", "to_write"]
    assert not items.loc["analysis", "to_write"]
    found = grras_table(result)["From these data"]
    assert "Athletes: 10; sessions: 2; measures: 1; values: 20." in found.tolist()
    assert (found.eq("").to_numpy() == items["to_write"].to_numpy()).all()


def test_points_carry_what_figures_need():
    frame = table(squad(n=6, k=3), "a").assign(b=lambda t: t["a"] ** 2)
    frame.loc[frame["athlete"].eq("A2") & frame["session"].eq("s2"), "a"] = np.nan
    result = reliability(frame)
    values = result.points["values"]
    assert len(values) == 35
    agreement = result.points["agreement"]
    assert len(agreement) == 22
    first = agreement.iloc[0]
    v = values.query("metric == 'a' and athlete == 'A1'").set_index("session")["value"]
    assert first["difference"] == pytest.approx(v["s2"] - v["s1"])
    assert first["mean"] == pytest.approx((v["s2"] + v["s1"]) / 2)
    forms = result.points["icc_forms"].set_index("statistic")
    assert forms.loc["icc_a1", "shrout_fleiss_1979"] == "ICC(2,1)"
    assert forms.loc["icc_ck", "mcgraw_wong_1996"] == "ICC(C,k)"
    shares = result.points["components"].groupby(["metric", "estimator"])["share"].sum()
    np.testing.assert_allclose(shares, 1)


def test_verdict_of_an_empty_table_is_empty():
    empty = pd.DataFrame(
        columns=["metric", "statistic", "group", "estimate", "ci_low", "ci_high", "n"]
    )
    assert verdict_points(empty, {}).empty


def test_bands_are_shown_with_what_n_could_show():
    # P(lower limit >= .75 | true ICC .95), two sessions: .56, .77, .95, 1.00 at n = 8, 12, 20, 40.
    found = {}
    for n in (8, 12, 20, 40):
        bands = reliability(table(squad(n=n, seed=1))).points["icc_bands"]
        row = bands[(bands["statistic"] == "icc_c1")].iloc[0]
        found[n] = row["chance"]
        limits = {
            "poor": (-1, 0.5),
            "moderate": (0.5, 0.75),
            "good": (0.75, 0.9),
            "excellent": (0.9, 1.01),
        }
        low, high = limits[row["band_low"]]
        assert low <= row["ci_low"] < high
    np.testing.assert_allclose(list(found.values()), [0.56, 0.77, 0.95, 1.00], atol=0.01)


def test_influence_adds_up():
    result = reliability(table(squad(n=9, k=3)))
    influence = result.points["influence"]
    assert influence["share"].sum() == pytest.approx(1)
    assert len(influence) == 9
    assert (influence["typical_error_without"] > 0).all()


def test_notes_of_a_stratum_carry_its_name():
    frame = table(squad(n=12)).assign(
        sex=lambda t: np.where(t["athlete"] == "A3", "male", "female")
    )
    result = reliability(frame, by="sex")
    text = [n.text for n in result.notes if n.code == "not_estimable"]
    assert text == [
        "male: Score cannot be estimated: 1 athlete with two sessions or more; at least 2 are needed."
    ]


def test_unequal_numbers_of_jumps_are_named():
    frame = exact_squad().assign(n_jumps=3)
    assert not reliability(frame).has_note("unequal_jumps")
    frame.loc[3, "n_jumps"] = 1
    note = [n.text for n in reliability(frame).notes if n.code == "unequal_jumps"][0]
    assert "1 to 3 jumps" in note
    assert "A2 (base2)" in note


def test_dates_that_cannot_be_read_are_said():
    frame = exact_squad().assign(date="1.8.2031")
    note = [n.text for n in reliability(frame).notes if n.code == "retest_interval_unknown"][0]
    assert "YYYY-MM-DD" in note
