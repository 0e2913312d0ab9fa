"""Methods, results and table of a paper: numbers and words in, blocks out."""

from __future__ import annotations

import math
from dataclasses import replace

import pandas as pd

from cmjlab import __version__
from cmjlab.plots.change import paired_figure
from cmjlab.report.blocks.data import Block, Heading, Items, Paragraph, Section, TableBlock
from cmjlab.report.blocks.format import label_with_unit, number_text
from cmjlab.report.blocks.printed_tests import PrintedTests, kept_together
from cmjlab.report.build.context import Context
from cmjlab.report.build.paper import (
    GroupNumbers,
    JointTest,
    MeasureNumbers,
    PaperNumbers,
    g_of_difference,
)
from cmjlab.report.sections.differences import leading_rows
from cmjlab.report.sections.flow import why_missing
from cmjlab.report.sections.methods import methods_section
from cmjlab.report.sections.stopped import block_stops, not_shown, stop_blocks
from cmjlab.report.sections.study_text import group_sizes

#: Paragraphs of the report's methods that a paper needs, too: recording, signal, quality.
_MEASURED = 3
_LEFT = ("ethics", "people", "training", "protocol", "size", "privacy")


def paper_methods(context: Context, numbers: PaperNumbers) -> Section:
    """Return the methods: participants, measurement, statistics."""
    measured = [b for b in methods_section(context).blocks if isinstance(b, Paragraph)]
    blocks: list[Block] = [
        *stop_blocks(context),
        Paragraph(context.words.say("paper.use"), "note"),
        Paragraph(_participants(context, numbers)),
        *(replace(b, see=()) for b in measured[:_MEASURED]),
        Paragraph(_statistics(context, numbers)),
        Paragraph(_declared(context)),
    ]
    context.figures.clear()  # the jump of the report's methods
    return Section("methods", context.words.say("paper.title_methods"), tuple(blocks))


def _participants(context: Context, numbers: PaperNumbers) -> str:
    say, flow = context.words.say, context.analyses.flow
    block = (numbers.before, numbers.after)
    rows = [r for r in flow["sessions"].to_dict("records") if str(r["session"]) in block]
    tested = [say("paper.tested", tested=r["tested"], session=r["session"]) for r in rows]
    primary = numbers.measures[0]
    used = [
        say("paper.in_group", group=g.group or say("paper.all_athletes"), n=g.n)
        for g in primary.groups
    ]
    text = say(
        "paper.participants",
        n=int(rows[0]["planned"]) if rows else len(context.study.athletes),
        groups=group_sizes(context),
        sessions=tested,
        before=numbers.before,
        after=numbers.after,
        metric=primary.metric,
        n_used=sum(g.n for g in primary.groups),
        used=", ".join(used),
    )
    missing = flow["missing"]
    missing = missing[missing["session"].astype(str).isin(block)]
    if missing.empty:
        return f"{text} {say('paper.no_dropouts')}"
    reasons = [(str(r["session"]), why_missing(context, r)) for r in missing.to_dict("records")]
    counts = pd.Series(reasons).value_counts(sort=False)
    each = [say("paper.dropout", n=n, session=s, reason=why) for (s, why), n in counts.items()]
    return f"{text} {say('paper.dropouts', reasons=each)}"


def _statistics(context: Context, numbers: PaperNumbers) -> str:
    say = context.words.say
    parts = [say("paper.statistics")]
    sessions = {"before": numbers.before, "after": numbers.after}
    parts += [say(f"paper.joint_{kind}", **sessions) for kind in sorted(numbers.kinds)]
    parts += [say("paper.share")] if numbers.kinds else []
    adjusted = any(m.joint and math.isfinite(m.joint.p_adjusted) for m in numbers.measures)
    key = "paper.declared_adjusted" if adjusted else "paper.declared"
    parts.append(say(key, metric=numbers.measures[0].metric))
    parts.append(say("paper.intervals", level=numbers.level, version=__version__))
    return " ".join(parts)


