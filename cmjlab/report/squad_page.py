"""The squad at one glance as a page of its own: one self-contained file, and its table beside it."""

from __future__ import annotations

import datetime as dt
import os
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from cmjlab import __version__
from cmjlab.files.atomic_write import atomic_write
from cmjlab.files.table import write_table
from cmjlab.report.blocks.data import ReportData, Section
from cmjlab.report.blocks.numbers import numbered
from cmjlab.report.build.analyses import Analyses
from cmjlab.report.build.choices import Choices, in_decimal_style, read_names
from cmjlab.report.build.context import Context
from cmjlab.report.build.squad import StudySquad, study_squad
from cmjlab.report.build.subgroups import study_subgroups
from cmjlab.report.render.html import render_html
from cmjlab.report.sections.closing import cautions_section
from cmjlab.report.sections.squad import squad_blocks
from cmjlab.report.sections.subgroups import split_section
from cmjlab.words.catalog import read_words

if TYPE_CHECKING:
    from cmjlab.study.study import Study

#: Results of the subgroups that the page shows.
_NEEDED = ("strength", "threshold", "placement")


def squad_page(
    study: Study,
    *,
    squad: StudySquad | None = None,
    date: str | None = None,
    choices: Choices | None = None,
) -> ReportData:
    """Return the page of a squad as plain data: scatter plots, every athlete, how it was split.

    Parameters
    ----------
    study : Study
    squad : StudySquad, optional
        When it was analysed already.
    date : str, optional
        Day to put on the page, ISO; today when None.
    choices : Choices, optional
        Names and decimal style.

    Raises
    ------
    StatsError
        No athlete has a value.
    """
    wanted = choices or Choices()
    found = squad or study_squad(study, groups=study_subgroups(study, only=_NEEDED))
    names = read_names(study) if wanted.names else {}
    context = Context(
        study, _tables_only(study), read_words(study.folder / "words.toml"), wanted, names
    )
    say = context.words.say
    blocks = squad_blocks(context, found)
    sections = [
        Section("squad", say("titles.squad"), tuple(blocks)),
        split_section(context, found.groups),
        replace(cautions_section(context), title=say("squad_page.cautions")),
    ]
    data = ReportData(
        title=study.title,
        date=date or dt.date.today().isoformat(),
        subtitle=say("squad_page.subtitle"),
        version=__version__,
        sections=numbered([s for s in sections if s is not None], context.words),
        tables=context.tables,
        figures=context.figures,
        words=context.words,
        with_names=bool(names),
    )
    return in_decimal_style(data, wanted.decimal, context.literal)


def _tables_only(study: Study) -> Analyses:
    """Return what a page without the analyses of a block needs of them."""
    jumps = study.measure()
    return Analyses(jumps, study.checks, study.sessions_table(), {}, {}, ())


def write_squad_page(
    study: Study,
    path: str | os.PathLike[str] | None = None,
    *,
    squad: StudySquad | None = None,
    choices: Choices | None = None,
) -> Path:
    """Write the page and, beside it, ``squad.csv``; returns the page.

    Parameters
    ----------
    study : Study
    path : path, optional
        File to write; default ``squad.html`` in the results of the study.
    squad : StudySquad, optional
    choices : Choices, optional
    """
    data = squad_page(study, squad=squad, choices=choices)
    target = Path(path) if path is not None else study.results / "squad.html"
    target.parent.mkdir(parents=True, exist_ok=True)
    atomic_write(target, render_html(data, more_css="squad.css"))
    write_table(data.tables["squad"], target.with_suffix(".csv"))
    return target
