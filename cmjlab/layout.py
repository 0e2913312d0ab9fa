"""Layout: how the columns of a file are to be read (columns, units, sign, plates)."""

from __future__ import annotations

from dataclasses import dataclass

from cmjlab.checks import suggestion
from cmjlab.delimiters import is_known, words
from cmjlab.settings import Settings, setting
from cmjlab.units import FORCE_UNITS, TIME_UNITS

_DELIMITER_WORDS = ", ".join(repr(word) for word in words())


@dataclass(frozen=True, eq=False)
class Layout(Settings):
    """What a person states about files that the reader cannot know by itself.

    Everything may be left at its default: the reader then finds out, writes each assumption
    into the recording's notes, and stops where two readings are possible.

    Examples
    --------
    >>> import cmjlab as cj
    >>> cj.Layout(force_columns=("Fz",), force_unit="kN")
    Layout(force_columns=('Fz',), force_unit='kN')
    """

    match: str = setting("", "file-name pattern with * and ?; empty: every file")
    delimiter: str = setting(
        "", f"column separator: any one character, or {_DELIMITER_WORDS}; empty: found out"
    )
    decimal: str = setting("", "decimal mark; empty: found out", allowed=("", ".", ","))
    encoding: str = setting("", "text encoding; empty: found out")
    skip_lines: int = setting(-1, "lines before the header; -1: found out", low=-1, high=10000)
    time_column: str = setting("", "name or number (from 1) of the time column; 'none': no time")
    time_unit: str = setting("", "unit of time; empty: found out", allowed=("", *TIME_UNITS))
    rate_hz: float = setting(0.0, "sampling rate; 0: from the time column", unit="Hz", low=0.0)
    force_columns: tuple[str, ...] = setting((), "names or numbers of vertical force columns")
    force_unit: str = setting(
        "", "unit of force; empty: found out", allowed=("", *FORCE_UNITS, "V", "mV", "mV/V")
    )
    newton_per_unit: float = setting(
        0.0, "newtons per unit of the file (volts, counts); 0: not given", low=0.0
    )
    sign: int = setting(
        0, "1: pushing down on the plate is positive; -1: negative; 0: found out",
        allowed=(0, 1, -1),
    )  # fmt: skip
    sheet: str = setting("", "name of the sheet of an .xlsx file; empty: the only one with numbers")
    plates: tuple[str, ...] = setting(
        (), "plate names in the order of force_columns: total, left, right, plate_1, plate_2, …"
    )
    left: tuple[int, ...] = setting((), "numbers of the plates under the left foot")
    right: tuple[int, ...] = setting((), "numbers of the plates under the right foot")
    size_limit_mb: float = setting(
        50.0, "files larger than this are refused, unpacked size", unit="MB", low=0.001, high=1e5
    )

    def _contradictions(self) -> list[str]:
        if not self.delimiter or is_known(self.delimiter):
            return []
        return [
            f"delimiter: found {self.delimiter!r}, one character is needed or one of"
            f" {_DELIMITER_WORDS}.{suggestion(self.delimiter, words())}"
        ]