def _declared(context: Context) -> str:
    """Return how the groups came about, and how the analysis stands to a plan of before."""
    say, plan, state = context.words.say, context.study.plan, context.plan_state
    parts = []
    if context.analyses.result("change_between") is not None:
        key = f"paper.formed_{plan.groups_formed}"
        if plan.groups_formed == "selected" and plan.selected_in == context.study.before:
            key += "_before"
        parts.append(say(key, metrics=plan.selected_on, session=plan.selected_in))
    parts.append(
        context.words.phrase(state.sentence) if state is not None else say("paper.no_plan")
    )
    return " ".join(parts)


def paper_results(context: Context, numbers: PaperNumbers) -> Section:
    """Return the results: the primary measure, the table, the figure, the exploratory measures."""
    say = context.words.say
    primary, *others = numbers.measures
    blocks: list[Block] = [Heading(say("paper.heading_primary"))]
    blocks += _primary(context, primary)
    if others:
        said = tuple(_measure_text(context, m) for m in others)
        blocks += [
            Heading(say("paper.heading_exploratory")),
            Paragraph(_exploratory(context, others), see=("paper",)),
            Items(said),
        ]
    blocks.append(_table(context, numbers))
    return Section("results", say("paper.title_results"), tuple(blocks))


def _exploratory(context: Context, others: list[MeasureNumbers]) -> str:
    """Return what the other measures are good for; targets were declared, the joint tests not."""
    targets = set(context.study.targets["metric"].astype(str))
    named = [m.metric for m in others if m.metric in targets]
    if not named:
        return context.words.say("paper.exploratory")
    return context.words.say("paper.exploratory_targets", metrics=named)


def _stopped(context: Context, measure: MeasureNumbers) -> str:
    """Return why a measure's results are not shown; an empty text when they are."""
    doubts = block_stops(context, measure.metric, [g.group for g in measure.groups])
    if not doubts:
        return ""
    why = not_shown(context, doubts).rstrip(".")
    return context.words.say("paper.not_shown", metric=measure.metric, why=why)


def _primary(context: Context, measure: MeasureNumbers) -> list[Block]:
    stopped = _stopped(context, measure)
    if stopped:
        return [Paragraph(stopped, "caution")]
    words, within = context.words, context.analyses.results["change_within"]
    figure = paired_figure(within, measure.metric, change_that_matters=context.matters)
    caption = words.say(
        "paper.figure",
        metric=measure.metric,
        before=context.study.before,
        after=context.study.after,
    )
    groups = kept_together(
        " ".join(_group_text(context, measure.metric, g) for g in measure.groups)
    )
    return [
        Paragraph(f"{_measure_text(context, measure)} {groups}", see=("paper_primary",)),
        context.figure("paper_primary", figure, caption),
    ]


def _measure_text(context: Context, measure: MeasureNumbers) -> str:
    """Return the joint test of a measure and its comparisons of two groups."""
    stopped = _stopped(context, measure)
    if stopped:
        return stopped
    return kept_together(
        " ".join([*_joint_text(context, measure), *_pairs(context, measure.metric)])
    )


def _joint_text(context: Context, measure: MeasureNumbers) -> list[str]:
    say, test = context.words.say, PrintedTests(context.choices.decimal)
    joint = measure.joint
    if joint is None:
        if len(measure.groups) < 2 or not measure.why_no_joint:
            return [context.words.label(measure.metric) + "."]
        return [say("paper.no_joint", metric=measure.metric, why=measure.why_no_joint)]
    with_adjusted = math.isfinite(joint.p_adjusted)
    return [
        say(
            "paper.joint_adjusted" if with_adjusted else "paper.joint",
            metric=measure.metric,
            what=say(f"paper.what_{joint.kind}", before=context.study.before),
            f=test.f(joint.f, joint.df, joint.df2),
            p=test.p(joint.p),
            eta=test.eta(joint.eta),
            omega=test.share(joint.omega),
            **({"adjusted": test.p(joint.p_adjusted)} if with_adjusted else {}),
        )
    ]


