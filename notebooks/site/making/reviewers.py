"""For reviewers: the calibration tables, what each shows, how often it holds and where it falls short.

Nothing is judged here: what stands in the tables is read by ``tests/calibration/committed.py``, and
the dossier is put together by ``tests/calibration/dossier.py``.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import pandas as pd

from making.layout import ROOT, write

sys.path.append(str(ROOT / "tests" / "calibration"))
from committed import (
    head_of,
    judged,
    scripts,
    seed_of,
    shown,
    verdict_counts,
    worst,
)
from dossier import contents

AGREEMENT = ROOT / "tests" / "reference" / "agreement.csv"
#: Longer tables are shown by their worst rows; all rows are in the file beside them.
WHOLE = 330


def described(path: Path, source: Path) -> dict[str, Any]:
    """Return a table with its counts, its summary and, where it is short, all rows."""
    table = pd.read_csv(path)
    (source / "reviewers").mkdir(parents=True, exist_ok=True)
    (source / "reviewers" / path.name).write_bytes(path.read_bytes())
    summary, largest = judged(table), worst(table)
    return {
        "name": path.name,
        "rows": len(table),
        "verdicts": verdict_counts(table),
        "summary": shown(summary) if summary is not None else None,
        "worst": shown(largest) if largest is not None and len(table) > WHOLE else None,
        "whole": shown(table) if len(table) <= WHOLE else None,
    }


def make(source: Path) -> None:
    """Write a page per calibration, the dossier, and the page that lists them."""
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
    write(source, "reviewers/dossier.md", "dossier.md.j2", **contents())
    write(source, "reviewers/index.md", "reviewers.md.j2", pages=pages, agreement=agreement)
