"""Every result as a sentence to copy: for coaches, for colleagues, for a thesis.

The three are written from the same row of the same Result; the words stand in the catalog of
words. The page holds the primary measure, sentences.csv beside it everything.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from cmjlab.catalog.direction import reading
from cmjlab.plots.decimal import with_decimal
from cmjlab.report.blocks.data import Block, Facts, Heading, Paragraph, Section
from cmjlab.report.blocks.format import Estimate, declared_change, estimate_of
from cmjlab.report.blocks.verdict import verdict
from cmjlab.report.build.context import Context
from cmjlab.report.build.leading_rows import first_row
from cmjlab.report.sections.differences import difference_row, leading_rows, pairs_compared
from cmjlab.results import Result, method_words

#: For whom a sentence is worded.
READERS = ("coach", "colleague", "thesis")


@dataclass(frozen=True)
class SentenceTriple:
    """One result in three wordings, and where it belongs."""

    result: str
    metric: str
    where: str
    coach: str
    colleague: str
    thesis: str


def sentences_section(context: Context) -> Section:
    """Return the sentences on the primary measure; all of them go to sentences.csv."""
    say = context.words.say
    everything = list(sentence_triples(context))
    context.tables["sentences"] = _table(context, everything)
    blocks: list[Block] = [Paragraph(say("sentences.intro"))]
    for s in everything:
        if s.metric != context.primary or (s.result == "individual" and not context.full):
            continue
        title = say(f"sentences.title_{s.result}")
        heading = say("sentences.heading", title=title, where=s.where) if s.where else title
        pairs = tuple((say(f"sentences.for_{r}"), str(getattr(s, r))) for r in READERS)
        blocks += [Heading(heading), Facts(pairs)]
    if len(blocks) == 1:
        blocks.append(Paragraph(say("sentences.nothing")))
    return Section("sentences", say("titles.sentences"), tuple(blocks), on_paper=context.full)


def _table(context: Context, everything: list[SentenceTriple]) -> pd.DataFrame:
    sign, literal = context.choices.decimal, context.literal
    rows = [
        {
            "result": s.result,
            "metric": s.metric,
            "of": s.where,
            **{r: with_decimal(getattr(s, r), sign, literal=literal) for r in READERS},
        }
        for s in everything
    ]
    return pd.DataFrame(rows, columns=["result", "metric", "of", *READERS])


def sentence_triples(context: Context) -> Iterator[SentenceTriple]:
    """Yield the sentences of every result of the report, measure by measure."""
    analyses = context.analyses
    within, between = analyses.result("change_within"), analyses.result("change_between")
    single = analyses.result("change_individual")
    for metric in analyses.metrics:
        yield from _noise(context, metric)
        if within is not None:
            yield from _of_groups(context, within, "mean_change", metric, "within")
        if between is not None:
            yield from _between(context, between, metric)
            yield from _of_groups(context, between, "change_beyond_drift", metric, "drift")
        if single is not None:
            yield from _individuals(context, single, metric)


def _noise(context: Context, metric: str) -> Iterator[SentenceTriple]:
    """Yield how well a measure repeats."""
    result = context.analyses.result("reliability")
    if result is None:
        return
    names = ("typical_error", "icc_a1", "smallest_detectable_change")
    rows = {name: first_row(result, name, metric) for name in names}
    if any(row is None for row in rows.values()):
        return
    error, icc, sdc = (estimate_of(rows[name]) for name in names)  # type: ignore[arg-type]
    if not error.is_known or not sdc.is_known:
        yield _missing(context, "noise", metric, "", error)
        return
    values = {
        "sessions": [str(s) for s in result.settings["use"]],
        "n": error.n,
        "error": error.estimate,
        "error_low": error.low,
        "error_high": error.high,
        "icc": icc.estimate,
        "icc_low": icc.low,
        "icc_high": icc.high,
        "icc_method": method_words(_mapping(rows["icc_a1"]), context.words),
        "sdc": sdc.estimate,
    }
    yield _triple(context, "noise", metric, "", values)


def _of_groups(
    context: Context, result: Result, statistic: str, metric: str, kind: str
) -> Iterator[SentenceTriple]:
    """Yield the sentences of every group's change."""
    rows = result.rows(statistic, metric=metric).drop_duplicates("group")
    for _, row in rows.iterrows():
        where = str(row["group"]) if pd.notna(row["group"]) else ""
        change = estimate_of(row)
        if not change.has_interval:
            yield _missing(context, kind, metric, where, change)
            continue
        said = verdict(change, declared_change(context.matters, metric))
        values = _numbers(context, row, change) | {"verdict": said, "start": row["second"]}
        # A change from a baseline that did not decide the group has no drift to go beyond.
        clean = "clean" if row["estimator"] == "clean_change" else ""
        yield _triple(context, kind, metric, where, values, words_of=clean)


