"""What changed: groups, single athletes, and regression to the mean."""

from __future__ import annotations

import pandas as pd

from cmjlab.errors import StatsError
from cmjlab.plots.change import difference_figure, drift_figure, individual_figure
from cmjlab.plots.labels import metric_label
from cmjlab.report.blocks import format as tell
from cmjlab.report.blocks.data import Block, Heading, Paragraph, Section, TableBlock
from cmjlab.report.build.context import Frame
from cmjlab.report.sections.reliability import result_words
from cmjlab.results import Result
from cmjlab.stats.change.paragraph import team_paragraph

#: Rows of the table of comparisons in the short form.
_MOST_ROWS = 24


def groups_section(frame: Frame) -> Section:
    """Return change within groups and differences between them."""
    say = frame.words.say
    blocks: list[Block] = [Heading(say("groups.within_heading")), *_within(frame)]
    blocks += [Heading(say("groups.between_heading")), *_between(frame)]
    return Section("groups", say("titles.groups"), tuple(blocks))


def _missing(frame: Frame, name: str) -> list[Block]:
    reason = frame.found.reasons.get(name, "")
    return [Paragraph(frame.words.say("reliability.none", reason=reason), "note")]


def _note(frame: Frame, rows: pd.DataFrame, left: int | None = None) -> str:
    """Return what stands below a table: the level, why numbers are missing, measures left out."""
    more = frame.more_metrics
    if left:
        more = frame.words.say("page.more_measures", n=left)
    level = tell.percent(frame.study.plan.level)
    mine = rows[rows["metric"].isin(frame.metrics)]
    note = frame.words.say("groups.between_note", percent=level)
    return " ".join(t for t in (note, tell.why_not(mine), more) if t)


def _within(frame: Frame) -> list[Block]:
    result = frame.found.result("change_within")
    if result is None:
        return _missing(frame, "change_within")
    frame.tables["change_within"] = result.table
    say, study = frame.words.say, frame.study
    groups = list(dict.fromkeys(result.table["group"].fillna("").astype(str)))
    rows = []
    for metric in frame.metrics:
        cells = []
        for group in groups:
            part = result.rows("mean_change", metric=metric)
            part = part[part["group"].fillna("").astype(str) == group]
            cells.append(
                tell.with_interval(tell.span(part.iloc[0]), signed=True) if len(part) else "–"
            )
        rows.append((tell.label(metric), *cells))
    sizes = result.rows("mean_change", metric=frame.primary)
    n = dict(zip(sizes["group"].fillna("").astype(str), sizes["n"], strict=True))
    heads = [f"{g or 'all'} (n = {int(n[g])})" if g in n and pd.notna(n[g]) else g for g in groups]
    table = TableBlock(
        say("groups.within_title", before=study.before, after=study.after),
        (say("columns.metric"), *heads),
        tuple(rows),
        (False, *(True,) * len(groups)),
        _note(frame, result.rows("mean_change")),
    )
    return [*_team(result, frame), table, *result_words(frame, result), *_mass(frame)]


def _mass(frame: Frame) -> list[Block]:
    """Return how much of the change of height came from impulse and how much from mass."""
    result = frame.found.result("height_and_mass")
    if result is None:
        return []
    frame.tables["height_and_mass"] = result.table
    return [Paragraph(s) for s in result.sentences]


def _team(result: Result, frame: Frame) -> list[Block]:
    """Return what may be said about a team that has no groups to compare."""
    try:
        individual = frame.found.result("change_individual")
        return [Paragraph(team_paragraph(result, frame.primary, individual))]
    except StatsError:
        return []


