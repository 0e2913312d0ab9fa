"""TOML that a person wrote: whatever is wrong with it is one kind of error."""

from __future__ import annotations

import tomllib
from typing import Any


def read_toml(text: str) -> dict[str, Any]:
    r"""Return the content of a TOML text.

    Parameters
    ----------
    text : str
        Line ends of any system.

    Raises
    ------
    tomllib.TOMLDecodeError
        The text is not TOML, is nested too deeply to be read, or holds a number of thousands of
        digits.

    Examples
    --------
    >>> read_toml("x = [1, 2]")
    {'x': [1, 2]}
    >>> try:
    ...     read_toml("x = " + "[" * 100_000)
    ... except tomllib.TOMLDecodeError as problem:
    ...     print(problem)
    brackets nested too deeply
    """
    try:
        return tomllib.loads(text.replace("\r\n", "\n"))
    except RecursionError:
        raise tomllib.TOMLDecodeError("brackets nested too deeply") from None
    except tomllib.TOMLDecodeError:
        raise
    except ValueError as problem:
        raise tomllib.TOMLDecodeError(str(problem).partition(";")[0]) from None
