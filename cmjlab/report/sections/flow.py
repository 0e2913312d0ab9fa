"""The steps of the flow figure: roster, sessions, and who is in the change over the block."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from cmjlab.catalog import CHECKS
from cmjlab.plots.flow import FlowStep
from cmjlab.report.build.context import Context
from cmjlab.report.sections.study_text import group_sizes

#: Sessions drawn; with more, only the first, those around the block and the last.
_MOST_SESSIONS = 6
#: Reasons named at one step.
_MOST_REASONS = 5


def flow_steps(context: Context) -> tuple[list[FlowStep], bool]:
    """Return the steps of the flow, and whether every session is among them."""
    say, flow = context.words.say, context.analyses.flow
    rows = flow["sessions"].to_dict("records")
    names = [str(r["session"]) for r in rows]
    drawn = _drawn(context, names)
    planned = int(rows[0]["planned"]) if rows else 0
    steps = [FlowStep((say("flow.roster", n=planned), group_sizes(context)))]
    skipped = 0
    for row in rows:
        if str(row["session"]) not in drawn:
            skipped += 1
            continue
        if skipped:
            steps.append(FlowStep((context.words.count("flow.between", skipped),)))
            skipped = 0
        steps.append(_session(context, row))
    steps += _counted(context)
    return steps, len(drawn) == len(names)


def _drawn(context: Context, names: list[str]) -> set[str]:
    weekly = set(context.study.settings.monitoring)  # they are no step of the comparison
    names = [n for n in names if n not in weekly] or names
    if len(names) <= _MOST_SESSIONS:
        return set(names)
    wanted = {names[0], context.study.before, context.study.after, names[-1]}
    return wanted & set(names)


def _session(context: Context, row: dict[str, object]) -> FlowStep:
    """Return one session: who was tested, which jumps count, and what was left out."""
    say, session = context.words.say, str(row["session"])
    counts = context.analyses.flow["jumps"]
    mine = counts[counts["session"].astype(str) == session]
    lines = (
        say("flow.session", session=session, tested=row["tested"], valued=row["with_accepted_jumps"]),
        say("flow.jumps", recorded=int(mine["recorded"].sum()), used=int(mine["accepted"].sum())),
    )  # fmt: skip
    aside = _not_tested(context, session) + _not_counted(context, session)
    if len(aside) > _MOST_REASONS:
        rest = len(aside) - _MOST_REASONS + 1
        aside = [*aside[: _MOST_REASONS - 1], say("flow.more", n=rest)]
    return FlowStep(lines, tuple(aside))


def why_missing(context: Context, row: Mapping[str, object]) -> str:
    """Return why somebody was not tested: status and reason, as far as they were noted."""
    status, reason, say = str(row["status"]), str(row["reason"]), context.words.say
    if not status:
        return reason or say("people.no_reason")
    word = say(f"people.status_{status}")
    return say("people.status_and_reason", status=word, reason=reason) if reason else word


def _not_tested(context: Context, session: str) -> list[str]:
    """Return how many were not tested, by reason."""
    missing = context.analyses.flow["missing"]
    mine = missing[missing["session"].astype(str) == session]
    reasons = [why_missing(context, row) for row in mine.to_dict("records")]
    counts = pd.Series(reasons, dtype=object).value_counts(sort=False)
    return [context.words.say("flow.missing", n=n, reason=reason) for reason, n in counts.items()]


def _not_counted(context: Context, session: str) -> list[str]:
    """Return how many jumps do not count, by reason."""
    reasons = context.analyses.flow["reasons"]
    mine = reasons[reasons["session"].astype(str) == session]
    say, out = context.words.say, []
    for row in mine.to_dict("records"):
        code, n = str(row["reason"]), int(row["n"])
        rule = CHECKS.get(code) if row["by"] == "rules" else None
        name = rule.label if rule else code.replace("_", " ")
        reason = say(f"flow.by_{row['by']}", reason=name)
        out.append(context.words.count("flow.jumps_out", n, reason=reason))
    return out


def _counted(context: Context) -> list[FlowStep]:
    """Return who is in the change of the primary measure, by group; nothing without one."""
    within = context.analyses.result("change_within")
    if within is None:
        return []
    rows = within.rows("mean_change", metric=context.primary)
    sizes = {
        str(r["group"]) if pd.notna(r["group"]) else "": int(r["n"])
        for r in rows.to_dict("records")
        if pd.notna(r["n"])
    }
    say = context.words.say
    head = say(
        "flow.counted",
        before=context.study.before,
        after=context.study.after,
        n=sum(sizes.values()),
    )
    named = ", ".join(say("coach.in_group", n=n, group=g) for g, n in sizes.items() if g)
    return [FlowStep((head, named) if named else (head,))]
