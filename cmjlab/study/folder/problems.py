"""The list of everything that is wrong in a study folder, in one wording."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import pandas as pd

from cmjlab.checks import shown
from cmjlab.errors import StudyError
from cmjlab.tables import PROBLEMS

_ORDER = {"fail": 0, "warn": 1, "note": 2}


@dataclass
class Problems:
    """Collects problems; nothing is raised before all of them are known."""

    rows: list[dict[str, str]] = field(default_factory=list)

    def add(
        self,
        severity: str,
        code: str,
        *,
        where: tuple[str, object, str] = ("", "", ""),
        found: object = "",
        expected: str = "",
        remedy: str = "",
    ) -> None:
        """Add one problem.

        Parameters
        ----------
        severity : str
            "fail" (the study cannot be used so), "warn" (look at it) or "note".
        code : str
            Kind of problem.
        where : tuple of (file, row, column)
            Row as a spreadsheet counts, "" when it does not apply.
        found : object
            What stands there.
        expected, remedy : str
            What is allowed, and what to do.
        """
        file, row, column = where
        self.rows.append(
            {
                "severity": severity,
                "file": str(file),
                "row": str(row),
                "column": str(column),
                "code": code,
                "found": found if isinstance(found, str) else shown(found),
                "expected": expected,
                "remedy": remedy,
            }
        )

    def extend(self, other: Problems) -> None:
        """Add all problems of another list."""
        self.rows += other.rows

    def frame(self) -> pd.DataFrame:
        """Return all problems, fails first, otherwise in the order of discovery; no repeats."""
        table = PROBLEMS.frame(self.rows).fillna("").drop_duplicates()
        order = table["severity"].map(_ORDER).argsort(kind="stable")
        return table.iloc[order.to_numpy()].reset_index(drop=True)

    @property
    def fails(self) -> list[dict[str, str]]:
        """Problems that stop the study."""
        return [r for r in self.rows if r["severity"] == "fail"]

    def stop_if_failed(self, name: str) -> None:
        """Raise StudyError with all problems when one of them is a fail."""
        if self.fails:
            lines = [in_words(r) for r in self.fails[:5]]
            more = len(self.fails) - len(lines)
            if more:
                lines.append(f"and {more} more; all of them are in the table of problems.")
            raise StudyError(
                f"{name}: {len(self.fails)} problem(s) must be solved first.\n" + "\n".join(lines),
                self.frame(),
            )


def in_words(row: Mapping[str, str]) -> str:
    """Return one problem as a sentence: where, what was found, what is allowed, what to do."""
    place = place_in_words(row)
    text = f"{place}: found {row['found']}" if row["found"] else f"{place}: {row['code']}"
    if row["expected"]:
        text += f"; expected {row['expected']}"
    return f"{text}. {row['remedy']}".rstrip()


def place_in_words(row: Mapping[str, str]) -> str:
    """Return file, row and column of a problem in one phrase; study.toml holds settings."""
    column = "setting" if row["file"] == "study.toml" else "column"
    named = (("row", row["row"]), (column, row["column"]))
    return row["file"] + "".join(f", {name} {value}" for name, value in named if value)
