"""What every Result must keep: typed facts, a reason for every gap, words for every key."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from places import PACKAGE

from cmjlab.catalog import STATISTICS
from cmjlab.results import Note, Result, Sentence
from cmjlab.stats.common.rows import PLACE
from cmjlab.words.catalog import families, read_words
from cmjlab.words.phrases import Phrase

_SNAKE = re.compile(r"\b[a-z]+_[a-z_]+\b")


def assert_typed(result: Result, *names: str) -> None:
    """Check a result: reasons, leading rows, words that can be said, values that are no prose.

    Parameters
    ----------
    result : Result
    *names : str
        Names of the study (groups, athletes) that may look like keys.
    """
    _assert_reasons(result)
    _assert_leading(result)
    for phrase in (*result.sentences, *result.notes):
        assert isinstance(phrase, (Sentence, Note)), phrase
        if isinstance(phrase.word_values, str):  # a note of a family that still moves
            continue
        _assert_no_prose(phrase.word_values, names)
        text = read_words().phrase(phrase)
        assert_readable(text, names)
        assert text.endswith((".", "?")), text
    for column in ("method", "contrast", "text"):
        for text in result.table[column].dropna().unique():
            assert_readable(str(text), names)


def silent_words(family: str, *rooms: str) -> set[str]:
    """Return the keys of a family of words that no code of these rooms names.

    Keys that are put together from parts come out too; a test lists them.
    """
    code = "\n".join(
        path.read_text(encoding="utf-8")
        for room in rooms
        for path in sorted((PACKAGE / room).rglob("*.py"))
    )
    names = {key.rpartition(".")[2] for key in families()[family]}
    names = {n.removesuffix("_one").removesuffix("_many") for n in names}
    return {n for n in names if not re.search(rf'["\'.]{n}["\']', code)}


def assert_readable(text: str, names: Iterable[str] = ()) -> None:
    """Check that a text is filled, and shows no key and no missing number to a person."""
    for name in names:
        text = text.replace(name, "X")
    assert text.strip()
    assert not re.search(r"[{}]|\bnan\b|\bNone\b|<NA>|\bTrue\b|\bFalse\b", text), text
    assert not _SNAKE.search(text), text
    assert not re.search(r"  | \.(?!\d)|:\.", text), text


def _assert_reasons(result: Result) -> None:
    table = result.table
    none = table["estimate"].isna()
    wants = table["statistic"].map(lambda s: STATISTICS[s].has_interval).astype(bool)
    bare = ~none & wants & table["ci_low"].isna()
    without = table[(none | bare) & table["reason_code"].isna()]
    assert without.empty, without[["metric", "statistic", "group", "athlete"]]
    assert table["ci_low"].isna().equals(table["ci_high"].isna())


def _assert_leading(result: Result) -> None:
    table = result.table[result.table["leads"].astype(bool)]
    question = table["statistic"].map(lambda s: STATISTICS[s].question or s)
    cases = table["word_values"].where(table["case"].notna())  # a case may have several values
    keys = ["question", "cases", *PLACE]
    twice = table.assign(question=question, cases=cases).duplicated(keys)
    assert not twice.any(), table[twice]


def _assert_no_prose(values: Mapping[str, Any], names: Iterable[str]) -> None:
    for value in _leaves(values.values()):
        words = value.split() if isinstance(value, str) and value not in names else []
        assert len(words) < 4, f"{value!r} is prose among the values"


def _leaves(values: Iterable[Any]) -> Iterator[Any]:
    for value in values:
        if isinstance(value, Phrase):
            yield from _leaves(value.word_values.values())
        elif isinstance(value, Mapping):
            yield from _leaves(value.values())
        elif isinstance(value, (list, tuple)):
            yield from _leaves(value)
        else:
            yield value
