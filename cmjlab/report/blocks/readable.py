"""A Result as a table that a person reads: labels, shown units, intervals in one cell."""

from __future__ import annotations

import pandas as pd

from cmjlab.catalog import STATISTICS
from cmjlab.plots.labels import level_words, metric_unit
from cmjlab.report.blocks.format import NBSP, cell, estimate_of, label_with_unit, unitless_cell
from cmjlab.results import Result
from cmjlab.units import show
from cmjlab.words.catalog import Words, read_words

_PLACES = ("group", "contrast", "session", "athlete")


def readable(
    result: Result, *statistics: str, extra_decimals: int = 0, leading: bool = False
) -> pd.DataFrame:
    """Return one row per measure (and group, contrast, …), one column per statistic.

    Parameters
    ----------
    result : Result
    *statistics : str
        Statistic keys in the order wanted; all of the result when none is named. Where a
        statistic was computed by several methods, the one that leads is shown.
    extra_decimals : int
        Decimals beyond the usual ones (typical errors need one more).
    leading : bool
        True: the statistic that answers the question stands first, and its heading says so.

    Returns
    -------
    pandas.DataFrame
        Texts such as "1.4 (1.1 to 1.9)" in the unit that stands in the first column.
    """
    table = result.table
    wanted = list(statistics) or list(dict.fromkeys(table["statistic"].astype(str)))
    leads = _leading(result) if leading else ""
    wanted.sort(key=lambda s: s != leads)
    table = table[table["statistic"].isin(wanted)]
    places = [p for p in _PLACES if table[p].notna().any()]
    words = read_words()
    rows: dict[tuple[str, ...], dict[str, pd.Series]] = {}
    for _, row in table.iterrows():
        where = tuple("" if pd.isna(row[p]) else str(row[p]) for p in places)
        cells = rows.setdefault((str(row["metric"]), *where), {})
        if str(row["statistic"]) not in cells or (pd.notna(row["leads"]) and row["leads"]):
            cells[str(row["statistic"])] = row
    out = []
    for (metric, *found), cells in rows.items():
        texts = {s: _cell(words, row, extra_decimals) for s, row in cells.items()}
        named = {_heading(words, s, leads): texts.get(s, "") for s in wanted}
        first = label_with_unit(words, metric)
        out.append({"measure": first, **dict(zip(places, found, strict=True)), **named})
    return pd.DataFrame(out)


def _leading(result: Result) -> str:
    """Return the statistic that answers the question, "" where a result names none."""
    return str(dict(result.settings.get("leading") or {}).get("statistic") or "")


def _heading(words: Words, statistic: str, leads: str) -> str:
    label = words.statistic(statistic)
    return words.say("notebooks.leads", statistic=label) if statistic == leads else label


def _cell(words: Words, row: pd.Series, extra_decimals: int) -> str:
    """Return one estimate with its interval; a percentage or ICC without the metric's unit."""
    statistic = str(row["statistic"])
    unit = STATISTICS[statistic].unit
    if unit == "metric":
        signed = "change" in statistic and "detectable" not in statistic
        text = cell(words, estimate_of(row), signed=signed, extra=extra_decimals)
    else:
        text = unitless_cell(words, estimate_of(row), 1 if unit == "%" else 2)
    return text.replace(NBSP, " ")


def readable_jump(metrics: dict[str, float], keys: tuple[str, ...]) -> pd.DataFrame:
    """Return measures of one jump as label, value and unit.

    Parameters
    ----------
    metrics : dict
        ``Jump.metrics``.
    keys : tuple of str
        Measures in the order wanted.
    """
    from cmjlab.catalog import METRICS

    rows = []
    for key in keys:
        entry = METRICS[key]
        sides = key.endswith("_asymmetry_percent")
        rows.append(
            {
                "measure": entry.label,
                "value": level_words(key, metrics[key])
                if sides
                else show(metrics[key], entry.unit, with_unit=False),
                "unit": "" if sides else metric_unit(key),
                "phase": entry.phase,
            }
        )
    return pd.DataFrame(rows)
