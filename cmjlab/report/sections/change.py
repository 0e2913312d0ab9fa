"""What changed: groups, single athletes, and regression to the mean."""

from __future__ import annotations

import pandas as pd

from cmjlab.errors import StatsError
from cmjlab.plots.change import difference_figure, drift_figure, individual_figure
from cmjlab.plots.labels import metric_label
from cmjlab.report.blocks.data import Block, Heading, Paragraph, Section, TableBlock
from cmjlab.report.blocks.format import (
    declared_change,
    estimate_of,
    interval_verdict,
    label_with_unit,
    missing_reasons,
    percent_text,
    with_interval,
)
from cmjlab.report.build.context import Context
from cmjlab.report.sections.result_text import result_text
from cmjlab.results import Result
from cmjlab.stats.change.paragraph import team_paragraph

#: Rows of the table of comparisons in the short form.
_MOST_ROWS = 24


def groups_section(context: Context) -> Section:
    """Return change within groups and differences between them."""
    say = context.words.say
    blocks: list[Block] = [Heading(say("groups.within_heading")), *_within(context)]
    blocks += [Heading(say("groups.between_heading")), *_between(context)]
    return Section("groups", say("titles.groups"), tuple(blocks))


def _missing(context: Context, name: str) -> list[Block]:
    reason = context.analyses.reasons.get(name, "")
    return [Paragraph(context.words.say("reliability.none", reason=reason), "note")]


def _note(context: Context, rows: pd.DataFrame, left: int | None = None) -> str:
    """Return what stands below a table: the level, why numbers are missing, measures left out."""
    more = context.more_metrics
    if left:
        more = context.words.say("page.more_measures", n=left)
    level = percent_text(context.study.plan.level)
    mine = rows[rows["metric"].isin(context.metrics)]
    note = context.words.say("groups.between_note", percent=level)
    return " ".join(t for t in (note, missing_reasons(mine), more) if t)


def _within(context: Context) -> list[Block]:
    result = context.analyses.result("change_within")
    if result is None:
        return _missing(context, "change_within")
    context.tables["change_within"] = result.table
    say, study = context.words.say, context.study
    groups = list(dict.fromkeys(result.table["group"].fillna("").astype(str)))
    rows = []
    for metric in context.metrics:
        cells = []
        for group in groups:
            part = result.rows("mean_change", metric=metric)
            part = part[part["group"].fillna("").astype(str) == group]
            cells.append(
                with_interval(estimate_of(part.iloc[0]), signed=True) if len(part) else "–"
            )
        rows.append((label_with_unit(metric), *cells))
    sizes = result.rows("mean_change", metric=context.primary)
    n = dict(zip(sizes["group"].fillna("").astype(str), sizes["n"], strict=True))
    heads = [f"{g or 'all'} (n = {int(n[g])})" if g in n and pd.notna(n[g]) else g for g in groups]
    table = TableBlock(
        say("groups.within_title", before=study.before, after=study.after),
        (say("columns.metric"), *heads),
        tuple(rows),
        (False, *(True,) * len(groups)),
        _note(context, result.rows("mean_change")),
    )
    return [*_team(result, context), table, *result_text(context, result), *_mass(context)]


def _mass(context: Context) -> list[Block]:
    """Return how much of the change of height came from impulse and how much from mass."""
    result = context.analyses.result("height_and_mass")
    if result is None:
        return []
    context.tables["height_and_mass"] = result.table
    return [Paragraph(str(s)) for s in result.sentences]


def _team(result: Result, context: Context) -> list[Block]:
    """Return what may be said about a team that has no groups to compare."""
    try:
        individual = context.analyses.result("change_individual")
        return [Paragraph(team_paragraph(result, context.primary, individual))]
    except StatsError:
        return []


