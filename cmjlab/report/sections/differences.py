"""Differences between groups, as the coach page and the section on groups show them."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from cmjlab.report.blocks.data import TableBlock
from cmjlab.report.blocks.format import cell, estimate_of, label_with_unit, missing_reasons
from cmjlab.report.build.context import Context
from cmjlab.results import Result

#: Estimates of a difference between groups in the change.
DIFFERENCES = ("adjusted_difference", "change_difference")


def pairs_compared(result: Result) -> list[tuple[str, str]]:
    """Return the groups that were compared, two by two, in the order of the result."""
    rows = result.table[result.table["statistic"].isin(DIFFERENCES)]
    pairs = rows[["first", "second"]].dropna().drop_duplicates()
    return [(str(a), str(b)) for a, b in pairs.itertuples(index=False)]


def difference_row(
    result: Result, statistic: str, metric: str, pair: tuple[str, str]
) -> pd.Series | None:
    """Return the row of one comparison that is shown: the first; others serve comparison."""
    rows = result.rows(statistic, metric=metric, first=pair[0], second=pair[1])
    return rows.iloc[0] if len(rows) else None


def leading_rows(result: Result, metric: str) -> list[pd.Series]:
    """Return the row that answers for each comparison; none where no estimate leads."""
    rows = result.table
    mine = (rows["metric"] == metric) & rows["statistic"].isin(DIFFERENCES)
    leads = rows["leads"].fillna(False).astype(bool)
    return [row for _, row in rows[mine & leads].iterrows()]


def difference_table(
    context: Context, result: Result, metrics: Sequence[str], title: str, note: str = ""
) -> TableBlock:
    """Return both estimates of every comparison, measure by measure."""
    words = context.words
    say = words.say
    rows, shown = [], []
    for metric in metrics:
        for first, second in pairs_compared(result):
            cells = []
            for statistic in DIFFERENCES:
                row = difference_row(result, statistic, metric, (first, second))
                estimate = None if row is None else estimate_of(row)
                shown += [estimate] if estimate else []
                cells.append(cell(words, estimate, signed=True) if estimate else "–")
            pair = say("cell.contrast", first=first, second=second)
            rows.append((label_with_unit(words, metric), pair, *cells))
    columns = ("metric", "contrast", *DIFFERENCES)
    heads = tuple(say(f"columns.{c}") for c in columns)
    numeric = (False, False, True, True)
    note = " ".join(t for t in (note, missing_reasons(words, shown)) if t)
    if len(metrics) == 1:  # the title names the measure
        return TableBlock(title, heads[1:], tuple(r[1:] for r in rows), numeric[1:], note)
    return TableBlock(title, heads, tuple(rows), numeric, note)
