"""First the evidence, whether a split is worth making in this squad.

Two questions before any rule is applied. Does the measure behind the cut go with the outcome
here, and does the cut say more than the measure itself? And do athletes keep their place when
nothing was trained between two tests? When not, the answer is that the split is not supported.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd

from cmjlab import checks
from cmjlab.errors import StatsError
from cmjlab.results import Note, Result
from cmjlab.stats.common.measures import measure_label, strata
from cmjlab.stats.common.tables import check_table, metric_names, sessions_to_use, statistics_frame
from cmjlab.stats.reliability.reliability import reliability
from cmjlab.stats.subgroups.cut import CutPart, cut_rows, cut_sentences
from cmjlab.stats.subgroups.noise import check_session, find_noise, refuse_infinite
from cmjlab.stats.subgroups.repeat import repeat_rows, repeat_sentence
from cmjlab.stats.subgroups.rules import check_columns, read_rules

SUPPORTED, NOT_SUPPORTED, CANNOT_TELL = "supported", "not supported", "cannot tell"
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
        "supported" when the interval of the difference holds only one direction, "not
        supported" when the interval holds no difference of half the squad's SD, else "cannot
        tell".

    Raises
    ------
    StatsError
        Unknown columns or session.
    """
    level = checks.level(level)
    data = check_table(table)
    metric_names(data, [metric, outcome])
    refuse_infinite(data, [metric, outcome])
    cut = float(checks.number("cut", cut))
    chosen = check_session(data, session)
    at = data["session"].astype(str) == chosen
    rows: list[dict[str, Any]] = []
    verdicts, sentences, points = {}, [], []
    for name, mask in strata(data, within).items():
        part = data[mask & at]
        both = part[part[metric].notna() & part[outcome].notna()]
        found = CutPart(
            name, chosen, metric, outcome, cut,
            both[metric].to_numpy(float), both[outcome].to_numpy(float),
        )  # fmt: skip
        more, verdict = cut_rows(found, level)
        rows += more
        verdicts[name] = verdict
        sentences += cut_sentences(found, more, verdict)
        points.append(
            pd.DataFrame({
                "stratum": name, "athlete": both["athlete"].astype(str), "x": both[metric],
                "y": both[outcome],
            })
        )  # fmt: skip
    missing = data.loc[at & (data[metric].isna() | data[outcome].isna()), "athlete"]
    notes = [
        Note(
            "cut_is_a_choice",
            "A cut throws away how far an athlete is from it; the line uses it. No cut has a source"
            " of its own in this squad: it is a choice that was declared.",
        )
    ]
    if len(missing):
        notes.append(Note("no_value", f"Without both values: {', '.join(missing.astype(str))}."))
    return Result(
        "threshold",
        statistics_frame(rows),
        points={"scatter": pd.concat(points, ignore_index=True), "noise": _errors(data, metric, outcome, within)},
        settings={"metric": metric, "outcome": outcome, "cut": cut, "session": chosen,
                  "within": within, "level": level, "verdict": verdicts},
        notes=tuple(notes),
        sentences=tuple(sentences),
    )  # fmt: skip


def _errors(table: pd.DataFrame, metric: str, outcome: str, within: Any) -> pd.DataFrame:
    """Return typical errors for the bars of the figure; empty where they are not known."""
    found = find_noise(table, [metric, outcome], None, strata(table, within))
    rows = []
    if found.noise is not None:
        rows = list(zip(found.metrics, found.noise.error, strict=True))
    return pd.DataFrame(rows, columns=["metric", "typical_error"])


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
        sessions. ``settings["verdict"]`` per metric: "supported", "not supported", "cannot tell".

    Raises
    ------
    StatsError
        Fewer than two baselines, or rules that cannot be read.

    Notes
    -----
    Verdict (our own limits, no paper): supported when the ICC is at least 0.7 and its interval
    stays above 0.5; not supported when the ICC is below 0.5 or the whole interval below 0.7.
    """
    level = checks.level(level)
    data = check_table(table)
    read = read_rules(rules)
    check_columns(read, data)
    refuse_infinite(data, read.metrics)
    pair = _two_sessions(data, sessions)
    masks = strata(data, within)
    noise = find_noise(data, read.metrics, reliability, masks)
    rows, verdicts, sentences = _icc_rows(data, read.metrics, pair, level)
    more, both = repeat_rows(data, masks, read, noise, (pair, level))
    sentences.append(repeat_sentence(more, pair))
    notes = [Note("not_estimable", f"Not estimable: {why}.") for why in noise.missing.values()]
    return Result(
        "split repeatability",
        statistics_frame(rows + more),
        points={"both": both},
        settings={"sessions": list(pair), "within": within, "level": level, "verdict": verdicts,
                  "subgroups": list(read.subgroups)},
        notes=tuple(notes),
        sentences=tuple(sentences),
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
    """
    level = checks.level(level)
    data = check_table(table)
    names = metric_names(data, metrics)
    pair = _two_sessions(data, sessions)
    rows, verdicts, sentences = _icc_rows(data, names, pair, level)
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
        statistics_frame(rows),
        points={"values": points},
        settings={"sessions": list(pair), "level": level, "verdict": verdicts},
        sentences=tuple(sentences),
    )