def _between(context: Context) -> list[Block]:
    result = context.analyses.result("change_between")
    if result is None:
        return _missing(context, "change_between")
    context.tables["change_between"] = result.table
    say = context.words.say
    kinds = ("adjusted_difference", "change_difference")
    compared = result.table[result.table["statistic"].isin(kinds)]
    contrasts = list(dict.fromkeys(compared["contrast"].dropna().astype(str)))
    rows = []
    most = len(context.metrics) if context.full else max(1, _MOST_ROWS // max(1, len(contrasts)))
    shown = context.metrics[:most]
    for metric in shown:
        for contrast in contrasts:
            cells = []
            for kind in kinds:
                part = result.rows(kind, metric=metric, contrast=contrast)
                cells.append(
                    with_interval(estimate_of(part.iloc[0]), signed=True) if len(part) else "–"
                )
            rows.append((label_with_unit(metric), contrast.replace(" - ", " − "), *cells))
    columns = ("metric", "contrast", "adjusted", "difference")
    table = TableBlock(
        say("groups.between_title"),
        tuple(say(f"columns.{c}") for c in columns),
        tuple(rows),
        (False, False, True, True),
        _note(context, compared, len(context.analyses.metrics) - len(shown)),
    )
    figure = difference_figure(result, context.primary, change_that_matters=context.matters)
    caption = say("groups.figure_difference", metric=metric_label(context.primary))
    return [
        Paragraph(say("groups.side_by_side")),
        context.figure("difference_primary", figure, caption),
        table,
        *result_text(context, result),
    ]


def individuals_section(context: Context) -> Section:
    """Return each athlete's change in the primary measure."""
    say, study = context.words.say, context.study
    result = context.analyses.result("change_individual")
    title = say("titles.individuals")
    if result is None:
        return Section("individuals", title, tuple(_missing(context, "change_individual")))
    context.tables["change_individual"] = result.table
    metric = context.primary
    figure = individual_figure(result, metric, change_that_matters=context.matters)
    blocks: list[Block] = [
        Paragraph(say("individuals.intro", percent=percent_text(study.plan.level))),
        context.figure(
            "individual_primary", figure, say("individuals.figure", metric=metric_label(metric))
        ),
    ]
    if not study.plan.control_group:
        blocks.insert(1, Paragraph(say("individuals.control_missing")))
    if context.full:
        blocks.append(_individual_table(context, result))
    else:
        blocks.append(Paragraph(say("individuals.table_elsewhere")))
    blocks += result_text(context, result)
    return Section("individuals", title, tuple(blocks))


def _individual_table(context: Context, result: Result) -> TableBlock:
    """Return one row per athlete: change, estimate drawn towards the group, and words."""
    say, study, metric = context.words.say, context.study, context.primary
    matters = declared_change(context.matters, metric)
    shrunken = result.rows("shrunken_change", metric=metric)
    drawn = {
        str(row["athlete"]): with_interval(estimate_of(row), signed=True)
        for _, row in shrunken.iterrows()
    }
    rows = []
    for _, row in result.rows("individual_change", metric=metric).iterrows():
        s = estimate_of(row)
        athlete = str(row["athlete"])
        rows.append(
            (
                context.athlete_name(athlete),
                str(row["group"]) if pd.notna(row["group"]) else "",
                with_interval(s, signed=True),
                drawn.get(athlete, "–"),
                interval_verdict(context.words, s, matters),
            )
        )
    columns = ("athlete", "group", "individual", "shrunken", "verdict")
    note = say("individuals.not_drawn") if any(r[3] == "–" for r in rows) else ""
    return TableBlock(
        say(
            "individuals.table_title",
            metric=label_with_unit(metric), before=study.before, after=study.after,
        ),
        tuple(say(f"columns.{c}") for c in columns),
        tuple(rows),
        (False, False, True, True, False),
        note,
    )  # fmt: skip


def drift_section(context: Context) -> Section:
    """Return what regression to the mean does to these groups; never silent."""
    say, plan, study = context.words.say, context.study.plan, context.study
    metrics = ", ".join(metric_label(m) for m in plan.selected_on)
    blocks: list[Block] = [
        Paragraph(say(f"drift.{plan.groups_formed}", metrics=metrics, session=plan.selected_in))
    ]
    if plan.groups_formed == "selected":
        if study.before != plan.selected_in:
            blocks.append(
                Paragraph(say("drift.clean", before=study.before, session=plan.selected_in))
            )
        blocks += _drift_table(context)
        blocks += _drift_figure(context)
        blocks.append(Paragraph(say("drift.remains")))
    return Section("drift", say("titles.drift"), tuple(blocks))


def _drift_table(context: Context) -> list[Block]:
    result = context.analyses.result("change_between")
    if result is None:
        return []
    say = context.words.say
    expected = result.rows("drift_expected", metric=context.primary)
    if expected.empty:
        return []
    rows = []
    for _, row in expected.iterrows():
        beyond = result.rows("change_beyond_drift", metric=context.primary)
        beyond = beyond[beyond["group"].astype(str) == str(row["group"])]
        rows.append(
            (
                str(row["group"]),
                str(estimate_of(row).n),
                with_interval(estimate_of(row), signed=True),
                with_interval(estimate_of(beyond.iloc[0]), signed=True) if len(beyond) else "–",
            )
        )
    columns = ("group", "n", "drift", "beyond")
    title = f"{say('drift.table_title')}: {label_with_unit(context.primary)}"
    heads = tuple(say(f"columns.{c}") for c in columns)
    return [TableBlock(title, heads, tuple(rows), (False, True, True, True))]


def _drift_figure(context: Context) -> list[Block]:
    """Return the picture of two baselines when there is a second one after the selection."""
    plan, sessions = context.study.plan, context.analyses.sessions
    order = context.study.sessions
    baselines = [str(s) for s in order.loc[order["role"] == "baseline", "session"]]
    later = [s for s in baselines if s != plan.selected_in]
    metric = context.primary
    if plan.selected_in not in baselines or not later or metric not in sessions:
        return []
    names = sessions["session"].astype(str)
    first = sessions.loc[names == plan.selected_in, ["athlete", "group", metric]]
    second = sessions.loc[names == later[0], ["athlete", metric]]
    both = first.merge(second, on="athlete", suffixes=("_first", "_second"))
    both = both.rename(columns={f"{metric}_first": "first", f"{metric}_second": "second"}).dropna()
    if len(both) < 3:
        return []
    caption = context.words.say(
        "drift.figure", metric=metric_label(metric), first=plan.selected_in, second=later[0]
    )
    return [context.figure("drift", drift_figure(both, metric), caption)]
