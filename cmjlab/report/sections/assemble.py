"""Gather: from a study to ReportData, section by section."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from cmjlab import __version__
from cmjlab.errors import StudyError
from cmjlab.report.blocks.data import ReportData, Section
from cmjlab.report.build.analyses import Step, analyse
from cmjlab.report.build.choices import Choices, in_decimal_style, read_names
from cmjlab.report.build.context import Frame
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
from cmjlab.report.sections.methods import methods_section
from cmjlab.report.sections.people import people_section
from cmjlab.report.sections.reliability import trust_section
from cmjlab.report.sections.sentences import sentences_section
from cmjlab.words.catalog import read_words

if TYPE_CHECKING:
    from cmjlab.study.study import Study

_SECTIONS: tuple[Callable[[Frame], Section], ...] = (
    coach_section,
    methods_section,
    people_section,
    trust_section,
    groups_section,
    individuals_section,
    drift_section,
    limitations_section,
    cautions_section,
    sentences_section,
    glossary_section,
)
#: Sections that only the long form has.
_FULL_ONLY = (glossary_section,)


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
    found = analyse(study, progress=progress)
    if not found.jumps["accepted"].astype(bool).any():
        raise StudyError(
            f"{study.title}: none of {len(found.jumps)} recorded jump(s) counts, so there is nothing"
            " to report. Run 'cmjlab check' on the folder and look at the reasons."
        )
    if not draft and found.result("change_within") is None:
        raise StudyError(
            f"{study.title}: no change over the block: {found.reasons['change_within']}."
            " A report of what is there comes with --draft (draft=True)."
        )
    wanted = choices or Choices()
    names = read_names(study) if wanted.names else {}
    frame = Frame(study, found, read_words(study.folder / "words.toml"), wanted, names)
    frame.tables |= {"jumps": found.jumps, "checks": found.checks, "sessions": found.sessions}
    today = date or dt.date.today().isoformat()
    sections = []
    makers = [m for m in _SECTIONS if wanted.full or m not in _FULL_ONLY]
    for number, make in enumerate(makers):
        if progress is not None:
            progress(Step(number, len(makers), make.__name__.replace("_", " ")))
        sections.append(make(frame))
    sections.append(provenance_section(frame, today))
    sections.append(references_section(frame))
    page = frame.words.part("page")
    if names:
        page["footer"] = page["footer_names"]
    data = ReportData(
        title=study.title,
        date=today,
        subtitle=page["subtitle"],
        version=__version__,
        sections=tuple(sections),
        tables=frame.tables,
        figures=frame.figures,
        words=page,
        draft=draft and bool(found.reasons),
        provenance=provenance_data(frame),
    )
    return in_decimal_style(data, wanted.decimal, frame.literal)
