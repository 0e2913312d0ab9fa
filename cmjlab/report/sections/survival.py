"""Does the answer survive another way to analyse it: shown where somebody has asked."""

from __future__ import annotations

from cmjlab.plots.specifications import specification_figure
from cmjlab.report.blocks.data import Block, Items, Paragraph, Section
from cmjlab.report.build.context import Context
from cmjlab.report.sections.stopped import block_stops, not_shown
from cmjlab.results import Result, Sentence
from cmjlab.scrutiny.methods.kept import kept_survival

#: Columns of the table beside the page are those of the analyses; figures only in the full form.
_KEY = "survival"


def survival_section(context: Context) -> Section | None:
    """Return what ``cmjlab survive`` found of the study as it is now; None when nobody asked."""
    result = kept_survival(context.study)
    if result is None or not result.sentences:
        return None
    say = context.words.say
    context.tables[_KEY] = result.table
    context.tables["specifications"] = result.points["specifications"]
    blocks: list[Block] = [
        Paragraph(say("survive_page.intro", methods=int(result.settings["methods"]))),
        Items(tuple(_said(context, s) for s in result.sentences)),
        Items(tuple(dict.fromkeys(context.words.phrase(n) for n in result.notes)), small=True),
    ]
    if context.full:
        blocks += _figures(context, result)
    return Section(_KEY, say("titles.survival"), tuple(blocks))


def _said(context: Context, sentence: Sentence) -> str:
    """Return the sentence of a target, or what stops it."""
    doubts = block_stops(context, sentence.metric, [sentence.group])
    if doubts:
        return context.words.say(
            "survive_page.stopped", group=sentence.group, metric=sentence.metric,
            why=not_shown(context, doubts),
        )  # fmt: skip
    return context.words.phrase(sentence)


def _figures(context: Context, result: Result) -> list[Block]:
    blocks: list[Block] = []
    for target in result.points["targets"].to_dict("records"):
        group, metric = str(target["subgroup"]), str(target["metric"])
        if block_stops(context, metric, [group]):
            continue
        picture = specification_figure(result, metric, group)
        caption = context.words.say("survive_page.caption", group=group, metric=metric)
        blocks.append(context.figure(f"survival_{group}_{metric}", picture, caption))
    return blocks
