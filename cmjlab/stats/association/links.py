"""Links: do ratings and court data go with jump metrics, in level and in change, pair by pair.

Many pairs are looked at in one go, so the result says how many, and how many intervals would
leave zero out although nothing goes together. A link is no effect of anything.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from cmjlab import checks
from cmjlab.errors import StatsError
from cmjlab.results import Note, Reason, Result, Sentence
from cmjlab.stats.association.rows import (
    add_correlation,
    correlate,
    coupling,
    session_changes,
    session_values,
)
from cmjlab.stats.association.sentences import chance_note
from cmjlab.stats.common.measures import strata
from cmjlab.stats.common.multiplicity import adjust_p
from cmjlab.stats.common.rows import Rows
from cmjlab.stats.common.tables import check_table, metric_names, refuse_infinite, session_order
from cmjlab.stats.common.verdicts import side_of_zero

#: Kinds of link: of the values of one session, of the changes between two, and of a value that
#: belongs to the block as a whole with the change over it.
LEVELS, CHANGES, WITH_CHANGE = "correlation", "correlation_change", "correlation_with_change"
_KINDS = {LEVELS: "levels", CHANGES: "changes", WITH_CHANGE: "with_change"}
#: Fewer athletes with both values are called few; our own limit, no paper.
_FEW = 15


def link_measures(
    table: pd.DataFrame,
    measures: str | Sequence[str],
    metrics: str | Sequence[str],
    *,
    pair: tuple[str, str] | None = None,
    within: str | Sequence[str] | None = "sex",
    level: float = 0.95,
) -> Result:
    """Return how measures of a coach or the court go with jump metrics, in level and in change.

    Parameters
    ----------
    table : pandas.DataFrame
        Sessions table with the measures as columns, as ``study.sessions_table()``.
    measures : str or sequence of str
        Ratings, match figures, attendance: columns from measures.csv.
    metrics : str or sequence of str
        Jump metrics.
    pair : (str, str), optional
        Sessions before and after: changes are linked too.
    within : str, sequence of str or None
        Strata looked at each alone.
    level : float

    Returns
    -------
    Result
        Rows ``correlation`` (in the session before, else in the one with most athletes) and
        ``correlation_change``, or ``correlation_with_change`` for a measure with values in one
        of both sessions only; ``other_metric`` is the measure, ``p_adjusted`` by Holm over all
        pairs of a kind. ``points["links"]`` has one row per pair and kind: measure, metric,
        kind, stratum, session, n, estimate, low, high, leaves_zero_out, coupled.

    Raises
    ------
    StatsError
        Unknown columns or sessions, or nothing to link.

    Examples
    --------
    >>> import cmjlab as cj
    >>> study = cj.Study.open(cj.demo_study())
    >>> links = cj.link_measures(study.sessions_table(), "coach_rating_1_to_10", "jump_height_m",
    ...                          pair=("base2", "post"))
    >>> sorted(set(links.points["links"]["kind"]))
    ['changes', 'levels']
    """
    level = checks.level(level)
    data = check_table(table)
    left, right = metric_names(data, measures), metric_names(data, metrics)
    refuse_infinite(data, [*left, *right])
    sessions = _sessions(data, pair)
    rows = Rows(level=level)
    for name, mask in strata(data, within).items():
        for measure in left:
            for metric in right:
                if measure != metric:
                    _add(rows, data[mask], (name, measure, metric), sessions, pair)
    frame = rows.frame()
    if frame.empty:
        raise StatsError(
            "links: no measure and metric to put side by side; name two different ones."
        )
    frame["p_adjusted"] = frame.groupby("statistic")["p"].transform(
        lambda p: adjust_p(p.to_numpy(float))
    )
    links = _links(rows)
    return Result(
        "links",
        frame,
        points={"links": links},
        settings={"measures": left, "metrics": right, "pair": list(pair or ()), "within": within,
                  "level": level},
        notes=tuple(_notes(data, links, pair)),
        sentences=tuple(_sentences(links, pair, level)),
    )  # fmt: skip


def _sessions(data: pd.DataFrame, pair: tuple[str, str] | None) -> list[str]:
    """Return the sessions in which levels may be linked, the one before the block first."""
    order = session_order(data)
    for session in checks.names("pair", pair or ()):
        if session not in order:
            raise StatsError(
                f"pair: there is no session {session!r}; sessions are {', '.join(order)}."
            )
    return list(dict.fromkeys([*(pair or ())[:1], *order]))


def _add(
    rows: Rows,
    data: pd.DataFrame,
    names: tuple[str, str, str],
    sessions: Sequence[str],
    pair: tuple[str, str] | None,
) -> None:
    """Add the link of the levels in one session, and of the changes."""
    stratum, measure, metric = names
    place = rows.at(metric=metric, other_metric=measure, group=stratum)
    found = {
        s: correlate(session_values(data, measure, s), session_values(data, metric, s))
        for s in sessions
    }
    best = max(sessions, key=lambda s: found[s].n)  # the first of those with most athletes
    add_correlation(place.at(session=best), LEVELS, found[best])
    if pair is None:
        return
    here = place.at(first=pair[1], second=pair[0])
    mine, change = (session_changes(data, c, pair) for c in (measure, metric))
    if mine.notna().any():
        why = None
        if not (mine.dropna() != 0).any():  # a copy of the value before is no second measurement
            mine = mine * np.nan
            why = Reason("never_changes", {"other": measure, "sessions": list(pair)})
        add_correlation(here, CHANGES, correlate(mine, change), why=why)
        return
    for session in pair[::-1]:  # such as attendance, which belongs to the block as a whole
        value = session_values(data, measure, session)
        if value.notna().any():
            add_correlation(here.at(session=session), WITH_CHANGE, correlate(value, change))
            return


def _links(rows: Rows) -> pd.DataFrame:
    return pd.DataFrame([_link(r) for r in rows.records()])


def _link(row: Mapping[str, Any]) -> dict[str, Any]:
    low, high = float(row["ci_low"]), float(row["ci_high"])
    measure, metric = str(row["other_metric"]), str(row["metric"])
    return {
        "measure": measure, "metric": metric,
        "kind": _KINDS[str(row["statistic"])],
        "stratum": row["group"], "session": row.get("session") or "", "n": int(row["n"]),
        "estimate": float(row["estimate"]), "low": low, "high": high,
        "leaves_zero_out": side_of_zero(low, high) in ("up", "down"),
        "coupled": coupling(measure, metric),
    }  # fmt: skip


def _notes(data: pd.DataFrame, links: pd.DataFrame, pair: tuple[str, str] | None) -> list[Note]:
    """Return the cautions: no cause, chance, many pairs, few athletes, arithmetic, groups."""
    notes = [Note("association_only")]
    counts = links.loc[links["n"] > 0, "n"]
    if len(counts):
        notes.append(chance_note(int(counts.min())))
        if int(counts.min()) < _FEW:
            notes.append(Note("few_for_a_link", {"n": int(counts.min())}))
    for row in links[links["coupled"] != ""].drop_duplicates(["measure", "metric"]).itertuples():
        why = Reason(str(row.coupled))
        notes.append(Note("coupling", {"metric": row.measure, "other": row.metric, "why": why}))
    if pair and "group" in data and data["group"].dropna().nunique() > 1:
        notes.append(Note("groups_together"))
    return notes


def _sentences(links: pd.DataFrame, pair: tuple[str, str] | None, level: float) -> list[Sentence]:
    """Return for levels and for changes: how many pairs, how many stand out, how many by chance."""
    out = []
    for kind in _KINDS.values():
        known = links[(links["kind"] == kind) & links["low"].notna()]
        if known.empty:
            continue
        clear = known[known["leaves_zero_out"]]
        values = {
            "pairs": len(known), "chance": (1 - level) * len(known), "level": level,
            "which": [_named(r, links["stratum"].nunique() > 1) for r in clear.itertuples()], "n": len(clear),
            "before": pair[0] if pair else "", "after": pair[1] if pair else "",
        }  # fmt: skip
        out.append(Sentence(f"links.{kind}" if len(clear) else f"links.{kind}_none", values=values))
    return out


def _named(row: Any, several: bool) -> Sentence:
    values = {
        "measures": row.measure, "estimate": float(row.estimate), "low": float(row.low),
        "high": float(row.high), "athletes": int(row.n),
    }  # fmt: skip
    if not several:
        return Sentence("links.one", str(row.metric), values={**values, "metrics": row.metric})
    return Sentence(
        "links.one_of", str(row.metric), str(row.stratum), {**values, "metrics": row.metric}
    )
