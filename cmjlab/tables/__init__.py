"""Every table that cmjlab reads or writes, declared once."""

from cmjlab.tables.declare import Column, Table
from cmjlab.tables.kept import (
    ATHLETES,
    BLOCK,
    DECISIONS,
    MEASURES,
    NAMES,
    PARTICIPATION,
    RECORDINGS,
    REFERENCE,
    SESSION_NOTES,
    SUBGROUPS,
    TARGETS,
    USER_TABLES,
)
from cmjlab.tables.written import (
    CHECK_ROWS,
    JUMPS,
    PROBLEMS,
    RESULT_TABLES,
    SESSIONS,
    SPECIFICATIONS,
    STATISTICS_TABLE,
    TARGET_ANSWERS,
    WEEKS,
)

__all__ = [
    "ATHLETES",
    "BLOCK",
    "CHECK_ROWS",
    "Column",
    "DECISIONS",
    "JUMPS",
    "MEASURES",
    "NAMES",
    "PARTICIPATION",
    "PROBLEMS",
    "RECORDINGS",
    "REFERENCE",
    "RESULT_TABLES",
    "SESSIONS",
    "SESSION_NOTES",
    "SPECIFICATIONS",
    "STATISTICS_TABLE",
    "SUBGROUPS",
    "TARGETS",
    "TARGET_ANSWERS",
    "Table",
    "USER_TABLES",
    "WEEKS",
]
