"""What changed: groups, single athletes, and regression to the mean."""

from __future__ import annotations

import pandas as pd

from cmjlab.errors import StatsError
from cmjlab.jump.onset import ONSET_STYLE_S
from cmjlab.plots.change import difference_figure, individual_figure, paired_figure
from cmjlab.plots.drift import drift_figure
from cmjlab.report.blocks.data import Block, Heading, Paragraph, Section, TableBlock
from cmjlab.report.blocks.format import (
    Estimate,
    cell,
    declared_change,
    estimate_of,
    label_with_unit,
    missing_reasons,
    title_with_unit,
)
from cmjlab.report.blocks.verdict import verdict
from cmjlab.report.build.context import Context
from cmjlab.report.sections.differences import difference_table, pairs_compared
from cmjlab.report.sections.result_text import result_text
from cmjlab.results import Result
from cmjlab.stats.change.paragraph import team_paragraph
from cmjlab.units import show

#: The metric that hangs on where the onset is placed.
_TIME = "time_to_takeoff_s"
#: Rows of the table of comparisons in the short form.
_MOST_ROWS = 24


def groups_section(context: Context) -> Section:
    """Return change within groups and differences between them."""
    say = context.words.say
    blocks: list[Block] = [Heading(say("groups.within_heading")), *_within(context)]
    blocks += [Heading(say("groups.between_heading")), *_between(context)]
    return Section("groups", say("titles.groups"), tuple(blocks))


def _missing(context: Context, name: str) -> list[Block]:
    reason = context.why_missing(name)
    return [Paragraph(context.words.say("repeatability.none", reason=reason), "note")]


def _level_note(context: Context) -> str:
    return context.words.say("groups.level_note", level=context.study.plan.level)


def _within(context: Context) -> list[Block]:
    result = context.analyses.result("change_within")
    if result is None:
        return _missing(context, "change_within")
    context.tables["change_within"] = result.table
    table = _within_table(context, result)
    figure = _paired(context, result)
    text = result_text(context, result)
    intro = Paragraph(context.words.say("groups.within_intro"))
    return [*_team(result, context), intro, table, *_next_athlete(context, result), *figure, *text, *_onset_style(context, result),
            *_mass(context)]  # fmt: skip


def _next_athlete(context: Context, result: Result) -> list[Block]:
    """Return by how much one more athlete would be expected to change in the primary measure."""
    rows = result.rows("next_athlete_change", metric=context.primary).dropna(subset="ci_low")
    if rows.empty:
        return []
    words, study, metric = context.words, context.study, context.primary
    each = [
        words.say(
            "groups.next_of_group",
            metric=metric,
            group=row["group"] or words.say("cell.everybody"),
            low=row["ci_low"],
            high=row["ci_high"],
        )
        for row in rows.to_dict("records")
    ]
    shared = {"before": study.before, "after": study.after, "level": study.plan.level}
    return [Paragraph(words.say("groups.next_athlete", metric=metric, each=each, **shared))]


def _onset_style(context: Context, result: Result) -> list[Block]:
    """Return which groups' time to take-off moved by no more than a new way of starting can do."""
    most = ONSET_STYLE_S[context.study.method.onset_rule]
    means = result.rows("mean_change")
    means = means[(means["metric"] == _TIME) & means["estimate"].abs().le(most)]
    if _TIME not in context.metrics or means.empty:
        return []
    say = context.words.say
    groups = [str(g) or say("cell.everybody") for g in means["group"].fillna("")]
    text = say("groups.onset_style", metric=_TIME, limit=show(most, "s"), groups=groups)
    return [Paragraph(text, "note")]


def _paired(context: Context, result: Result) -> list[Block]:
    """Return the athletes' lines in the primary measure, where the first page shows targets."""
    if context.analyses.result("targets") is None:
        return []
    figure = paired_figure(result, context.primary, change_that_matters=context.matters)
    caption = context.words.say("groups.figure_paired", metric=context.primary)
    return [context.figure("paired_primary", figure, caption)]


def _within_table(context: Context, result: Result) -> TableBlock:
    """Return the mean change of each group, measure by measure."""
    words, study = context.words, context.study
    means = result.rows("mean_change")
    means = means.assign(group=means["group"].fillna("").astype(str))
    groups = list(dict.fromkeys(means["group"]))
    rows, shown = [], []
    for metric in context.metrics:
        cells = []
        for group in groups:
            part = means[(means["metric"] == metric) & (means["group"] == group)]
            estimates = [estimate_of(row) for _, row in part.head(1).iterrows()]
            shown += estimates
            cells.append(cell(words, estimates[0], signed=True) if estimates else "–")
        rows.append((label_with_unit(words, metric), *cells))
    primary = means[means["metric"] == context.primary]
    n = dict(zip(primary["group"], primary["n"], strict=True))
    return TableBlock(
        words.say("groups.within_title", before=study.before, after=study.after),
        (words.say("columns.metric"), *(_group_head(context, g, n.get(g)) for g in groups)),
        tuple(rows),
        (False, *(True,) * len(groups)),
        _joined(_level_note(context), missing_reasons(words, shown), context.more_metrics),
    )


def _group_head(context: Context, group: str, n: float | None) -> str:
    say = context.words.say
    name = group or say("cell.everybody")
    return name if n is None or pd.isna(n) else say("cell.of_group", group=name, n=int(n))


