"""How far the measurements can be trusted: the reliability section."""

from __future__ import annotations

import math

import numpy as np

from cmjlab.errors import ArgumentError
from cmjlab.plots.labels import metric_label
from cmjlab.plots.reliability import agreement_figure, sessions_figure, typical_error_figure
from cmjlab.report.blocks import format as tell
from cmjlab.report.blocks.data import Block, FigureBlock, Items, Paragraph, Section, TableBlock
from cmjlab.report.build.context import Frame
from cmjlab.report.build.leading_rows import first_row
from cmjlab.report.sections.coach import listed
from cmjlab.results import Note, Result

#: Sentences of one result in the short form.
_MOST_SENTENCES = 6
#: Marks sentences that repeat an estimate against the change that matters.
_AGAIN = " against a change that matters of "


def trust_section(frame: Frame) -> Section:
    """Return the reliability section."""
    say = frame.words.say
    result = frame.found.result("reliability")
    if result is None:
        reason = frame.found.reasons.get("reliability", "")
        blocks: tuple[Block, ...] = (Paragraph(say("reliability.none", reason=reason), "note"),)
        return Section("reliability", say("titles.reliability"), blocks)
    frame.tables["reliability"] = result.table
    used = [str(s) for s in result.settings["use"]]
    out: list[Block] = [Paragraph(say("reliability.intro", sessions=listed(used)))]
    days = frame.days_between(used[0], used[-1])
    if math.isfinite(days):
        out.append(Paragraph(say("reliability.interval_days", days=f"{days:g}")))
    out.append(trust_table(frame, result))
    out += _figures(frame, result)
    out += result_words(frame, result)
    out += icc_names(frame, result)
    return Section("reliability", say("titles.reliability"), tuple(out))


def result_words(frame: Frame, result: Result) -> list[Block]:
    """Return the sentences of a result about the primary measure, and all its notes.

    Sentences that hold an interval against the change that matters again are left to the
    tables (rows "equivalence" and "minimum_effect"): the page has said it in words before. A note
    stands once on the page; in the short form those on other measures are left to the full one.
    """
    name = metric_label(frame.primary)
    mine = [s for s in result.sentences if s.startswith((name, frame.primary))]
    kept = [s for s in mine or result.sentences if _AGAIN not in s]
    lines = [tell.plain_keys(s) for s in (kept if frame.full else kept[:_MOST_SENTENCES])]
    if len(lines) < len(kept):
        lines.append(frame.words.say("page.more_sentences", n=len(kept) - len(lines)))
    blocks: list[Block] = [Items(tuple(lines))] if lines else []
    if result.notes:
        texts = [t for t in map(_note_text, result.notes) if frame.first_time(t)]
        mine_only = [t for t in texts if frame.full or not _of_another(frame, t)]
        if len(mine_only) < len(texts):
            mine_only.append(frame.words.say("page.more_notes", n=len(texts) - len(mine_only)))
        if mine_only:
            blocks.append(Items(tuple(mine_only), small=True))
    return blocks


def _note_text(note: Note) -> str:
    return tell.plain_keys(note.text)


def _of_another(frame: Frame, text: str) -> bool:
    """Return whether a text begins with the name of a measure that is not the primary one."""
    others = tuple(f"{metric_label(m)}:" for m in frame.found.metrics if m != frame.primary)
    return text.startswith(others) if others else False


def _cell(result: Result, statistic: str, metric: str, *, signed: bool = False) -> str:
    row = first_row(result, statistic, metric)
    if row is None:
        return "–"
    return tell.with_interval(tell.span(row), signed=signed, extra=1)


def _plain_cell(result: Result, statistic: str, metric: str, decimals: int) -> str:
    row = first_row(result, statistic, metric)
    return "–" if row is None else tell.plain_interval(row, decimals)


def trust_table(frame: Frame, result: Result) -> TableBlock:
    """Return one row per measure: typical error, percent, both ICCs, detectable change."""
    say = frame.words.say
    rows = [
        (
            tell.label(m),
            _cell(result, "typical_error", m),
            _plain_cell(result, "typical_error_percent", m, 1),
            _plain_cell(result, "icc_a1", m, 2),
            _plain_cell(result, "icc_c1", m, 2),
            _cell(result, "smallest_detectable_change", m),
            _cell(result, "session_change", m, signed=True),
        )
        for m in frame.metrics
    ]
    n = result.rows("typical_error")["n"].dropna()
    title = say("reliability.table_title") + (f" (n = {int(n.max())})" if len(n) else "")
    note = say("reliability.table_note", percent=tell.percent(frame.study.plan.level))
    kinds = ["typical_error", "typical_error_percent", "icc_a1", "icc_c1"]
    shown = result.table[
        result.table["statistic"].isin(kinds) & result.table["metric"].isin(frame.metrics)
    ]
    columns = ("metric", "typical_error", "cv", "icc", "icc_c", "sdc", "session_change")
    return TableBlock(
        title,
        tuple(say(f"columns.{c}") for c in columns),
        tuple(rows),
        (False, *(True,) * 6),
        f"{note} {tell.why_not(shown)} {frame.more_metrics}".strip(),
    )


def icc_names(frame: Frame, result: Result) -> list[Block]:
    """Return what the forms of the ICC are called elsewhere, and what they are not."""
    if "icc_forms" not in result.points:
        return []
    say = frame.words.say
    rows = tuple(
        (
            str(form["mcgraw_wong_1996"]),
            str(form["shrout_fleiss_1979"]),
            say(f"icc.{form['statistic']}"),
            str(form["use"]),
        )
        for form in result.points["icc_forms"].to_dict("records")
    )
    heads = tuple(say(f"icc.column_{c}") for c in ("mcgraw", "shrout", "programs", "use"))
    table = TableBlock(say("icc.title"), heads, rows, (False,) * 4)
    return [Paragraph(say("icc.one_session")), table]


def _figures(frame: Frame, result: Result) -> list[FigureBlock]:
    say = frame.words.say
    metric = frame.primary
    out = [
        frame.figure(
            "typical_errors",
            typical_error_figure(result, change_that_matters=frame.matters),
            say("reliability.figure_error"),
        )
    ]
    known = result.rows("typical_error", metric=metric)["estimate"].astype(float)
    if not np.isfinite(known).any():
        return out
    try:
        drawn = {"agreement": agreement_figure(result, metric)}
        if frame.full:
            drawn = {"sessions": sessions_figure(result, metric), **drawn}
    except ArgumentError:
        return out
    for key, picture in drawn.items():
        caption = say(f"reliability.figure_{key}", metric=metric_label(metric))
        out.append(frame.figure(f"{key}_primary", picture, caption))
    return out
