"""Who has no pair: as rows of a table and as remarks."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from cmjlab.results import Note, Sentence
from cmjlab.stats.change.pairs import Covariate, LeftOut, Pairs


def left_out_notes(every: Sequence[Pairs]) -> tuple[Note, ...]:
    """Return one note per set of left-out athletes, naming the metrics concerned.

    Parameters
    ----------
    every : sequence of Pairs
        The pairs of every metric.
    """
    same: dict[tuple[LeftOut, ...], list[str]] = {}
    for pairs in every:
        if pairs.left_out:
            own = tuple(_nameless(x, pairs.metric) for x in pairs.left_out)
            same.setdefault(own, []).append(pairs.metric)
    notes = []
    for left_out, metrics in same.items():
        values = {"n": len(left_out), "athletes": [_lacks(x) for x in left_out]}
        if len(metrics) == len(every):
            notes.append(Note("left_out", values))
        else:
            notes.append(Note("left_out_of_some", {**values, "metrics": metrics}))
    return tuple(notes)


def _nameless(one: LeftOut, metric: str) -> LeftOut:
    """Return the same without the name of the analysed metric, to be compared between metrics."""
    return LeftOut(one.athlete, tuple(("" if m == metric else m, s) for m, s in one.missing))


def _lacks(one: LeftOut) -> Sentence:
    """Return the athlete with the sessions and the other measures that are missing."""
    sessions = [s for m, s in one.missing if not m]
    others = [(m, s) for m, s in one.missing if m]
    kind = "both" if sessions and others else "value" if sessions else "covariate"
    values = {"athlete": one.athlete, "sessions": sessions, "others": list(map(in_session, others))}
    return Sentence(f"change.lacks_{kind}", values=values)


def in_session(covariate: Covariate) -> Sentence:
    """Return "jump height in base1" as a phrase."""
    measure, session = covariate
    return Sentence("change.measure_in_session", values={"measure": measure, "session": session})


def left_out_frame(every: Sequence[Pairs]) -> pd.DataFrame:
    """Return every missing value that left an athlete out.

    Returns
    -------
    pandas.DataFrame
        Columns metric (analysed), athlete, missing (metric whose value is missing), session.
    """
    rows = [
        (pairs.metric, one.athlete, missing, session)
        for pairs in every
        for one in pairs.left_out
        for missing, session in one.missing
    ]
    return pd.DataFrame(rows, columns=["metric", "athlete", "missing", "session"])
