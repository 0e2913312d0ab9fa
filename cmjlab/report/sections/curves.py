"""Where in the movement force changed: whole curves, in the full report (recordings are read again)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from cmjlab.errors import CmjlabError
from cmjlab.plots.curves import curves_figure
from cmjlab.report.blocks.data import Items, Paragraph, Section
from cmjlab.report.build.context import Context
from cmjlab.report.sections.alike import together
from cmjlab.results import Sentence


def curves_section(context: Context) -> Section:
    """Return the curves of force per body mass of the first comparison, and what all groups show."""
    say = context.words.say
    title = say("titles.curves")
    try:
        result = context.study.compare_curves()
    except CmjlabError as error:
        why = say("curves_page.missing", why=str(error))
        return Section("curves", title, (Paragraph(why, "note"),))
    context.tables["curves"] = result.table
    settings = result.settings
    caption = say("curves_page.figure", quantity=settings["quantity"], before=settings["before"],
                  after=settings["after"], level=settings["level"])  # fmt: skip
    named = [_named(context, s) for s in result.sentences]
    said = tuple(together(context.words, sorted(named, key=_order)))
    notes = [context.words.phrase(n) for n in result.notes]
    return Section("curves", title, (
        Paragraph(say("curves_page.intro")),
        context.figure("curves", curves_figure(result), caption),
        Items(said),
        Items(tuple(n for n in notes if context.is_new(n)), small=True),
    ))  # fmt: skip


#: Differences first, then groups, then athletes; what was found before what was not.
_ORDER = ("between_found", "between_open", "between_none", "within_found", "within_open",
          "within_none")  # fmt: skip


def _order(said: Sentence) -> int:
    kind = said.key.removeprefix("curves.")
    return _ORDER.index(kind) if kind in _ORDER else len(_ORDER)


def _named(context: Context, said: Sentence) -> Sentence:
    """Return a sentence with athletes as this report says them."""

    def turned(values: Mapping[str, Any]) -> dict[str, Any]:
        return {k: [_named(context, v) for v in value] if k == "each" else value for k, value in values.items()}  # fmt: skip

    values = turned(said.values)
    if "athlete" in values:
        values["athlete"] = context.athlete_said(str(values["athlete"]))
    return replace(said, values=values)
