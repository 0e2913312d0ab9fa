"""The errors that cmjlab raises: one family, each with a remedy in its text."""

from __future__ import annotations

from typing import Any


class CmjlabError(Exception):
    """Base of every error that cmjlab raises on purpose."""


class ArgumentError(CmjlabError, ValueError):
    """An argument of a function is not usable."""


class ReadError(CmjlabError):
    """A file cannot be read as a force recording or as a table."""


class JumpError(CmjlabError):
    """A recording cannot be analysed at all (unusable input, not a poor jump)."""


class StatsError(CmjlabError):
    """A statistic cannot be computed from the table that was given."""


class MissingExtraError(CmjlabError, ImportError):
    """A library that only one of the extras brings is not installed."""


class StudyError(CmjlabError):
    """A study folder cannot be used.

    Parameters
    ----------
    message : str
        What was found, where, and what to do.
    problems : pandas.DataFrame, optional
        All problems found, one a row (see ``cmjlab.tables.PROBLEMS``).
    """

    def __init__(self, message: str, problems: Any = None) -> None:
        super().__init__(message)
        self.problems = problems
