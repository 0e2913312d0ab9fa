"""Ratings and court data beside the jumps: what goes together, with the cautions that it needs."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from cmjlab.errors import CmjlabError
from cmjlab.report.blocks.data import Items, Paragraph, Section, TableBlock
from cmjlab.report.blocks.format import Estimate, unitless_cell
from cmjlab.report.build.context import Context
from cmjlab.report.build.links import court_measures, study_links
from cmjlab.results import Result, Sentence

#: Rows of the table in the short form and in the full one; all pairs are in the CSV table.
_FEW_ROWS, _MOST_ROWS = 8, 40


def links_section(context: Context) -> Section | None:
    """Return what goes together; None when the study has no measure other than strength."""
    if not court_measures(context.study):
        return None
    say = context.words.say
    title = say("titles.links")
    try:
        result = study_links(context.study)
    except CmjlabError as error:
        return Section("links", title, (Paragraph(str(error), "note"),))
    context.tables["links"] = result.table
    said = tuple(context.words.phrase(s if context.full else _counted(s)) for s in result.sentences)
    notes = tuple(dict.fromkeys(context.words.phrase(n) for n in result.notes))
    return Section("links", title, (
        Paragraph(say("links_page.intro")),
        links_table(context, result),
        Items(said or (say("links_page.none"),)),
        Items(notes, small=True),
    ))  # fmt: skip


def _counted(said: Sentence) -> Sentence:
    """Return the sentence without the list of pairs, which the table shows."""
    none = said.key.endswith("_none")
    return said if none else Sentence(f"{said.key}_counted", said.metric, said.group, said.values)


def links_table(context: Context, result: Result) -> TableBlock:
    """Return one row per measure and metric: the link in level, and of the changes.

    The rows stand in the order of the study, never in that of their size: who picks the largest
    of many finds chance.
    """
    say, words = context.words.say, context.words
    links = result.points["links"]
    pairs = links.drop_duplicates(["stratum", "measure", "metric"])
    strata = list(dict.fromkeys(pairs["stratum"])) if pairs["stratum"].nunique() > 1 else []
    changes = bool((links["kind"] != "levels").any())
    rows = []
    for pair in pairs.to_dict("records"):
        mine = links[(links[["stratum", "measure", "metric"]] == [pair["stratum"], pair["measure"], pair["metric"]]).all(axis=1)]  # fmt: skip
        kinds = {str(r["kind"]): r for r in mine.to_dict("records")}
        cells = [words.label(pair["measure"]), words.label(pair["metric"])]
        cells += [str(pair["stratum"])] if strata else []
        cells += _cells(context, kinds.get("levels"))
        cells += (
            _cells(context, kinds.get("changes") or kinds.get("with_change")) if changes else []
        )
        rows.append(tuple(cells))
    heads = [say("links_page.column_measure"), say("columns.metric")]
    heads += [say("links_page.column_stratum")] if strata else []
    heads += [say("links_page.column_levels"), say("columns.n")]
    heads += [say("links_page.column_changes"), say("columns.n")] if changes else []
    most = _MOST_ROWS if context.full else _FEW_ROWS
    rest = len(rows) - most
    return TableBlock(
        say("links_page.title", level=result.settings["level"]), tuple(heads), tuple(rows[:most]),
        (False, False, *([False] if strata else []), *[True] * (4 if changes else 2)),
        " ".join(t for t in (_star(context, links), words.count("links_page.more", rest) if rest > 0 else "") if t),
    )  # fmt: skip


def _star(context: Context, links: pd.DataFrame) -> str:
    marked = (links["kind"] == "with_change").any()
    return context.words.say("links_page.with_change_note") if marked else ""


def _cells(context: Context, link: dict[Any, Any] | None) -> list[str]:
    """Return a correlation with its interval, and the athletes behind it."""
    if link is None or not math.isfinite(link["estimate"]):
        n = 0 if link is None or pd.isna(link["n"]) else int(link["n"])
        return ["–", str(n)]
    numbers = [float(link[c]) for c in ("estimate", "low", "high")]
    size = Estimate("", numbers[0], numbers[1], numbers[2], int(link["n"]))
    text = unitless_cell(context.words, size, 2)
    if link["kind"] == "with_change":
        text = context.words.say("links_page.value_with_change", numbers=text)
    return [text, str(int(link["n"]))]
