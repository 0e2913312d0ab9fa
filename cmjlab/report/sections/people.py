"""Who took part and which jumps count: the flow, with a reason for everything left out."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from cmjlab.catalog import CHECKS
from cmjlab.plots.flow import flow_figure
from cmjlab.report.blocks.data import Block, Paragraph, Section, TableBlock
from cmjlab.report.build.context import Context
from cmjlab.report.sections.flow import flow_steps, why_missing

#: Rows of a table in the short and in the full form.
_FEW_ROWS, _MOST_ROWS = 10, 40
#: Flags named in the short form.
_FEW_FLAGS = 6


def people_section(context: Context) -> Section:
    """Return participants, flow, and what was excluded."""
    say = context.words.say
    steps, complete = flow_steps(context)
    blocks: list[Block] = [
        Paragraph(say("people.intro")),
        context.figure("flow", flow_figure(steps), say("flow.caption")),
        *([] if complete and not context.full else [flow_table(context)]),
        *_missing(context),
        *_excluded(context),
        *_files(context),
        *_flags(context),
    ]
    return Section("people", say("titles.people"), tuple(blocks))


def flow_table(context: Context) -> TableBlock:
    """Return athletes and jumps per session: planned, tested, with a value; recorded, counted."""
    say, flow = context.words.say, context.analyses.flow
    counts = flow["jumps"].groupby("session", observed=True).sum(numeric_only=True)
    rows = []
    for row in flow["sessions"].to_dict("records"):
        session = str(row["session"])
        jumps = counts.loc[session] if session in counts.index else None
        rows.append(
            (
                session,
                str(row["planned"]),
                str(row["tested"]),
                str(row["with_accepted_jumps"]),
                "0" if jumps is None else str(int(jumps["recorded"])),
                "0" if jumps is None else str(int(jumps["accepted"])),
            )
        )
    names = ("roster", "tested", "valued", "recorded", "used")
    columns = (say("columns.session"), *(say(f"people.column_{n}") for n in names))
    return TableBlock(say("people.flow_title"), columns, tuple(rows), (False, *(True,) * 5))


def _missing(context: Context) -> list[Block]:
    """Return who was not tested, and why; nobody is left out without a line."""
    say = context.words.say
    missing = context.analyses.flow["missing"]
    context.tables["missing_tests"] = missing
    if missing.empty:
        return [Paragraph(say("people.none_left"))]
    rows = []
    for row in missing.to_dict("records"):
        why = why_missing(context, row)
        rows.append(
            (
                context.athlete_name(str(row["athlete"])),
                _text(row["group"]),
                str(row["session"]),
                why,
            )
        )
    columns = tuple(say(f"columns.{c}") for c in ("athlete", "group", "session", "reason"))
    return [_cut(context, say("people.left_title"), columns, rows)]


def _text(value: object) -> str:
    return "" if pd.isna(value) else str(value)  # type: ignore[call-overload]


def _cut(
    context: Context, title: str, columns: tuple[str, ...], rows: Sequence[tuple[str, ...]]
) -> TableBlock:
    """Return a table of the first rows, with a line that says where the rest stands."""
    most = _MOST_ROWS if context.full else _FEW_ROWS
    note = context.words.say("people.more", n=len(rows) - most) if len(rows) > most else ""
    return TableBlock(title, columns, tuple(rows[:most]), (False,) * len(columns), note)


def _excluded(context: Context) -> list[Block]:
    """Return every jump that does not count, who or what took it out, and why."""
    say = context.words.say
    excluded = context.analyses.flow["excluded"]
    context.tables["excluded_jumps"] = excluded
    if excluded.empty:
        return [Paragraph(say("people.no_excluded"))]
    rows = [
        (
            say(
                "people.athlete_in_session",
                athlete=context.athlete_name(str(r["athlete"])),
                session=r["session"],
            ),
            say("people.jump_of_file", file=r["file"], jump=r["jump"]),
            say(f"people.by_{r['by']}"),
            str(r["reason"]),
        )
        for r in excluded.to_dict("records")
    ]
    columns = (
        say("columns.athlete"),
        say("people.column_file"),
        say("people.column_by"),
        say("columns.reason"),
    )
    return [_cut(context, say("people.reasons_title"), columns, rows)]


def _files(context: Context) -> list[Block]:
    """Return files that belong to nobody."""
    files = context.analyses.flow["files_not_used"]
    if files.empty:
        return []
    say = context.words.say
    rows = [(str(r["file"]), str(r["reason"])) for r in files.to_dict("records")]
    columns = (say("people.column_file_only"), say("columns.reason"))
    return [_cut(context, say("people.files_title"), columns, rows)]


def _flags(context: Context) -> list[Block]:
    """Return how often each flag stands on a jump that counts."""
    say, found = context.words.say, context.analyses
    used = found.jumps.loc[found.jumps["accepted"].astype(bool), ["file", "jump"]]
    checks = found.checks.merge(used, on=["file", "jump"], how="inner")
    seen = checks[checks["status"].isin(["note", "warn", "fail"])]
    if seen.empty:
        return [Paragraph(say("people.no_flags"))]
    counts = seen.groupby("code").size().sort_values(ascending=False)
    rows = []
    for code, n in counts.items():
        rule = CHECKS.get(str(code))
        label, test = (rule.label, rule.test) if rule else (str(code).replace("_", " "), "")
        rows.append((label, str(n), test))
    columns = (say("people.column_flag"), say("columns.jumps"), say("people.column_test"))
    most = len(rows) if context.full else _FEW_FLAGS
    note = say("people.more_flags", n=len(rows) - most) if len(rows) > most else ""
    title = say("people.flags_title")
    return [TableBlock(title, columns, tuple(rows[:most]), (False, True, False), note)]
