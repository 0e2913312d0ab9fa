"""The glossary: every metric, statistic and quality rule of the catalog, on one page.

It is written from the catalog alone, so that it cannot differ from what is computed.
"""

from __future__ import annotations

from pathlib import Path

from cmjlab.catalog import CHECKS, METRICS, STATISTICS
from cmjlab.errors import ArgumentError
from cmjlab.files.atomic_write import atomic_write
from cmjlab.report.blocks.templates import template_engine
from cmjlab.units import shown_unit

#: Heading of each part and its columns.
PARTS: dict[str, tuple[str, ...]] = {
    "Metrics": ("Name", "Key", "Unit", "Formula", "What it means", "Remarks", "Source"),
    "Statistics": ("Name", "Key", "Unit", "Formula", "Question it answers", "Source"),
    "Quality rules": ("Name", "Code", "Scope", "What is tested", "What to do", "Source"),
}


def glossary_rows() -> dict[str, list[tuple[str, ...]]]:
    """Return the rows of each part of :data:`PARTS`, as text."""
    metrics: list[tuple[str, ...]] = [
        (m.label, m.key, _unit(m.unit), m.formula, m.meaning, _remarks(m.key), m.source)
        for m in METRICS.values()
    ]
    statistics: list[tuple[str, ...]] = [
        (s.label, s.key, "the metric's" if s.unit == "metric" else s.unit, s.formula, s.meaning)
        + (s.source,)
        for s in STATISTICS.values()
    ]
    checks: list[tuple[str, ...]] = [
        (c.label, c.code, c.scope, c.test, c.remedy, c.source) for c in CHECKS.values()
    ]
    return {"Metrics": metrics, "Statistics": statistics, "Quality rules": checks}


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
    atomic_write(path, writers[path.suffix.lower()]())
    return path


def _unit(unit: str) -> str:
    shown = shown_unit(unit)
    return f"{unit} (shown in {shown})" if shown != unit else unit


def _remarks(key: str) -> str:
    """Return what a reader should know besides: sameness, other names, how well it repeats."""
    metric = METRICS[key]
    parts = []
    if metric.same_as:
        parts.append(f"the same information as {metric.same_as}")
    parts += [f"also called {name} ({paper})" for name, paper in metric.also_called]
    if metric.exploratory:
        parts.append("exploratory: repeats poorly")
    if not metric.ratio_scale:
        parts.append("no percent, logs or CV")
    return "; ".join(parts)


def _html() -> str:
    page = template_engine().get_template("glossary.html.j2")
    return page.render(parts=PARTS, rows=glossary_rows())


def _markdown() -> str:
    lines = ["# Glossary of cmjlab", ""]
    for title, rows in glossary_rows().items():
        columns = PARTS[title]
        lines += [f"## {title}", "", _line(columns), _line(("---",) * len(columns))]
        lines += [*map(_line, rows), ""]
    return "\n".join(lines)


def _line(cells: tuple[str, ...]) -> str:
    return "| " + " | ".join(c.replace("|", "\\|") for c in cells) + " |"