def _between(frame: Frame) -> list[Block]:
    result = frame.found.result("change_between")
    if result is None:
        return _missing(frame, "change_between")
    frame.tables["change_between"] = result.table
    say = frame.words.say
    kinds = ("adjusted_difference", "change_difference")
    compared = result.table[result.table["statistic"].isin(kinds)]
    contrasts = list(dict.fromkeys(compared["contrast"].dropna().astype(str)))
    rows = []
    most = len(frame.metrics) if frame.full else max(1, _MOST_ROWS // max(1, len(contrasts)))
    shown = frame.metrics[:most]
    for metric in shown:
        for contrast in contrasts:
            cells = []
            for kind in kinds:
                part = result.rows(kind, metric=metric, contrast=contrast)
                cells.append(
                    tell.with_interval(tell.span(part.iloc[0]), signed=True) if len(part) else "–"
                )
            rows.append((tell.label(metric), contrast.replace(" - ", " − "), *cells))
    columns = ("metric", "contrast", "adjusted", "difference")
    table = TableBlock(
        say("groups.between_title"),
        tuple(say(f"columns.{c}") for c in columns),
        tuple(rows),
        (False, False, True, True),
        _note(frame, compared, len(frame.found.metrics) - len(shown)),
    )
    figure = difference_figure(result, frame.primary, change_that_matters=frame.matters)
    caption = say("groups.figure_difference", metric=metric_label(frame.primary))
    return [
        Paragraph(say("groups.side_by_side")),
        frame.figure("difference_primary", figure, caption),
        table,
        *result_words(frame, result),
    ]


def individuals_section(frame: Frame) -> Section:
    """Return each athlete's change in the primary measure."""
    say, study = frame.words.say, frame.study
    result = frame.found.result("change_individual")
    title = say("titles.individuals")
    if result is None:
        return Section("individuals", title, tuple(_missing(frame, "change_individual")))
    frame.tables["change_individual"] = result.table
    metric = frame.primary
    figure = individual_figure(result, metric, change_that_matters=frame.matters)
    blocks: list[Block] = [
        Paragraph(say("individuals.intro", percent=tell.percent(study.plan.level))),
        frame.figure(
            "individual_primary", figure, say("individuals.figure", metric=metric_label(metric))
        ),
    ]
    if not study.plan.control_group:
        blocks.insert(1, Paragraph(say("individuals.control_missing")))
    if frame.full:
        blocks.append(_individual_table(frame, result))
    else:
        blocks.append(Paragraph(say("individuals.table_elsewhere")))
    blocks += result_words(frame, result)
    return Section("individuals", title, tuple(blocks))


def _individual_table(frame: Frame, result: Result) -> TableBlock:
    """Return one row per athlete: change, estimate drawn towards the group, and words."""
    say, study, metric = frame.words.say, frame.study, frame.primary
    matters = tell.matters_of(frame.matters, metric)
    shrunken = result.rows("shrunken_change", metric=metric)
    drawn = {
        str(row["athlete"]): tell.with_interval(tell.span(row), signed=True)
        for _, row in shrunken.iterrows()
    }
    rows = []
    for _, row in result.rows("individual_change", metric=metric).iterrows():
        s = tell.span(row)
        athlete = str(row["athlete"])
        rows.append(
            (
                frame.who(athlete),
                str(row["group"]) if pd.notna(row["group"]) else "",
                tell.with_interval(s, signed=True),
                drawn.get(athlete, "–"),
                tell.verdict(frame.words, s, matters),
            )
        )
    columns = ("athlete", "group", "individual", "shrunken", "verdict")
    note = say("individuals.not_drawn") if any(r[3] == "–" for r in rows) else ""
    return TableBlock(
        say(
            "individuals.table_title",
            metric=tell.label(metric), before=study.before, after=study.after,
        ),
        tuple(say(f"columns.{c}") for c in columns),
        tuple(rows),
        (False, False, True, True, False),
        note,
    )  # fmt: skip


def drift_section(frame: Frame) -> Section:
    """Return what regression to the mean does to these groups; never silent."""
    say, plan, study = frame.words.say, frame.study.plan, frame.study
    metrics = ", ".join(metric_label(m) for m in plan.selected_on)
    blocks: list[Block] = [
        Paragraph(say(f"drift.{plan.groups_formed}", metrics=metrics, session=plan.selected_in))
    ]
    if plan.groups_formed == "selected":
        if study.before != plan.selected_in:
            blocks.append(
                Paragraph(say("drift.clean", before=study.before, session=plan.selected_in))
            )
        blocks += _drift_table(frame)
        blocks += _drift_figure(frame)
        blocks.append(Paragraph(say("drift.remains")))
    return Section("drift", say("titles.drift"), tuple(blocks))


def _drift_table(frame: Frame) -> list[Block]:
    result = frame.found.result("change_between")
    if result is None:
        return []
    say = frame.words.say
    expected = result.rows("drift_expected", metric=frame.primary)
    if expected.empty:
        return []
    rows = []
    for _, row in expected.iterrows():
        beyond = result.rows("change_beyond_drift", metric=frame.primary)
        beyond = beyond[beyond["group"].astype(str) == str(row["group"])]
        rows.append(
            (
                str(row["group"]),
                str(tell.span(row).n),
                tell.with_interval(tell.span(row), signed=True),
                tell.with_interval(tell.span(beyond.iloc[0]), signed=True) if len(beyond) else "–",
            )
        )
    columns = ("group", "n", "drift", "beyond")
    title = f"{say('drift.table_title')}: {tell.label(frame.primary)}"
    heads = tuple(say(f"columns.{c}") for c in columns)
    return [TableBlock(title, heads, tuple(rows), (False, True, True, True))]


def _drift_figure(frame: Frame) -> list[Block]:
    """Return the picture of two baselines when there is a second one after the selection."""
    plan, sessions = frame.study.plan, frame.found.sessions
    order = frame.study.sessions
    baselines = [str(s) for s in order.loc[order["role"] == "baseline", "session"]]
    later = [s for s in baselines if s != plan.selected_in]
    metric = frame.primary
    if plan.selected_in not in baselines or not later or metric not in sessions:
        return []
    names = sessions["session"].astype(str)
    first = sessions.loc[names == plan.selected_in, ["athlete", "group", metric]]
    second = sessions.loc[names == later[0], ["athlete", metric]]
    both = first.merge(second, on="athlete", suffixes=("_first", "_second"))
    both = both.rename(columns={f"{metric}_first": "first", f"{metric}_second": "second"}).dropna()
    if len(both) < 3:
        return []
    caption = frame.words.say(
        "drift.figure", metric=metric_label(metric), first=plan.selected_in, second=later[0]
    )
    return [frame.figure("drift", drift_figure(both, metric), caption)]