def _two_sessions(table: pd.DataFrame, sessions: tuple[str, str] | None) -> tuple[str, str]:
    names = [str(s) for s in (sessions or sessions_to_use(table))]
    if len(names) < 2:
        raise StatsError(
            f"a second baseline is needed, found {', '.join(names) or 'none'}; without it nobody"
            " knows whether a split repeats."
        )
    first, second = (check_session(table, s) for s in names[:2])
    return first, second


def _icc_rows(
    table: pd.DataFrame, metrics: Sequence[str], pair: tuple[str, str], level: float
) -> tuple[list[dict[str, Any]], dict[str, str], list[str]]:
    """Return repeatability, verdict and sentence of every measure."""
    rows, verdicts, sentences = [], {}, []
    usable = [m for m in metrics if _both(table, m, pair) >= 3]
    found = reliability(table, usable, use=list(pair), level=level) if usable else None
    for metric in metrics:
        base = {"metric": metric, "statistic": "split_icc", "contrast": f"{pair[1]} with {pair[0]}",
                "unit": "", "method": "ICC(C,1)"}  # fmt: skip
        part = found.rows("icc_c1", metric=metric) if found and metric in usable else None
        if part is None or not len(part) or pd.isna(part["estimate"].iloc[0]):
            n = _both(table, metric, pair)
            why = f"{n} athletes with {metric} in both sessions"
            rows.append(base | {"n": n, "text": f"not estimable: {why}"})
            verdicts[metric] = CANNOT_TELL
            sentences.append(f"{measure_label(metric)}: whether it repeats cannot be told ({why}).")
            continue
        row = part.iloc[0]
        numbers = {k: row[k] for k in ("estimate", "ci_low", "ci_high", "level", "n", "df", "df2")}
        verdicts[metric] = icc_verdict(
            float(row["estimate"]), float(row["ci_low"]), float(row["ci_high"])
        )
        rows.append(base | numbers | {"text": verdicts[metric]})
        sentences.append(_icc_sentence(metric, row, verdicts[metric]))
    return rows, verdicts, sentences


def icc_verdict(estimate: float, low: float, high: float) -> str:
    """Return whether a measure repeats well enough to split on it."""
    if estimate < ICC_LOWEST or high < ICC_NEEDED:
        return NOT_SUPPORTED
    return SUPPORTED if estimate >= ICC_NEEDED and low >= ICC_LOWEST else CANNOT_TELL


def _icc_sentence(metric: str, row: pd.Series, verdict: str) -> str:
    numbers = f"ICC(C,1) {row['estimate']:.2f} ({row['ci_low']:.2f} to {row['ci_high']:.2f}, {int(row['n'])} athletes)"
    words = {
        SUPPORTED: "athletes keep their place; a split on it is supported by its repeatability",
        NOT_SUPPORTED: "athletes do not keep their place; a split on it is not supported in this squad",
        CANNOT_TELL: f"whether a split on it repeats cannot be told from {int(row['n'])} athletes",
    }
    return f"{measure_label(metric)}: {numbers}: {words[verdict]}."


def _both(table: pd.DataFrame, metric: str, pair: tuple[str, str]) -> int:
    part = table[table["session"].astype(str).isin(pair) & table[metric].notna()]
    return int((part.groupby("athlete").size() == 2).sum()) if len(part) else 0


__all__ = [
    "icc_verdict",
    "metric_repeatability",
    "split_repeatability",
    "threshold_evidence",
]
