"""Every table that cmjlab reads or writes, declared once.

A :class:`Table` gives the columns with type, unit and meaning; from it come casting,
validation, the Frictionless Table Schema (an open standard) and the glossary.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from cmjlab.catalog import METRICS

if TYPE_CHECKING:
    import pandas as pd

#: dtype word -> pandas dtype. "text" keeps leading zeros; "date" is ISO text (YYYY-MM-DD).
_DTYPES = {
    "text": "str",
    "date": "str",
    "number": "float64",
    "integer": "Int64",
    "boolean": "boolean",
}
_FRICTIONLESS = {
    "text": "string",
    "date": "date",
    "number": "number",
    "integer": "integer",
    "boolean": "boolean",
}


@dataclass(frozen=True)
class Column:
    """One column: name, dtype word, meaning, unit, and whether it must be there."""

    name: str
    dtype: str
    description: str
    unit: str = ""
    required: bool = False
    allowed: tuple[str, ...] = ()


@dataclass(frozen=True)
class Table:
    """A table: name, columns in order, and the columns that identify a row."""

    name: str
    description: str
    columns: tuple[Column, ...]
    key: tuple[str, ...] = ()

    @property
    def names(self) -> list[str]:
        """Column names in order."""
        return [c.name for c in self.columns]

    def column(self, name: str) -> Column:
        """Return one column; KeyError when there is none of this name."""
        for c in self.columns:
            if c.name == name:
                return c
        raise KeyError(f"table {self.name} has no column {name!r}")

    def empty(self) -> pd.DataFrame:
        """Return the table without rows, with the right dtypes."""
        import pandas as pd

        return pd.DataFrame({c.name: pd.Series(dtype=_DTYPES[c.dtype]) for c in self.columns})

    def frame(self, rows: Sequence[dict[str, Any]]) -> pd.DataFrame:
        """Return rows as a DataFrame with all columns, in order, with the right dtypes."""
        import pandas as pd

        return self.cast(pd.DataFrame(list(rows), columns=self.names))

    def cast(self, frame: pd.DataFrame) -> pd.DataFrame:
        """Return a copy with the columns of this table first, in order, in their dtypes.

        Missing columns are added empty; further columns are kept behind.
        """
        import pandas as pd

        out: dict[str, Any] = {}
        for c in self.columns:
            if c.name in frame:
                out[c.name] = frame[c.name].astype(_DTYPES[c.dtype])
            else:
                out[c.name] = pd.Series(index=frame.index, dtype=_DTYPES[c.dtype])
        for name in frame.columns:
            if name not in out:
                out[name] = frame[name]
        return pd.DataFrame(out, index=frame.index)

    def frictionless(self) -> dict[str, Any]:
        """Return the Frictionless Table Schema of this table as plain data."""
        fields = []
        for c in self.columns:
            item: dict[str, Any] = {
                "name": c.name,
                "type": _FRICTIONLESS[c.dtype],
                "description": c.description + (f" [{c.unit}]" if c.unit else ""),
            }
            constraints: dict[str, Any] = {}
            if c.required or c.name in self.key:
                constraints["required"] = True
            if c.allowed:
                constraints["enum"] = list(c.allowed)
            if constraints:
                item["constraints"] = constraints
            fields.append(item)
        schema: dict[str, Any] = {"fields": fields, "missingValues": ["", "NA"]}
        if self.key:
            schema["primaryKey"] = list(self.key)
        return schema


def _metric_columns() -> tuple[Column, ...]:
    return tuple(Column(m.key, "number", m.label, m.unit) for m in METRICS.values())


_WHO = (
    Column("athlete", "text", "athlete id", required=True),
    Column("session", "text", "session id", required=True),
)

JUMPS = Table(
    "jumps",
    "one row per jump, from its file alone",
    (
        Column("file", "text", "path below the study's recordings folder", required=True),
        Column("sha256", "text", "SHA-256 of the file's bytes", required=True),
        *_WHO,
        Column("trial", "text", "number of the recording within the session"),
        Column("jump", "integer", "number of the jump within its file", required=True),
        Column("date", "date", "date of the session, ISO"),
        Column("rate_hz", "number", "sampling rate", "Hz"),
        Column("accepted", "boolean", "used in summaries", required=True),
        Column("accepted_by_rules", "boolean", "no rule of scope jump failed"),
        Column("verdict", "text", "a person's verdict: accept, reject or empty"),
        Column("moved_events", "text", "events that a person moved, separated by ;"),
        Column("flags", "text", "code:status of every flag, sorted, separated by ;"),
        Column("error", "text", "why the file could not be analysed"),
        *_metric_columns(),
    ),
    key=("file", "jump"),
)

CHECK_ROWS = Table(
    "checks",
    "one row per jump and quality rule",
    (
        Column("file", "text", "path below the study's recordings folder", required=True),
        Column("jump", "integer", "number of the jump within its file", required=True),
        Column("code", "text", "quality rule", required=True),
        Column(
            "status",
            "text",
            "what the rule found",
            required=True,
            allowed=("pass", "note", "warn", "fail", "not_assessed"),
        ),
        Column(
            "scope",
            "text",
            "part of the jump that is voided by a fail",
            allowed=("jump", "flight", "landing", "limbs"),
        ),
        Column("value", "number", "measured value, in the rule's unit"),
        Column("limit", "number", "limit it was held against"),
        Column("unit", "text", "unit of value and limit"),
        Column("reason", "text", "one sentence"),
    ),
    key=("file", "jump", "code"),
)

SESSIONS = Table(
    "sessions",
    "one row per athlete and session: the summary of the accepted jumps",
    (
        Column("athlete", "text", "athlete id", required=True),
        Column("group", "text", "group of the athlete"),
        Column("session", "text", "session id, ordered", required=True),
        Column("role", "text", "role of the session in the study"),
        Column("date", "date", "date of the session, ISO"),
        Column("n_jumps", "integer", "jumps in the summary"),
        Column("n_expected", "integer", "jumps wanted"),
        Column("n_excluded", "integer", "jumps recorded but not in the summary"),
        *_metric_columns(),
    ),
    key=("athlete", "session"),
)

STATISTICS_TABLE = Table(
    "statistics",
    "one estimate a row",
    (
        Column("metric", "text", "metric key", required=True),
        Column("statistic", "text", "statistic key of the catalog", required=True),
        Column("group", "text", "group or stratum, where it applies"),
        Column("contrast", "text", "later - earlier, or group - control"),
        Column("session", "text", "session, where it applies"),
        Column("athlete", "text", "athlete, where it applies"),
        Column("estimate", "number", "estimate"),
        Column("ci_low", "number", "lower limit of the interval"),
        Column("ci_high", "number", "upper limit of the interval"),
        Column("level", "number", "level of the interval"),
        Column("n", "integer", "athletes used"),
        Column("df", "number", "degrees of freedom"),
        Column("df2", "number", "second degrees of freedom of an F"),
        Column("se", "number", "standard error"),
        Column("test_value", "number", "t, F or chi-square"),
        Column("p", "number", "p value"),
        Column("p_adjusted", "number", "p value adjusted within its declared family"),
        Column("unit", "text", "unit of estimate and limits"),
        Column("method", "text", "how estimate and interval were computed"),
        Column("role", "text", "primary or exploratory", allowed=("primary", "exploratory")),
        Column("text", "text", "words: not estimable and why, a verdict, …"),
    ),
)

PROBLEMS = Table(
    "problems",
    "one row per problem of a study folder",
    (
        Column("severity", "text", "note, warn or fail", allowed=("note", "warn", "fail")),
        Column("file", "text", "file or table"),
        Column("row", "text", "row, as a spreadsheet counts"),
        Column("column", "text", "column"),
        Column("code", "text", "kind of problem"),
        Column("found", "text", "what was found"),
        Column("expected", "text", "what is expected"),
        Column("remedy", "text", "what to do"),
    ),
)

ATHLETES = Table(
    "athletes",
    "the roster: one row per athlete",
    (
        Column("athlete", "text", "id: letters and digits, no name", required=True),
        Column("group", "text", "training group of the block"),
        Column("sex", "text", "female, male or empty; a stratum of the statistics"),
        Column("birth_year", "integer", "year of birth; no full birth dates"),
        Column("stature_m", "number", "stature", "m"),
        Column("body_mass_kg", "number", "body mass on a scale", "kg"),
        Column("position", "text", "playing position"),
        Column("team", "text", "squad or team"),
    ),
    key=("athlete",),
)

RECORDINGS = Table(
    "recordings",
    "which file belongs to whom, when file names do not say it",
    (
        Column("file", "text", "path below the recordings folder", required=True),
        *_WHO,
        Column("trial", "text", "number of the recording within the session"),
        Column("date", "date", "date, ISO"),
        Column("start", "number", "first second to use, on the file's clock", "s"),
        Column("stop", "number", "last second to use, on the file's clock", "s"),
    ),
    key=("file", "start"),
)

SESSION_NOTES = Table(
    "session notes",
    "how each session was held",
    (
        Column("session", "text", "session id", required=True),
        Column("date", "date", "date, ISO"),
        Column("tester", "text", "coded id of the tester"),
        Column("surface", "text", "surface under the plates"),
        Column("footwear", "text", "footwear"),
        Column("wording", "text", "sentence said before each jump"),
        Column("warm_up", "text", "warm-up"),
        Column("deviations", "text", "deviations from the protocol"),
    ),
    key=("session",),
)

MEASURES = Table(
    "measures",
    "values that do not come from the force plate",
    (
        *_WHO,
        Column("date", "date", "date, ISO"),
        Column("measure", "text", "name, e.g. squat_1rm", required=True),
        Column("value", "number", "value", required=True),
        Column("unit", "text", "unit", required=True),
        Column("how", "text", "tested, estimated, rated, …"),
        Column("note", "text", "remark"),
    ),
    key=("athlete", "session", "measure"),
)

PARTICIPATION = Table(
    "participation",
    "who was missing, and why",
    (
        Column("athlete", "text", "athlete id", required=True),
        Column("session", "text", "session id; or from and to"),
        Column("from", "date", "first day"),
        Column("to", "date", "last day"),
        Column(
            "status",
            "text",
            "what happened",
            required=True,
            allowed=("absent", "left", "withdrawn", "excluded", "pain"),
        ),
        Column("reason", "text", "coded reason; no diagnoses"),
    ),
)

DECISIONS = Table(
    "decisions",
    "a person's log, append only; the last row counts",
    (
        Column("file", "text", "path below the recordings folder", required=True),
        Column("jump", "integer", "number of the jump within its file", required=True),
        Column(
            "action",
            "text",
            "what was decided",
            required=True,
            allowed=("accept", "reject", "move", "undo"),
        ),
        Column("event", "text", "event that was moved"),
        Column("time_s", "number", "its new time on the file's clock", "s"),
        Column("reason", "text", "why", required=True),
        Column("who", "text", "coded id of the person", required=True),
        Column("when", "text", "date and time, ISO", required=True),
    ),
)

SUBGROUPS = Table(
    "subgroups",
    "rules, first match wins, an else row; and moves made by a person",
    (
        Column("subgroup", "text", "name of the subgroup", required=True),
        Column("rule", "text", "condition, or 'else'"),
        Column("athlete", "text", "athlete moved by hand"),
        Column("reason", "text", "why"),
    ),
)

BLOCK = Table(
    "block",
    "exercises of the block by subgroup",
    (
        Column("exercise", "text", "exercise", required=True),
        Column("subgroup", "text", "subgroup, or 'all'", required=True),
        Column("start_position", "text", "start position"),
        Column("range", "text", "range of motion"),
        Column("intent", "text", "intent of the movement"),
        Column("load", "text", "load"),
        Column("sets", "text", "sets"),
        Column("reps", "text", "repetitions"),
    ),
)

NAMES = Table(
    "names",
    "names of athletes; private, joined only when asked",
    (
        Column("athlete", "text", "athlete id", required=True),
        Column("name", "text", "name", required=True),
    ),
    key=("athlete",),
)

#: Tables that a user writes, by file stem.
USER_TABLES: dict[str, Table] = {
    "athletes": ATHLETES,
    "recordings": RECORDINGS,
    "sessions": SESSION_NOTES,
    "measures": MEASURES,
    "participation": PARTICIPATION,
    "decisions": DECISIONS,
    "subgroups": SUBGROUPS,
    "block": BLOCK,
    "names": NAMES,
}
#: Tables that cmjlab writes.
RESULT_TABLES: dict[str, Table] = {
    "jumps": JUMPS,
    "checks": CHECK_ROWS,
    "sessions": SESSIONS,
    "statistics": STATISTICS_TABLE,
    "problems": PROBLEMS,
}
