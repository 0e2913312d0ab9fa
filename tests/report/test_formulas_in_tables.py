"""No cell of a table that a report writes runs anything in a spreadsheet."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from pathlib import Path

import pandas as pd

import cmjlab as cj
from cmjlab.files.formula_guard import guarded, unguarded
from cmjlab.files.table import read_table
from cmjlab.report.write import write_tables

EVIL = ["=1+1", "+cmd|x", "@SUM(1)", "-2+3", "\t=1", "\r=1", "\uff1d1", "=HYPERLINK(0)"]
PLAIN = ["-1.5", "+2", "1e-3", "late", "post - base2", "\u2212 1.5 cm", "a=b"]


def cells_of(path: Path) -> list[list[str]]:
    return list(csv.reader(io.StringIO(path.read_bytes().decode("utf-8"), newline="")))


def test_texts_that_a_spreadsheet_would_run_get_an_apostrophe(kit_report, tmp_path):
    frame = pd.DataFrame({"reason": EVIL + PLAIN, "change": -1.5, "=own": "x"})
    write_tables(replace(kit_report, tables={"values": frame}, provenance={}), tmp_path)
    head, *rows = cells_of(tmp_path / "values.csv")
    assert head == ["reason", "change", "'=own"]
    assert [row[0] for row in rows[-len(PLAIN) :]] == PLAIN
    assert all(row[0].startswith("'") for row in rows[: len(EVIL)])
    assert {row[1] for row in rows} == {"-1.5"}
    assert all(unguarded(guarded(text)) == text for text in EVIL + PLAIN)


def test_a_report_of_a_hostile_study_holds_none(tmp_path):
    from report_kit import kit_study

    study = kit_study(tmp_path, athletes=4)
    roster = study.folder / "athletes.csv"
    head, *rows = roster.read_text(encoding="utf-8").splitlines()
    roster.write_text("\n".join([f"{head},hand", *(f"{r},@SUM(1)" for r in rows)]) + "\n")
    opened = cj.Study.open(study.folder)
    from cmjlab.notebook import gather

    written = write_tables(gather(opened, draft=True), tmp_path)
    cells = 0
    for path in written:
        if path.suffix == ".csv":
            for row in cells_of(path):
                cells += len(row)
                runs = [c for c in row if not c.startswith("'") and guarded(c) != c]
                assert runs == [], path.name
    assert cells > 1000
    jumps = next(path for path in written if path.name == "jumps.csv")
    assert set(read_table(jumps)["hand"]) == {"@SUM(1)"}