def _joined(*texts: str) -> str:
    return " ".join(t for t in texts if t)


def _mass(context: Context) -> list[Block]:
    """Return how much of the change of height came from impulse and how much from mass."""
    result = context.analyses.result("height_and_mass")
    if result is None:
        return []
    context.tables["height_and_mass"] = result.table
    return [Paragraph(context.words.phrase(s)) for s in result.sentences]


def _team(result: Result, context: Context) -> list[Block]:
    """Return what may be said about a team that has no groups to compare."""
    try:
        individual = context.analyses.result("change_individual")
        said = team_paragraph(result, context.primary, individual)
        return [Paragraph(" ".join(map(context.words.phrase, said)))]
    except StatsError:
        return []


def _between(context: Context) -> list[Block]:
    result = context.analyses.result("change_between")
    if result is None:
        return _missing(context, "change_between")
    context.tables["change_between"] = result.table
    words, primary = context.words, context.primary
    most = max(1, _MOST_ROWS // max(1, len(pairs_compared(result))))
    shown = context.metrics if context.full else context.metrics[:most]
    left = len(context.analyses.metrics) - len(shown)
    note = _joined(_level_note(context), words.count("page.more_measures", left) if left else "")
    title = words.say("groups.between_title")
    figure = difference_figure(result, primary, change_that_matters=context.matters)
    caption = words.say("groups.figure_difference", metric=primary)
    return [
        Paragraph(words.say("groups.between_intro")),
        context.figure("difference_primary", figure, caption),
        difference_table(context, result, shown, title, note),
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
    caption = say("individuals.figure", metric=metric)
    blocks: list[Block] = [Paragraph(say("individuals.intro", level=study.plan.level))]
    if not study.plan.control_group:
        blocks.append(Paragraph(say("individuals.control_missing")))
    blocks.append(context.figure("individual_primary", figure, caption))
    if context.full:
        blocks.append(_individual_table(context, result))
    else:
        blocks.append(Paragraph(say("individuals.table_elsewhere")))
    blocks += result_text(context, result)
    return Section("individuals", title, tuple(blocks))


def _individual_table(context: Context, result: Result) -> TableBlock:
    """Return one row per athlete: change, estimate drawn towards the group, and words."""
    words, study, metric = context.words, context.study, context.primary
    matters = declared_change(context.matters, metric)
    drawn = {
        str(row["athlete"]): cell(words, estimate_of(row), signed=True)
        for _, row in result.rows("shrunken_change", metric=metric).iterrows()
    }
    rows, changes = [], []
    for _, row in result.rows("individual_change", metric=metric).iterrows():
        change, athlete = estimate_of(row), str(row["athlete"])
        changes.append(change)
        rows.append(
            (
                context.athlete_name(athlete),
                str(row["group"]) if pd.notna(row["group"]) else "",
                cell(words, change, signed=True),
                drawn.get(athlete, "–"),
                words.phrase(verdict(change, matters)),
            )
        )
    columns = ("athlete", "group", "individual", "shrunken", "verdict")
    not_drawn = any(r[3] == "–" for r in rows)
    title = "individuals.table_title"
    return TableBlock(
        title_with_unit(words, title, metric, before=study.before, after=study.after),
        tuple(words.say(f"columns.{c}") for c in columns),
        tuple(rows),
        (False, False, True, True, False),
        _joined(
            words.say("individuals.not_drawn") if not_drawn else "",
            missing_reasons(words, changes),
        ),
    )


def drift_section(context: Context) -> Section:
    """Return what regression to the mean does to these groups; never silent."""
    say, plan, study = context.words.say, context.study.plan, context.study
    chosen = {"metrics": plan.selected_on, "session": plan.selected_in}
    blocks: list[Block] = [Paragraph(say(f"drift.{plan.groups_formed}", **chosen))]
    if plan.groups_formed == "selected":
        if study.before != plan.selected_in:
            blocks.append(
                Paragraph(say("drift.clean", before=study.before, session=plan.selected_in))
            )
        shown = [*_drift_table(context), *_drift_figure(context)]
        blocks += [Paragraph(say("drift.shown")), *shown] if shown else []
        blocks.append(Paragraph(say("drift.remains")))
    return Section("drift", say("titles.drift"), tuple(blocks))


def _drift_table(context: Context) -> list[Block]:
    result, metric = context.analyses.result("change_between"), context.primary
    if result is None:
        return []
    words = context.words
    expected = result.rows("drift_expected", metric=metric)
    if expected.empty:
        return []
    beyond: dict[str, Estimate] = {}
    for _, row in result.rows("change_beyond_drift", metric=metric).iterrows():
        beyond.setdefault(str(row["group"]), estimate_of(row))
    rows = []
    for _, row in expected.iterrows():
        group, drift = str(row["group"]), estimate_of(row)
        last = cell(words, beyond[group], signed=True) if group in beyond else "–"
        rows.append((group, str(drift.n), cell(words, drift, signed=True), last))
    columns = ("group", "n", "drift_expected", "change_beyond_drift")
    heads = tuple(words.say(f"columns.{c}") for c in columns)
    title = title_with_unit(words, "drift.table_title", metric)
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
        "drift.figure", metric=metric, first=plan.selected_in, second=later[0]
    )
    return [context.figure("drift", drift_figure(both, metric), caption)]
