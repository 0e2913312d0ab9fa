"""Gather: from a study to ReportData, section by section."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import pandas as pd

from cmjlab import __version__
from cmjlab.errors import StudyError
from cmjlab.report.blocks.data import ReportData, Section
from cmjlab.report.blocks.numbers import numbered
from cmjlab.report.blocks.short_names import shortened
from cmjlab.report.build.analyses import Step, analyse
from cmjlab.report.build.choices import Choices, in_decimal_style, read_names
from cmjlab.report.build.context import Context
from cmjlab.report.build.stops import find_stops
from cmjlab.report.sections.change import drift_section, groups_section, individuals_section
from cmjlab.report.sections.closing import (
    cautions_section,
    glossary_section,
    limitations_section,
    provenance_data,
    provenance_section,
    references_section,
)
from cmjlab.report.sections.coach import coach_section
from cmjlab.report.sections.curves import curves_section
from cmjlab.report.sections.links import links_section
from cmjlab.report.sections.methods import methods_section
from cmjlab.report.sections.people import people_section
from cmjlab.report.sections.reliability import reliability_section
from cmjlab.report.sections.season import season_section
from cmjlab.report.sections.sentences import sentences_section
from cmjlab.report.sections.squad import squad_section
from cmjlab.report.sections.stopped import with_stop_note
from cmjlab.report.sections.subgroups import subgroups_section
from cmjlab.report.sections.survival import survival_section
from cmjlab.words.catalog import read_words

if TYPE_CHECKING:
    from cmjlab.study.study import Study

#: Sections in order, by the key of their title; a section that has nothing to show gives None.
_SECTIONS: Mapping[str, Callable[[Context], Section | None]] = MappingProxyType(
    {
        "coach": coach_section,
        "methods": methods_section,
        "people": people_section,
        "reliability": reliability_section,
        "squad": squad_section,
        "subgroups": subgroups_section,
        "groups": groups_section,
        "individuals": individuals_section,
        "curves": curves_section,
        "drift": drift_section,
        "survival": survival_section,
        "season": season_section,
        "links": links_section,
        "limitations": limitations_section,
        "cautions": cautions_section,
        "sentences": sentences_section,
        "glossary": glossary_section,
    }
)
#: Sections that only the long form has.
_FULL_ONLY = ("curves", "glossary")
#: Sections that name measures in full; the methods say what the short names of the others mean.
_IN_FULL = ("coach", "methods", "sentences", "glossary")


def gather(
    study: Study,
    *,
    progress: Callable[[Any], None] | None = None,
    draft: bool = False,
    date: str | None = None,
    choices: Choices | None = None,
) -> ReportData:
    """Return everything that the report of a study shows, as plain data.

    Parameters
    ----------
    study : Study
    progress : callable, optional
        Called with objects that have ``done``, ``total`` and ``what``.
    draft : bool
        Go on when parts are missing; without it a study in which no change can be computed
        is refused.
    date : str, optional
        Day to put on the report, ISO; today when None.
    choices : Choices, optional
        Length, names and decimal style; default: short, ids, decimal point.

    Raises
    ------
    StudyError
        No recording could be used, or (without ``draft``) the block has no change to report.
    """
    analyses = analyse(study, progress=progress)
    if not analyses.jumps["accepted"].astype(bool).any():
        raise StudyError(
            f"{study.title}: none of {len(analyses.jumps)} recorded jump(s) counts, so there is nothing"
            " to report. Run 'cmjlab check' on the folder and look at the reasons."
        )
    if not draft and analyses.result("change_within") is None:
        why = str(analyses.reasons["change_within"])
        raise StudyError(
            f"{study.title}: no change over the block: {why}{'' if why.endswith('?') else '.'}"
            " A report of what is there comes with --draft (draft=True)."
        )
    wanted = choices or Choices()
    names = read_names(study) if wanted.names or wanted.names_everywhere else {}
    words = read_words(study.folder / "words.toml")
    context = Context(study, analyses, words, wanted, names, stops=find_stops(study))
    context.tables |= {
        "jumps": analyses.jumps,
        "checks": analyses.checks,
        "sessions": analyses.sessions,
    }
    if names and wanted.names_everywhere:
        context.tables["names"] = pd.DataFrame(
            {"athlete": list(names), "name": list(names.values())}
        )
    today = date or dt.date.today().isoformat()
    brief = replace(context, words=shortened(context.words, analyses.metrics))
    sections = []
    keys = [k for k in _SECTIONS if wanted.full or k not in _FULL_ONLY]
    for number, key in enumerate(keys):
        if progress is not None:
            progress(Step(number, len(keys), context.words.say(f"titles.{key}")))
        section = _SECTIONS[key](context if key in _IN_FULL else brief)
        sections += [with_stop_note(context, section)] if section is not None else []
    sections.append(provenance_section(context, today))
    sections.append(references_section(context))
    data = ReportData(
        title=study.title,
        date=today,
        subtitle=context.words.say("page.subtitle"),
        version=__version__,
        sections=numbered(sections, context.words),
        tables=context.tables,
        figures=context.figures,
        words=context.words,
        with_names=bool(names),
        draft=draft and bool(analyses.reasons),
        provenance=provenance_data(context),
        stops=context.stops.sentences(words),
    )
    return in_decimal_style(data, wanted.decimal, context.literal)
