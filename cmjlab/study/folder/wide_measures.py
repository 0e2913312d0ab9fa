"""measures.csv or .xlsx in any of its forms: long, or wide with a column per measure, on any sheets.

The long form has a row per value (athlete, session, measure, value, unit). The wide form has a row
per athlete (and session) and a column per measure, the unit at the end of its heading:
``squat_1rm_kg`` or ``squat 1RM (kg)``. A wide table is turned into the long form; whatever is
assumed on the way becomes a note, and what can be read in two ways stops with what to write.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from cmjlab.checks import listed
from cmjlab.errors import ReadError
from cmjlab.study.folder.cells import Cells, find_table, read_cells, read_sheets
from cmjlab.study.folder.problems import Problems
from cmjlab.study.folder.user_tables import (
    MISSING,
    cast_cells,
    from_cells,
    read_user_table,
    to_number,
    warn_numeric_ids,
)
from cmjlab.tables import MEASURES

_STEM = "measures"
_WHO = ("athlete", "session", "date")
#: Units that a heading may end with, as they are written -> as the long form has them.
_UNITS = {
    "kg": "kg", "g": "g", "n": "N", "w": "W", "s": "s", "ms": "ms", "m": "m", "cm": "cm", "mm": "mm",
    "km": "km", "min": "min", "h": "h", "percent": "%", "%": "%", "points": "points", "bpm": "bpm",
    "count": "count", "n/kg": "N/kg", "w/kg": "W/kg", "m/s": "m/s", "km/h": "km/h", "n_per_kg": "N/kg",
    "w_per_kg": "W/kg", "m_per_s": "m/s", "km_per_h": "km/h", "1_to_5": "1 to 5", "1_to_10": "1 to 10",
    "0_to_10": "0 to 10", "au": "au",
}  # fmt: skip
_BRACKET = re.compile(r"^(?P<name>.*\S)\s*[(\[](?P<unit>[^()\[\]]+)[)\]]\s*$")


@dataclass(frozen=True)
class _Column:
    """One measure of a wide table: where it stands, its name and its unit."""

    position: int
    heading: str
    measure: str
    unit: str


def read_measures(folder: Path, sessions: pd.DataFrame, problems: Problems) -> pd.DataFrame:
    """Return the measures of a study folder in the long form, empty when there is no file.

    Parameters
    ----------
    folder : Path
        Study folder.
    sessions : pandas.DataFrame
        session and date, as study.toml has them.
    problems : Problems
        Receives whatever is wrong or assumed.
    """
    paths = find_table(folder, _STEM)
    if len(paths) != 1:
        return read_user_table(folder, _STEM, MEASURES, problems)
    try:
        sheets = _sheets(paths[0])
    except ReadError:
        return read_user_table(folder, _STEM, MEASURES, problems)  # it names the fault
    if len(sheets) == 1 and not is_wide(sheets[0][1]):
        return from_cells(sheets[0][1], MEASURES, problems)
    parts = []
    for title, cells in sheets:
        if "athlete" not in _plain(cells.header):
            _not_read(paths[0], title, cells, problems)
            continue
        long = wide_to_long(cells, sessions, title, problems) if is_wide(cells) else cells
        parts.append(from_cells(long, MEASURES, problems))
    if not parts:
        return from_cells(sheets[0][1], MEASURES, problems)
    _twice_over_sheets(paths[0], parts, problems)
    return pd.concat(parts, ignore_index=True)


def _sheets(path: Path) -> list[tuple[str, Cells]]:
    """Return the sheets that hold anything, each with a name that messages can show."""
    if path.suffix.lower() != ".xlsx":
        return [("", read_cells(path))]
    filled = [(title, c) for title, c in read_sheets(path).items() if c.header]
    if len(filled) < 2:
        return [("", filled[0][1] if filled else read_cells(path))]
    return [
        (title, replace(c, path=path.with_name(f"{path.name}, sheet {title}".replace("/", "-"))))
        for title, c in filled
    ]


def _plain(header: Sequence[str]) -> list[str]:
    return [re.sub(r"[\s\-]+", "_", word.strip()).casefold() for word in header]


def is_wide(cells: Cells) -> bool:
    """Return whether a table has a column per measure: athletes, and neither measure nor value."""
    names = _plain(cells.header)
    return "athlete" in names and not {"measure", "value"} & set(names)


def _not_read(path: Path, title: str, cells: Cells, problems: Problems) -> None:
    problems.add(
        "note", "sheet_not_read", where=(f"{path.name}, sheet {title}", 1, ""),
        found=", ".join(cells.header[:6]), expected="a column 'athlete'",
        remedy="This sheet is left out. Name the column with the ids 'athlete' if it holds measures.",
    )  # fmt: skip


def _twice_over_sheets(path: Path, parts: Sequence[pd.DataFrame], problems: Problems) -> None:
    """Two sheets may not both have a value of the same athlete, session and measure."""
    key = ["athlete", "session", "measure"]
    once = [p[key].dropna().drop_duplicates() for p in parts]
    whole = pd.concat(once, ignore_index=True)
    for values in whole[whole.duplicated(key)].drop_duplicates().itertuples(index=False):
        problems.add(
            "fail", "row_twice", where=(path.name, "", ", ".join(key)),
            found="/".join(map(str, values)), expected="one value over all sheets",
            remedy="Remove one of them.",
        )  # fmt: skip


# ---- wide to long ----------------------------------------------------------------------


def wide_to_long(cells: Cells, sessions: pd.DataFrame, title: str, problems: Problems) -> Cells:
    """Return a wide table as a long one, cell by cell.

    Parameters
    ----------
    cells : Cells
        With a column athlete; session or date where there are several sessions.
    sessions : pandas.DataFrame
        session and date of the study.
    title : str
        Name of the sheet, "" for a text file: it may be the name of a session.
    problems : Problems
    """
    names = _plain(cells.header)
    who = {
        n: cast_cells([r[names.index(n)] for r in cells.rows], MEASURES.column(n),
                      (cells.path.name, cells.numbers), problems)
        for n in _WHO if n in names
    }  # fmt: skip
    warn_numeric_ids(cells, names.index("athlete"), "athlete", problems)
    when = _sessions_of(cells, who, sessions, title, problems)
    columns = _columns(cells, names, problems)
    rows, numbers = [], []
    for i, (row, number) in enumerate(zip(cells.rows, cells.numbers, strict=True)):
        if not who["athlete"][i] or when is None or not when[i]:
            continue
        day = str(who["date"][i] or "") if "date" in who else ""
        for c in columns:
            word = _number(row[c.position], (cells.path.name, number, c.heading), problems)
            if word:
                rows.append(
                    [str(who["athlete"][i]), when[i], day, c.measure, word, c.unit or "1", "", ""]
                )
                numbers.append(number)
    _tell(cells, columns, problems)
    _without_athlete(cells, who["athlete"], problems)
    return Cells(cells.path, list(MEASURES.names), rows, numbers, cells.delimiter, cells.encoding)


def _without_athlete(cells: Cells, athletes: Sequence[object], problems: Problems) -> None:
    for athlete, number in zip(athletes, cells.numbers, strict=True):
        if not athlete:
            problems.add(
                "fail", "empty_cell", where=(cells.path.name, number, "athlete"), found="empty",
                expected="the id of an athlete", remedy="Fill it in or remove the row.",
            )  # fmt: skip


def _sessions_of(
    cells: Cells,
    who: dict[str, list[object]],
    sessions: pd.DataFrame,
    title: str,
    problems: Problems,
) -> list[str] | None:
    """Return the session of every row: its own column, its date, the sheet, the only session."""
    known = list(sessions["session"].astype(str))
    place = cells.path.name
    if "session" in who:
        for value, number in zip(who["session"], cells.numbers, strict=True):
            if not value:
                problems.add(
                    "fail", "empty_cell", where=(place, number, "session"), found="empty",
                    expected=", ".join(known), remedy="Fill it in or remove the row.",
                )  # fmt: skip
        return [str(s or "") for s in who["session"]]
    if "date" in who:
        return _by_date(cells, who["date"], sessions, problems)
    named = [s for s in known if s.casefold() == title.strip().casefold()]
    chosen = named or (known if len(known) == 1 else [])
    if not chosen:
        problems.add(
            "fail", "session_unknown", where=(place, 1, "session"), found=", ".join(cells.header[:8]),
            expected=f"the session of the values, one of {', '.join(known)}",
            remedy="Add a column session (or date), or name the sheet like the session.",
        )  # fmt: skip
        return None
    problems.add(
        "note", "session_assumed", where=(place, 1, ""),
        found=f"sheet {title!r}" if named else "no column session",
        expected="the session of the values",
        remedy=f"Read as session {chosen[0]!r}; add a column session if that is wrong.",
    )  # fmt: skip
    return [chosen[0]] * len(cells.rows)


def _by_date(
    cells: Cells, dates: Sequence[object], sessions: pd.DataFrame, problems: Problems
) -> list[str]:
    """Return the session that was held on each row's date; a date of none is refused."""
    days: dict[str, list[str]] = {}
    for session, day in zip(sessions["session"].astype(str), sessions["date"], strict=True):
        if isinstance(day, str) and day:
            days.setdefault(day, []).append(session)
    out = []
    for date, number in zip(dates, cells.numbers, strict=True):
        found = days.get(str(date), [])
        if len(found) != 1:
            problems.add(
                "fail", "date_of_no_session" if not found else "date_of_two_sessions",
                where=(cells.path.name, number, "date"), found=str(date or "empty"),
                expected=", ".join(f"{d} ({', '.join(s)})" for d, s in days.items()) or "dates in study.toml",
                remedy="Correct the date, or add a column session.",
            )  # fmt: skip
        out.append(found[0] if len(found) == 1 else "")
    problems.add(
        "note", "session_assumed", where=(cells.path.name, 1, "date"), found="no column session",
        expected="the session of the values", remedy="Read as the session that was held on the date.",
    )  # fmt: skip
    return out


