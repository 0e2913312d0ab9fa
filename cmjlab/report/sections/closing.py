"""Limits, cautions, words used, provenance, references."""

from __future__ import annotations

import datetime as dt
import re
from importlib import metadata
from typing import Any

from cmjlab import __version__
from cmjlab.catalog import METRICS, STATISTICS, Metric
from cmjlab.keys import ENGINE, key_of
from cmjlab.report.blocks.data import Block, Facts, Heading, Items, Paragraph, Section
from cmjlab.report.build.context import Context
from cmjlab.units import shown_unit
from cmjlab.words.catalog import Words

_LIBRARIES = ("numpy", "scipy", "pandas", "matplotlib", "jinja2", "pyarrow")
#: Author(s), year, then journal with volume and page.
_CITATION = re.compile(
    r"(?P<who>(?:[A-ZÀ-Ý][\w'’-]+, )*[A-ZÀ-Ý][\w'’-]+ & [A-ZÀ-Ý][\w'’-]+"
    r"|[A-ZÀ-Ý][\w'’-]+(?: et al\.)?)"
    r" (?P<year>(?:18|19|20)\d\d)(?P<where>, [A-Z][\w ]+ \d[\d()]*:\w+)?"
)
#: Statistics that the report shows; its glossary explains each of them.
EXPLAINED = (
    "typical_error",
    "typical_error_percent",
    "icc_a1",
    "icc_c1",
    "smallest_detectable_change",
    "smallest_detectable_change_mean",
    "session_change",
    "limit_lower",
    "limit_upper",
    "mean_change",
    "next_athlete_change",
    "adjusted_difference",
    "change_difference",
    "individual_change",
    "shrunken_change",
    "drift_expected",
    "change_beyond_drift",
    "target_interval",
    "target_detectable",
    "week_difference",
    "season_mean",
    "season_sum_above",
    "season_sum_below",
    "squad_difference",
    "percentile_likely",
    "reference_percentile",
    "correlation",
    "correlation_change",
    "curve_largest_t",
    "curve_stretch",
    "curve_typical_error",
    "curve_athlete_largest",
    "curve_athlete_stretch",
)


def limitations_section(context: Context) -> Section:
    """Return what this report cannot tell."""
    say, plan = context.words.say, context.study.plan
    items = [say("limitations.estimand")]
    if len(context.study.groups) > 1:
        items.append(say("limitations.cluster"))
    if plan.control_group:
        items.append(say("limitations.control", control=plan.control_group))
    else:
        items.append(say("limitations.no_control"))
    items.append(say("limitations.exploratory", primary=context.primary))
    items.append(say("limitations.same_test"))
    if context.plan_state is None:
        items.append(say("limitations.no_plan"))
    items += [
        say("limitations.missing_item", what=context.why_missing(name))
        for name in context.analyses.reasons
    ]
    return Section("limitations", say("titles.limitations"), (Items(tuple(items)),))


def cautions_section(context: Context) -> Section:
    """Return the usual cautions; they stand in every report."""
    items = tuple(context.words.part("cautions").values())
    return Section("cautions", context.words.say("titles.cautions"), (Items(items),))


def _stop(text: str) -> str:
    """Return a catalog text without a full stop at its end."""
    return text.rstrip(". ")


def glossary_section(context: Context) -> Section:
    """Return the measures and statistics of this report, from the catalog."""
    words = context.words
    metrics = [METRICS[m] for m in context.analyses.metrics if m in METRICS]
    measures = tuple((words.label(m.key), _metric_line(words, m)) for m in metrics)
    results = context.analyses.results.values()
    used = {s for r in results for s in r.table["statistic"].astype(str)}
    statistics = tuple(
        (
            words.statistic(s.key),
            words.say(
                "glossary.statistic_line",
                meaning=_first_upper(_stop(s.meaning)),
                formula=s.formula,
                source=_stop(s.reference),
            ),
        )
        for s in (STATISTICS[key] for key in EXPLAINED if key in used)
    )
    blocks: list[Block] = [Heading(words.say("glossary.metrics")), Facts(measures)]
    if statistics:
        blocks += [Heading(words.say("glossary.statistics")), Facts(statistics)]
    return Section("glossary", words.say("titles.glossary"), tuple(blocks))


def _metric_line(words: Words, metric: Metric) -> str:
    unit = shown_unit(metric.unit)
    return words.say(
        "glossary.metric_line" if unit else "glossary.metric_line_without_unit",
        meaning=_first_upper(_stop(metric.meaning)),
        unit=unit,
        formula=metric.formula,
        source=_stop(metric.reference),
    )


def _first_upper(text: str) -> str:
    return text[:1].upper() + text[1:]


def file_hashes(context: Context) -> dict[str, str]:
    """Return the SHA-256 of every recording, by file."""
    jumps = context.analyses.jumps.drop_duplicates("file")
    return {str(f): str(h) for f, h in zip(jumps["file"], jumps["sha256"], strict=True)}


def library_versions() -> dict[str, str]:
    """Return the installed versions of the libraries that make numbers and pages."""
    out = {}
    for name in _LIBRARIES:
        try:
            out[name] = metadata.version(name)
        except metadata.PackageNotFoundError:
            out[name] = "not installed"
    return out


def provenance_data(context: Context) -> dict[str, Any]:
    """Return everything needed to trace the numbers, as plain data for provenance.json."""
    study = context.study
    return {
        **context.analyses.provenance,
        "report": {
            "cmjlab": __version__,
            "engine": ENGINE,
            "made": dt.datetime.now().astimezone().isoformat(timespec="seconds"),
            "recordings": file_hashes(context),
            "method": study.method.to_dict(),
            "plan": study.plan.to_dict(),
            "libraries": library_versions(),
        },
    }


def provenance_section(context: Context, date: str) -> Section:
    """Return hashes, settings and versions in brief; the whole stands in provenance.json."""
    say, study = context.words.say, context.study
    blocks: list[Block] = [
        Paragraph(say("provenance.intro")),
        Items(
            (
                say("provenance.made", version=__version__, engine=ENGINE, date=date),
                say("provenance.hash_all", hash=key_of(file_hashes(context))),
                say(
                    "provenance.method_key", method=study.method.key[:12], plan=study.plan.key[:12]
                ),
                say("provenance.tables", tables=[f"{t}.csv" for t in context.tables]),
            )
        ),
    ]
    if context.full:
        blocks += [
            Heading(say("provenance.versions")),
            Facts(tuple(library_versions().items())),
        ]
    return Section("provenance", say("titles.provenance"), tuple(blocks))


def cited(sources: list[str]) -> list[str]:
    """Return the papers named in source texts, each once in its fullest form, by author."""
    found: dict[str, str] = {}
    for text in sources:
        for match in _CITATION.finditer(text):
            key = f"{match['who'].split()[0].rstrip(',')} {match['year']}"
            full = f"{match['who']} {match['year']}{match['where'] or ''}"
            found[key] = max(found.get(key, ""), full, key=len)
    return sorted(found.values(), key=str.casefold)


def references_section(context: Context) -> Section:
    """Return the papers behind the settings, measures and statistics that were used."""
    sources = [row["source"] for row in type(context.study.method).describe()]
    sources += [METRICS[m].source for m in context.analyses.metrics if m in METRICS]
    used = {s for r in context.analyses.results.values() for s in r.table["statistic"].astype(str)}
    sources += [STATISTICS[k].source for k in used if k in STATISTICS]
    return Section(
        "references", context.words.say("titles.references"), (Items(tuple(cited(sources))),)
    )
