"""Columns: what every reader hands over, before anything is known of its meaning."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cmjlab.recording import ReadingNote

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class BadCell:
    """A cell that should hold a number and does not: its row (from 0), line and text."""

    row: int
    line: int
    text: str


@dataclass
class Columns:
    """Named columns of numbers as they stand in a file.

    Attributes
    ----------
    file : str
        File name for messages.
    names, groups, units : list of str
        Per column: its name, the header above it ("Plate 1"), its unit; "" where none.
    values : list of array or None
        Numbers per column, all of one length, nan where there is none; None: no numbers.
    clock : tuple of int
        Columns that hold clock time (as seconds since midnight).
    bad : dict
        Column number -> cells without a number.
    line_numbers : array, optional
        Line of the file for every row; None: rows follow ``first_line`` one by one.
    stated_rates : dict
        Rates written in words above the data: words -> hertz.
    rate_hz : float
        Rate that is part of the file format (C3D, Parquet metadata), 0: none.
    trust_units : bool
        The units come from a format that requires them (C3D).
    """

    file: str
    names: list[str]
    values: list[FloatArray | None]
    groups: list[str] = field(default_factory=list)
    units: list[str] = field(default_factory=list)
    clock: tuple[int, ...] = ()
    bad: dict[int, list[BadCell]] = field(default_factory=dict)
    first_line: int = 1
    line_numbers: NDArray[np.int64] | None = None
    stated_rates: dict[str, float] = field(default_factory=dict)
    rate_hz: float = 0.0
    start_s: float = 0.0
    trust_units: bool = False
    notes: list[ReadingNote] = field(default_factory=list)
    facts: dict[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.groups = self.groups or [""] * len(self.names)
        self.units = self.units or [""] * len(self.names)

    @property
    def n_rows(self) -> int:
        """Number of rows."""
        return next((len(v) for v in self.values if v is not None), 0)

    def line(self, row: int) -> int:
        """Return the line of the file (from 1) in which a row stands."""
        if self.line_numbers is not None:
            return int(self.line_numbers[row])
        return self.first_line + row

    def label(self, column: int) -> str:
        """Return a name of a column for a sentence."""
        parts = [p for p in (self.groups[column], self.names[column]) if p]
        return f"{' '.join(parts)!r}" if parts else f"column {column + 1}"

    def numeric(self) -> list[int]:
        """Return the columns that hold numbers."""
        return [i for i, v in enumerate(self.values) if v is not None]
