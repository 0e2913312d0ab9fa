"""Plain words about changes, and the comparison corrected for an unreliable baseline."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from cmjlab.results import Result
from cmjlab.stats.change.change import change_between, change_within

PRE = (31.2, 34.5, 28.9, 36.1, 30.4)
POST = (33.9, 36.8, 30.2, 38.4, 33.3)


def rows(before: object, after: object, group: object = None, names: object = None) -> pd.DataFrame:
    """Return a sessions table with one metric ``value``; nan values stay as rows."""
    before, after = list(before), list(after)  # type: ignore[call-overload]
    names = list(names) if names else [f"A{i + 1}" for i in range(len(before))]  # type: ignore[call-overload]
    table = pd.DataFrame(
        {
            "athlete": names * 2,
            "session": ["pre"] * len(before) + ["post"] * len(before),
            "value": [float(v) for v in before + after],
        }
    )
    if group is not None:
        table["group"] = list(group) * 2  # type: ignore[call-overload]
    return table


def within(table: pd.DataFrame, **options: object) -> Result:
    return change_within(table, before="pre", after="post", **options)  # type: ignore[arg-type]


def between(table: pd.DataFrame, **options: object) -> Result:
    return change_between(table, before="pre", after="post", **options)  # type: ignore[arg-type]


def test_sentences_word_for_word() -> None:
    # jump heights in metres; the words are written from the numbers
    after = [0.339, 0.368, 0.303, 0.384, 0.332]
    table = rows([v / 100 for v in PRE], after).rename(columns={"value": "jump_height_m"})
    assert within(table).sentences == (
        "Jump height (take-off velocity), pre to post: mean change +2.3 cm (95 % interval +1.6 to"
        " +3.0 cm; n = 5). The interval holds only increases. Leaving out one athlete at a time"
        " gives +2.2 to +2.5 cm.",
    )
    group = list("xxccc")
    sentence = between(table.assign(group=group * 2), assignment="random", control="c").sentences[0]
    assert sentence.startswith(
        "Jump height (take-off velocity), pre to post, x minus c (n = 2 v 3): at equal baseline the"
        " difference is "
    )


@pytest.mark.parametrize("word", ["significant", "likely", "probably", "trend", "proves"])
def test_no_forbidden_words(word: str) -> None:
    rng = np.random.default_rng(5)
    before = rng.normal(33, 3, 16)
    table = rows(before, before + rng.normal(1, 1, 16), list("aaaaaaaabbbbbbbb"))
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
    table = rows(
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
    table = rows([v / 100 for v in PRE], after).rename(columns={"value": "jump_height_m"})
    person = change_individual(
        table, before="pre", after="post", reliability={"jump_height_m": (0.009, 9)}
    )
    assert team_paragraph(within(table), "jump_height_m", person) == (
        "Jump height (take-off velocity) of 5 athletes changed by +2.3 cm on average from pre to post"
        " (95 % interval +1.6 to +3.0 cm). That the team changed is what the data show; why it changed they"
        " do not show. Nobody trained differently in the same weeks, so season, other training, learning of"
        " the test and body mass are part of this change and cannot be separated from the block. One"
        " athlete's change is known to ±2.9 cm (95 % interval); who responded more than others cannot be"
        " told without a control group."
    )


def test_missing_athletes_and_the_tipping_point() -> None:
    from cmjlab.stats.change.missing import change_if_missing_differ, shifted

    table = rows((*PRE, 33.0), (*POST, np.nan))
    result = change_if_missing_differ(
        table, "value", before="pre", after="post", shifts=(0.0, -3.0)
    )
    kept = result.rows("mean_change_shifted")["estimate"].tolist()
    assert kept == pytest.approx([2.3, 2.3 - 3.0 / 6])
    tip = result.value("tipping_shift")
    low = float(shifted(np.subtract(POST, PRE), 1, tip).interval(0.95)[0])
    assert low == pytest.approx(0.0, abs=1e-9)
    assert result.sentences[0].startswith(
        "value: 1 athlete(s) without a later value. The interval would"
    )
    whole = change_if_missing_differ(
        rows(PRE, POST), "value", before="pre", after="post", shifts=[0.0]
    )
    assert whole.rows("tipping_shift").iloc[0]["text"] == "not estimable: nobody is missing"


def test_estimand_is_stated() -> None:
    notes = {n.code: n.text for n in within(rows((*PRE, 33.0), (*POST, np.nan))).notes}
    assert notes["estimand"] == (
        "Estimated is the mean change from pre to post in athletes like those of this table who were tested"
        " both times; 1 without a complete pair are left out, as if they had changed like the others."
    )


def test_every_statistic_is_in_the_catalog() -> None:
    import re
    from pathlib import Path

    import cmjlab.stats
    from cmjlab.catalog import STATISTICS

    folder = Path(cmjlab.stats.__file__).parent
    names = set()
    for room in ("change", "individual", "planning"):
        for path in (folder / room).glob("*.py"):
            text = path.read_text(encoding="utf-8")
            names |= set(re.findall(r'"statistic": "([a-z_0-9]+)"', text))
    assert len(names) > 15
    assert names <= set(STATISTICS)


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (0.1, 2.0, "Throughout the interval the difference is positive (higher in x)."),
        (-2.0, -0.1, "Throughout the interval the difference is negative (higher in c)."),
        (-1.0, 1.0, "The interval holds both signs: these data cannot tell the groups apart."),
    ],
)
def test_direction_of_a_difference(low: float, high: float, words: str) -> None:
    from cmjlab.stats.common.wording import difference_direction

    assert difference_direction(low, high, "x", "c") == words
