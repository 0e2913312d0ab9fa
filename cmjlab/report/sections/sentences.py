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
from cmjlab.plots.labels import metric_label, metric_unit, words
from cmjlab.report.blocks import format as tell
from cmjlab.report.blocks.data import Block, Facts, Heading, Paragraph, Section
from cmjlab.report.build.context import Frame
from cmjlab.report.build.leading_rows import first_row
from cmjlab.report.sections.coach import leading_kind, listed
from cmjlab.results import Result

REGISTERS = ("coach", "colleague", "thesis")


@dataclass(frozen=True)
class Saying:
    """One result in three registers, and where it belongs."""

    result: str
    metric: str
    where: str
    coach: str
    colleague: str
    thesis: str


def sentences_section(frame: Frame) -> Section:
    """Return the sentences on the primary measure; all of them go to sentences.csv."""
    say = frame.words.say
    everything = list(sayings(frame))
    sign, literal = frame.choices.decimal, frame.literal
    frame.tables["sentences"] = pd.DataFrame(
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
    blocks: list[Block] = [Paragraph(say("sayings.intro"))]
    for s in everything:
        if s.metric != frame.primary or (s.result == "individual" and not frame.full):
            continue
        blocks.append(Heading(f"{say(f'sayings.title_{s.result}')}: {s.where}".rstrip(": ")))
        blocks.append(
            Facts(tuple((say(f"sayings.for_{r}"), str(getattr(s, r))) for r in REGISTERS))
        )
    if len(blocks) == 1:
        blocks.append(Paragraph(say("sayings.nothing")))
    title = say("titles.sentences")
    return Section("sentences", title, tuple(blocks), on_paper=frame.full)


def sayings(frame: Frame) -> Iterator[Saying]:
    """Yield the sentences of every result of the report, measure by measure."""
    for metric in frame.found.metrics:
        yield from _noise(frame, metric)
        yield from _rows(frame, metric, "change_within", "mean_change", "within")
        yield from _rows(frame, metric, "change_between", leading_kind(frame), "between")
        yield from _rows(frame, metric, "change_between", "change_beyond_drift", "drift")
        yield from _rows(frame, metric, "change_individual", "individual_change", "individual")


def _noise(frame: Frame, metric: str) -> Iterator[Saying]:
    """Yield how far a measure can be trusted."""
    trust = frame.found.result("reliability")
    if trust is None:
        return
    found = {k: first_row(trust, k, metric) for k in ("typical_error", "icc_a1")}
    sdc = first_row(trust, "smallest_detectable_change", metric)
    error, icc = found["typical_error"], found["icc_a1"]
    if error is None or icc is None or sdc is None:
        return
    s = tell.span(error)
    if not math.isfinite(s.estimate) or not math.isfinite(float(sdc["estimate"])):
        yield _missing(frame, "noise", metric, "", s.text)
        return
    gaps = {
        **_names(metric),
        "sessions": listed([str(x) for x in trust.settings["use"]]),
        "n": s.n,
        "percent": tell.percent(frame.study.plan.level),
        "error": _spaced(tell.with_interval(s, extra=1), metric),
        "icc": _blank(tell.plain_interval(icc)),
        "icc_method": str(icc["method"]),
        "sdc": words(metric, float(sdc["estimate"])),
    }
    yield Saying("noise", metric, "", *_three(frame, "noise", gaps))


def _rows(frame: Frame, metric: str, result: str, statistic: str, kind: str) -> Iterator[Saying]:
    """Yield one saying for every row of a statistic."""
    found = frame.found.result(result)
    if found is None:
        return
    rows = found.rows(statistic, metric=metric)
    rows = rows.drop_duplicates(["group"] if kind == "drift" else ["group", "contrast", "athlete"])
    guesses = _shrunken(found, metric) if kind == "individual" else {}
    for _, row in rows.iterrows():
        where = _where(frame, row, kind)
        s = tell.span(row)
        if not math.isfinite(s.estimate) or not s.has_interval:
            yield _missing(frame, kind, metric, where, s.text)
            continue
        gaps = {
            **_names(metric),
            "where": where or frame.words.say("sayings.all"),
            "n": s.n,
            "before": frame.study.before,
            "after": frame.study.after,
            "change": words(metric, s.estimate, signed=True),
            "low": tell.bare(metric, s.low, signed=True),
            "high": words(metric, s.high, signed=True),
            "percent": tell.percent(frame.study.plan.level),
            "verdict": _verdict(frame, s, kind, row),
            "method": str(row["method"]),
            **_guess(frame, guesses.get(str(row["athlete"]))),
        }
        yield Saying(kind, metric, where, *_three(frame, kind, gaps))


def _verdict(frame: Frame, s: tell.Span, kind: str, row: pd.Series) -> str:
    """Return what the interval says; a difference between groups is no increase."""
    if kind != "between":
        return tell.verdict(frame.words, s, tell.matters_of(frame.matters, s.metric))
    first, second = str(row["contrast"]).split(" - ", 1)
    if s.low <= 0 <= s.high:
        return frame.words.say("sayings.same", n=s.n)
    return frame.words.say("sayings.higher", group=first if s.low > 0 else second)


def _where(frame: Frame, row: pd.Series, kind: str) -> str:
    """Return whose result a row is: an athlete, a comparison or a group."""
    if kind == "individual":
        return frame.who(str(row["athlete"]))
    if kind == "between":
        return str(row["contrast"]).replace(" - ", f" {frame.words.say('sayings.minus')} ")
    return str(row["group"]) if pd.notna(row["group"]) else ""


def _shrunken(result: Result, metric: str) -> dict[str, str]:
    """Return each athlete's change drawn towards the group, in words."""
    rows = result.rows("shrunken_change", metric=metric)
    return {
        str(a): words(metric, float(v), signed=True)
        for a, v in zip(rows["athlete"], rows["estimate"], strict=True)
        if math.isfinite(v)
    }


def _guess(frame: Frame, shrunken: str | None) -> dict[str, object]:
    """Return the part of each sentence on the drawn estimate; empty where there is none."""
    keys = [f"guess_{r}" for r in REGISTERS]
    if shrunken is None:
        return dict.fromkeys(keys, "")
    return {k: frame.words.say(f"sayings.{k}", shrunken=shrunken) for k in keys}


def _names(metric: str) -> dict[str, object]:
    """Return the measure for the start and for the middle of a sentence."""
    name = metric_label(metric)
    small = name[:1].lower() + name[1:] if name[1:2].islower() else name
    return {"name": name, "metric": small}


def _three(frame: Frame, kind: str, gaps: dict[str, object]) -> list[str]:
    return [frame.words.say(f"sayings.{kind}_{r}", **gaps) for r in REGISTERS]


def _missing(frame: Frame, kind: str, metric: str, where: str, reason: str) -> Saying:
    """Return the same plain sentence in all registers where there is no number."""
    text = frame.words.say(
        "sayings.none",
        what=frame.words.say(f"sayings.title_{kind}"),
        metric=metric_label(metric),
        where=f", {where}" if where else "",
        reason=tell.plain_keys(reason.removeprefix("not estimable: ")) or "–",
    )
    return Saying(kind, metric, where, text, text, text)


def _blank(text: str) -> str:
    return text.replace(tell.NBSP, " ")


def _spaced(text: str, metric: str) -> str:
    """Return "1.40 (1.11 to 1.89)" with the unit behind both parts."""
    unit = metric_unit(metric)
    plain = _blank(text)
    if not unit or " (" not in plain:
        return f"{plain} {unit}".strip()
    value, interval = plain.split(" (", 1)
    return f"{value} {unit} ({interval.removesuffix(')')} {unit})"
