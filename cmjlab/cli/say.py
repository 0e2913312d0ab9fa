"""How the commands speak: lines, tables, progress, errors in one sentence."""

from __future__ import annotations

import contextlib
import math
import os
import sys
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

import typer

if TYPE_CHECKING:
    import pandas as pd

    from cmjlab.results import Result

#: Printed by every command that shows results of people.
CAUTION = (
    "Flags and asymmetries are not diagnoses; no score is a verdict on a person. "
    "Results are personal data: keep them as local law asks."
)


def line(text: str = "") -> None:
    """Print one line to standard output."""
    typer.echo(text)


def fail(text: str, code: int = 2) -> typer.Exit:
    """Print one sentence to standard error and return the exit to raise."""
    typer.echo(f"cmjlab: {text}", err=True)
    return typer.Exit(code)


@contextlib.contextmanager
def plain_errors() -> Iterator[None]:
    """Turn expected errors into one sentence and an exit code, without a traceback."""
    from cmjlab.errors import CmjlabError

    try:
        yield
    except CmjlabError as error:
        raise fail(" ".join(str(error).split())) from None
    except PermissionError as error:
        raise fail(
            f"{error.filename}: no permission; close programs that hold it open, or choose another place."
        ) from None
    except BrokenPipeError:  # the reader of our output has gone, e.g. `| head`
        sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115
        raise typer.Exit(0) from None
    except OSError as error:
        raise fail(f"{error.filename or ''}: {error.strerror or error}.") from None


def cell(value: Any) -> str:
    """Return a table cell: numbers with four significant digits, nothing for missing."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        if math.isnan(value):
            return ""
        return f"{value:.4g}" if abs(value) < 1e4 else f"{value:.0f}"
    text = str(value)
    return "" if text in ("<NA>", "nan") else text


def table(frame: pd.DataFrame, columns: list[str] | None = None) -> None:
    """Print a DataFrame as aligned text; numbers to the right."""
    shown = frame[columns] if columns else frame
    names = [str(c) for c in shown.columns]
    rows = [[cell(v) for v in row] for row in shown.itertuples(index=False, name=None)]
    widths = [max([len(n), *(len(r[i]) for r in rows)]) for i, n in enumerate(names)]
    right = [_is_number(shown[c]) for c in shown.columns]

    def aligned(parts: list[str]) -> str:
        pairs = zip(parts, widths, right, strict=True)
        return "  ".join(p.rjust(w) if r else p.ljust(w) for p, w, r in pairs).rstrip()

    line(aligned(names))
    line("  ".join("-" * w for w in widths))
    for row in rows:
        line(aligned(row))


def estimates(result: Result, statistics: tuple[str, ...], metrics: list[str]) -> None:
    """Print chosen statistics with their intervals, in the units that a person reads.

    Where a statistic was computed by several methods the first, preferred one is printed; all of
    them stand in the table on disk.
    """
    from cmjlab.units import show, shown_unit

    part = result.table[result.table["metric"].isin(metrics)]
    part = part[part["statistic"].isin(statistics)]
    keys = ["metric", "group", "contrast", "athlete", "statistic"]
    part = part.drop_duplicates(keys).dropna(axis=1, how="all")
    rows = []
    for row in part.to_dict("records"):
        unit = "" if row.get("unit") != row.get("unit") else str(row.get("unit") or "")
        limits = [show(row.get(c, math.nan), unit, with_unit=False) for c in ("ci_low", "ci_high")]
        value = show(row["estimate"], unit, with_unit=False, extra_decimals=1)
        words = {k: cell(row[k]) for k in keys if k in part}
        remark = cell(row.get("text")) if value == "–" else ""
        interval = "" if limits == ["–", "–"] else f"{limits[0]} to {limits[1]}"
        rows.append(words | {"estimate": value, "interval": interval, "unit": shown_unit(unit)})
        if remark:
            rows[-1]["unit"] = remark
    import pandas as pd

    table(pd.DataFrame(rows))


def _is_number(column: pd.Series) -> bool:
    from pandas.api.types import is_bool_dtype, is_numeric_dtype

    return bool(is_numeric_dtype(column) and not is_bool_dtype(column))


@contextlib.contextmanager
def progress(what: str) -> Iterator[Callable[[Any], None]]:
    """Draw a progress bar from the library's callbacks; silent when not a terminal."""
    if not sys.stderr.isatty():
        yield lambda step: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(what, total=None)

        def step(state: Any) -> None:
            bar.update(task, completed=state.done, total=state.total, description=state.what)

        yield step
