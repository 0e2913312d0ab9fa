"""The glossary: every metric, statistic and quality rule of the catalog, on one page.

It is written from the catalog alone, so that it cannot differ from what is computed. The search
box of the page works on the page itself: it reads the words of :mod:`cmjlab.catalog.search_words`.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType

from cmjlab.catalog import CHECKS, METRICS, STATISTICS, Metric, Statistic, reference_of
from cmjlab.catalog.search import search_texts
from cmjlab.catalog.search_words import FILLERS, IN_FULL, RELATED, SPELLINGS, TOGETHER
from cmjlab.errors import ArgumentError
from cmjlab.files.atomic_write import atomic_write
from cmjlab.report.blocks.templates import template_engine
from cmjlab.units import shown_unit
from cmjlab.words.catalog import Words, read_words

#: Parts of the page and their columns, by the keys of their words.
PARTS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "metrics": ("name", "key", "unit", "formula", "meaning", "remarks", "source"),
        "statistics": ("name", "key", "unit", "formula", "question", "remarks", "source"),
        "checks": ("name", "key", "scope", "test", "remedy", "source"),
    }
)


def glossary_rows(words: Words) -> dict[str, list[tuple[str, ...]]]:
    """Return the rows of each part of :data:`PARTS`, as text."""
    say = words.say
    metrics: list[tuple[str, ...]] = [
        (words.label(m.key), m.key, _unit(m.unit, words), m.formula, m.meaning)
        + (_remarks(m, words), m.reference)
        for m in METRICS.values()
    ]
    statistics: list[tuple[str, ...]] = [
        (
            words.statistic(s.key),
            s.key,
            say("glossary_page.metric_unit") if s.unit == "metric" else s.unit,
            s.formula,
            s.meaning,
            "; ".join(_other_names(s, words)),
            s.reference,
        )
        for s in STATISTICS.values()
    ]
    checks: list[tuple[str, ...]] = [
        (c.label, c.code, c.scope, c.test, c.remedy, c.reference) for c in CHECKS.values()
    ]
    return {"metrics": metrics, "statistics": statistics, "checks": checks}


def write_glossary(path: str | Path) -> Path:
    """Write the glossary as one self-contained HTML page (.html) or as Markdown (.md).

    Parameters
    ----------
    path : str or Path
        File to write; its ending chooses the form.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    ArgumentError
        When the ending is neither .html nor .md.
    """
    path = Path(path)
    writers = {".html": _html, ".md": _markdown}
    if path.suffix.lower() not in writers:
        raise ArgumentError(f"path: {path.name!r} must end in .html or .md.")
    atomic_write(path, writers[path.suffix.lower()](read_words()))
    return path


def _unit(unit: str, words: Words) -> str:
    shown = shown_unit(unit)
    return words.say("glossary_page.shown_in", unit=unit, shown=shown) if shown != unit else unit


def _remarks(metric: Metric, words: Words) -> str:
    """Return what a reader should know besides: sameness, other names, how well it repeats."""
    say, parts = words.say, []
    if metric.same_as:
        parts.append(say("glossary_page.same_as", metric=metric.same_as))
    parts += _other_names(metric, words)
    if metric.exploratory:
        parts.append(say("glossary_page.exploratory"))
    if not metric.ratio_scale:
        parts.append(say("glossary_page.no_ratio"))
    return "; ".join(parts)


def _other_names(entry: Metric | Statistic, words: Words) -> list[str]:
    return [
        words.say("glossary_page.also_called", name=name, paper=reference_of(paper))
        for name, paper in entry.also_called
    ]


def _same_words() -> dict[str, object]:
    """Return what the search box of the page knows about words; groups keep their order."""
    return {
        "spellings": SPELLINGS,
        "together": list(TOGETHER.items()),
        "in_full": dict(IN_FULL),
        "related": dict(RELATED),
        "fillers": sorted(FILLERS),
    }


def _html(words: Words) -> str:
    page = template_engine().get_template("glossary.html.j2")
    return str(
        page.render(
            words=words.part("glossary_page"),
            language=words.say("page.language"),
            parts=PARTS,
            rows=glossary_rows(words),
            texts=search_texts(),
            same=_same_words(),
        )
    )


def _markdown(words: Words) -> str:
    said = words.part("glossary_page")
    lines = [f"# {said['title']}", ""]
    for part, rows in glossary_rows(words).items():
        columns = PARTS[part]
        heads = tuple(said[c] for c in columns)
        lines += [f"## {said[part]}", "", _line(heads), _line(("---",) * len(columns))]
        lines += [*map(_line, rows), ""]
    return "\n".join(lines)


def _line(cells: tuple[str, ...]) -> str:
    return "| " + " | ".join(c.replace("|", "\\|") for c in cells) + " |"
