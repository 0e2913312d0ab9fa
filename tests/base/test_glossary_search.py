"""Words of the trade find their entry, whichever order, spelling or plural they come in."""

from __future__ import annotations

import itertools

import pandas as pd
import pytest
from glossary_kit import HELD_OUT, PHRASES

import cmjlab as cj
from cmjlab.catalog import CHECKS, METRICS, STATISTICS
from cmjlab.catalog.search import find, plain_words
from cmjlab.catalog.search_words import FILLERS, IN_FULL, RELATED, TOGETHER
from cmjlab.checks import closest, suggestion
from cmjlab.errors import StatsError

COLUMNS = ["key", "kind", "label", "unit", "meaning", "score"]


@pytest.mark.parametrize(("phrase", "keys"), [*PHRASES.items(), *HELD_OUT.items()])
def test_phrase_of_the_trade_finds_its_entry(phrase, keys):
    first = cj.glossary(phrase)["key"].head(3)
    assert set(first) & set(keys.split()), f"{phrase}: {list(first)}"


@pytest.mark.parametrize(
    "one_and_other",
    [
        ("eccentric duration", "Duration, ECCENTRIC"),
        ("time to stabilisation", "times to stabilization"),
        ("take-off velocity", "takeoff velocity"),
        ("take-off velocity", "take off velocities"),
        ("centre of mass depth", "center-of-mass depth"),
        ("jump height / time to take-off", "jump_height time_to_takeoff"),
    ],
)
def test_order_spelling_and_plural_make_no_difference(one_and_other):
    one, other = map(cj.glossary, one_and_other)
    assert len(one)
    assert one.equals(other)


def test_every_label_and_every_key_finds_its_own_entry():
    entries = {**METRICS, **STATISTICS, **CHECKS}
    for words, key in [
        *((e.label, k) for k, e in entries.items()),
        *zip(entries, entries, strict=True),
    ]:
        found = find(words)
        assert found[0].score == 1.0, words
        assert key in [f.key for f in found if f.score == 1.0], words


def test_other_published_names_find_their_entry_as_exactly():
    for entry in (*METRICS.values(), *STATISTICS.values()):
        for name, _ in entry.also_called:
            found = {f.key: f.score for f in find(name)}
            assert found[entry.key] >= 0.98, name


def test_exact_names_come_first_then_all_words_then_the_rest():
    scores = cj.glossary("jump height")["score"]
    assert scores.is_monotonic_decreasing
    table = cj.glossary("peak force").set_index("key")["score"]
    assert table["peak_force_n"] == 1.0
    assert 0.5 < table["peak_landing_force_n"] < 0.98
    mistyped = cj.glossary("paek force").set_index("key")["score"]
    assert mistyped.index[0] == "peak_force_n"
    assert mistyped.max() <= 0.5


def test_table_has_its_columns_found_or_not():
    found = cj.glossary("smallest detectable change")
    assert list(found) == COLUMNS
    assert found["kind"].iloc[0] == "statistic"
    assert found["meaning"].iloc[0] == STATISTICS[found["key"].iloc[0]].meaning
    for words in ("qwrtz", "of the", "?!", "sprint 30 m"):
        none = cj.glossary(words)
        assert none.empty
        assert list(none) == COLUMNS
        assert none.dtypes.equals(found.dtypes)


def test_without_words_the_whole_catalog_is_listed_in_its_order():
    table = cj.glossary()
    assert list(table["key"]) == [*METRICS, *STATISTICS, *CHECKS]
    assert table["score"].isna().all()


def test_words_that_mean_the_same_are_written_as_the_search_leaves_them():
    """A word in another spelling would never be met."""
    words = [*TOGETHER.values(), *IN_FULL.values(), *RELATED, *itertools.chain(*RELATED.values())]
    for text in words:
        for word in text.split():
            assert plain_words(word) in ([word], IN_FULL.get(word, "").split()), word
            assert word not in FILLERS


@pytest.mark.parametrize(
    ("word", "near"),
    [
        ("eccentric_duration", "downward_duration_s"),
        ("contraction_time", "time_to_takeoff_s"),
        ("relative_peak_power", "peak_propulsion_power_w_per_kg"),
        ("jump_hieght_m", "jump_height_m"),
        ("Jump height", "jump_height_m"),
        ("sprint_30m", None),
        ("soreness", None),
    ],
)
def test_a_suggestion_is_found_by_the_words_of_the_trade(word, near):
    assert closest(word, METRICS) == near
    assert suggestion(word, METRICS) == (f" Did you mean {near!r}?" if near else "")


def test_only_what_is_allowed_is_suggested_and_own_columns_go_by_spelling():
    assert closest("eccentric_duration", ["jump_height_m", "braking_duration_s"]) == (
        "braking_duration_s"
    )
    assert closest("contraction_time", ["jump_height_m", "own_score"]) is None
    assert closest("own_scores", ["jump_height_m", "own_score"]) == "own_score"
    assert closest("eccentric_duration", ["eccentric_durations", *METRICS]) == "eccentric_durations"


def test_a_function_that_is_asked_for_another_name_says_what_it_is_called_here():
    table = pd.DataFrame(
        {"athlete": ["A1", "A2"], "session": ["pre", "pre"], "rsi_modified_m_per_s": [0.4, 0.5]}
    )
    with pytest.raises(StatsError, match="Did you mean 'rsi_modified_m_per_s'"):
        cj.reliability(table, metrics=["RSI mod"])
