"""The errors that cmjlab raises: one family, each with a remedy in its text."""

from __future__ import annotations

from typing import Any


class CmjlabError(Exception):
    """Base of every error that cmjlab raises on purpose.

    Examples
    --------
    >>> import cmjlab as cj
    >>> try:
    ...     cj.Method(onset_rule="guess")
    ... except cj.CmjlabError as error:
    ...     print(type(error).__name__)
    ArgumentError
    """


class ArgumentError(CmjlabError, ValueError):
    """An argument of a function is not usable.

    Examples
    --------
    >>> import cmjlab as cj
    >>> try:
    ...     cj.Recording([700.0], rate_hz=0)
    ... except cj.ArgumentError as error:
    ...     print(str(error)[:8])
    rate_hz:
    """


class ReadError(CmjlabError):
    """A file cannot be read as a force recording or as a table.

    Examples
    --------
    >>> import cmjlab as cj
    >>> import tempfile
    >>> from pathlib import Path
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = Path(folder) / "empty.csv"
    ...     _ = path.write_text("")
    ...     try:
    ...         cj.read_recording(path)
    ...     except cj.ReadError as error:
    ...         print(str(error)[:9])
    empty.csv
    """


class JumpError(CmjlabError):
    """A recording cannot be analysed at all (unusable input, not a poor jump).

    Examples
    --------
    >>> import cmjlab as cj
    >>> import numpy as np
    >>> try:
    ...     cj.measure(cj.Recording(np.full(5, np.nan), 1000))
    ... except cj.JumpError as error:
    ...     print(type(error).__name__)
    JumpError
    """


class StatsError(CmjlabError):
    """A statistic cannot be computed from the table that was given.

    Examples
    --------
    >>> import cmjlab as cj
    >>> import pandas as pd
    >>> table = pd.DataFrame({"athlete": ["A1"], "session": ["pre"], "height_cm": [30.0]})
    >>> try:
    ...     cj.change_within(table, before="pre", after="post")
    ... except cj.StatsError as error:
    ...     print(type(error).__name__)
    StatsError
    """


class MissingExtraError(CmjlabError, ImportError):
    """A library that only one of the extras brings is not installed.

    Examples
    --------
    >>> import cmjlab as cj
    >>> issubclass(cj.MissingExtraError, ImportError)
    True
    """


class StudyError(CmjlabError):
    """A study folder cannot be used.

    Parameters
    ----------
    message : str
        What was found, where, and what to do.
    problems : pandas.DataFrame, optional
        All problems found, one a row (see ``cmjlab.tables.PROBLEMS``).

    Examples
    --------
    >>> import cmjlab as cj
    >>> try:
    ...     cj.Study.open("no_such_folder")
    ... except cj.StudyError as error:
    ...     print(type(error).__name__)
    StudyError
    """

    def __init__(self, message: str, problems: Any = None) -> None:
        super().__init__(message)
        self.problems = problems
