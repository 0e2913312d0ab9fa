"""Did this athlete change? The interval of the noise, and what the group says about it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from cmjlab import checks
from cmjlab.errors import StatsError
from cmjlab.results import Note, Reason, Result, Sentence
from cmjlab.stats.change.left_out import left_out_frame, left_out_notes
from cmjlab.stats.change.pairs import (
    LeftOut,
    Pairs,
    Prepared,
    pairs_frame,
    prepare,
)
from cmjlab.stats.common.best_of import best_notes
from cmjlab.stats.common.noise import no_noise_text, noise_or_reason
from cmjlab.stats.common.rows import Rows
from cmjlab.stats.common.tables import every_group
from cmjlab.stats.individual.own_rows import noise_of_each
from cmjlab.stats.individual.rows import Individuals, add_individuals
from cmjlab.stats.individual.sentences import individual_sentences

#: What everybody must know who reads changes of single athletes.
_ALWAYS = tuple(
    Note(code) for code in ("truth_of_a_change", "average_coverage", "named_after_looking")
)


def change_individual(
    table: pd.DataFrame,
    metrics: Any = None,
    *,
    before: str | Sequence[str],
    after: str,
    reliability: Any,
    control: str | None = None,
    level: float = 0.95,
) -> Result:
    """Return each athlete's change with the interval of the noise, and the shrunken estimate.

    Parameters
    ----------
    table : pandas.DataFrame
        One row per athlete and session; column ``group`` when there are groups, ``n_jumps``
        when the number of jumps differs and the reliability has components.
    metrics : str or sequence of str, optional
    before : str or sequence of str
        One baseline session, or several whose mean is the baseline (SE √1.5 · TE for two).
    after : str
    reliability : Result, or mapping of metric to (typical error, df)
        Result of :func:`cmjlab.reliability` for the same metrics and summary of jumps.
    control : str, optional
        Group without the training; needed for the spread of true responses.
    level : float

    Returns
    -------
    Result
        Per athlete ``individual_change`` (and the interval that holds for all athletes at
        once), ``individual_change_own`` with ``typical_error_own`` and
        ``detectable_change_own`` (noise between the athlete's own sessions and the squad's,
        when ``reliability`` is a Result), ``shrunken_change``, ``drift_expected`` of an extreme baseline; per group
        ``response_sd``. Points ``individual``: one row per athlete and metric.

    Raises
    ------
    StatsError
        When sessions, metrics or typical errors are missing.

    Notes
    -----
    Change ± t · SE with SE = TE √(1/k₁ + 1/k₂) over sessions (Hopkins 2000, with t instead of
    1.96). The shrunken estimate draws each change towards the group mean by the share of
    noise; with no true spread of responses everyone gets the group mean. One typical error for
    everybody covers the noisiest quarter of a squad too rarely; ``individual_change_own`` mends
    most of it and is about a tenth wider on average.

    Examples
    --------
    >>> import cmjlab as cj
    >>> table = cj.simulate_sessions(seed=1, metrics=["jump_height_m"]).sessions
    >>> noise = cj.reliability(table, "jump_height_m", use=["base1", "base2"])
    >>> each = cj.change_individual(table, "jump_height_m", before="base2", after="post",
    ...                             reliability=noise)
    >>> len(each.rows("individual_change"))
    30
    """
    level = checks.level(level)
    sessions = checks.names("before", before)
    prepared = _prepared(table, metrics, sessions, after, control)
    role = "primary" if len(prepared.metrics) == 1 else "exploratory"
    rows = Rows(level=level)
    every: list[Pairs] = []
    points: list[pd.DataFrame] = []
    sentences: list[Sentence] = []
    skipped: dict[str, Reason] = {}
    for metric in prepared.metrics:
        pairs = _averaged_pairs(prepared, metric, sessions)
        every.append(pairs)
        noise = noise_or_reason(reliability, metric)
        if isinstance(noise, Reason):
            skipped[metric] = noise
            continue
        jumps = _jump_counts(prepared, pairs, sessions)
        own = noise_of_each(reliability, metric, pairs.athletes)
        people = Individuals(pairs, noise, sessions, prepared.after, jumps, control, own)
        points.append(add_individuals(rows, people, role))
        sentences += individual_sentences(people, rows)
    _refuse_nothing(prepared, every, sessions, skipped)
    for metric, why in skipped.items():
        rows.at(metric=metric, role=role).none("individual_change", why)
    more = [Note("no_typical_error", {"metric": m, "why": why}) for m, why in skipped.items()]
    return Result(
        kind="change_individual",
        table=rows.frame(),
        points={
            "pairs": pairs_frame(every),
            "individual": pd.concat(points, ignore_index=True),
            "left_out": left_out_frame(every),
        },
        settings={
            "metrics": prepared.metrics,
            "before": sessions,
            "after": prepared.after,
            "control": control,
            "groups": every_group(table),
            "level": level,
        },
        notes=(*left_out_notes(every), *best_notes(prepared.table), *_ALWAYS, *more),
        sentences=tuple(sentences),
    )


def _prepared(
    table: pd.DataFrame, metrics: Any, sessions: list[str], after: str, control: str | None
) -> Prepared:
    """Check table, sessions and control group."""
    if not sessions:
        raise StatsError("before: at least one baseline session is needed.")
    if after in sessions and len(sessions) > 1:
        raise StatsError(f"after: session {after!r} is also one of the baselines.")
    has_groups = isinstance(table, pd.DataFrame) and "group" in table
    if control is not None and not has_groups:
        raise StatsError("control is given, but the table has no column 'group'.")
    prepared = prepare(
        table,
        metrics,
        before=sessions[0],
        after=after,
        group="group" if has_groups else None,
        also=sessions[1:],
    )
    if control is not None:
        checks.one_of("control", control, prepared.group_order)
    return prepared


def _refuse_nothing(
    prepared: Prepared, every: list[Pairs], sessions: list[str], skipped: dict[str, Reason]
) -> None:
    """Raise when no metric has a typical error, or nobody has the sessions."""
    if len(skipped) == len(prepared.metrics):
        raise StatsError(" ".join(no_noise_text(m, why) for m, why in skipped.items()))
    if not any(p.athletes for p in every):
        raise StatsError(
            f"no athlete has values in {', '.join(sessions)} and {prepared.after}; nothing to compare."
        )


def _averaged_pairs(prepared: Prepared, metric: str, sessions: list[str]) -> Pairs:
    """Return pairs whose ``before`` is the mean of the baseline sessions."""
    columns = [prepared.values(metric, s) for s in (*sessions, prepared.after)]
    kept, values, left_out = [], [], []
    for athlete in dict.fromkeys(prepared.table["athlete"]):
        row = [c.get(athlete, np.nan) for c in columns]
        missing = tuple(
            (metric, s)
            for s, v in zip((*sessions, prepared.after), row, strict=True)
            if not np.isfinite(v)
        )
        if missing:
            left_out.append(LeftOut(str(athlete), missing))
        else:
            kept.append(str(athlete))
            values.append(row)
    array = np.asarray(values, dtype=np.float64).reshape(len(kept), len(columns))
    return Pairs(
        metric,
        tuple(kept),
        array[:, :-1].mean(axis=1) if len(kept) else np.empty(0),
        array[:, -1].copy(),
        np.array([prepared.groups.get(a, "") for a in kept], dtype=np.str_),
        np.empty((len(kept), 0)),
        tuple(left_out),
    )


def _jump_counts(prepared: Prepared, pairs: Pairs, sessions: list[str]) -> dict[str, Any]:
    """Return athlete to (jumps in each baseline, jumps after), when the table counts jumps."""
    if "n_jumps" not in prepared.table:
        return {}
    counts = prepared.table[["athlete", "session", "n_jumps"]].dropna()
    known = {
        (str(a), str(s)): float(n)
        for a, s, n in counts.itertuples(index=False)
        if np.isfinite(float(n)) and float(n) >= 1
    }
    out = {}
    for athlete in pairs.athletes:
        here = [known.get((athlete, s), np.nan) for s in (*sessions, prepared.after)]
        if np.isfinite(here).all():
            out[athlete] = (np.array(here[:-1]), np.array(here[-1:]))
    return out
