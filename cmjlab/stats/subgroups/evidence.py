"""First the evidence, whether a split is worth making in this squad.

Two questions before any rule is applied. Does the measure behind the cut go with the outcome
here, and does the cut say more than the measure itself? And do athletes keep their place when
nothing was trained between two tests? When not, the answer is that the split is not supported.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from cmjlab import checks
from cmjlab.errors import StatsError
from cmjlab.results import Note, Reason, Result, Sentence, stored_reason
from cmjlab.stats.common.measures import explanations, strata
from cmjlab.stats.common.rows import Rows
from cmjlab.stats.common.tables import check_table, metric_names, refuse_infinite, sessions_to_use
from cmjlab.stats.reliability.reliability import reliability
from cmjlab.stats.subgroups.cut import (
    CANNOT_TELL,
    NOT_SUPPORTED,
    SUPPORTED,
    CutPart,
    add_cut,
    cut_sentences,
)
from cmjlab.stats.subgroups.noise import check_session, find_noise
from cmjlab.stats.subgroups.relation import error_frame
from cmjlab.stats.subgroups.repeat import add_repeat, repeat_sentence
from cmjlab.stats.subgroups.rules import check_columns, read_rules

#: Fewer athletes with both values give no repeatability.
_FEWEST = 3
#: Below this repeatability (ICC) placements are too noisy to act on; our own limit, no paper.
ICC_NEEDED = 0.7
#: The interval must show at least this much; half of the differences are then real.
ICC_LOWEST = 0.5


def threshold_evidence(
    table: pd.DataFrame,
    cut: float,
    *,
    metric: str = "relative_strength",
    outcome: str = "jump_height_m",
    session: str | None = None,
    within: str | Sequence[str] | None = "sex",
    level: float = 0.95,
) -> Result:
    """Ask whether a threshold separates the outcome in this squad.

    Parameters
    ----------
    table : pandas.DataFrame
        Sessions table.
    cut : float
        The declared threshold, in the metric's unit.
    metric, outcome : str
        Measure of the cut; what it should separate.
    session : str, optional
        Default the first baseline.
    within : str, sequence of str or None
        Strata analysed each alone.
    level : float

    Returns
    -------
    Result
        Rows ``outcome_slope`` (regression of outcome on the measure), ``correlation``,
        ``cut_difference`` (above - below, Welch) and ``cut_beyond_line`` (the step that the cut
        adds to the line); ``points["scatter"]``; ``settings["verdict"]`` per stratum:
        "supported" when the step beyond the line is clear (its interval leaves out zero, on the
        side of the difference); "line_only" when it is not and the difference is: more goes with
        more, and the cut is arbitrary; "not_supported" when the interval of the difference
        includes none of half the squad's SD; else "cannot_tell".

    Raises
    ------
    StatsError
        Unknown columns or session.

    Notes
    -----
    How often a straight line is called a step, and how often a real step is found, stands in
    ``tests/calibration/threshold.csv``. It takes the cut as declared; a cut that was searched
    for in the same data looks like a step far more often.

    Examples
    --------
    >>> import cmjlab as cj
    >>> study = cj.Study.open(cj.demo_study())
    >>> found = cj.threshold_evidence(study.sessions_table(), 1.4, session="base1")
    >>> found.settings["verdict"]
    {'female': 'cannot_tell'}
    """
    level = checks.level(level)
    data = check_table(table)
    metric_names(data, [metric, outcome])
    refuse_infinite(data, [metric, outcome])
    cut = float(checks.number("cut", cut))
    chosen = check_session(data, session)
    at = data["session"].astype(str) == chosen
    rows = Rows(level=level)
    verdicts: dict[str, str] = {}
    sentences: list[Sentence] = []
    points = []
    for name, mask in strata(data, within).items():
        part = data[mask & at]
        both = part[part[metric].notna() & part[outcome].notna()]
        found = CutPart(
            name, chosen, metric, outcome, cut,
            both[metric].to_numpy(float), both[outcome].to_numpy(float),
        )  # fmt: skip
        verdicts[name] = add_cut(rows, found)
        sentences += cut_sentences(found, rows, verdicts[name])
        points.append(
            pd.DataFrame({
                "stratum": name, "athlete": both["athlete"].astype(str), "x": both[metric],
                "y": both[outcome],
            })
        )  # fmt: skip
    notes = [Note("cut_is_a_choice"), *explanations([metric, outcome])]
    missing = data.loc[at & (data[metric].isna() | data[outcome].isna()), "athlete"]
    if len(missing):
        who = {"metric": metric, "other": outcome, "athletes": list(missing.astype(str))}
        notes.append(Note("not_both_values", who))
    return Result(
        "threshold",
        rows.frame(),
        points={"scatter": pd.concat(points, ignore_index=True), "noise": error_frame(data, [metric, outcome], within)},
        settings={"metric": metric, "outcome": outcome, "cut": cut, "session": chosen,
                  "within": within, "level": level, "verdict": verdicts},
        notes=tuple(notes),
        sentences=tuple(sentences),
    )  # fmt: skip


def split_repeatability(
    table: pd.DataFrame,
    rules: pd.DataFrame,
    *,
    sessions: tuple[str, str] | None = None,
    reliability: Any = None,
    within: str | Sequence[str] | None = "sex",
    level: float = 0.95,
) -> Result:
    """Ask whether a split repeats: the same squad, tested again with no training between.

    Parameters
    ----------
    table : pandas.DataFrame
        Sessions table.
    rules : pandas.DataFrame
        As for :func:`subgroup_athletes`; moves by a person play no part here.
    sessions : tuple of two str, optional
        Default the first two baselines.
    reliability : Result or mapping, optional
        Typical errors, as for :func:`subgroup_athletes`.
    within : str, sequence of str or None
    level : float

    Returns
    -------
    Result
        Rows ``split_icc`` per deciding metric, ``changed_group`` (seen) and
        ``changed_group_expected`` (from typical error alone, with limits; ``estimate`` and
        limits are counts of ``n``). ``points["both"]``: subgroup of each athlete in both
        sessions. ``settings["verdict"]`` per metric: "supported", "not_supported", "cannot_tell".

    Raises
    ------
    StatsError
        Fewer than two baselines, or rules that cannot be read.

    Notes
    -----
    Verdict (our own limits, no paper): supported when the ICC is at least 0.7 and its interval
    stays above 0.5; not supported when the ICC is below 0.5 or the whole interval below 0.7.

    Examples
    --------
    >>> import cmjlab as cj
    >>> study = cj.Study.open(cj.demo_study())
    >>> found = cj.split_repeatability(study.sessions_table(), study.subgroups)
    >>> int(found.value("changed_group"))
    4
    """
    level = checks.level(level)
    data = check_table(table)
    read = read_rules(rules)
    check_columns(read, data)
    refuse_infinite(data, read.metrics)
    pair = _two_sessions(data, sessions)
    masks = strata(data, within)
    noise = find_noise(data, read.metrics, reliability, masks)
    rows = Rows(level=level)
    verdicts = _add_iccs(rows, data, read.metrics, pair)
    both = add_repeat(rows, data, masks, (read, noise), pair)
    unknown = [Note("error_unknown", {"why": why}) for why in noise.missing.values()]
    return Result(
        "split repeatability",
        rows.frame(),
        points={"both": both},
        settings={"sessions": list(pair), "within": within, "level": level, "verdict": verdicts,
                  "subgroups": list(read.subgroups)},
        notes=(*explanations(read.metrics), *unknown),
        sentences=(*_icc_sentences(rows, verdicts), repeat_sentence(rows, pair)),
    )  # fmt: skip


def metric_repeatability(
    table: pd.DataFrame,
    metrics: str | Sequence[str],
    *,
    sessions: tuple[str, str] | None = None,
    level: float = 0.95,
) -> Result:
    """Ask whether measures repeat well enough to split a squad on them.

    Parameters
    ----------
    table : pandas.DataFrame
        Sessions table.
    metrics : str or sequence of str
        E.g. ``force_distance_balance``.
    sessions : tuple of two str, optional
        Default the first two baselines.
    level : float

    Returns
    -------
    Result
        Rows ``split_icc``; ``points["values"]``; verdicts as in :func:`split_repeatability`.

    Examples
    --------
    >>> import cmjlab as cj
    >>> table = cj.simulate_sessions(seed=1, metrics=["jump_height_m"]).sessions
    >>> found = cj.metric_repeatability(table, "jump_height_m", sessions=("base1", "base2"))
    >>> found.settings["verdict"]
    {'jump_height_m': 'supported'}
    """
    level = checks.level(level)
    data = check_table(table)
    names = metric_names(data, metrics)
    pair = _two_sessions(data, sessions)
    rows = Rows(level=level)
    verdicts = _add_iccs(rows, data, names, pair)
    part = data[data["session"].astype(str).isin(pair)]
    points = pd.concat(
        [
            pd.DataFrame({"metric": m, "athlete": part["athlete"], "session": part["session"].astype(str),
                          "value": part[m].astype(float)})
            for m in names
        ],
        ignore_index=True,
    )  # fmt: skip
    return Result(
        "measure repeatability",
        rows.frame(),
        points={"values": points},
        settings={"sessions": list(pair), "level": level, "verdict": verdicts},
        notes=explanations(names),
        sentences=_icc_sentences(rows, verdicts),
    )


def _two_sessions(table: pd.DataFrame, sessions: tuple[str, str] | None) -> tuple[str, str]:
    names = checks.names("sessions", sessions) if sessions else sessions_to_use(table)
    if len(names) < 2:
        raise StatsError(
            f"a second baseline is needed, found {', '.join(names) or 'none'}; without it nobody"
            " knows whether a split repeats."
        )
    first, second = (check_session(table, s) for s in names[:2])
    return first, second


def _add_iccs(
    rows: Rows, table: pd.DataFrame, metrics: Sequence[str], pair: tuple[str, str]
) -> dict[str, str]:
    """Add the repeatability of every measure; return the verdicts."""
    verdicts: dict[str, str] = {}
    counts = {m: _both(table, m, pair) for m in metrics}
    usable = [m for m in metrics if counts[m] >= _FEWEST]
    found = reliability(table, usable, use=list(pair), level=rows.level) if usable else None
    for metric in metrics:
        row = found.row("icc_c1", metric=metric).to_dict() if found and metric in usable else {}
        few = Reason("few_in_both_sessions", {"n": counts[metric]})
        why = stored_reason(row) if row else few
        here = rows.at(metric=metric, first=pair[1], second=pair[0], n=counts[metric])
        if not np.isfinite(row.get("estimate", np.nan)):
            here.none("split_icc", why or few)
            verdicts[metric] = CANNOT_TELL
            continue
        numbers = [float(row[c]) for c in ("estimate", "ci_low", "ci_high")]
        verdicts[metric] = icc_verdict(*numbers)
        here.at(n=row["n"]).add(
            "split_icc",
            numbers[0],
            limits=(numbers[1], numbers[2]),
            reason=why,
            remark=Reason(f"repeats_{verdicts[metric]}"),
            df=row["df"],
            df2=row["df2"],
            estimator="icc_consistency",
            interval_kind="exact_f",
        )
    return verdicts


def icc_verdict(estimate: float, low: float, high: float) -> str:
    """Return whether a measure repeats well enough to split on it."""
    if estimate < ICC_LOWEST or high < ICC_NEEDED:
        return NOT_SUPPORTED
    return SUPPORTED if estimate >= ICC_NEEDED and low >= ICC_LOWEST else CANNOT_TELL


def _icc_sentences(rows: Rows, verdicts: Mapping[str, str]) -> tuple[Sentence, ...]:
    return tuple(_icc_sentence(row, verdicts) for row in rows.records("split_icc"))


def _icc_sentence(row: Mapping[str, Any], verdicts: Mapping[str, str]) -> Sentence:
    metric = str(row["metric"])
    values: dict[str, Any] = {"before": row["second"], "after": row["first"]}
    if not np.isfinite(row["estimate"]):
        return Sentence("repeats.unknown", metric, values={**values, "why": row["reason"]})
    kind = "with_interval" if np.isfinite(row["ci_low"]) else "alone"
    numbers = {c: float(row[c]) for c in ("estimate", "ci_low", "ci_high", "level")}
    values |= {"athletes": int(row["n"]), "icc": Sentence(f"repeats.{kind}", values=numbers)}
    return Sentence(f"repeats.{verdicts[metric]}", metric, values=values)


def _both(table: pd.DataFrame, metric: str, pair: tuple[str, str]) -> int:
    part = table[table["session"].astype(str).isin(pair) & table[metric].notna()]
    return int((part.groupby("athlete").size() == 2).sum()) if len(part) else 0


__all__ = [
    "icc_verdict",
    "metric_repeatability",
    "split_repeatability",
    "threshold_evidence",
]
