"""Methods, results and table of a paper as a page of its own, and its numbers beside it."""

from __future__ import annotations

import datetime as dt
import os
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cmjlab import __version__
from cmjlab.catalog import METRICS, STATISTICS
from cmjlab.errors import StudyError
from cmjlab.files.atomic_write import atomic_write
from cmjlab.files.table import write_table
from cmjlab.report.blocks.data import Items, ReportData, Section
from cmjlab.report.blocks.numbers import numbered
from cmjlab.report.build.analyses import analyse
from cmjlab.report.build.choices import Choices, in_decimal_style
from cmjlab.report.build.context import Context
from cmjlab.report.build.paper import ANCOVA, paper_numbers
from cmjlab.report.build.stops import find_stops
from cmjlab.report.render.docx import write_docx
from cmjlab.report.render.html import render_html
from cmjlab.report.render.pdf import write_pdf
from cmjlab.report.sections.closing import cautions_section, cited
from cmjlab.report.sections.paper import left_section, paper_methods, paper_results
from cmjlab.report.sections.stopped import with_stop_note
from cmjlab.words.catalog import read_words

if TYPE_CHECKING:
    from cmjlab.study.study import Study

#: Statistics whose papers a reader of the page needs.
_STATISTICS = ("cohen_dav", "hedges_g_within", "hedges_g_between", "partial_eta_squared")


def paper_page(
    study: Study,
    *,
    progress: Callable[[Any], None] | None = None,
    date: str | None = None,
    choices: Choices | None = None,
) -> ReportData:
    """Return methods, results and table of a paper as plain data.

    Parameters
    ----------
    study : Study
    progress : callable, optional
        Called with objects that have ``done``, ``total`` and ``what``.
    date : str, optional
        Day to put on the page, ISO; today when None.
    choices : Choices, optional
        Decimal style. Names of athletes never stand on this page.

    Raises
    ------
    StudyError
        There is no change over the block to write about.
    """
    wanted = Choices(decimal=choices.decimal if choices else ".")
    analyses = analyse(study, progress=progress)
    if analyses.result("change_within") is None:
        raise StudyError(
            f"{study.title}: no change over the block, so there are no results for a paper:"
            f" {analyses.reasons['change_within']}."
        )
    words = read_words(study.folder / "words.toml")
    context = Context(study, analyses, words, wanted, stops=find_stops(study))
    numbers = paper_numbers(analyses, context.primary, before=study.before, after=study.after)
    context.tables["paper"] = numbers.frame()
    sections = [
        paper_methods(context, numbers),
        with_stop_note(context, paper_results(context, numbers)),
        left_section(context),
        replace(cautions_section(context), title=words.say("paper.title_cautions")),
        _references(context, with_ancova=ANCOVA in numbers.kinds),
    ]
    data = ReportData(
        title=study.title,
        date=date or dt.date.today().isoformat(),
        subtitle=words.say("paper.subtitle"),
        version=__version__,
        sections=numbered(sections, words),
        tables=context.tables,
        figures=context.figures,
        words=words,
        stops=context.stops.sentences(words),
    )
    return in_decimal_style(data, wanted.decimal, context.literal)


def _references(context: Context, *, with_ancova: bool) -> Section:
    """Return the papers behind the settings, measures and statistics of this page."""
    sources = [row["source"] for row in type(context.study.method).describe()]
    sources += [METRICS[m].source for m in context.analyses.metrics if m in METRICS]
    keys = (*_STATISTICS, *(("adjusted_difference",) if with_ancova else ()))
    sources += [STATISTICS[k].source for k in keys]
    title = context.words.say("titles.references")
    return Section("references", title, (Items(tuple(cited(sources))),))


def write_paper(data: ReportData, out: str | os.PathLike[str]) -> Path:
    """Write the page and, beside it, its numbers as CSV; returns the page.

    Parameters
    ----------
    data : ReportData
        Of :func:`paper_page`.
    out : path
        HTML, .docx or .pdf file, or a folder for ``paper.html``.
    """
    target = Path(out)
    kind = target.suffix.lower()
    if kind not in (".html", ".htm", ".docx", ".pdf"):
        target = target / "paper.html"
    target.parent.mkdir(parents=True, exist_ok=True)
    if kind == ".docx":
        write_docx(data, target)
    else:
        page = target.with_suffix(".html") if kind == ".pdf" else target
        atomic_write(page, render_html(data, more_css="paper.css"))
        if kind == ".pdf":
            write_pdf(page, target)
    write_table(data.tables["paper"], target.with_suffix(".csv"))
    return target
