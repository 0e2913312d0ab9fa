"""How far the measurements can be trusted: the reliability section."""

from __future__ import annotations

import math

import numpy as np

from cmjlab.errors import ArgumentError
from cmjlab.plots.labels import metric_label
from cmjlab.plots.reliability import agreement_figure, sessions_figure, typical_error_figure
from cmjlab.report.blocks.data import Block, FigureBlock, Paragraph, Section, TableBlock
from cmjlab.report.blocks.format import (
    estimate_of,
    label_with_unit,
    missing_reasons,
    percent_text,
    unitless_interval,
    with_interval,
)
from cmjlab.report.build.context import Context
from cmjlab.report.build.leading_rows import first_row
from cmjlab.report.sections.result_text import result_text
from cmjlab.results import Result


def reliability_section(context: Context) -> Section:
    """Return the reliability section."""
    say = context.words.say
    result = context.analyses.result("reliability")
    if result is None:
        reason = context.analyses.reasons.get("reliability", "")
        blocks: tuple[Block, ...] = (Paragraph(say("reliability.none", reason=reason), "note"),)
        return Section("reliability", say("titles.reliability"), blocks)
    context.tables["reliability"] = result.table
    used = [str(s) for s in result.settings["use"]]
    out: list[Block] = [Paragraph(say("reliability.intro", sessions=used))]
    days = context.days_between(used[0], used[-1])
    if math.isfinite(days):
        out.append(Paragraph(say("reliability.interval_days", days=f"{days:g}")))
    out.append(reliability_table(context, result))
    out += _figures(context, result)
    out += result_text(context, result)
    out += icc_names(context, result)
    return Section("reliability", say("titles.reliability"), tuple(out))


def _cell(result: Result, statistic: str, metric: str, *, signed: bool = False) -> str:
    row = first_row(result, statistic, metric)
    if row is None:
        return "–"
    return with_interval(estimate_of(row), signed=signed, extra=1)


def _plain_cell(result: Result, statistic: str, metric: str, decimals: int) -> str:
    row = first_row(result, statistic, metric)
    return "–" if row is None else unitless_interval(row, decimals)


def reliability_table(context: Context, result: Result) -> TableBlock:
    """Return one row per measure: typical error, percent, both ICCs, detectable change."""
    say = context.words.say
    rows = [
        (
            label_with_unit(m),
            _cell(result, "typical_error", m),
            _plain_cell(result, "typical_error_percent", m, 1),
            _plain_cell(result, "icc_a1", m, 2),
            _plain_cell(result, "icc_c1", m, 2),
            _cell(result, "smallest_detectable_change", m),
            _cell(result, "session_change", m, signed=True),
        )
        for m in context.metrics
    ]
    n = result.rows("typical_error")["n"].dropna()
    title = say("reliability.table_title") + (f" (n = {int(n.max())})" if len(n) else "")
    note = say("reliability.table_note", percent=percent_text(context.study.plan.level))
    kinds = ["typical_error", "typical_error_percent", "icc_a1", "icc_c1"]
    shown = result.table[
        result.table["statistic"].isin(kinds) & result.table["metric"].isin(context.metrics)
    ]
    columns = ("metric", "typical_error", "cv", "icc", "icc_c", "sdc", "session_change")
    return TableBlock(
        title,
        tuple(say(f"columns.{c}") for c in columns),
        tuple(rows),
        (False, *(True,) * 6),
        f"{note} {missing_reasons(shown)} {context.more_metrics}".strip(),
    )


def icc_names(context: Context, result: Result) -> list[Block]:
    """Return what the forms of the ICC are called elsewhere, and what they are not."""
    if "icc_forms" not in result.points:
        return []
    say = context.words.say
    rows = tuple(
        (
            str(form["mcgraw_wong_1996"]),
            str(form["shrout_fleiss_1979"]),
            say(f"icc.{form['statistic']}"),
            say(f"icc_use.{form['statistic']}"),
        )
        for form in result.points["icc_forms"].to_dict("records")
    )
    heads = tuple(say(f"icc.column_{c}") for c in ("mcgraw", "shrout", "programs", "use"))
    table = TableBlock(say("icc.title"), heads, rows, (False,) * 4)
    return [Paragraph(say("icc.one_session")), table]


def _figures(context: Context, result: Result) -> list[FigureBlock]:
    say = context.words.say
    metric = context.primary
    out = [
        context.figure(
            "typical_errors",
            typical_error_figure(result, change_that_matters=context.matters),
            say("reliability.figure_error"),
        )
    ]
    known = result.rows("typical_error", metric=metric)["estimate"].astype(float)
    if not np.isfinite(known).any():
        return out
    try:
        drawn = {"agreement": agreement_figure(result, metric)}
        if context.full:
            drawn = {"sessions": sessions_figure(result, metric), **drawn}
    except ArgumentError:
        return out
    for key, picture in drawn.items():
        caption = say(f"reliability.figure_{key}", metric=metric_label(metric))
        out.append(context.figure(f"{key}_primary", picture, caption))
    return out
