"""A Result on the screen: the rows that answer first, then sentences and notes."""

from __future__ import annotations

from typing import Any

from cmjlab.catalog import METRICS, STATISTICS
from cmjlab.results import Result, contrast_words
from cmjlab.screen.card import AT_ONCE, IN_A_FOLD, Card, Fold, Grid
from cmjlab.screen.rounding import estimate_cell
from cmjlab.words.catalog import Words, read_words

#: Sentences that are shown at once.
_SENTENCES = 4
_PLACES = ("group", "contrast", "session", "athlete")


def result_card(result: Result) -> Card:
    """Return what is shown of a result."""
    words = read_words()
    say = words.say
    kind = result.kind.replace("_", " ").capitalize()
    level, total = result.settings.get("level"), len(result.table)
    title = (
        words.count("screen.result", total, kind=kind, level=f"{100 * level:g} %")
        if isinstance(level, float)
        else words.count("screen.result_without_level", total, kind=kind)
    )
    if "estimate" in result.table:
        rows = [_row(row, words) for row in _answers_first(result)[:IN_A_FOLD]]
        grid, same = _grid(rows, total, words)
    else:
        grid, same = _as_it_is(result, words), ""
    sentences = [str(s) for s in result.sentences]
    folds = []
    if len(sentences) > _SENTENCES:
        folds.append(Fold(say("screen.all_sentences", n=len(sentences)), tuple(sentences)))
    notes = tuple(dict.fromkeys(n.text for n in result.notes))
    if notes:
        folds.append(Fold(words.count("screen.notes", len(notes)), notes))
    lines = (*sentences[:_SENTENCES], *([say("screen.same", what=same)] if same else ()))
    people = "athlete" in result.table and bool(result.table["athlete"].notna().any())
    last = (say("screen.care"),) if people else ()
    return Card(title, lines, grid, tuple(folds), last=last)


def result_text_end(result: Result) -> tuple[str, ...]:
    """Return what a console is told of sentences and notes that it does not show."""
    words = read_words()
    more, notes = len(result.sentences) - _SENTENCES, len({n.text for n in result.notes})
    return (
        *([words.say("screen.more_sentences", n=more)] if more > 0 else ()),
        *([words.count("screen.notes_elsewhere", notes)] if notes else ()),
    )


def _answers_first(result: Result) -> list[dict[str, Any]]:
    """Return the rows: those that answer the question first, the others in their order."""
    leading = result.leading

    def place(row: dict[str, Any]) -> tuple[bool, bool]:
        leads = row.get("leads")
        known = leads is not None and leads == leads and bool(leads)
        return not (leading and row["statistic"] == leading and known), not known

    return sorted(result.table.to_dict("records"), key=place)  # type: ignore[arg-type]


def _row(row: dict[str, Any], words: Words) -> dict[str, str]:
    metric, statistic = _text(row.get("metric")), _text(row.get("statistic"))
    entry, known = METRICS.get(metric), STATISTICS.get(statistic)
    own = entry.unit if entry else ""
    unit = own if known is None or known.unit == "metric" else known.unit
    contrast = contrast_words(row, words) or _text(row.get("contrast"))
    return {
        "measure": words.label(metric) if metric else "",
        "group": _text(row.get("group")),
        "contrast": contrast,
        "session": "" if contrast else _text(row.get("session")),
        "athlete": _text(row.get("athlete")),
        "statistic": words.statistic(statistic),
        "estimate": estimate_cell(row, unit),
        "n": _text(row.get("n")).removesuffix(".0"),
    }


def _grid(rows: list[dict[str, str]], total: int, words: Words) -> tuple[Grid, str]:
    """Return the table without empty columns, and what is the same in all of its rows."""
    say = words.say
    columns = list(rows[0]) if rows else ["measure", "estimate"]
    columns = [c for c in columns if any(r[c] for r in rows)] or columns
    same = []
    for column in ("measure", *_PLACES):
        values = {r[column] for r in rows} if column in columns else set()
        if len(values) == 1 and len(rows) > 1 and total <= len(rows):
            same.append(f"{say(f'screen.{column}')} {values.pop()}")
            columns.remove(column)
    head = tuple(say(f"screen.{c}") for c in columns)
    texts = tuple(tuple(r[c] for c in columns) for r in rows)
    return Grid(head, texts, total if total > AT_ONCE else 0), ", ".join(same)


def _as_it_is(result: Result, words: Words) -> Grid:
    """Return a table of another form than that of the statistics (an error budget) in its own columns."""
    frame = result.table.head(IN_A_FOLD)
    rows = tuple(
        tuple(
            words.label(str(v))
            if c == "metric"
            else f"{v:.3g}"
            if isinstance(v, float)
            else _text(v)
            for c, v in row.items()
        )
        for row in frame.to_dict("records")
    )
    return Grid(tuple(str(c).replace("_", " ") for c in frame), rows, len(result.table))


def _text(value: Any) -> str:
    return "" if value is None or value != value or str(value) in ("<NA>", "nan") else str(value)
