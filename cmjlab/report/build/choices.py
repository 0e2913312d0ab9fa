"""What a reader may choose about a report, and the names of athletes when they are asked for."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from cmjlab.checks import one_of
from cmjlab.plots.decimal import SIGNS, with_decimal

if TYPE_CHECKING:
    from cmjlab.report.blocks.data import ReportData
    from cmjlab.study.study import Study

#: Sections whose numbers are versions, hashes and volumes.
_AS_THEY_ARE = ("provenance", "references")


@dataclass(frozen=True)
class Choices:
    """What a reader may choose.

    Attributes
    ----------
    full : bool
        Everything; otherwise one page for coaches and about a dozen more.
    names : bool
        Names of names.csv beside the ids, in tables of people.
    decimal : str
        "." or ",".
    names_everywhere : bool
        Names in sentences too, and as a sheet of the workbook.
    """

    full: bool = False
    names: bool = False
    decimal: str = "."
    names_everywhere: bool = False

    def __post_init__(self) -> None:
        one_of("decimal", self.decimal, SIGNS)


def read_names(study: Study) -> dict[str, str]:
    """Return athlete -> name from the private file names.csv; empty when there is none.

    Raises
    ------
    StudyError
        The file has problems.
    """
    from cmjlab.study.folder.problems import Problems
    from cmjlab.study.folder.user_tables import read_user_table
    from cmjlab.tables import NAMES

    found = Problems()
    table = read_user_table(study.folder, "names", NAMES, found)
    found.stop_if_failed("names.csv")
    return dict(zip(table["athlete"].astype(str), table["name"].astype(str), strict=True))


def in_decimal_style(data: ReportData, sign: str, literal: Collection[str]) -> ReportData:
    """Return the report with its numbers in the reader's decimal style.

    Versions, hashes, references, file names and the user's own texts stay as they are.
    """
    if sign == ".":
        return data

    def turned(part: Any) -> Any:
        if isinstance(part, str):
            return with_decimal(part, sign, literal=literal)
        return tuple(turned(p) for p in part) if isinstance(part, tuple) else part

    def block_turned(block: Any) -> Any:
        texts = ("text", "title", "items", "pairs", "columns", "rows", "note", "caption", "alt")
        changed = {t: turned(getattr(block, t)) for t in texts if hasattr(block, t)}
        if getattr(block, "pictures", ()):
            changed["pictures"] = tuple(map(block_turned, block.pictures))
        return replace(block, **changed)

    sections = tuple(
        s if s.key in _AS_THEY_ARE else replace(s, blocks=tuple(map(block_turned, s.blocks)))
        for s in data.sections
    )
    return replace(data, sections=sections)
