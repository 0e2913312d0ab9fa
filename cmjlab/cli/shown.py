"""Results on the console: which measures were meant, the table on disk, sentences, notes, estimates."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from cmjlab.cli import names, say
from cmjlab.words.phrases import Note, Sentence

if TYPE_CHECKING:
    from pathlib import Path

    from cmjlab.results import Result
    from cmjlab.study.study import Study

Metrics = Annotated[
    list[str] | None, typer.Option("--metric", help="A metric; repeat for several.")
]


def metrics_meant(typed: list[str] | None, study: Study) -> list[str] | None:
    """Return the metrics that a person named; one that does not exist is refused."""
    if not typed:
        return None
    from cmjlab.catalog import METRICS

    known = [*METRICS, *(str(c) for c in study.sessions_table() if c not in METRICS)]
    return [names.find_metric(text, known, study.plan.report_metrics) for text in typed]


def write_result(result: Result, study: Study, name: str) -> Path:
    """Write the table of a result into the study's results and return its path."""
    from cmjlab.files.table import write_table
    from cmjlab.safe_names import file_in

    study.results.mkdir(parents=True, exist_ok=True)
    path = file_in(study.results, f"{name}.csv")
    write_table(result.table, path)
    return path


def show_result(result: Result, statistics: tuple[str, ...], metrics: list[str] | None) -> None:
    """Print sentences, notes and chosen estimates of the metrics; of all when none is named."""
    present = list(dict.fromkeys(result.table["metric"]))
    wanted = [m for m in present if metrics is None or m in metrics]
    say.line()
    for sentence in result.sentences:
        if _is_about(sentence, wanted):
            say.line(str(sentence))
    notes = [n for n in result.notes if _is_about(n, wanted)]
    for note in notes:
        say.line(f"note: {note.text}")
    if len(notes) < len(result.notes):
        say.line(f"note: {len(result.notes) - len(notes)} more on other measures are in the report")
    say.line()
    if statistics:
        say.estimates(result, statistics, wanted)
        say.line()


def _is_about(said: Sentence | Note, wanted: list[str]) -> bool:
    """Return whether a sentence or note is about one of these metrics, or about all."""
    metrics = said.metrics if isinstance(said, Note) else [said.metric] if said.metric else []
    return not metrics or bool(set(metrics) & set(wanted))
