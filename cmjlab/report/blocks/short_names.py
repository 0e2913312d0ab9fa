"""Short names of measures, for a page that has named them in full once."""

from __future__ import annotations

from collections.abc import Iterable

from cmjlab.catalog import METRICS
from cmjlab.words.catalog import Words


def short_names(words: Words, metrics: Iterable[str]) -> dict[str, str]:
    """Return the short name of every measure that has one which no other measure shares.

    A name that a lab gave of its own stays as it is.
    """
    shown = list(metrics)
    full = {m: words.label(m) for m in shown}
    ours = {m for m in shown if m in METRICS and not words.has_own_label(m)}
    short = {m: METRICS[m].short_label if m in ours else full[m] for m in shown}
    said = list(short.values())
    return {m: s for m, s in short.items() if s not in full.values() and said.count(s) == 1}


def shortened(words: Words, metrics: Iterable[str]) -> Words:
    """Return words that call the measures by their short names."""
    return words.replaced({f"label.{m}": s for m, s in short_names(words, metrics).items()})
