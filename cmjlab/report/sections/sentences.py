"""Every result as a sentence to copy: for coaches, for colleagues, for a thesis.

The three registers are written from the same row of the same Result; the words stand in
words.toml. The page holds the primary measure, sentences.csv beside it everything.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import pandas as pd

from cmjlab.plots.decimal import with_decimal
from cmjlab.plots.labels import metric_label, metric_unit, value_text
from cmjlab.report.blocks.data import Block, Facts, Heading, Paragraph, Section
from cmjlab.report.blocks.format import (
    NBSP,
    Estimate,
    declared_change,
    estimate_of,
    interval_verdict,
    number_text,
    percent_text,
    unitless_interval,
    with_interval,
    with_labels,
)
from cmjlab.report.build.context import Context
from cmjlab.report.build.leading_rows import first_row
from cmjlab.report.sections.coach import leading_kind
from cmjlab.results import Result

REGISTERS = ("coach", "colleague", "thesis")


@dataclass(frozen=True)
class SentenceTriple:
    """One result in three registers, and where it belongs."""

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
    sign, literal = context.choices.decimal, context.literal
    context.tables["sentences"] = pd.DataFrame(
        [
            {
                "result": s.result,
                "metric": s.metric,
                "of": s.where,
                **{r: with_decimal(getattr(s, r), sign, literal=literal) for r in REGISTERS},
            }
            for s in everything
        ],
        columns=["result", "metric", "of", *REGISTERS],
    )
    blocks: list[Block] = [Paragraph(say("sentences.intro"))]
    for s in everything:
        if s.metric != context.primary or (s.result == "individual" and not context.full):
            continue
        blocks.append(Heading(f"{say(f'sentences.title_{s.result}')}: {s.where}".rstrip(": ")))
        blocks.append(
            Facts(tuple((say(f"sentences.for_{r}"), str(getattr(s, r))) for r in REGISTERS))
        )
    if len(blocks) == 1:
        blocks.append(Paragraph(say("sentences.nothing")))
    title = say("titles.sentences")
    return Section("sentences", title, tuple(blocks), on_paper=context.full)


def sentence_triples(context: Context) -> Iterator[SentenceTriple]:
    """Yield the sentences of every result of the report, measure by measure."""
    for metric in context.analyses.metrics:
        yield from _noise(context, metric)
        yield from _rows(context, metric, "change_within", "mean_change", "within")
        yield from _rows(context, metric, "change_between", leading_kind(context), "between")
        yield from _rows(context, metric, "change_between", "change_beyond_drift", "drift")
        yield from _rows(context, metric, "change_individual", "individual_change", "individual")


def _noise(context: Context, metric: str) -> Iterator[SentenceTriple]:
    """Yield how far a measure can be trusted."""
    reliability = context.analyses.result("reliability")
    if reliability is None:
        return
    found = {k: first_row(reliability, k, metric) for k in ("typical_error", "icc_a1")}
    sdc = first_row(reliability, "smallest_detectable_change", metric)
    error, icc = found["typical_error"], found["icc_a1"]
    if error is None or icc is None or sdc is None:
        return
    s = estimate_of(error)
    if not math.isfinite(s.estimate) or not math.isfinite(float(sdc["estimate"])):
        yield _missing(context, "noise", metric, "", s.text)
        return
    gaps = {
        **_names(metric),
        "sessions": [str(x) for x in reliability.settings["use"]],
        "n": s.n,
        "percent": percent_text(context.study.plan.level),
        "error": _spaced(with_interval(s, extra=1), metric),
        "icc": _blank(unitless_interval(icc)),
        "icc_method": str(icc["method"]),
        "sdc": value_text(metric, float(sdc["estimate"])),
    }
    yield SentenceTriple("noise", metric, "", *_three(context, "noise", gaps))


def _rows(
    context: Context, metric: str, result: str, statistic: str, kind: str
) -> Iterator[SentenceTriple]:
    """Yield the sentences of every row of a statistic."""
    found = context.analyses.result(result)
    if found is None:
        return
    rows = found.rows(statistic, metric=metric)
    rows = rows.drop_duplicates(["group"] if kind == "drift" else ["group", "contrast", "athlete"])
    guesses = _shrunken(found, metric) if kind == "individual" else {}
    for _, row in rows.iterrows():
        where = _where(context, row, kind)
        s = estimate_of(row)
        if not math.isfinite(s.estimate) or not s.has_interval:
            yield _missing(context, kind, metric, where, s.text)
            continue
        gaps = {
            **_names(metric),
            "where": where or context.words.say("sentences.all"),
            "n": s.n,
            "before": context.study.before,
            "after": context.study.after,
            "change": value_text(metric, s.estimate, signed=True),
            "low": number_text(metric, s.low, signed=True),
            "high": value_text(metric, s.high, signed=True),
            "percent": percent_text(context.study.plan.level),
            "verdict": _verdict(context, s, kind, row),
            "method": str(row["method"]),
            **_guess(context, guesses.get(str(row["athlete"]))),
        }
        yield SentenceTriple(kind, metric, where, *_three(context, kind, gaps))


def _verdict(context: Context, s: Estimate, kind: str, row: pd.Series) -> str:
    """Return what the interval says; a difference between groups is no increase."""
    if kind != "between":
        return interval_verdict(context.words, s, declared_change(context.matters, s.metric))
    first, second = str(row["contrast"]).split(" - ", 1)
    if s.low <= 0 <= s.high:
        return context.words.say("sentences.same", n=s.n)
    return context.words.say("sentences.higher", group=first if s.low > 0 else second)


def _where(context: Context, row: pd.Series, kind: str) -> str:
    """Return whose result a row is: an athlete, a comparison or a group."""
    if kind == "individual":
        return context.athlete_name(str(row["athlete"]))
    if kind == "between":
        return str(row["contrast"]).replace(" - ", f" {context.words.say('sentences.minus')} ")
    return str(row["group"]) if pd.notna(row["group"]) else ""


def _shrunken(result: Result, metric: str) -> dict[str, str]:
    """Return each athlete's change drawn towards the group, in words."""
    rows = result.rows("shrunken_change", metric=metric)
    return {
        str(a): value_text(metric, float(v), signed=True)
        for a, v in zip(rows["athlete"], rows["estimate"], strict=True)
        if math.isfinite(v)
    }


