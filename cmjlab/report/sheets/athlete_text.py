"""Words and table of one athlete's page, written from the numbers."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from cmjlab.plots.labels import metric_unit, value_text
from cmjlab.report.build.subgroups import StudySubgroups
from cmjlab.report.sheets.block import plain_rule
from cmjlab.results import Result
from cmjlab.stats.common.measures import BALANCE, FORCE_SHARE, PUSH, measure_label
from cmjlab.words.catalog import Words

if TYPE_CHECKING:
    from cmjlab.study.study import Study

#: A balance within this many SDs of the squad's middle is called middle; our own limit.
_MIDDLE = 0.5


def value_rows(
    table: pd.DataFrame,
    athlete: str,
    metrics: list[str],
    what: tuple[list[str], dict[str, float]],
) -> tuple[tuple[str, ...], ...]:
    """Return measure, value per session, typical error, and the squad's middle half.

    Parameters
    ----------
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
        unit = metric_unit(metric)
        cells = [_plain(metric, values[s][metric]) if s in values else "–" for s in sessions]
        error = f"± {_plain(metric, noise[metric], 1)}" if metric in noise else "–"
        rows.append((
            measure_label(metric) + (f" ({unit})" if unit else ""), *cells, error,
            _middle(table, metric, sessions),
        ))  # fmt: skip
    return tuple(rows)


def _plain(metric: str, value: float, extra: int = 0) -> str:
    """Return a value without its unit."""
    if not math.isfinite(value):
        return "–"
    unit = metric_unit(metric)
    text = value_text(metric, float(value), extra_decimals=extra) if unit else f"{value:.2f}"
    return text.removesuffix(f" {unit}") if unit else text


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
    if standing is None or not standing.notes:
        return ()
    frame = standing.points["standing"]
    mine = frame[(frame["athlete"] == athlete) & frame["reference_percentile"].notna()]
    return tuple(
        words.say(
            "athlete_summary.reference",
            metric=measure_label(str(r["metric"])), session=groups.session,
            percentile=f"{r['reference_percentile']:.0f}", source=r["remark"],
        )
        for r in mine.to_dict("records")
    )  # fmt: skip


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
            push=value_text(PUSH, row[PUSH]), force=f"{row[FORCE_SHARE] + 1:.2f}",
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


def _one_change(change: Result, who: tuple[str, str], study: Study, words: Words) -> list[str]:
    """Return the sentence on one measure's change, with what was declared to matter."""
    athlete, metric = who
    rows = change.rows("individual_change", metric=metric)
    rows = rows[rows["athlete"].astype(str) == athlete]
    if rows.empty or not math.isfinite(float(rows["estimate"].iloc[0])):
        return []
    row = rows.iloc[0]
    low, high = float(row["ci_low"]), float(row["ci_high"])
    key = "up" if low > 0 else "down" if high < 0 else "open"
    text = words.say(
        f"athlete_summary.change_{key}",
        metric=measure_label(metric), before=study.before, after=study.after,
        change=value_text(metric, float(row["estimate"]), signed=True),
        low=value_text(metric, low, signed=True), high=value_text(metric, high, signed=True),
        level=f"{100 * float(row['level']):g}",
    )  # fmt: skip
    likely = change.rows("shrunken_change", metric=metric)
    likely = likely[likely["athlete"].astype(str) == athlete]
    if len(likely) and math.isfinite(float(likely["estimate"].iloc[0])):
        best = value_text(metric, float(likely["estimate"].iloc[0]), signed=True)
        text += " " + words.say("athlete_summary.likely", change=best)
    matters = study.plan.change_that_matters.get(metric)
    if matters:
        text += " " + words.say(
            "athlete_summary.matters", amount=value_text(metric, matters, extra_decimals=0)
        )
    return [text]


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
        return (say("athlete_summary.by_hand", subgroup=name, reason=row["reason"]),)
    rule = plain_rule(str(row["rule"]))
    key = "placed_else" if rule == "else" else "placed"
    out = [say(f"athlete_summary.{key}", subgroup=name, rule=rule, session=groups.session)]
    p = float(row["probability"])
    if math.isfinite(p):
        if row["call"] == "clear":
            out.append(say("athlete_summary.sure", percent=_percent(p)))
        else:
            out.append(say("athlete_summary.close"))
    else:
        out.append(say("athlete_summary.sure_unknown"))
    return tuple(out)


def _percent(p: float) -> str:
    return "more than 99" if p > 0.99 else f"{100 * p:.0f}"
