"""Jumps measured again, and the tables of the report computed again."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable
from pathlib import Path

import numpy as np
import pandas as pd

from cmjlab.audit.findings import Finding
from cmjlab.catalog import METRICS
from cmjlab.checks import listed
from cmjlab.files.formula_guard import guarded_frame
from cmjlab.report.build.choices import Choices
from cmjlab.report.gather import gather
from cmjlab.report.write import FILES
from cmjlab.safe_open import read_text
from cmjlab.study.study import Study

#: Fewer jumps than this are not measured again, whatever the share.
FEWEST = 5
#: Tables that only the full report has.
_FULL_TABLES = ("curves",)
#: Numbers of a table may differ by this share: sums in another order on another processor.
RELATIVE = 1e-9


def measured_again(study: Study, jumps: pd.DataFrame, *, share: float, seed: int) -> list[Finding]:
    """Measure a random part of the jumps from their raw files and compare every metric, bit for bit.

    Parameters
    ----------
    study : Study
    jumps : pandas.DataFrame
        Kept results.
    share : float
        Part of the jumps, 0 to 1; at least five.
    seed : int
        Of the draw.
    """
    metrics = [m for m in METRICS if m in jumps]
    usable = jumps[jumps["jump"].notna() & jumps[metrics].notna().any(axis=1)]
    size = min(len(usable), max(FEWEST, math.ceil(share * len(usable))))
    chosen = usable.iloc[np.sort(np.random.default_rng(seed).permutation(len(usable))[:size])]
    wrong = []
    for row in chosen.to_dict("records"):
        jump = study.jump(str(row["file"]), int(row["jump"]))
        kept = np.array([row[m] for m in metrics], dtype=float)
        fresh = np.array([jump.metrics[m] for m in metrics], dtype=float)
        if not np.array_equal(kept, fresh, equal_nan=True):
            wrong.append(study.shared_names.name(str(row["file"])))
    values = {"n": len(chosen), "all": len(usable), "seed": seed, "metrics": len(metrics)}
    if wrong:
        more = {"wrong": len(wrong), "names": listed(sorted(wrong))}
        return [Finding("differs", "jumps_differ", values | more)]
    return [Finding("follows", "jumps_same", values)]


def computed_again(study: Study, folder: Path) -> list[Finding]:
    """Compute the tables of the report again and compare each cell with what was written."""
    report = folder.name.endswith(FILES)
    written = sorted(p for p in folder.glob("*.csv") if p.is_file()) if report else []
    if not written:
        return [Finding("unchecked", "no_tables", {"folder": folder.name})]
    full = any(p.stem in _FULL_TABLES for p in written)
    tables = gather(study, draft=True, choices=Choices(full=full)).tables
    found: list[Finding] = []
    cells = same = 0
    for path in written:
        if path.stem not in tables:
            found.append(Finding("unchecked", "table_unknown", {"table": path.name}))
            continue
        now = _as_text(guarded_frame(tables[path.stem]))
        try:
            difference = _first_difference(_read(path), now)
        except (UnicodeDecodeError, csv.Error):
            difference = ("text",)
        if difference is None:
            same, cells = same + 1, cells + now.size
        else:
            found.append(Finding("differs", *_told(path.name, difference)))
    if same:
        found.insert(0, Finding("follows", "tables_computed", {"n": same, "cells": cells}))
    return found


def _told(table: str, difference: tuple[str, ...]) -> tuple[str, dict[str, str]]:
    if len(difference) == 1:
        return "table_shape", {"table": table, "why": difference[0]}
    names = ("row", "column", "written", "now")
    return "table_cell", {"table": table, **dict(zip(names, difference, strict=True))}


def _as_text(frame: pd.DataFrame) -> pd.DataFrame:
    return _parsed(io.StringIO(frame.to_csv(index=False, lineterminator="\n")))


def _read(path: Path) -> pd.DataFrame:
    return _parsed(io.StringIO(read_text(path)))


def _parsed(text: io.StringIO) -> pd.DataFrame:
    """Return the cells of a table as they stand; rows of unequal length are filled up."""
    rows = list(csv.reader(text))
    width = max(map(len, rows), default=0)
    filled = [[*row, *[""] * (width - len(row))] for row in rows]
    return pd.DataFrame(filled[1:], columns=filled[0] if filled else None, dtype=str)


def _first_difference(old: pd.DataFrame, new: pd.DataFrame) -> tuple[str, ...] | None:
    """Return nothing, ("rows",) or ("columns",), or row, column and both texts of the first cell."""
    if list(old.columns) != list(new.columns):
        return ("columns",)
    if len(old) != len(new):
        return ("rows",)
    for row, place in np.argwhere(old.to_numpy() != new.to_numpy()):
        then, now = old.iat[row, place], new.iat[row, place]
        if not _alike(then, now):
            return str(row + 2), str(old.columns[place]), then, now
    return None


def _alike(then: str, now: str) -> bool:
    try:
        return math.isclose(float(then), float(now), rel_tol=RELATIVE, abs_tol=0.0)
    except ValueError:
        return False


def worst(findings: Iterable[Finding]) -> bool:
    """Return whether anything does not follow."""
    return any(f.verdict == "differs" for f in findings)
