"""How the commands speak: lines, tables, progress, errors in one sentence."""

from __future__ import annotations

import contextlib
import math
import os
import re
import sys
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import typer

from cmjlab.cli.names import heading

if TYPE_CHECKING:
    from pathlib import Path

    import pandas as pd

    from cmjlab.results import Result

#: Printed by every command that shows results of people.
CAUTION = (
    "Flags and asymmetries are not diagnoses; no score is a verdict on a person. "
    "Results are personal data: keep them as local law asks."
)


#: What a terminal obeys instead of showing: controls, and marks that turn the direction of text.
_OBEYED = re.compile(
    r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ufeff]"
)


def visible(text: str) -> str:
    """Return text with what a terminal would obey written out as its number."""
    return _OBEYED.sub(lambda found: found[0].encode("unicode_escape").decode("ascii"), text)


def line(text: str = "", *, err: bool = False) -> None:
    """Print one line to standard output, or to standard error; nothing in it moves the cursor."""
    typer.echo(visible(text), err=err)


def fail(text: str, code: int = 2) -> typer.Exit:
    """Print one sentence to standard error and return the exit to raise."""
    line(f"cmjlab: {text}", err=True)
    return typer.Exit(code)


def named(path: Path) -> str:
    """Return a path as it is typed in a terminal: in quotation marks when it holds a blank."""
    text = str(path)
    return f'"{text}"' if re.search(r"[^\w./\\:~+,@%-]", text) else text


@contextlib.contextmanager
def plain_errors() -> Iterator[None]:
    """Turn errors into one sentence and an exit code, without a traceback.

    An error that nobody foresaw is a fault of cmjlab: it is named with its place in the code,
    and the variable CMJLAB_TRACEBACK shows all of it to whoever mends it.
    """
    from cmjlab.errors import CmjlabError

    try:
        yield
    except typer.Exit:
        raise
    except CmjlabError as error:
        raise fail(" ".join(str(error).split())) from None
    except KeyboardInterrupt:
        raise _stopped() from None
    except PermissionError as error:
        raise fail(_no_permission(error)) from None
    except BrokenPipeError:  # the reader of our output has gone, e.g. `| head`
        sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115
        raise typer.Exit(0) from None
    except OSError as error:
        from cmjlab.files.atomic_write import REMEDIES

        place = f"{error.filename}: " if error.filename else ""
        remedy = REMEDIES.get(error.errno or 0, "")
        raise fail(f"{place}{error.strerror or error}. {remedy}".strip()) from None
    except Exception as error:
        if _by_interrupt(error):
            raise _stopped() from None
        if os.environ.get("CMJLAB_TRACEBACK"):
            raise
        raise fail(_unforeseen(error), 70) from None


def _stopped() -> typer.Exit:
    return fail(
        "stopped. Files that were written are whole; what was measured is kept, and the same"
        " command goes on from there.",
        130,
    )


def _by_interrupt(error: BaseException | None) -> bool:
    """Return whether Ctrl-C stands behind an error: Python wraps it where a class is being made."""
    while error is not None:
        if isinstance(error, KeyboardInterrupt):
            return True
        error = error.__cause__ or error.__context__
    return False


def _no_permission(error: PermissionError) -> str:
    return (
        f"{error.filename}: no permission. Close programs that hold it open; if the folder can"
        " only be read, name another place for what is written (--results FOLDER; report: --out"
        " FOLDER), or copy the study."
    )


def _unforeseen(error: Exception) -> str:
    """Return one sentence on an error that nobody foresaw, with its place in the code."""
    import traceback

    frames = traceback.extract_tb(error.__traceback__)
    ours = [f for f in frames if "cmjlab" in f.filename.replace(os.sep, "/").split("/")]
    place = f" ({os.path.basename(ours[-1].filename)}, line {ours[-1].lineno})" if ours else ""
    what = " ".join(f"{type(error).__name__}: {error}".split())[:300]
    return (
        f"this is a fault of cmjlab, not yours: {what}{place}. Your files are untouched. Please"
        " report this line; with CMJLAB_TRACEBACK=1 in the environment the details are printed."
    )


