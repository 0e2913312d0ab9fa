"""Words of the rows of a statistics table: made once for all rows that would say the same.

A table of fifty metrics has some two thousand rows that share a few dozen methods, contrasts and
remarks. What a row says follows from its keys; rows with the same keys share their words.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cmjlab.results import Reason, contrast_words, method_words, remark_words
from cmjlab.words.catalog import Words

#: Columns that are made here.
MADE_HERE = ("reason_code", "remark_code", "word_values", "method", "contrast", "text")
#: Columns from which the words of a row are made.
_WORDED = ("metric", "estimate", "first", "second", "other_metric", "session", "since", "case",
           "estimator", "interval_kind")  # fmt: skip


class Once:
    """A function of one object that is called once for each: most rows share a few of them."""

    def __init__(self, make: Callable[[Any], Any]) -> None:
        self._make = make
        self._known: dict[int, tuple[Any, Any]] = {}

    def __call__(self, value: Any) -> Any:
        """Return what is made of a value; the value is kept, so that its identity stays its own."""
        if id(value) not in self._known:
            self._known[id(value)] = (value, self._make(value))
        return self._known[id(value)][1]


def in_words(columns: Mapping[str, NDArray[Any]], words: Words) -> dict[str, NDArray[Any]]:
    """Return the words of the keys of all rows, and the values of the words as JSON."""
    size = len(columns["metric"])
    nothing = np.full(size, None, dtype=object)
    read = [columns.get(c, nothing).tolist() for c in _WORDED]
    phrases = [columns.get(c, nothing).tolist() for c in ("_reason", "_remark", "_words", "_case")]
    # Rows that would say the same share a key; words are made once for each.
    ids = [list(map(id, part)) for part in phrases]
    pairs = list(zip(ids[0], ids[1], strict=True))
    of_pair = dict(zip(pairs, zip(phrases[0], phrases[1], strict=True), strict=True))
    named = {
        pair: any(p is not None and words.about_metric(p) for p in both)
        for pair, both in of_pair.items()
    }
    own = [
        metric if named[pair] or case is not None else None
        for metric, pair, case in zip(read[0], pairs, phrases[3], strict=True)
    ]
    bare = np.isfinite(columns["estimate"]).tolist()
    keys = list(zip(own, bare, *ids, *read[2:], strict=True))
    known = dict(zip(keys, range(size), strict=True))
    made = {}
    for key, i in known.items():
        record = {name: column[i] for name, column in zip(_WORDED, read, strict=True)}
        given = _merged(phrases[2][i], phrases[3][i] or {})
        made[key] = _worded(record, (phrases[0][i], phrases[1][i]), given, words)
    parts = zip(*(made[key] for key in keys), strict=True)
    return {name: np.array(part, dtype=object) for name, part in zip(MADE_HERE, parts, strict=True)}


def _worded(
    record: dict[str, Any], phrases: Sequence[Reason | None], given: dict[str, Any], words: Words
) -> tuple[str | None, ...]:
    """Return what :data:`MADE_HERE` names of one row."""
    own = (p.values if p is not None else {} for p in phrases)
    codes = [p.code if p is not None else None for p in phrases]
    keys = (*codes, as_json(_merged(given, *own)))
    record |= dict(zip(("reason_code", "remark_code", "word_values"), keys, strict=True))
    say = (method_words, contrast_words, remark_words)
    return (*keys, *(make(record, words) or None for make in say))


def _merged(*parts: Mapping[str, Any]) -> dict[str, Any]:
    """Return the values of all words of a row; one name has one value."""
    out: dict[str, Any] = {}
    for part in parts:
        for name, value in part.items():
            if name in out and out[name] != value:
                raise ValueError(f"two values for the gap {name!r}: {out[name]!r} and {value!r}")
            out[name] = value
    return out


def as_json(values: Mapping[str, Any]) -> str | None:
    """Return the values of words as text, None when there are none."""

    def plain(value: Any) -> Any:
        return value.item() if isinstance(value, np.generic) else list(value)

    return json.dumps(values, ensure_ascii=False, default=plain) if values else None
