"""The page for coaches: what was done, what changed, how sure, what to do next."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from cmjlab.catalog import CHECKS
from cmjlab.plots.change import paired_figure
from cmjlab.plots.labels import metric_label, metric_unit, value_text
from cmjlab.report.blocks.data import Block, Heading, Items, Paragraph, Section, TableBlock
from cmjlab.report.blocks.format import (
    declared_change,
    estimate_of,
    interval_verdict,
    label_with_unit,
    mean_text,
    missing_reasons,
    percent_text,
    with_interval,
)
from cmjlab.report.build.context import Context
from cmjlab.report.sections.study_text import dated_sessions, group_sizes

#: Comparisons that the page for coaches names one by one.
_MOST_ADVICE = 3


def coach_section(context: Context) -> Section:
    """Return the first page."""
    say = context.words.say
    blocks: list[Block] = [
        Heading(say("coach.heading_done")),
        *_done(context),
        Heading(say("coach.heading_changed")),
        *_changed(context),
        Heading(say("coach.heading_sure")),
        *_sure(context),
        Heading(say("coach.heading_next")),
        Items(tuple(_next(context)), ordered=True),
        Paragraph(say("coach.caution"), "caution"),
    ]
    return Section("coach", say("titles.coach"), tuple(blocks))


def _done(context: Context) -> list[Block]:
    say, study = context.words.say, context.study
    jumps = context.analyses.jumps
    present = jumps.loc[jumps["error"].fillna("") == "", "athlete"].nunique()
    text = say(
        "coach.done",
        n_athletes=present,
        groups=group_sizes(context),
        n_sessions=len(study.sessions),
        sessions=dated_sessions(context),
        n_recorded=len(jumps),
        n_used=int(jumps["accepted"].sum()),
    )
    days = context.days_between(study.before, study.after)
    if study.plan.block_weeks > 0:
        text += " " + say(
            "coach.done_block",
            before=study.before, after=study.after, weeks=f"{study.plan.block_weeks:g}",
        )  # fmt: skip
    elif math.isfinite(days):
        text += " " + say(
            "coach.done_days", before=study.before, after=study.after, days=f"{days:g}"
        )
    return [Paragraph(text)]


def _changed(context: Context) -> list[Block]:
    say = context.words.say
    within = context.analyses.result("change_within")
    if within is None:
        reason = context.analyses.reasons.get("change_within", "")
        return [Paragraph(say("coach.no_change", reason=reason), "note")]
    metric, study = context.primary, context.study
    matters = declared_change(context.matters, metric)
    key = "coach.changed" if matters is not None else "coach.changed_undeclared"
    amount = value_text(metric, matters) if matters is not None else ""
    lead = say(
        key, metric=metric_label(metric), before=study.before, after=study.after, matters=amount
    )
    figure = paired_figure(within, metric, change_that_matters=context.matters)
    caption = say("groups.figure_paired", metric=metric_label(metric))
    return [
        Paragraph(lead, "lead"),
        change_table(context, metric),
        context.figure("paired_primary", figure, caption),
    ]


def change_table(context: Context, metric: str) -> TableBlock:
    """Return the change of each group in one measure, with the verdict of its interval."""
    say, study = context.words.say, context.study
    within = context.analyses.results["change_within"]
    pairs = within.points["pairs"]
    pairs = pairs[pairs["metric"] == metric]
    matters = declared_change(context.matters, metric)
    rows = []
    for _, row in within.rows("mean_change", metric=metric).iterrows():
        group = str(row["group"]) if pd.notna(row["group"]) else ""
        part = pairs[pairs["group"].fillna("").astype(str) == group]
        s = estimate_of(row)
        rows.append(
            (
                group or "all",
                str(s.n),
                mean_text(metric, part["before"], formula=context.study.method.asymmetry),
                mean_text(metric, part["after"], formula=context.study.method.asymmetry),
                with_interval(s, signed=True),
                interval_verdict(context.words, s, matters),
            )
        )
    level = percent_text(study.plan.level)
    return TableBlock(
        say("coach.table", metric=label_with_unit(metric), before=study.before, after=study.after),
        (
            say("columns.group"),
            say("columns.n"),
            say("columns.before"),
            say("columns.after"),
            f"{say('columns.change')} ({say('columns.interval', percent=level)})",
            say("columns.verdict"),
        ),
        tuple(rows),
        (False, True, True, True, True, False),
        missing_reasons(within.rows("mean_change", metric=metric)),
    )


def _sure(context: Context) -> list[Block]:
    say, study = context.words.say, context.study
    reliability = context.analyses.result("reliability")
    if reliability is None:
        reason = context.analyses.reasons.get("reliability", "")
        return [Paragraph(say("coach.sure_none", reason=reason))]
    out = []
    rows = reliability.rows("smallest_detectable_change", metric=context.primary)
    rows = rows[np.isfinite(rows["estimate"].astype(float))]
    if len(rows):
        out.append(
            say("coach.sure_one", sdc=value_text(context.primary, float(rows["estimate"].iloc[0])))
        )
    rows = reliability.rows("smallest_detectable_change_mean", metric=context.primary)
    rows = rows[np.isfinite(rows["estimate"].astype(float))]
    if len(rows):
        mean = value_text(context.primary, float(rows["estimate"].iloc[0]))
        out.append(say("coach.sure_mean", sdc=mean, n=int(rows["n"].iloc[0])))
    out.append(say("coach.sure_group", percent=percent_text(study.plan.level)))
    used = list(reliability.settings["use"])
    days = context.days_between(used[0], used[-1])
    if math.isfinite(days):
        out.append(say("coach.sure_block", days=f"{days:g}"))
    return [Items(tuple(out))]


def _next(context: Context) -> list[str]:
    """Return what follows from the numbers, most pressing first; each from one rule."""
    say, study = context.words.say, context.study
    out = []
    dropped = _only_decreases(context)
    if dropped:
        out.append(say("coach.next_drop", athletes=context.athlete_names(dropped)))
    missed = _missed(context)
    if missed:
        out.append(
            say("coach.next_test", after=study.after, athletes=context.athlete_names(missed))
        )
    out += _group_advice(context)
    out += _flag_advice(context)
    if declared_change(context.matters, context.primary) is None:
        out.append(say("coach.next_declare", metric=metric_label(context.primary)))
    out.append(say("coach.next_again"))
    return out


def _only_decreases(context: Context) -> list[str]:
    result = context.analyses.result("change_individual")
    if result is None:
        return []
    rows = result.rows("individual_change", metric=context.primary)
    return [str(a) for a, high in zip(rows["athlete"], rows["ci_high"], strict=True) if high < 0]


def _missed(context: Context) -> list[str]:
    """Return athletes with a value before but none after, unless they left for good."""
    study, sessions = context.study, context.analyses.sessions
    if not (study.before and study.after):
        return []
    has = (
        sessions[sessions[context.primary].notna()] if context.primary in sessions else sessions[:0]
    )
    names = has["session"].astype(str)
    before = dict.fromkeys(has.loc[names == study.before, "athlete"])
    after = set(has.loc[names == study.after, "athlete"])
    part = study.participation
    gone = set(part.loc[part["status"].isin(["left", "withdrawn", "excluded", "pain"]), "athlete"])
    return [a for a in before if a not in after and a not in gone]


def leading_kind(context: Context) -> str:
    """Return the statistic that leads when groups are compared, by how the groups came about."""
    result = context.analyses.result("change_between")
    formed = result.settings["assignment"] if result is not None else None
    clean = isinstance(formed, dict) and formed.get("session") != context.study.before
    return "change_difference" if clean else "adjusted_difference"


def leading_differences(context: Context) -> pd.DataFrame:
    """Return the difference rows on which advice may rest: the leading kind, else the adjusted."""
    result = context.analyses.result("change_between")
    if result is None:
        return pd.DataFrame()
    rows = result.rows(leading_kind(context), metric=context.primary)
    return rows.drop_duplicates("contrast")


def _group_advice(context: Context) -> list[str]:
    say = context.words.say
    unclear, out = [], []
    for _, row in leading_differences(context).iterrows():
        first, second = str(row["contrast"]).split(" - ", 1)
        s = estimate_of(row)
        if not s.has_interval or s.low <= 0 <= s.high:
            unclear.append(f"{first} against {second}")
        else:
            better = first if s.low > 0 else second
            name = f"{first} against {second}"
            size = f"{with_interval(s, signed=True)} {metric_unit(s.metric)}".rstrip()
            out.append(say("coach.next_groups_clear", contrast=name, better=better, size=size))
    if len(out) > _MOST_ADVICE:
        rest = len(out) - _MOST_ADVICE + 1
        out = [*out[: _MOST_ADVICE - 1], say("coach.next_groups_more", n=rest)]
    if unclear:
        out.append(say("coach.next_groups_unclear", contrast="; ".join(unclear)))
    return out


def _flag_advice(context: Context) -> list[str]:
    checks = context.analyses.checks
    seen = checks[checks["status"].isin(["warn", "fail"])]
    if seen.empty:
        return []
    counts = seen.groupby("code").size().sort_values(ascending=False)
    code = str(counts.index[0])
    rule = CHECKS.get(code)
    return [
        context.words.say(
            "coach.next_flag",
            flag=rule.label if rule else code.replace("_", " "),
            n=int(counts.iloc[0]),
            of=len(context.analyses.jumps),
            remedy=_sentence(rule.remedy) if rule else "",
        )
    ]


def _sentence(text: str) -> str:
    """Return a catalog text with a capital and a full stop."""
    return text[:1].upper() + text[1:].rstrip(".") + "." if text else ""