def cell(value: Any) -> str:
    """Return a table cell: numbers with four significant digits, nothing for missing."""
    if value is None:
        return ""
    if isinstance(value, bool) or type(value).__name__ == "bool":  # numpy's too
        return "yes" if value else "no"
    if isinstance(value, float):
        if math.isnan(value):
            return ""
        return f"{value:.4g}" if abs(value) < 1e4 else f"{value:.0f}"
    text = str(value).replace("\n", "\\n")
    return "" if text in ("<NA>", "nan") else text


def table(frame: pd.DataFrame, columns: list[str] | None = None) -> None:
    """Print a DataFrame as aligned text; numbers to the right; nothing without columns."""
    if not len(frame.columns):
        return
    shown = frame[columns] if columns else frame
    names = [heading(str(c)) for c in shown.columns]
    rows = [[visible(cell(v)) for v in row] for row in shown.itertuples(index=False, name=None)]
    widths = [max([len(n), *(len(r[i]) for r in rows)]) for i, n in enumerate(names)]
    right = [_is_number(shown[c]) for c in shown.columns]

    def aligned(parts: list[str]) -> str:
        pairs = zip(parts, widths, right, strict=True)
        return "  ".join(p.rjust(w) if r else p.ljust(w) for p, w, r in pairs).rstrip()

    line(aligned(names))
    line("  ".join("-" * w for w in widths))
    for row in rows:
        line(aligned(row))


#: Problems of one kind that are written out; the others are counted.
_SHOWN = 3


def problems(frame: pd.DataFrame, every: bool = False) -> None:
    """Print the problems of a study as short blocks: where, found, expected, what to do.

    Problems of the same kind (same column, same remedy) stand together; of more than three the
    first three are written out and the others counted, unless every one is asked for.
    """
    from cmjlab.study.folder.problems import place_in_words

    texts = frame.fillna("").astype(str)
    alike = ["severity", "column", "expected", "remedy"]
    for (severity, _, expected, remedy), rows in texts.groupby(alike, sort=False):
        found = [
            text.removeprefix(f"{file}: ") for file, text in rows[["file", "found"]].to_numpy()
        ]
        places = [place_in_words(row) for row in rows.to_dict("records")]
        shown = len(rows) if every else _SHOWN
        if len(set(found)) == 1 and len(rows) > 1:
            more = f" and {len(rows) - shown} more" if len(rows) > shown else ""
            line(f"{severity}  {'; '.join(places[:shown])}{more}: {found[0]}")
        else:
            for place, text in list(zip(places, found, strict=True))[:shown]:
                line(f"{severity}  {place}: {text}")
            if len(rows) > shown:
                line(f"      … and {len(rows) - shown} more of the same kind (--all lists them)")
        if expected:
            line(f"      expected: {expected}")
        line(f"      to do:    {remedy}")


#: What is printed of an estimate, in this order.
_PRINTED = ("measure", "group", "contrast", "athlete", "statistic", "estimate", "interval", "unit",
            "remark")  # fmt: skip


def estimates(result: Result, statistics: tuple[str, ...], metrics: list[str]) -> None:
    """Print chosen statistics with their intervals, in the words and units that a person reads.

    Where a statistic was computed by several methods the leading one is printed; all of them
    stand in the table on disk.
    """
    from dataclasses import replace

    part = result.table[result.table["metric"].isin(metrics)]
    part = part[part["statistic"].isin(statistics)]
    if not len(part):
        line("no estimates; the notes say why")
        return
    leading = part["leads"].fillna(False).astype(bool).sort_values(ascending=False, kind="stable")
    keys = ["metric", "group", "contrast", "athlete", "statistic"]
    part = part.loc[leading.index].drop_duplicates(keys).sort_index()
    readable = replace(result, table=part).readable()
    table(readable, [c for c in _PRINTED if c in readable])


def _is_number(column: pd.Series) -> bool:
    """Return whether a column holds numbers, or texts that all are numbers."""
    from pandas.api.types import is_bool_dtype, is_numeric_dtype

    if is_numeric_dtype(column):
        return not is_bool_dtype(column)
    texts = [t for t in map(cell, column) if t]
    return bool(texts) and all(re.fullmatch(r"[-−±]?\d+(\.\d+)?|–", t) for t in texts)
