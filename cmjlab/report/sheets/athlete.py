"""A page per athlete for a talk: the result, how it was produced, the change, the noise.

Plain on purpose: no traffic lights, no score, no rank list. Ids only, unless names are asked for.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from cmjlab.errors import ArgumentError, StudyError
from cmjlab.files.atomic_write import atomic_write
from cmjlab.report.blocks.templates import stylesheet, template_engine
from cmjlab.report.build.stops import Stops, find_stops
from cmjlab.report.build.subgroups import StudySubgroups, study_subgroups
from cmjlab.report.sheets.athlete_text import (
    change_paragraphs,
    explained,
    how_paragraphs,
    place_paragraphs,
    reference_lines,
    value_rows,
)
from cmjlab.results import Result
from cmjlab.safe_names import file_in, safe_names
from cmjlab.words.catalog import Words, read_words

if TYPE_CHECKING:
    from cmjlab.study.study import Study

#: Measures of the figure, in order; those without values are left out.
SHOWN = ("jump_height_m", "time_to_takeoff_s", "rsi_modified_m_per_s")


@dataclass(frozen=True)
class Page:
    """One athlete's page as plain data."""

    athlete: str
    name: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    explained: tuple[str, ...]
    reference: tuple[str, ...]
    how: tuple[str, ...]
    change: tuple[str, ...]
    place: tuple[str, ...]
    figure: str
    alt: str
    stops: tuple[str, ...] = ()


@dataclass(frozen=True)
class Material:
    """What all pages share: subgroups, noise and changes of the squad."""

    groups: StudySubgroups
    reliability: Result | None
    change: Result | None
    reason: str = ""
    stops: Stops = field(default_factory=Stops)


def gather_material(study: Study, groups: StudySubgroups | None = None) -> Material:
    """Return reliability and individual changes of a study, as far as they can be had."""
    from cmjlab.errors import CmjlabError
    from cmjlab.stats.individual.individual import change_individual
    from cmjlab.stats.reliability.reliability import reliability

    groups = groups or study_subgroups(study)
    table = groups.sessions
    names = [m for m in _measures(study, groups) if m in table and table[m].notna().any()]
    noise, change, reason = None, None, ""
    try:
        noise = reliability(table, names, level=study.plan.level)
        change = change_individual(
            table, names, before=study.before, after=study.after, reliability=noise,
            control=study.plan.control_group or None, level=study.plan.level,
        )  # fmt: skip
    except CmjlabError as error:
        reason = str(error)
    return Material(groups, noise, change, reason, find_stops(study))


def _measures(study: Study, groups: StudySubgroups) -> list[str]:
    more = ("countermovement_depth_m", "push_distance_m", "relative_strength")
    return list(dict.fromkeys([study.plan.primary_metric, *SHOWN, *more]))


def athlete_page(material: Material, athlete: str, name: str = "") -> Page:
    """Return one athlete's page.

    Parameters
    ----------
    material : Material
        From :func:`gather_material`.
    athlete : str
    name : str
        Shown beside the id when given.

    Raises
    ------
    ArgumentError
        The study has no such athlete.
    """
    from cmjlab.plots.subgroups import athlete_figure

    groups = material.groups
    table = groups.sessions
    known = list(dict.fromkeys(table["athlete"].astype(str)))
    if athlete not in known:
        raise ArgumentError(
            f"athlete: there is no {athlete!r}; athletes are {', '.join(known[:40])}."
        )
    words = read_words(groups.study.folder / "words.toml")
    sessions = [
        s
        for s in groups.study.sessions["session"].astype(str)
        if s in set(table["session"].astype(str)) and s not in groups.study.settings.monitoring
    ]
    metrics = [m for m in _measures(groups.study, groups) if m in table and table[m].notna().any()]
    noise = _noise(material.reliability, metrics)
    figure = athlete_figure(
        table, athlete, [m for m in SHOWN if m in metrics] or metrics[:1], noise=noise, sessions=sessions
    )  # fmt: skip
    return Page(
        athlete,
        name,
        (words.say("athlete_summary.measure"), *sessions, words.say("athlete_summary.noise"),
         words.say("athlete_summary.squad")),
        value_rows(words, table, athlete, metrics, (sessions, noise)),
        explained(words, metrics),
        reference_lines(groups, athlete, words),
        how_paragraphs(groups, athlete, words),
        _change(material, athlete, words),
        place_paragraphs(groups, athlete, words),
        figure.svg(),
        figure.alt_text,
        tuple(
            words.say("stopped.athlete", found=text)
            for text in material.stops.sentences(words, material.stops.of_athlete(athlete))
        ),
    )  # fmt: skip


def _change(material: Material, athlete: str, words: Words) -> tuple[str, ...]:
    """Return what is said of an athlete's change, or why it is not shown."""
    study = material.groups.study
    stopped = material.stops.of_athlete(
        athlete, study.plan.primary_metric, (study.before, study.after)
    )
    if stopped:
        return (words.say("stopped.change", doubts=[d.short for d in stopped]),)
    said = change_paragraphs(material.change, athlete, study, words)
    return said or (words.say("athlete_summary.change_unknown", reason=material.reason),)


def _noise(reliability: Result | None, metrics: list[str]) -> dict[str, float]:
    """Return the typical errors that are known."""
    if reliability is None:
        return {}
    rows = reliability.rows("typical_error")
    rows = rows[rows["estimate"].notna() & rows["metric"].isin(metrics)].drop_duplicates("metric")
    return {str(m): float(v) for m, v in zip(rows["metric"], rows["estimate"], strict=True)}


def write_athlete_summaries(
    study: Study,
    out: str | os.PathLike[str] | None = None,
    *,
    groups: StudySubgroups | None = None,
    athletes: list[str] | None = None,
    names: Mapping[str, str] | None = None,
) -> list[Path]:
    """Write one HTML page per athlete, each a file of its own so that it can be handed over.

    Parameters
    ----------
    study : Study
    out : path, optional
        Folder; default ``athlete_summaries`` in the results folder.
    groups : StudySubgroups, optional
        When it is at hand.
    athletes : list of str, optional
        Default everybody with a value.
    names : mapping of athlete to name, optional
        Names are shown only when given here; they are personal data.

    Returns
    -------
    list of Path
        ``summary_<athlete>.html``.

    Raises
    ------
    StudyError
        Nobody has a value, or a file cannot be written.
    """
    material = gather_material(study, groups)
    table = material.groups.sessions
    wanted = athletes or list(dict.fromkeys(table["athlete"].astype(str)))
    if not wanted:
        raise StudyError("athlete summaries: no athlete has a value.")
    words = read_words(study.folder / "words.toml")
    from cmjlab import __version__

    folder = Path(out) if out is not None else Path(study.results) / "athlete_summaries"
    template = template_engine().get_template("athlete_summary.html.j2")
    css = stylesheet("sheet.css")
    files = safe_names(wanted)
    written = []
    for athlete in wanted:
        page = athlete_page(material, athlete, (names or {}).get(athlete, ""))
        text = template.render(
            title=study.title, page=page, words=words.part("athlete_summary"),
            cautions=words.part("cautions"), language=words.say("page.language"),
            version=__version__, css=css,
        )  # fmt: skip
        path = file_in(folder, f"summary_{files[athlete]}.html")
        atomic_write(path, text)
        written.append(path)
    return written
