"""Plain words about changes, and the comparison corrected for an unreliable baseline."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from change_kit import POST, PRE, pre_post

from cmjlab.results import Result
from cmjlab.stats.change.change import change_between, change_within


def within(table: pd.DataFrame, **options: object) -> Result:
    return change_within(table, before="pre", after="post", **options)  # type: ignore[arg-type]


def between(table: pd.DataFrame, **options: object) -> Result:
    return change_between(table, before="pre", after="post", **options)  # type: ignore[arg-type]


def test_sentences_word_for_word() -> None:
    # jump heights in metres; the words are written from the numbers
    after = [0.339, 0.368, 0.303, 0.384, 0.332]
    table = pre_post([v / 100 for v in PRE], after).rename(columns={"value": "jump_height_m"})
    assert [s.text for s in within(table).sentences] == [
        "Jump height (take-off velocity), pre to post: the mean change is +2.3 cm (95 % interval +1.6"
        " to +3.0 cm), n = 5. The interval includes only increases. Leaving out one athlete at a time"
        " gives +2.2 to +2.5 cm.",
    ]
    group = list("xxccc")
    sentence = between(table.assign(group=group * 2), assignment="random", control="c").sentences[0]
    assert sentence.key == "change.adjusted_difference"
    assert sentence.text.startswith(
        "Jump height (take-off velocity), pre to post, x minus c (n = 2 and 3): at equal baseline"
        " the difference is "
    )


@pytest.mark.parametrize("word", ["significant", "likely", "probably", "trend", "proves"])
def test_no_forbidden_words(word: str) -> None:
    rng = np.random.default_rng(5)
    before = rng.normal(33, 3, 16)
    table = pre_post(before, before + rng.normal(1, 1, 16), list("aaaaaaaabbbbbbbb"))
    for result in (
        within(table, group="group"),
        between(table),
        between(table, assignment="random"),
    ):
        assert word not in str(result).replace("probably copied", "")


def test_corrected_ancova_takes_the_unreliability_out() -> None:
    from cmjlab.stats.change.corrected import change_between_corrected

    # groups differ by 3 in true baseline, nothing changes: ANCOVA is biased, the corrected is not
    rng = np.random.default_rng(21)
    n = 4000
    trait = rng.normal(30, 2, n) + np.where(np.arange(n) < n // 2, 3.0, 0.0)
    table = pre_post(
        trait + rng.normal(0, 1, n),
        trait + rng.normal(0, 1, n),
        ["a"] * (n // 2) + ["b"] * (n // 2),
    )
    plain = between(table, control="b").rows("adjusted_difference").iloc[0]["estimate"]
    assert plain == pytest.approx(3 * (1 - 0.8), abs=0.12)
    result = change_between_corrected(
        table, before="pre", after="post", reliability={"value": (1.0, 1000)}, control="b"
    )
    row = result.rows("corrected_difference").iloc[0]
    assert abs(row["estimate"]) < 0.12
    assert row["ci_low"] < 0 < row["ci_high"]


def test_team_paragraph_word_for_word() -> None:
    from cmjlab.stats.change.paragraph import team_paragraph
    from cmjlab.stats.individual.individual import change_individual

    after = [0.339, 0.368, 0.303, 0.384, 0.332]
    table = pre_post([v / 100 for v in PRE], after).rename(columns={"value": "jump_height_m"})
    person = change_individual(
        table, before="pre", after="post", reliability={"jump_height_m": (0.009, 9)}
    )
    said = team_paragraph(within(table), "jump_height_m", person)
    assert " ".join(map(str, said)) == (
        "Jump height (take-off velocity) of 5 athletes changed by +2.3 cm on average from pre to post"
        " (95 % interval +1.6 to +3.0 cm). The data show that the team changed; they do not show why."
        " Nobody trained differently in the same weeks. The change therefore also reflects season, other"
        " training, learning of the test and body mass, which cannot be separated from the block. One"
        " athlete’s change is known to within ±2.9 cm (95 % interval). Who responded more than others"
        " cannot be told without a control group."
    )


def test_missing_athletes_and_the_tipping_point() -> None:
    from cmjlab.stats.change.missing import change_if_missing_differ, shifted

    table = pre_post((*PRE, 33.0), (*POST, np.nan))
    result = change_if_missing_differ(
        table, "value", before="pre", after="post", shifts=(0.0, -3.0)
    )
    kept = result.rows("mean_change_shifted")["estimate"].tolist()
    assert kept == pytest.approx([2.3, 2.3 - 3.0 / 6])
    tip = result.value("tipping_shift")
    low = float(shifted(np.subtract(POST, PRE), 1, tip).interval(0.95)[0])
    assert low == pytest.approx(0.0, abs=1e-9)
    assert result.sentences[0].text.startswith(
        "Value: 1 athlete has no later value. The interval would reach zero if this athlete’s change"
    )
    shifts = result.rows("mean_change_shifted")
    assert set(shifts["case"]) == {"shift_of_missing"}
    assert shifts["leads"].all()
    whole = change_if_missing_differ(
        pre_post(PRE, POST), "value", before="pre", after="post", shifts=[0.0]
    )
    assert whole.rows("tipping_shift").iloc[0]["reason_code"] == "nobody_missing"


def test_estimand_is_stated() -> None:
    notes = {n.code: n.text for n in within(pre_post((*PRE, 33.0), (*POST, np.nan))).notes}
    assert notes["estimand_left_out"] == (
        "What is estimated is the mean change from pre to post in athletes like those of this table who"
        " were tested both times; 1 athlete without a complete pair is left out, as if this athlete had"
        " changed like the others."
    )
