"""Parameters of a notebook as plain data.

A notebook's first code cell (tagged ``parameters``) holds one plain assignment per parameter, so
that papermill and ``cmjlab notebooks --set`` can change it. The next cell gives them to
:func:`notebook_parameters`, which checks names and types, so that an athlete "007" stays text. A
JSON file named by the environment variable CMJLAB_PARAMETERS goes before what stands in the cell.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Any

from cmjlab.checks import shown, suggestion
from cmjlab.errors import ArgumentError
from cmjlab.safe_open import read_text

#: Environment variable that names the JSON file with parameters.
VARIABLE = "CMJLAB_PARAMETERS"
#: What a parameter of these names holds, whatever its default is; None: as the study says.
KINDS: Mapping[str, str] = MappingProxyType(
    {
        "study": "text",
        "results": "text",
        "metric": "text",
        "before": "text",
        "after": "text",
        "level": "number",
        "groups": "list",
        "athlete": "text",
        "matters": "number",
    }
)
#: How each kind is called in a message.
WANTED = MappingProxyType(
    {
        "text": "text",
        "number": "a number",
        "whole": "a whole number",
        "flag": "true or false",
        "list": "a list of texts",
    }
)
#: Parameters that are places; they are never shown whole.
_PLACES = ("study", "results")


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
        return ", ".join(f"{k} = {_short(k, v)!r}" for k, v in self._values.items())

    @property
    def as_the_study_says(self) -> bool:
        """Whether nothing is chosen here: every parameter that a plan or roster answers is None."""
        return all(self.get(name) is None for name in KINDS if name != "results")

    def get(self, name: str) -> Any:
        """Return a parameter, None when the notebook has none of that name."""
        return self._values.get(name)


def _short(name: str, value: Any) -> Any:
    """Return a value to be shown: of a place outside, the last part of its name only."""
    if name in _PLACES and isinstance(value, str) and Path(value).is_absolute():
        return f"…/{Path(value).name}"
    return value


def notebook_parameters(**values: Any) -> Parameters:
    """Return a notebook's parameters: what its cell says, or what CMJLAB_PARAMETERS says.

    Parameters
    ----------
    **values
        Name and value of every parameter, from the parameters cell: text, number, true/false,
        list, or None (as the study says).

    Returns
    -------
    p : Parameters
        Every parameter as an attribute.

    Raises
    ------
    ArgumentError
        A value is of another kind than its parameter, the file cannot be read, or a name in it is
        no parameter of this notebook.

    Examples
    --------
    >>> p = notebook_parameters(study=None, level=0.95)
    >>> p.level
    0.95
    """
    kept = {name: checked(name, value, value) for name, value in values.items()}
    for name, value in given_by_variable().items():
        if name not in values:
            raise ArgumentError(
                f"{VARIABLE}: there is no parameter {name!r}.{suggestion(name, values)}"
                f" The parameters are {', '.join(values)}."
            )
        kept[name] = checked(name, value, values[name], f"{VARIABLE}: ")
    return Parameters(kept)


def given_by_variable() -> dict[str, Any]:
    """Return what the file named by CMJLAB_PARAMETERS holds; nothing without the variable.

    Raises
    ------
    ArgumentError
        The file cannot be read, or holds something else than names and values.
    """
    place = os.environ.get(VARIABLE, "")
    if not place:
        return {}
    try:
        given = json.loads(read_text(place))
    except (OSError, ValueError) as error:
        raise ArgumentError(f"{VARIABLE}: {place} cannot be read as JSON ({error}).") from None
    if not isinstance(given, dict):
        raise ArgumentError(f"{VARIABLE}: an object of names and values is needed in {place}.")
    return given


def kind_of(name: str, default: Any) -> str:
    """Return what a parameter holds: by its name where all notebooks share it, else by its default."""
    if name in KINDS:
        return KINDS[name]
    if isinstance(default, bool):
        return "flag"
    if isinstance(default, int):
        return "whole"
    if isinstance(default, float):
        return "number"
    return "list" if isinstance(default, list | tuple) else "text"


def checked(name: str, value: Any, default: Any, where: str = "") -> Any:
    """Return a value in the type of its parameter.

    Raises
    ------
    ArgumentError
        It is of another kind.
    """
    kind = kind_of(name, default)
    if name == "study" and hasattr(value, "folder"):  # the cell below was run a second time
        value = str(value.folder)
    if value is None and (name in KINDS or default is None):
        return None
    fits = {
        "text": isinstance(value, str),
        "number": isinstance(value, int | float) and not isinstance(value, bool),
        "whole": isinstance(value, int | float) and not isinstance(value, bool) and value % 1 == 0,
        "flag": isinstance(value, bool),
        "list": isinstance(value, list | tuple) and all(isinstance(v, str) for v in value),
    }
    if not fits[kind]:
        nothing = " or null" if name in KINDS or default is None else ""
        raise ArgumentError(
            f"{where}{name}: {WANTED[kind]}{nothing} is needed, found {shown(value)}."
        )
    if kind == "list":
        return tuple(value) if isinstance(default, tuple) else list(value)
    return {"number": float, "whole": int}.get(kind, lambda v: v)(value)
