"""The committed tables of this folder, read: which script makes which, what they show, how they were judged.

Used by the pages for reviewers and by the dossier. Nothing is judged here: verdicts and reasons are
those that stand in the tables, and what a table shows is the head of the script that made it.
"""

from __future__ import annotations

import ast
import re
from pathlib import Path
from typing import Any

import pandas as pd

TABLES = Path(__file__).resolve().parent
#: Seeds of scripts that count them upward or mix several, and so hold no single SEED.
SEEDS = {
    "false_alarms": "0 upward, one a jump",
    "onset_and_weight": "70000 and 80000 upward, one a jump",
    "random_profiles": "52000 with the number of the athlete",
    "standard_errors": "31000 with the numbers of the cell and of the jump",
}
#: What a cell is held against, and which stands for all cells of a quantity.
BARS = {"bar_low": "min", "bar_high": "max", "bar": "max"}
#: Helpers that make no table of their own.
NO_TABLE = ("harness", "judged_table", "committed", "dossier", "dossier_rows")
#: Columns of a judged table that are no part of the situation.
FOUND = (
    "quantity", "studies", "not_estimable", "proportion", "bias", "mc_low", "mc_high", "mc_error",
    "bar_low", "bar_high", "bar", "verdict", "why", "first_batch_studies", "first_batch_hits",
)  # fmt: skip


def scripts(folder: Path = TABLES) -> dict[str, list[Path]]:
    """Return the script of each calibration -> its tables; a table without a script is refused."""
    found: dict[str, list[Path]] = {}
    for table in sorted(folder.glob("*.csv")):
        makers = [s for s in sorted(folder.glob("*.py")) if _makes(s, table)]
        if len(makers) != 1:
            raise SystemExit(
                f"{table.name}: {len(makers)} scripts write this table; it must be one"
            )
        found.setdefault(makers[0].stem, []).append(table)
    return found


def _makes(script: Path, table: Path) -> bool:
    return script.stem not in NO_TABLE and (
        script.stem == table.stem or f'"{table.name}"' in script.read_text(encoding="utf-8")
    )


def seed_of(script: str) -> str:
    """Return the seed of a script as text."""
    if script in SEEDS:
        return SEEDS[script]
    tree = ast.parse((TABLES / f"{script}.py").read_text(encoding="utf-8"))
    for node in tree.body:
        if isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") == "SEED":
            return str(ast.literal_eval(node.value))
    raise SystemExit(f"{script}.py: no SEED at its top; add one, or its words to SEEDS")


def head_of(script: str) -> tuple[str, str]:
    """Return the first line of a script's docstring, and the rest of it."""
    tree = ast.parse((TABLES / f"{script}.py").read_text(encoding="utf-8"))
    first, _, rest = (ast.get_docstring(tree) or "").partition("\n")
    first = re.sub(r"^Make \S+\.csv: (\w)", lambda m: m[1].upper(), first)
    return first.rstrip("."), rest.strip()


def counted(table: pd.DataFrame) -> str:
    """Return the column that holds what came out."""
    return "proportion" if "proportion" in table else "bias"


def judged(table: pd.DataFrame) -> pd.DataFrame | None:
    """Return cells of a judged table by quantity and verdict: how many, and from where to where."""
    if "verdict" not in table:
        return None
    value = counted(table)
    bars = {b: (b, how) for b, how in BARS.items() if b in table}
    rows = (
        table.assign(why=table["why"].astype(object).fillna(""))
        .groupby(["verdict", "quantity", "why"], sort=True)
        .agg(cells=(value, "size"), lowest=(value, "min"), highest=(value, "max"), **bars)
        .reset_index()
    )
    order = ["quantity", "verdict", "cells", "lowest", "highest", *bars, "why"]
    return rows[order]


def worst(table: pd.DataFrame) -> pd.DataFrame | None:
    """Return the row with the largest error of each metric (and method), of a table of errors."""
    if "max_abs" not in table:
        return None
    by = [c for c in ("method", "metric") if c in table]
    return table.loc[table.groupby(by)["max_abs"].idxmax()].sort_values(by)


def verdict_counts(table: pd.DataFrame) -> dict[str, int]:
    """Return how many rows pass, fail and are shown; nothing of a table that is not judged."""
    if "verdict" not in table:
        return {}
    counts = table["verdict"].value_counts().to_dict()
    return {v: int(counts.get(v, 0)) for v in ("pass", "shown", "fail")}


def shown(table: pd.DataFrame) -> dict[str, Any]:
    """Return a table as headings and rows of text, five digits at most."""
    rows = [[text_of(v) for v in row] for row in table.itertuples(index=False)]
    return {"columns": [c.replace("_", " ") for c in table.columns], "rows": rows}


def text_of(value: Any) -> str:
    """Return a cell as text."""
    if isinstance(value, float):
        return "" if pd.isna(value) else f"{value:.5g}"
    return str(value)
