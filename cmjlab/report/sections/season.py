"""The weeks of monitoring in short: who lies off the own level now, and the trend of who returns."""

from __future__ import annotations

from cmjlab.plots.season import season_figure
from cmjlab.report.blocks.data import Block, Items, Paragraph, Section
from cmjlab.report.build.context import Context
from cmjlab.results import Result, Sentence
from cmjlab.study.weeks import returning

#: Notes that a reader of the short section needs; the page of ``cmjlab follow`` has all.
_NOTES = ("season_rates", "season_cause", "season_no_level", "season_few_jumps")


def season_section(context: Context) -> Section | None:
    """Return what the weeks of monitoring show; None when the study has none."""
    study, say = context.study, context.words.say
    if not study.settings.monitoring:
        return None
    title = say("titles.season")
    result = context.analyses.result("follow")
    if result is None:
        why = context.why_missing("follow")
        return Section("season", title, (Paragraph(say("season.missing", why=why), "note"),))
    context.tables["follow"] = result.points["weeks"]
    blocks: list[Block] = [
        Paragraph(say("season.intro", weeks=result.settings["weeks"],
                      stable=result.settings["stable"], athletes=_followed(result))),
        Items(tuple(context.words.phrase(s) for s in result.sentences if _shown(context, s))),
        *(_back(context, result) if context.full else ()),
        Paragraph(" ".join(context.words.phrase(n) for n in result.notes if n.code in _NOTES)),
        Paragraph(" ".join((say("season_page.caution"), say("cautions.diagnosis"),
                            say("cautions.data"))), "caution"),
    ]  # fmt: skip
    return Section("season", title, tuple(blocks))


def _shown(context: Context, sentence: Sentence) -> bool:
    """Return whether a sentence stands in the report: all of the primary measure, else news only."""
    quiet = sentence.key in ("follow.week_quiet", "follow.no_conclusion")
    return context.full or sentence.metric == context.primary or not quiet


def _followed(result: Result) -> int:
    return int(result.points["weeks"]["athlete"].nunique())


def _back(context: Context, result: Result) -> list[Block]:
    """Return a figure for each athlete who comes back from an absence: health data, so on request."""
    followed = set(result.points["weeks"]["athlete"].astype(str))
    wanted = [a for a in returning(context.study, result.settings["weeks"]) if a in followed]
    return [
        context.figure(
            f"season_{athlete}",
            season_figure(result, athlete),
            context.words.say("season.figure", athlete=context.athlete_name(athlete)),
        )
        for athlete in wanted
    ]