def _columns(cells: Cells, names: Sequence[str], problems: Problems) -> list[_Column]:
    """Return the measures of a wide table; columns without any number are left out, and told."""
    found: list[_Column] = []
    for position, (heading, name) in enumerate(zip(cells.header, names, strict=True)):
        if name in _WHO or not name:
            continue
        words = [r[position].strip() for r in cells.rows]
        filled = [w for w in words if w.casefold() not in MISSING]
        if not filled or not any(_is_number(w) for w in filled):
            problems.add(
                "note", "column_without_numbers", where=(cells.path.name, 1, heading),
                found=f"{len(filled)} cell(s) with text" if filled else "no values",
                expected="numbers of one measure", remedy="The column is not read.",
            )  # fmt: skip
            continue
        measure, unit = measure_of(heading)
        column = _Column(position, heading, measure, unit)
        twice = [c.heading for c in found if (c.measure, c.unit) == (measure, unit)]
        if twice:
            problems.add(
                "fail", "column_twice", where=(cells.path.name, 1, heading),
                found=f"{twice[0]}, {heading}", expected="every measure once",
                remedy="Rename or remove one of them.",
            )  # fmt: skip
        elif not unit and measure.endswith("1rm"):
            problems.add(
                "fail", "unit_unknown", where=(cells.path.name, 1, heading), found=heading,
                expected="the unit in the heading", remedy=f"Write {measure}_kg.",
            )  # fmt: skip
        else:
            found.append(column)
    return found


