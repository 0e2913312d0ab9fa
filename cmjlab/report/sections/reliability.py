"""How well the measurements repeat: the reliability section."""

from __future__ import annotations

import math

import numpy as np

from cmjlab.errors import ArgumentError
from cmjlab.plots.reliability import agreement_figure, sessions_figure, typical_error_figure
from cmjlab.report.blocks.data import Block, FigureBlock, Paragraph, Section, TableBlock
from cmjlab.report.blocks.format import (
    Estimate,
    cell,
    estimate_of,
    label_with_unit,
    missing_reasons,
    unitless_cell,
)
from cmjlab.report.build.context import Context
from cmjlab.report.build.leading_rows import first_row
from cmjlab.report.sections.lab import lab_paragraph
from cmjlab.report.sections.result_text import result_text
from cmjlab.results import Result

#: Columns of the table: statistic -> decimals of one without the metric's unit, else None.
_DECIMALS = {
    "typical_error": None,
    "typical_error_percent": 1,
    "icc_a1": 2,
    "icc_c1": 2,
    "smallest_detectable_change": None,
    "session_change": None,
}
#: Statistics whose sign says something.
_SIGNED = ("session_change",)
#: Statistics whose missing numbers are explained below the table.
_EXPLAINED = ("typical_error", "typical_error_percent", "icc_a1", "icc_c1")


def reliability_section(context: Context) -> Section:
    """Return the reliability section."""
    say = context.words.say
    result, title = context.analyses.result("reliability"), say("titles.reliability")
    if result is None:
        reason = context.why_missing("reliability")
        missing = Paragraph(say("repeatability.none", reason=reason), "note")
        return Section("reliability", title, (missing,))
    context.tables["reliability"] = result.table
    used = [str(s) for s in result.settings["use"]]
    intro = [say("repeatability.intro", sessions=used)]
    days = context.days_between(used[0], used[-1])
    if math.isfinite(days):
        intro.append(say("repeatability.interval_days", days=days))
    blocks: list[Block] = [Paragraph(" ".join([*intro, say("repeatability.shown")]))]
    blocks.append(reliability_table(context, result))
    blocks += _figures(context, result)
    blocks += result_text(context, result)
    blocks += lab_paragraph(context)
    blocks += icc_names(context, result)
    return Section("reliability", title, tuple(blocks))


def reliability_table(context: Context, result: Result) -> TableBlock:
    """Return one row per measure: typical error, percent, both ICCs, detectable change."""
    words = context.words
    rows, explained = [], []
    for metric in context.metrics:
        cells = []
        for statistic, decimals in _DECIMALS.items():
            row = first_row(result, statistic, metric)
            estimate = None if row is None else estimate_of(row)
            cells.append(_cell(context, statistic, decimals, estimate))
            if estimate is not None and statistic in _EXPLAINED:
                explained.append(estimate)
        rows.append((label_with_unit(words, metric), *cells))
    n = result.rows("typical_error")["n"].dropna()
    title = words.say("repeatability.table_title")
    if len(n):
        title = words.say("repeatability.table_title_n", n=int(n.max()))
    note = words.say("repeatability.table_note", level=context.study.plan.level)
    reasons = missing_reasons(words, explained)
    return TableBlock(
        title,
        tuple(words.say(f"columns.{c}") for c in ("metric", *_DECIMALS)),
        tuple(rows),
        (False, *(True,) * len(_DECIMALS)),
        " ".join(t for t in (note, reasons, context.more_metrics) if t),
    )


def _cell(context: Context, statistic: str, decimals: int | None, estimate: Estimate | None) -> str:
    if estimate is None:
        return "–"
    if decimals is not None:
        return unitless_cell(context.words, estimate, decimals)
    return cell(context.words, estimate, signed=statistic in _SIGNED, extra=1)


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
            say("repeatability.figure_error"),
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
        caption = say(f"repeatability.figure_{key}", metric=metric)
        out.append(context.figure(f"{key}_primary", picture, caption))
    return out
