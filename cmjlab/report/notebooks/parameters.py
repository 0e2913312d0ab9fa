"""Parameters of a notebook as plain data.

A notebook's first code cell (tagged ``parameters``) calls :func:`notebook_parameters` with its
defaults. A JSON file named by the environment variable CMJLAB_PARAMETERS replaces them; names
and types are checked against the defaults, so that an athlete "007" stays text and a misspelt
name is an error.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from cmjlab.checks import shown, suggestion
from cmjlab.errors import ArgumentError
from cmjlab.safe_open import read_text

#: Environment variable that names the JSON file with parameters.
VARIABLE = "CMJLAB_PARAMETERS"


class Parameters:
    """Parameters of a notebook as attributes; see :func:`notebook_parameters`."""

    def __init__(self, values: Mapping[str, Any]) -> None:
        self._values = MappingProxyType(dict(values))

    def __getattr__(self, name: str) -> Any:
        if name.startswith("_") or name not in self._values:
            have = ", ".join(self.__dict__.get("_values", {}))
            raise AttributeError(f"there is no parameter {name!r}; parameters are {have}")
        return self._values[name]

    def __repr__(self) -> str:
        return ", ".join(f"{k} = {v!r}" for k, v in self._values.items())


def notebook_parameters(**defaults: Any) -> Parameters:
    """Return a notebook's parameters: its defaults, or what CMJLAB_PARAMETERS says.

    Parameters
    ----------
    **defaults
        Name and default of every parameter: text, number, true/false, list, or None (then a
        text or nothing).

    Returns
    -------
    p : Parameters
        Every parameter as an attribute.

    Raises
    ------
    ArgumentError
        The file cannot be read, or a name or type in it does not fit the defaults.

    Examples
    --------
    >>> p = notebook_parameters(study=None, level=0.95)
    >>> p.level
    0.95
    """
    place = os.environ.get(VARIABLE, "")
    if not place:
        return Parameters(defaults)
    try:
        given = json.loads(read_text(place))
    except (OSError, ValueError) as error:
        raise ArgumentError(f"{VARIABLE}: {place} cannot be read as JSON ({error}).") from None
    if not isinstance(given, dict):
        raise ArgumentError(f"{VARIABLE}: an object of names and values is needed in {place}.")
    values = dict(defaults)
    for name, value in given.items():
        if name not in defaults:
            raise ArgumentError(
                f"{VARIABLE}: there is no parameter {name!r}.{suggestion(name, defaults)}"
                f" The parameters are {', '.join(defaults)}."
            )
        values[name] = _typed(name, value, defaults[name])
    return Parameters(values)


def _typed(name: str, value: Any, default: Any) -> Any:
    """Return the value when its type is that of the default."""
    if default is None:
        if value is None or isinstance(value, str):
            return value
        wanted = "text or null"
    elif isinstance(default, bool):
        if isinstance(value, bool):
            return value
        wanted = "true or false"
    elif isinstance(default, int | float):
        if isinstance(value, int | float) and not isinstance(value, bool):
            return type(default)(value)
        wanted = "a number"
    elif isinstance(default, list | tuple):
        if isinstance(value, list):
            return type(default)(value)
        wanted = "a list"
    elif isinstance(value, str):
        return value
    else:
        wanted = "text"
    raise ArgumentError(f"{VARIABLE}: {name}: {wanted} is needed, found {shown(value)}.")