def measure_of(heading: str) -> tuple[str, str]:
    """Return name and unit of a heading: ``squat 1RM (kg)`` and ``squat_1rm_kg`` are the same.

    The unit is "" when the heading names none that is known.
    """
    bracket = _BRACKET.match(heading.strip())
    if bracket:
        unit = re.sub(r"\s+", "_", bracket["unit"].strip().casefold())
        return _tidy(bracket["name"]), _UNITS.get(unit, bracket["unit"].strip())
    name = re.sub(r"[\s\-]+", "_", heading.strip().casefold())
    for written in sorted(_UNITS, key=len, reverse=True):
        if name.endswith(f"_{written}") and len(name) > len(written) + 1:
            return _tidy(name[: -len(written) - 1]), _UNITS[written]
    return _tidy(name), ""


def _tidy(name: str) -> str:
    return re.sub(r"\W+", "_", name.strip().casefold()).strip("_")


def _is_number(word: str) -> bool:
    try:
        to_number(word)
    except ValueError:
        return False
    return True


def _number(word: str, place: tuple[str, int, str], problems: Problems) -> str:
    """Return a cell that holds a number, "" for an empty one; anything else is a problem."""
    text = word.strip()
    if text.casefold() in MISSING:
        return ""
    try:
        return repr(to_number(text))
    except ValueError as problem:
        found, expected, remedy = problem.args
        problems.add(
            "fail", "bad_value", where=place, found=found, expected=expected, remedy=remedy
        )
        return ""


def _tell(cells: Cells, columns: Sequence[_Column], problems: Problems) -> None:
    """Say what the columns were read as."""
    read = [
        f"{c.measure} in {c.unit}" if c.unit else f"{c.measure} without a unit" for c in columns
    ]
    problems.add(
        "note", "wide_table", where=(cells.path.name, 1, ""),
        found=listed([c.heading for c in columns]) if columns else "no measure",
        expected="one row per value, or one column per measure",
        remedy=f"Read as a column per measure: {listed(read)}." if read else "Nothing is read.",
    )  # fmt: skip
