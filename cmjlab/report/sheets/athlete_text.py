"""Words and table of one athlete's page, written from the numbers."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from cmjlab.catalog.direction import reading
from cmjlab.plots.labels import metric_unit, value_text
from cmjlab.report.blocks.format import label_with_unit, number_text
from cmjlab.report.blocks.rule_words import rule_words
from cmjlab.report.build.subgroups import StudySubgroups
from cmjlab.results import Result, stored_reason
from cmjlab.stats.common.measures import BALANCE, FORCE_SHARE, PUSH
from cmjlab.stats.subgroups.rules import ELSE
from cmjlab.stats.subgroups.subgroups import CLEAR
from cmjlab.words.catalog import Words

if TYPE_CHECKING:
    from cmjlab.study.study import Study

#: A balance within this many SDs of the squad's middle is called middle; our own limit.
_MIDDLE = 0.5
#: A placement more certain than this is not given to the last percent.
_VERY_SURE = 0.99
#: Measures that few know by name: an explanation stands below the table.
_EXPLAINED = (PUSH, FORCE_SHARE, BALANCE)


def value_rows(
    words: Words,
    table: pd.DataFrame,
    athlete: str,
    metrics: list[str],
    what: tuple[list[str], dict[str, float]],
) -> tuple[tuple[str, ...], ...]:
    """Return measure, value per session, typical error, and the squad's middle half.

    Parameters
    ----------
    words : Words
    table : pandas.DataFrame
        Sessions table.
    athlete : str
    metrics : list of str
    what : (sessions in order, typical errors)
    """
    sessions, noise = what
    mine = table[table["athlete"].astype(str) == athlete]
    values = {str(r["session"]): r for r in mine.to_dict("records")}
    rows = []
    for metric in metrics:
        cells = [_plain(metric, values[s][metric]) if s in values else "–" for s in sessions]
        error = f"± {_plain(metric, noise[metric], 1)}" if metric in noise else "–"
        middle = _middle(table, metric, sessions)
        rows.append((label_with_unit(words, metric), *cells, error, middle))
    return tuple(rows)


def explained(words: Words, metrics: list[str]) -> tuple[str, ...]:
    """Return what the measures of a page mean that few know by name."""
    return tuple(words.say(f"explained.{m}") for m in metrics if m in _EXPLAINED)


def _plain(metric: str, value: float, extra: int = 0) -> str:
    """Return a value without its unit; a share or ratio with two decimals."""
    if not math.isfinite(value):
        return "–"
    if metric_unit(metric):
        return number_text(metric, float(value), extra=extra)
    return f"{value:.2f}"


def _middle(table: pd.DataFrame, metric: str, sessions: list[str]) -> str:
    """Return the middle half of the squad in the last session with values."""
    for session in reversed(sessions):
        found = table.loc[table["session"].astype(str) == session, metric].dropna()
        if len(found) >= 4:
            low, high = np.quantile(found, [0.25, 0.75])
            return f"{_plain(metric, low)} – {_plain(metric, high)}"
    return "–"


def reference_lines(groups: StudySubgroups, athlete: str, words: Words) -> tuple[str, ...]:
    """Return where the athlete stands in the user's reference; nothing when there is none."""
    standing = groups.results.get("standing")
    if standing is None or not standing.settings["sources"]:
        return ()
    frame = standing.points["standing"]
    mine = frame[(frame["athlete"] == athlete) & frame["reference_percentile"].notna()]
    return tuple(
        words.say(
            "athlete_summary.reference",
            metric=str(r["metric"]),
            session=groups.session,
            percentile=float(r["reference_percentile"]),
            source=_reason(r, "remark_code", words),
        )
        for r in mine.to_dict("records")
    )


def _reason(row: Mapping[str, Any], column: str, words: Words) -> str:
    reason = stored_reason(row, column)
    return words.phrase(reason) if reason else "–"


