"""What a page says in the place of a result that rests on something that cannot be right."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

from cmjlab.report.blocks.data import Block, Heading, Items, Paragraph, Section
from cmjlab.report.build.context import Context
from cmjlab.study.check.doubt import Doubt, doubts_table

#: Sections that show no result; page one says it in the place of each row.
_WITHOUT_NOTE = ("coach", "methods", "people", "limitations", "cautions", "glossary",
                 "provenance", "references")  # fmt: skip


def stop_blocks(context: Context) -> list[Block]:
    """Return what stands at the very top of page one: what cannot be right, and what to do."""
    stops, say = context.stops, context.words.say
    settled = (
        [Paragraph(say("stopped.settled", found=[d.found for d in stops.settled]), "note")]
        if stops.settled
        else []
    )
    if not stops:
        return [*settled]
    context.tables["doubts"] = doubts_table(stops.doubts)
    texts = stops.sentences(context.words)
    return [
        Heading(say("stopped.heading")),
        Paragraph(context.words.count("stopped.lead", len(texts)), "caution"),
        Items(texts),
        *settled,
    ]


def block_stops(context: Context, metric: str, groups: Iterable[str] = ()) -> tuple[Doubt, ...]:
    """Return the doubts on which a change over the block rests."""
    study = context.study
    return context.stops.of(metric, (study.before, study.after), groups)


def athlete_stops(context: Context, athlete: str, metric: str) -> tuple[Doubt, ...]:
    """Return the doubts on which one athlete's change over the block rests."""
    study = context.study
    return context.stops.of_athlete(athlete, metric, (study.before, study.after))


def not_shown(context: Context, doubts: Sequence[Doubt]) -> str:
    """Return why a result is not shown, in a few words."""
    return context.words.say("stopped.not_shown", doubts=[d.short for d in doubts])


def sort_targets(
    context: Context, rows: Sequence[dict[Any, Any]]
) -> tuple[list[dict[Any, Any]], list[tuple[dict[Any, Any], tuple[Doubt, ...]]]]:
    """Return the targets that can be answered, and those that cannot with what stops each."""
    standing, stopped = [], []
    for row in rows:
        doubts = target_stops(context, row)
        if doubts:
            stopped.append((row, doubts))
        else:
            standing.append(row)
    return standing, stopped


def target_stops(context: Context, row: dict[Any, Any]) -> tuple[Doubt, ...]:
    """Return the doubts on which the answer to a target rests: its own group, and the other one."""
    other = [str(row["control"])] if row["basis"] == "against" else []
    return block_stops(context, str(row["metric"]), [str(row["subgroup"]), *other])


def with_stop_note(context: Context, section: Section) -> Section:
    """Return a section with a line on top that says which of its numbers not to use."""
    if not context.stops.doubts or section.key in _WITHOUT_NOTE:
        return section
    short = [d.short for d in context.stops.doubts]
    note = Paragraph(context.words.say("stopped.section", doubts=short), "caution")
    return replace(section, blocks=(note, *section.blocks))
