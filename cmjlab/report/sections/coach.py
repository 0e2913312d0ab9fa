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
from cmjlab.report.build.analyses import has_groups
from cmjlab.report.build.context import Context
from cmjlab.report.build.leading_rows import first_row
from cmjlab.report.sections.advice import advice
from cmjlab.report.sections.differences import difference_table
from cmjlab.report.sections.stopped import block_stops, not_shown, stop_blocks
from cmjlab.report.sections.study_text import dated_sessions, group_sizes
from cmjlab.report.sections.targets import short_name, target_blocks
from cmjlab.results import Result, Sentence
from cmjlab.study.check.doubt import Doubt

#: Height of the figure that leaves the page on one sheet.
_FIGURE_CM = 7.4


def coach_section(context: Context) -> Section:
    """Return the first page."""
    say = context.words.say
    blocks: list[Block] = [
        *stop_blocks(context),
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
    targets = context.analyses.result("targets")
    if targets is not None:
        return target_blocks(context, targets)
    metric, study = context.primary, context.study
    matters = declared_change(context.matters, metric)
    key = "coach.changed" if matters is not None else "coach.changed_undeclared"
    lead = say(key, metric=metric, before=study.before, after=study.after, matters=matters)
    out: list[Block] = [
        Paragraph(lead, "lead"),
        *_no_targets(context),
        change_table(context, metric),
    ]
    if block_stops(context, metric):  # figure and differences hold every group
        return out
    figure = paired_figure(
        within, metric, change_that_matters=context.matters, height_cm=_FIGURE_CM
    )
    caption = say("groups.figure_paired", metric=metric)
    return [*out, context.figure("paired_primary", figure, caption), *_neither(context)]


def _no_targets(context: Context) -> list[Block]:
    """Return a line that asks for targets, or why those that are there have no answer."""
    say = context.words.say
    if len(context.study.targets):
        reason = context.why_missing("targets")
        return [Paragraph(say("coach.targets_unanswered", reason=reason), "note")]
    if not has_groups(context.analyses.sessions):
        return []
    return [Paragraph(say("coach.ask_for_targets", metric=context.primary))]


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
        doubts = block_stops(context, metric, (group,))
        if doubts:
            why = not_shown(context, doubts)
            rows.append((group or say("cell.everybody"), "–", "–", "–", "–", why))
            continue
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


def _noise(context: Context, reliability: Result) -> list[str]:
    """Return what one athlete's change has to exceed: in the primary measure, or in each target."""
    words, targets = context.words, context.analyses.result("targets")
    if targets is None:
        return [
            f"{words.phrase(sentence)} {words.say('coach.sure_noise')}"
            for sentence in reliability.sentences_about(context.primary, "")
            if sentence.key == "reliability.smallest_detectable"
        ]
    named = dict.fromkeys(targets.points["targets"]["metric"])
    rows = {m: first_row(reliability, "smallest_detectable_change", m) for m in named}
    sizes = [
        _size(context, m, float(row["estimate"]))
        for m, row in rows.items()
        if row is not None and pd.notna(row["estimate"])
    ]
    return [words.say("coach.sure_each", sizes=sizes)] if sizes else []


def _size(context: Context, metric: str, size: float) -> Sentence:
    values = {"size": size, "name": short_name(context, metric)}
    return Sentence("target_page.size", metric, values=values)


def _noise_stops(context: Context, reliability: Result) -> tuple[Doubt, ...]:
    """Return the doubts on which the noise that page one names rests."""
    targets = context.analyses.result("targets")
    metrics = [context.primary] if targets is None else targets.points["targets"]["metric"]
    used = [str(s) for s in reliability.settings["use"]]
    found = [d for m in dict.fromkeys(metrics) for d in context.stops.of(str(m), used)]
    return tuple({id(d): d for d in found}.values())


def _sure(context: Context) -> list[Block]:
    words, study = context.words, context.study
    reliability = context.analyses.result("reliability")
    if reliability is None:
        reason = context.why_missing("reliability")
        return [Paragraph(words.say("coach.sure_none", reason=reason))]
    out = _noise(context, reliability)
    doubts = _noise_stops(context, reliability)
    if doubts:
        out = [words.say("stopped.noise", doubts=[d.short for d in doubts])]
    targets = context.analyses.result("targets")
    group = "coach.sure_group" if targets is None else "coach.sure_targets"
    out.append(words.say(group, level=study.plan.level))
    used = [str(s) for s in reliability.settings["use"]]
    days = context.days_between(used[0], used[-1])
    if math.isfinite(days):
        out.append(words.say("coach.sure_block", days=days))
    return [Items(tuple(out))]