def how_paragraphs(groups: StudySubgroups, athlete: str, words: Words) -> tuple[str, ...]:
    """Return how the jump was produced: force share and push distance, and where they lead."""
    table = groups.sessions
    rows = table[
        (table["athlete"].astype(str) == athlete) & (table["session"].astype(str) == groups.session)
    ]
    if FORCE_SHARE not in table or rows.empty or rows[[FORCE_SHARE, PUSH]].isna().to_numpy().any():
        return (words.say("athlete_summary.how_unknown", session=groups.session),)
    row = rows.iloc[0]
    say = words.say
    out = [
        say(
            "athlete_summary.how",
            session=groups.session, height=value_text("jump_height_m", row["jump_height_m"]),
            push=value_text(PUSH, row[PUSH]), force=float(row[FORCE_SHARE]) + 1,
        )
    ]  # fmt: skip
    repeat = groups.results.get("measures")
    verdict = repeat.settings["verdict"].get(BALANCE, "") if repeat is not None else ""
    balance = float(row[BALANCE])
    if verdict != "supported":
        out.append(say("athlete_summary.balance_unknown"))
    elif math.isfinite(balance):
        side = "middle" if abs(balance) < _MIDDLE else "force" if balance > 0 else "distance"
        out.append(say(f"athlete_summary.balance_{side}"))
    return tuple(out)


def change_paragraphs(
    change: Result | None, athlete: str, study: Study, words: Words
) -> tuple[str, ...]:
    """Return the changes of the primary and the declared measures with intervals, in words."""
    if change is None:
        return ()
    declared = study.plan.change_that_matters
    out: list[str] = []
    for metric in dict.fromkeys([study.plan.primary_metric, *declared]):
        out += _one_change(change, (athlete, metric), study, words)
    return tuple(out) or (
        words.say("athlete_summary.no_change", before=study.before, after=study.after),
    )


def _row(change: Result, statistic: str, metric: str, athlete: str) -> pd.Series[Any] | None:
    """Return the athlete's row of a statistic; None where there is no number."""
    rows = change.rows(statistic, metric=metric)
    rows = rows[(rows["athlete"].astype(str) == athlete) & rows["estimate"].notna()]
    return None if rows.empty else rows.iloc[0]


def _one_change(change: Result, who: tuple[str, str], study: Study, words: Words) -> list[str]:
    """Return the sentence on one measure's change, with what was declared to matter."""
    athlete, metric = who
    row = _row(change, "individual_change", metric, athlete)
    if row is None:
        return []
    low, high = float(row["ci_low"]), float(row["ci_high"])
    shared = {"metric": metric, "before": study.before, "after": study.after}
    out = [
        words.say(
            "athlete_summary.change",
            **shared,
            change=float(row["estimate"]),
            low=low,
            high=high,
            level=float(row["level"]),
        ),
        words.say(f"athlete_summary.change_{reading(metric, low, high)}"),
    ]
    own, error, likely = (
        _row(change, statistic, metric, athlete)
        for statistic in ("individual_change_own", "typical_error_own", "shrunken_change")
    )
    if own is not None and error is not None:
        out.append(
            words.say(
                "athlete_summary.own",
                metric=metric,
                error=float(error["estimate"]),
                low=float(own["ci_low"]),
                high=float(own["ci_high"]),
            )
        )
    if likely is not None:
        best = float(likely["estimate"])
        out.append(words.say("athlete_summary.likely", metric=metric, change=best))
    matters = study.plan.change_that_matters.get(metric)
    if matters:
        out.append(words.say("athlete_summary.matters", metric=metric, matters=float(matters)))
    return [" ".join(out)]


def place_paragraphs(groups: StudySubgroups, athlete: str, words: Words) -> tuple[str, ...]:
    """Return the subgroup, why, and how sure."""
    placement = groups.results.get("placement")
    say = words.say
    if placement is None:
        return (say("athlete_summary.no_rules"),)
    people = placement.points["placements"]
    found = people[people["athlete"] == athlete]
    if found.empty:
        return (say("athlete_summary.not_placed", session=groups.session),)
    row = found.iloc[0]
    name = str(row["subgroup"]).replace("_", " ") or "–"
    if row["moved"] == "yes":
        return (say("athlete_summary.moved", subgroup=name, reason=row["reason"]),)
    if not row["by_rules"]:
        return (
            say(
                "athlete_summary.by_hand",
                subgroup=name,
                reason=_reason(row.to_dict(), "reason_code", words),
            ),
        )
    rule = str(row["rule"])
    key = "placed_else" if rule == ELSE else "placed"
    said = rule_words(rule, words)
    out = [say(f"athlete_summary.{key}", subgroup=name, rule=said, session=groups.session)]
    p = float(row["probability"])
    if not math.isfinite(p):
        out.append(say("athlete_summary.sure_unknown"))
    elif row["call"] != CLEAR:
        out.append(say("athlete_summary.close"))
    elif p > _VERY_SURE:
        out.append(say("athlete_summary.very_sure"))
    else:
        out.append(say("athlete_summary.sure", percent=100 * p))
    return tuple(out)
