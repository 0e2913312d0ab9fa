"""What follows from the numbers for a coach, most pressing first; each point from one rule."""

from __future__ import annotations

from cmjlab.catalog import CHECKS, METRICS
from cmjlab.catalog.direction import reading
from cmjlab.plots.labels import metric_unit
from cmjlab.report.blocks.format import NBSP, cell, declared_change, estimate_of
from cmjlab.report.build.context import Context
from cmjlab.report.sections.differences import leading_rows
from cmjlab.report.sections.stopped import athlete_stops, block_stops
from cmjlab.report.sections.targets import target_advice, wrong_way
from cmjlab.results import Result
from cmjlab.study.folder.participation import GONE, RESTING

#: Comparisons that the page for coaches names one by one.
_MOST_ADVICE = 3
_ENOUGH_BASELINES = 2
#: The worse side of a measure whose one side is better.
_WORSE_SIDE = {"higher": "lower", "lower": "higher"}


def advice(context: Context) -> list[str]:
    """Return what to do next."""
    say, study = context.words.say, context.study
    targets = context.analyses.result("targets")
    out = _about_athletes(context) if targets is None else _against_targets(context, targets)
    sure = not any(d.touches in ("all", "plate") and not d.athletes for d in context.stops.doubts)
    if context.stops:
        out.insert(0, say("stopped.next"))
    missed = _missed(context) if sure else []
    if missed:
        names = context.athlete_names(missed)
        out.append(say("coach.next_test", after=study.after, athletes=names))
    out += _about_groups(context) if targets is None else target_advice(context, targets)
    if sure:  # flags and missed jumps of a session that is in doubt say nothing about people
        out += _about_flags(context)
    if declared_change(context.matters, context.primary) is None:
        out.append(say("coach.next_declare", metric=context.primary))
    out.append(say("coach.next_again"))
    if (study.sessions["role"] == "baseline").sum() < _ENOUGH_BASELINES:
        out.append(say("coach.next_baselines"))
    return out


def _direction(metric: str) -> str:
    """Return which values of a metric are better: "higher", "lower", "" when neither is."""
    direction = METRICS[metric].direction if metric in METRICS else ""
    return direction if direction in _WORSE_SIDE else ""


def _about_athletes(context: Context) -> list[str]:
    """Return whom to talk with: the whole interval of their change lies on the worse side."""
    result, metric = context.analyses.result("change_individual"), context.primary
    if result is None or not _direction(metric):
        return []
    rows = result.rows("individual_change", metric=metric)
    limits = zip(rows["athlete"], rows["ci_low"], rows["ci_high"], strict=True)
    worse = [
        str(a)
        for a, low, high in limits
        if reading(metric, low, high) == "worse" and not athlete_stops(context, str(a), metric)
    ]
    if not worse:
        return []
    side = _WORSE_SIDE[_direction(metric)]
    names = context.athlete_names(worse)
    return [context.words.say("coach.next_worse", athletes=names, side=side, metric=metric)]


def _against_targets(context: Context, targets: Result) -> list[str]:
    """Return whom to talk with: they moved against what was wanted of their subgroup."""
    people = wrong_way(context, targets)
    return [context.words.say("coach.next_against", people=people)] if people else []


def _missed(context: Context) -> list[str]:
    """Return athletes with a value before but none after, unless they left or must recover."""
    study, sessions = context.study, context.analyses.sessions
    if not (study.before and study.after):
        return []
    primary = context.primary
    has = sessions[sessions[primary].notna()] if primary in sessions else sessions[:0]
    names = has["session"].astype(str)
    before = dict.fromkeys(has.loc[names == study.before, "athlete"])
    after = set(has.loc[names == study.after, "athlete"])
    part = study.participation
    gone = set(part.loc[part["status"].isin([*GONE, *RESTING]), "athlete"])
    return [a for a in before if a not in after and a not in gone]


def _about_groups(context: Context) -> list[str]:
    """Return what the estimate that leads says of each comparison; nothing where none leads."""
    result, metric = context.analyses.result("change_between"), context.primary
    if result is None or not _direction(metric):
        return []
    say = context.words.say
    unclear, out = [], []
    for row in leading_rows(result, metric):
        first, second = str(row["first"]), str(row["second"])
        if block_stops(context, metric, (first, second)):
            continue
        estimate = estimate_of(row)
        pair = say("coach.pair", first=first, second=second)
        found = reading(metric, estimate.low, estimate.high)
        if found == "open":
            unclear.append(pair)
            continue
        size = cell(context.words, estimate, signed=True).replace(NBSP, " ")
        difference = f"{size} {metric_unit(metric)}".rstrip()
        better = first if found == "better" else second
        values = {"pair": pair, "difference": difference, "better": better}
        out.append(say("coach.next_groups_clear", metric=metric, **values))
    if len(out) > _MOST_ADVICE:
        rest = len(out) - _MOST_ADVICE + 1
        out = [*out[: _MOST_ADVICE - 1], say("coach.next_groups_more", n=rest)]
    if unclear:
        out.append(say("coach.next_groups_unclear", pairs=unclear, metric=metric))
    return out


def _about_flags(context: Context) -> list[str]:
    checks = context.analyses.checks
    seen = checks[checks["status"].isin(["warn", "fail"])]
    if seen.empty:
        return []
    counts = seen.groupby("code").size().sort_values(ascending=False)
    code = str(counts.index[0])
    rule = CHECKS.get(code)
    return [
        context.words.say(
            "coach.next_flag",
            flag=rule.label if rule else code.replace("_", " "),
            n=int(counts.iloc[0]),
            of=len(context.analyses.jumps),
            remedy=_sentence(rule.remedy) if rule else "",
        )
    ]


def _sentence(text: str) -> str:
    """Return a catalog text with a capital and a full stop."""
    return text[:1].upper() + text[1:].rstrip(".") + "." if text else ""