def _guess(context: Context, shrunken: str | None) -> dict[str, object]:
    """Return the part of each sentence on the drawn estimate; empty where there is none."""
    keys = [f"guess_{r}" for r in REGISTERS]
    if shrunken is None:
        return dict.fromkeys(keys, "")
    return {k: context.words.say(f"sentences.{k}", shrunken=shrunken) for k in keys}


def _names(metric: str) -> dict[str, object]:
    """Return the measure for the start and for the middle of a sentence."""
    name = metric_label(metric)
    small = name[:1].lower() + name[1:] if name[1:2].islower() else name
    return {"name": name, "metric": small}


def _three(context: Context, kind: str, gaps: dict[str, object]) -> list[str]:
    return [context.words.say(f"sentences.{kind}_{r}", **gaps) for r in REGISTERS]


def _missing(context: Context, kind: str, metric: str, where: str, reason: str) -> SentenceTriple:
    """Return the same plain sentence in all registers where there is no number."""
    text = context.words.say(
        "sentences.none",
        what=context.words.say(f"sentences.title_{kind}"),
        metric=metric_label(metric),
        where=f", {where}" if where else "",
        reason=with_labels(reason.removeprefix("not estimable: ")) or "–",
    )
    return SentenceTriple(kind, metric, where, text, text, text)


def _blank(text: str) -> str:
    return text.replace(NBSP, " ")


def _spaced(text: str, metric: str) -> str:
    """Return "1.40 (1.11 to 1.89)" with the unit behind both parts."""
    unit = metric_unit(metric)
    plain = _blank(text)
    if not unit or " (" not in plain:
        return f"{plain} {unit}".strip()
    value, interval = plain.split(" (", 1)
    return f"{value} {unit} ({interval.removesuffix(')')} {unit})"
