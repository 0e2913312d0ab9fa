"""The page for coaches: what was done, what changed, how certain it is, what to do next."""

from __future__ import annotations

import math

import pandas as pd

from cmjlab.plots.change import paired_figure
from cmjlab.report.blocks.data import Block, Heading, Items, Paragraph, Section, TableBlock
from cmjlab.report.blocks.format import (
    cell,
    declared_change,
    estimate_of,
    mean_text,
    missing_reasons,
    title_with_unit,
)
from cmjlab.report.blocks.verdict import verdict
from cmjlab.report.build.context import Context
from cmjlab.report.sections.advice import advice
from cmjlab.report.sections.differences import difference_table
from cmjlab.report.sections.study_text import dated_sessions, group_sizes


def coach_section(context: Context) -> Section:
    """Return the first page."""
    say = context.words.say
    blocks: list[Block] = [
        Heading(say("coach.heading_done")),
        Paragraph(_done(context)),
        Heading(say("coach.heading_changed")),
        *_changed(context),
        Heading(say("coach.heading_sure")),
        *_sure(context),
        Heading(say("coach.heading_next")),
        Items(tuple(advice(context)), ordered=True),
        Paragraph(say("coach.caution"), "caution"),
    ]
    return Section("coach", say("titles.coach"), tuple(blocks))


def _done(context: Context) -> str:
    say, study = context.words.say, context.study
    jumps = context.analyses.jumps
    text = say(
        "coach.done",
        n_athletes=jumps.loc[jumps["error"].fillna("") == "", "athlete"].nunique(),
        groups=group_sizes(context),
        n_sessions=len(study.sessions),
        sessions=dated_sessions(context),
        n_recorded=len(jumps),
        n_used=int(jumps["accepted"].sum()),
    )
    block = {"before": study.before, "after": study.after}
    days = context.days_between(study.before, study.after)
    if study.plan.block_weeks > 0:
        return f"{text} {say('coach.done_block', **block, weeks=study.plan.block_weeks)}"
    if math.isfinite(days):
        return f"{text} {say('coach.done_days', **block, days=days)}"
    return text


def _changed(context: Context) -> list[Block]:
    say = context.words.say
    within = context.analyses.result("change_within")
    if within is None:
        reason = context.why_missing("change_within")
        return [Paragraph(say("coach.no_change", reason=reason), "note")]
    metric, study = context.primary, context.study
    matters = declared_change(context.matters, metric)
    key = "coach.changed" if matters is not None else "coach.changed_undeclared"
    lead = say(key, metric=metric, before=study.before, after=study.after, matters=matters)
    figure = paired_figure(within, metric, change_that_matters=context.matters)
    return [
        Paragraph(lead, "lead"),
        change_table(context, metric),
        context.figure("paired_primary", figure, say("groups.figure_paired", metric=metric)),
        *_neither(context),
    ]


def change_table(context: Context, metric: str) -> TableBlock:
    """Return the change of each group in one measure, with the verdict of its interval."""
    words, study = context.words, context.study
    say = words.say
    within = context.analyses.results["change_within"]
    pairs = within.points["pairs"]
    pairs = pairs[pairs["metric"] == metric]
    matters = declared_change(context.matters, metric)
    rows, changes = [], []
    for _, row in within.rows("mean_change", metric=metric).iterrows():
        group = str(row["group"]) if pd.notna(row["group"]) else ""
        part = pairs[pairs["group"].fillna("").astype(str) == group]
        change = estimate_of(row)
        changes.append(change)
        rows.append(
            (
                group or say("cell.everybody"),
                str(change.n),
                mean_text(metric, part["before"], formula=study.method.asymmetry),
                mean_text(metric, part["after"], formula=study.method.asymmetry),
                cell(words, change, signed=True),
                words.phrase(verdict(change, matters)),
            )
        )
    columns = ("group", "n", "before", "after", "change", "verdict")
    return TableBlock(
        title_with_unit(words, "coach.table", metric, before=study.before, after=study.after),
        tuple(say(f"columns.{c}", level=study.plan.level) for c in columns),
        tuple(rows),
        (False, True, True, True, True, False),
        missing_reasons(words, changes),
    )


def _neither(context: Context) -> list[Block]:
    """Return both estimates of the differences between groups where neither of them leads."""
    result, metric = context.analyses.result("change_between"), context.primary
    if result is None or result.leading:
        return []
    title = title_with_unit(context.words, "coach.neither_title", metric)
    why = Paragraph(context.words.say("coach.neither_why"))
    return [difference_table(context, result, [metric], title), why]


def _sure(context: Context) -> list[Block]:
    words, study = context.words, context.study
    reliability = context.analyses.result("reliability")
    if reliability is None:
        reason = context.why_missing("reliability")
        return [Paragraph(words.say("coach.sure_none", reason=reason))]
    out = []
    for sentence in reliability.sentences_about(context.primary, ""):
        if sentence.key == "reliability.smallest_detectable":
            out.append(f"{words.phrase(sentence)} {words.say('coach.sure_noise')}")
    out.append(words.say("coach.sure_group", level=study.plan.level))
    used = [str(s) for s in reliability.settings["use"]]
    days = context.days_between(used[0], used[-1])
    if math.isfinite(days):
        out.append(words.say("coach.sure_block", days=days))
    return [Items(tuple(out))]