def _group_text(context: Context, metric: str, g: GroupNumbers) -> str:
    test = PrintedTests(context.choices.decimal)
    change, low, high = g.change
    return context.words.say(
        "paper.group",
        metric=metric,
        group=g.group or context.words.say("paper.all_athletes"),
        n=g.n,
        m1=g.mean_before,
        s1=g.sd_before,
        m2=g.mean_after,
        s2=g.sd_after,
        change=change,
        low=low,
        high=high,
        t=test.t(g.t, g.df),
        p=test.p(g.p),
        d=test.effect(g.d_av),
        g=test.effect(g.g),
    )


def _pairs(context: Context, metric: str) -> list[str]:
    """Return the comparisons of two groups by the estimate that leads; none where none does."""
    result = context.analyses.result("change_between")
    if result is None:
        return []
    say, test, out = context.words.say, PrintedTests(context.choices.decimal), []
    for row in leading_rows(result, metric):
        if pd.isna(row["estimate"]) or pd.isna(row["p"]):
            continue
        tests = [test.t(float(row["test_value"]), float(row["df"])), test.p(float(row["p"]))]
        g = g_of_difference(result, row)
        tests += [f"g = {test.effect(g)}"] if g is not None else []
        out.append(
            say(
                "paper.pair",
                metric=metric,
                first=row["first"],
                second=row["second"],
                what=say(f"paper.pair_{row['statistic']}"),
                change=row["estimate"],
                low=row["ci_low"],
                high=row["ci_high"],
                tests=tests,
            )
        )
    return out


def _table(context: Context, numbers: PaperNumbers) -> TableBlock:
    """Return a row per measure and group; the joint test stands in the measure's first row."""
    words, test = context.words, PrintedTests(context.choices.decimal)
    say, rows = words.say, []
    for measure in numbers.measures:
        if _stopped(context, measure):
            continue
        for i, g in enumerate(measure.groups):
            means = [
                f"{number_text(measure.metric, m, extra=1)} ({number_text(measure.metric, s, extra=1)})"
                for m, s in ((g.mean_before, g.sd_before), (g.mean_after, g.sd_after))
            ]
            first = label_with_unit(words, measure.metric)
            joint = _joint_cell(test, measure.joint) if i == 0 and measure.joint else ""
            name = g.group or say("paper.all_athletes")
            effects = (test.effect(e).replace("\u00a0", " ") for e in (g.d_av, g.g))
            rows.append((first, name, str(g.n), *means, *effects, joint))  # fmt: skip
    columns = (
        say("columns.metric"),
        say("columns.group"),
        say("paper.column_n"),
        *(say("paper.column_before", session=s) for s in (numbers.before, numbers.after)),
        say("paper.column_d"),
        say("paper.column_g"),
        say("paper.column_tests"),
    )
    kinds = [say(f"paper.what_{k}", before=numbers.before) for k in sorted(numbers.kinds)]
    return TableBlock(
        say("paper.table", before=numbers.before, after=numbers.after, level=numbers.level),
        columns,
        tuple(rows),
        (False, False, *(True,) * 5, False),
        say("paper.table_note", joints=kinds) if kinds else "",
        key="paper",
    )


def _joint_cell(test: PrintedTests, joint: JointTest) -> str:
    """Return the joint test of a measure; its F may break, for the column is narrow."""
    f = test.f(joint.f, joint.df, joint.df2).replace("\u00a0", " ")
    shares = f"η²p = {test.share(joint.eta[0])}, ω²p = {test.share(joint.omega)}"
    return f"{f}, {test.p(joint.p)}, {kept_together(shares)}"


def left_section(context: Context) -> Section:
    """Return what no file of a study can know."""
    say = context.words.say
    items = tuple(say(f"paper.left_{what}") for what in _LEFT)
    return Section("left", say("paper.title_left"), (Items(items),))
