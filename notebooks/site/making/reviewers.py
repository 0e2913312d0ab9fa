"""For reviewers: the calibration tables, what each shows, how often it holds and where it falls short.

Nothing is judged here. What a table shows is the head of the script that made it; verdicts and
reasons are those that stand in the table.
"""

from __future__ import annotations

import ast
import re
from pathlib import Path
from typing import Any

import pandas as pd

from making.layout import ROOT, write

TABLES = ROOT / "tests" / "calibration"
AGREEMENT = ROOT / "tests" / "reference" / "agreement.csv"
#: Longer tables are shown by their worst rows; all rows are in the file beside them.
WHOLE = 330
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
NO_TABLE = ("harness", "judged_table")


def scripts() -> dict[str, list[Path]]:
    """Return the script of each calibration -> its tables; a table without a script is refused."""
    found: dict[str, list[Path]] = {}
    for table in sorted(TABLES.glob("*.csv")):
        makers = [s for s in sorted(TABLES.glob("*.py")) if _makes(s, table)]
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


def judged(table: pd.DataFrame) -> pd.DataFrame | None:
    """Return cells of a judged table by quantity and verdict: how many, and from where to where."""
    if "verdict" not in table:
        return None
    counted = "proportion" if "proportion" in table else "bias"
    bars = {b: (b, how) for b, how in BARS.items() if b in table}
    rows = (
        table.assign(why=table["why"].fillna(""))
        .groupby(["verdict", "quantity", "why"], sort=True)
        .agg(cells=(counted, "size"), lowest=(counted, "min"), highest=(counted, "max"), **bars)
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


def shown(table: pd.DataFrame) -> dict[str, Any]:
    """Return a table as headings and rows of text, five digits at most."""
    rows = [[_text(v) for v in row] for row in table.itertuples(index=False)]
    return {"columns": [c.replace("_", " ") for c in table.columns], "rows": rows}


def _text(value: Any) -> str:
    if isinstance(value, float):
        return "" if pd.isna(value) else f"{value:.5g}"
    return str(value)


def described(path: Path, source: Path) -> dict[str, Any]:
    """Return a table with its counts, its summary and, where it is short, all rows."""
    table = pd.read_csv(path)
    (source / "reviewers").mkdir(parents=True, exist_ok=True)
    (source / "reviewers" / path.name).write_bytes(path.read_bytes())
    summary, largest = judged(table), worst(table)
    verdicts = table["verdict"].value_counts().to_dict() if "verdict" in table else {}
    return {
        "name": path.name,
        "rows": len(table),
        "verdicts": {v: verdicts.get(v, 0) for v in ("pass", "shown", "fail")} if verdicts else {},
        "summary": shown(summary) if summary is not None else None,
        "worst": shown(largest) if largest is not None and len(table) > WHOLE else None,
        "whole": shown(table) if len(table) <= WHOLE else None,
    }


def make(source: Path) -> None:
    """Write a page per calibration and the page that lists them."""
    pages = []
    for script, tables in scripts().items():
        title, words = head_of(script)
        page = {
            "page": script.replace("_", "-"), "script": script, "title": title, "words": words,
            "seed": seed_of(script), "tables": [described(t, source) for t in tables],
        }  # fmt: skip
        pages.append(page)
        write(source, f"reviewers/{page['page']}.md", "calibration.md.j2", **page)
    agreement = described(AGREEMENT, source)
    write(source, "reviewers/index.md", "reviewers.md.j2", pages=pages, agreement=agreement)
