"""The page for coaches: what was done, what changed, how sure, what to do next."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from cmjlab.catalog import CHECKS
from cmjlab.plots.change import paired_figure
from cmjlab.plots.labels import metric_label, metric_unit, words
from cmjlab.report.blocks import format as tell
from cmjlab.report.blocks.data import Block, Heading, Items, Paragraph, Section, TableBlock
from cmjlab.report.build.context import Frame

#: Comparisons that the page for coaches names one by one.
_MOST_ADVICE = 3


def coach_section(frame: Frame) -> Section:
    """Return the first page."""
    say = frame.words.say
    blocks: list[Block] = [
        Heading(say("coach.heading_done")),
        *_done(frame),
        Heading(say("coach.heading_changed")),
        *_changed(frame),
        Heading(say("coach.heading_sure")),
        *_sure(frame),
        Heading(say("coach.heading_next")),
        Items(tuple(_next(frame)), ordered=True),
        Paragraph(say("coach.caution"), "caution"),
    ]
    return Section("coach", say("titles.coach"), tuple(blocks))


def listed(names: list[str]) -> str:
    """Return "a, b and c"."""
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]


def group_counts(frame: Frame) -> str:
    """Return the groups with their numbers of athletes: "9 strength, 9 usual"."""
    roster = frame.study.athletes
    names = roster["group"].fillna("").astype(str)
    counts = names[names != ""].value_counts(sort=False)
    if counts.empty:
        return "no groups"
    rest = int((names == "").sum())
    parts = [f"{n} {g}" for g, n in counts.items()] + ([f"{rest} without group"] if rest else [])
    return ", ".join(parts)


def session_words(frame: Frame) -> str:
    """Return the sessions in order, with dates where known."""
    rows = frame.study.sessions
    parts = []
    for session, date in zip(rows["session"].astype(str), rows["date"], strict=True):
        dated = pd.notna(date) and str(date)
        parts.append(f"{session} ({date})" if dated else session)
    return listed(parts)


def _done(frame: Frame) -> list[Block]:
    say, study = frame.words.say, frame.study
    jumps = frame.found.jumps
    present = jumps.loc[jumps["error"].fillna("") == "", "athlete"].nunique()
    text = say(
        "coach.done",
        n_athletes=present,
        groups=group_counts(frame),
        n_sessions=len(study.sessions),
        sessions=session_words(frame),
        n_recorded=len(jumps),
        n_used=int(jumps["accepted"].sum()),
    )
    days = frame.days_between(study.before, study.after)
    if study.plan.block_weeks > 0:
        text += " " + say(
            "coach.done_block",
            before=study.before, after=study.after, weeks=f"{study.plan.block_weeks:g}",
        )  # fmt: skip
    elif math.isfinite(days):
        text += " " + say(
            "coach.done_days", before=study.before, after=study.after, days=f"{days:g}"
        )
    return [Paragraph(text)]


def _changed(frame: Frame) -> list[Block]:
    say = frame.words.say
    within = frame.found.result("change_within")
    if within is None:
        reason = frame.found.reasons.get("change_within", "")
        return [Paragraph(say("coach.no_change", reason=reason), "note")]
    metric, study = frame.primary, frame.study
    matters = tell.matters_of(frame.matters, metric)
    key = "coach.changed" if matters is not None else "coach.changed_undeclared"
    amount = words(metric, matters) if matters is not None else ""
    lead = say(
        key, metric=metric_label(metric), before=study.before, after=study.after, matters=amount
    )
    figure = paired_figure(within, metric, change_that_matters=frame.matters)
    caption = say("groups.figure_paired", metric=metric_label(metric))
    return [
        Paragraph(lead, "lead"),
        change_table(frame, metric),
        frame.figure("paired_primary", figure, caption),
    ]


def change_table(frame: Frame, metric: str) -> TableBlock:
    """Return the change of each group in one measure, with the verdict of its interval."""
    say, study = frame.words.say, frame.study
    within = frame.found.results["change_within"]
    pairs = within.points["pairs"]
    pairs = pairs[pairs["metric"] == metric]
    matters = tell.matters_of(frame.matters, metric)
    rows = []
    for _, row in within.rows("mean_change", metric=metric).iterrows():
        group = str(row["group"]) if pd.notna(row["group"]) else ""
        part = pairs[pairs["group"].fillna("").astype(str) == group]
        s = tell.span(row)
        rows.append(
            (
                group or "all",
                str(s.n),
                tell.mean_shown(metric, part["before"], formula=frame.study.method.asymmetry),
                tell.mean_shown(metric, part["after"], formula=frame.study.method.asymmetry),
                tell.with_interval(s, signed=True),
                tell.verdict(frame.words, s, matters),
            )
        )
    level = tell.percent(study.plan.level)
    return TableBlock(
        say("coach.table", metric=tell.label(metric), before=study.before, after=study.after),
        (
            say("columns.group"),
            say("columns.n"),
            say("columns.before"),
            say("columns.after"),
            f"{say('columns.change')} ({say('columns.interval', percent=level)})",
            say("columns.verdict"),
        ),
        tuple(rows),
        (False, True, True, True, True, False),
        tell.why_not(within.rows("mean_change", metric=metric)),
    )


def _sure(frame: Frame) -> list[Block]:
    say, study = frame.words.say, frame.study
    trust = frame.found.result("reliability")
    if trust is None:
        reason = frame.found.reasons.get("reliability", "")
        return [Paragraph(say("coach.sure_none", reason=reason))]
    out = []
    rows = trust.rows("smallest_detectable_change", metric=frame.primary)
    rows = rows[np.isfinite(rows["estimate"].astype(float))]
    if len(rows):
        out.append(say("coach.sure_one", sdc=words(frame.primary, float(rows["estimate"].iloc[0]))))
    rows = trust.rows("smallest_detectable_change_mean", metric=frame.primary)
    rows = rows[np.isfinite(rows["estimate"].astype(float))]
    if len(rows):
        mean = words(frame.primary, float(rows["estimate"].iloc[0]))
        out.append(say("coach.sure_mean", sdc=mean, n=int(rows["n"].iloc[0])))
    out.append(say("coach.sure_group", percent=tell.percent(study.plan.level)))
    used = list(trust.settings["use"])
    days = frame.days_between(used[0], used[-1])
    if math.isfinite(days):
        out.append(say("coach.sure_block", days=f"{days:g}"))
    return [Items(tuple(out))]


def _next(frame: Frame) -> list[str]:
    """Return what follows from the numbers, most pressing first; each from one rule."""
    say, study = frame.words.say, frame.study
    out = []
    dropped = _only_decreases(frame)
    if dropped:
        out.append(say("coach.next_drop", athletes=frame.who_all(dropped)))
    missed = _missed(frame)
    if missed:
        out.append(say("coach.next_test", after=study.after, athletes=frame.who_all(missed)))
    out += _group_advice(frame)
    out += _flag_advice(frame)
    if tell.matters_of(frame.matters, frame.primary) is None:
        out.append(say("coach.next_declare", metric=metric_label(frame.primary)))
    out.append(say("coach.next_again"))
    return out


def _only_decreases(frame: Frame) -> list[str]:
    result = frame.found.result("change_individual")
    if result is None:
        return []
    rows = result.rows("individual_change", metric=frame.primary)
    return [str(a) for a, high in zip(rows["athlete"], rows["ci_high"], strict=True) if high < 0]


def _missed(frame: Frame) -> list[str]:
    """Return athletes with a value before but none after, unless they left for good."""
    study, sessions = frame.study, frame.found.sessions
    if not (study.before and study.after):
        return []
    has = sessions[sessions[frame.primary].notna()] if frame.primary in sessions else sessions[:0]
    names = has["session"].astype(str)
    before = dict.fromkeys(has.loc[names == study.before, "athlete"])
    after = set(has.loc[names == study.after, "athlete"])
    part = study.participation
    gone = set(part.loc[part["status"].isin(["left", "withdrawn", "excluded", "pain"]), "athlete"])
    return [a for a in before if a not in after and a not in gone]


def leading_kind(frame: Frame) -> str:
    """Return the statistic that leads when groups are compared, by how the groups came about."""
    result = frame.found.result("change_between")
    formed = result.settings["assignment"] if result is not None else None
    clean = isinstance(formed, dict) and formed.get("session") != frame.study.before
    return "change_difference" if clean else "adjusted_difference"


def leading_differences(frame: Frame) -> pd.DataFrame:
    """Return the difference rows on which advice may rest: the leading kind, else the adjusted."""
    result = frame.found.result("change_between")
    if result is None:
        return pd.DataFrame()
    rows = result.rows(leading_kind(frame), metric=frame.primary)
    return rows.drop_duplicates("contrast")


def _group_advice(frame: Frame) -> list[str]:
    say = frame.words.say
    unclear, out = [], []
    for _, row in leading_differences(frame).iterrows():
        first, second = str(row["contrast"]).split(" - ", 1)
        s = tell.span(row)
        if not s.has_interval or s.low <= 0 <= s.high:
            unclear.append(f"{first} against {second}")
        else:
            better = first if s.low > 0 else second
            name = f"{first} against {second}"
            size = f"{tell.with_interval(s, signed=True)} {metric_unit(s.metric)}".rstrip()
            out.append(say("coach.next_groups_clear", contrast=name, better=better, size=size))
    if len(out) > _MOST_ADVICE:
        rest = len(out) - _MOST_ADVICE + 1
        out = [*out[: _MOST_ADVICE - 1], say("coach.next_groups_more", n=rest)]
    if unclear:
        out.append(say("coach.next_groups_unclear", contrast="; ".join(unclear)))
    return out


def _flag_advice(frame: Frame) -> list[str]:
    checks = frame.found.checks
    seen = checks[checks["status"].isin(["warn", "fail"])]
    if seen.empty:
        return []
    counts = seen.groupby("code").size().sort_values(ascending=False)
    code = str(counts.index[0])
    rule = CHECKS.get(code)
    return [
        frame.words.say(
            "coach.next_flag",
            flag=rule.label if rule else code.replace("_", " "),
            n=int(counts.iloc[0]),
            of=len(frame.found.jumps),
            remedy=_sentence(rule.remedy) if rule else "",
        )
    ]


def _sentence(text: str) -> str:
    """Return a catalog text with a capital and a full stop."""
    return text[:1].upper() + text[1:].rstrip(".") + "." if text else ""