def _between(context: Context, result: Result, metric: str) -> Iterator[SentenceTriple]:
    """Yield the sentences of every comparison: of the estimate that leads, else of both."""
    if not result.leading:
        yield from _neither(context, result, metric)
        return
    for row in leading_rows(result, metric):
        pair = {"first": str(row["first"]), "second": str(row["second"])}
        where = context.words.say("sentences.where_pair", **pair)
        change = estimate_of(row)
        if not change.has_interval:
            yield _missing(context, "between", metric, where, change)
            continue
        values = _numbers(context, row, change) | {"verdict": _who_is_ahead(context, change, pair)}
        yield _triple(context, "between", metric, where, values)


def _who_is_ahead(context: Context, change: Estimate, pair: Mapping[str, str]) -> str:
    """Return what the interval of a difference between groups says."""
    found = reading(change.metric, change.low, change.high)
    if found == "open":
        return context.words.count("sentences.same", change.n)
    group = pair["first"] if found in ("better", "higher") else pair["second"]
    key = "better" if found in ("better", "worse") else "higher"
    return context.words.say(f"sentences.{key}", group=group)


def _neither(context: Context, result: Result, metric: str) -> Iterator[SentenceTriple]:
    """Yield both estimates of every comparison, in one sentence."""
    for pair in pairs_compared(result):
        where = context.words.say("sentences.where_pair", first=pair[0], second=pair[1])
        row = difference_row(result, "change_difference", metric, pair)
        beside = difference_row(result, "adjusted_difference", metric, pair)
        if row is None or beside is None:
            continue
        change, adjusted = estimate_of(row), estimate_of(beside)
        if not (change.has_interval and adjusted.has_interval):
            unknown = adjusted if change.has_interval else change
            yield _missing(context, "between", metric, where, unknown)
            continue
        values = _numbers(context, row, change) | {
            "adjusted": adjusted.estimate,
            "adjusted_low": adjusted.low,
            "adjusted_high": adjusted.high,
            "adjusted_method": method_words(_mapping(beside), context.words),
        }
        yield _triple(context, "between", metric, where, values, words_of="neither")


def _individuals(context: Context, result: Result, metric: str) -> Iterator[SentenceTriple]:
    """Yield the sentences of every athlete's change."""
    drawn = result.rows("shrunken_change", metric=metric)
    guesses = {
        str(a): float(v)
        for a, v in zip(drawn["athlete"], drawn["estimate"], strict=True)
        if pd.notna(v)
    }
    rows = result.rows("individual_change", metric=metric).drop_duplicates("athlete")
    for _, row in rows.iterrows():
        athlete = str(row["athlete"])
        where, change = context.athlete_said(athlete), estimate_of(row)
        if not change.has_interval:
            yield _missing(context, "individual", metric, where, change)
            continue
        said = verdict(change, declared_change(context.matters, metric))
        values = _numbers(context, row, change) | {"verdict": said}
        if athlete in guesses:
            values["shrunken"] = guesses[athlete]
        yield _triple(context, "individual", metric, where, values)


def _numbers(context: Context, row: pd.Series, change: Estimate) -> dict[str, Any]:
    return {
        "n": change.n,
        "change": change.estimate,
        "low": change.low,
        "high": change.high,
        "method": method_words(_mapping(row), context.words),
    }


def _triple(
    context: Context,
    kind: str,
    metric: str,
    where: str,
    values: Mapping[str, Any],
    *,
    words_of: str = "",
) -> SentenceTriple:
    """Return a result in three wordings."""
    study, say = context.study, context.words.say
    shared = {
        "metric": metric,
        "where": where or say("sentences.where_all"),
        "before": study.before,
        "after": study.after,
        "level": study.plan.level,
        **values,
    }
    texts = []
    for reader in READERS:
        guess = say(f"sentences.guess_{reader}", **shared) if "shrunken" in values else ""
        texts.append(say(f"sentences.{words_of or kind}_{reader}", guess=guess, **shared))
    return SentenceTriple(kind, metric, where, *texts)


def _missing(
    context: Context, kind: str, metric: str, where: str, unknown: Estimate
) -> SentenceTriple:
    """Return the same plain sentence three times where there is no number."""
    say = context.words.say
    text = say(
        "sentences.none_where" if where else "sentences.none",
        title=say(f"sentences.title_{kind}"),
        metric=metric,
        where=where,
        why=unknown.reason or say("sentences.no_reason"),
    )
    return SentenceTriple(kind, metric, where, text, text, text)


def _mapping(row: pd.Series | None) -> dict[str, Any]:
    return {} if row is None else {str(k): v for k, v in row.items()}
