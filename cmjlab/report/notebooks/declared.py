"""The parameters that notebooks declare: read from their cells, set from outside, put back in."""

from __future__ import annotations

import ast
import json
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from cmjlab.checks import listed, shown, suggestion
from cmjlab.errors import ArgumentError
from cmjlab.report.notebooks.files import PARAMETERS_TAG, cells_of, has_tag
from cmjlab.report.notebooks.parameters import WANTED, checked, kind_of

#: What a person may write for true and false, and for "as the study says".
_TRUE, _FALSE, _NOTHING = ("true", "yes"), ("false", "no"), ("", "none", "null")
#: Set by the command itself, never by --set.
_PLACES = ("study", "results")


def declared(cells: Iterable[Any]) -> dict[str, Any]:
    """Return name and default of every parameter that a notebook declares, in order."""
    values: dict[str, Any] = {}
    for cell in cells:
        if has_tag(cell, PARAMETERS_TAG):
            source = "".join(cell["source"])
            for name, node in _assignments(source):
                values[name] = ast.literal_eval(node)
    return values


def _assignments(source: str) -> list[tuple[str, ast.expr]]:
    """Return every plain assignment of a cell: name, and the value as it stands there."""
    return [
        (node.targets[0].id, node.value)
        for node in ast.parse(source).body
        if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name)
    ]


def declared_in(paths: Iterable[Path]) -> dict[str, dict[str, Any]]:
    """Return for every notebook, by its file name, what it declares."""
    return {path.name: declared(cells_of(path)) for path in paths}


def with_values(source: str, values: Mapping[str, Any]) -> str:
    """Return the source of a parameters cell with other values; comments stay.

    Parameters
    ----------
    source : str
        One plain assignment per line.
    values : mapping
        By name; names that the cell does not declare are left out.
    """
    lines = source.splitlines()
    for name, node in _assignments(source):
        if name in values and node.lineno == node.end_lineno:
            line = lines[node.lineno - 1].encode()  # columns of a syntax tree count bytes
            before, after = line[: node.col_offset], line[node.end_col_offset :]
            lines[node.lineno - 1] = (before + _written(values[name]).encode() + after).decode()
    return "\n".join(lines)


def _written(value: Any) -> str:
    """Return a value as Python source, texts in double quotes."""
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_written(v) for v in value) + "]"
    return repr(value)


def read_settings(texts: Sequence[str], have: Mapping[str, Mapping[str, Any]]) -> dict[str, Any]:
    """Return the values of ``--set NAME=VALUE``, each in the type of its parameter.

    Parameters
    ----------
    texts : sequence of str
        As written: "metric=time_to_takeoff_s", "level=0.9", "groups=strength,usual". The value
        "none" means: as the study says.
    have : mapping
        What the notebooks declare, from :func:`declared_in`.

    Raises
    ------
    ArgumentError
        No notebook of these has such a parameter, a value is of another kind, or a name is set
        twice.
    """
    values: dict[str, Any] = {}
    for text in texts:
        name, sign, value = (part.strip() for part in text.partition("="))
        if not sign:
            raise ArgumentError(f"--set {text}: write NAME=VALUE, for instance level=0.9.")
        if name in values:
            raise ArgumentError(f"--set {name}: is given twice; which of them is meant?")
        default = _default_of(name, have, "--set")
        values[name] = _read(name, value, default)
    return values


def check_given(
    given: Mapping[str, Any], have: Mapping[str, Mapping[str, Any]], where: str
) -> None:
    """Check names and types of values for several notebooks.

    Raises
    ------
    ArgumentError
        None of the notebooks has such a parameter, or a value is of another kind.
    """
    for name, value in given.items():
        checked(name, value, _default_of(name, have, where), f"{where}: ")


def _default_of(name: str, have: Mapping[str, Mapping[str, Any]], where: str) -> Any:
    """Return the default of a parameter in the first notebook that declares it."""
    for values in have.values():
        if name in values and name not in _PLACES:
            return values[name]
    if name in _PLACES:
        raise ArgumentError(
            f"{where}: {name!r} is said by the command itself: cmjlab notebooks STUDY --results FOLDER."
        )
    known = dict.fromkeys(n for values in have.values() for n in values if n not in _PLACES)
    users = {n: [file[:2] for file, values in have.items() if n in values] for n in known}
    table = "; ".join(f"{n} ({', '.join(numbers)})" for n, numbers in users.items())
    raise ArgumentError(
        f"{where}: these notebooks have no parameter {name!r}.{suggestion(name, known)}"
        f" Parameters, and the notebooks that have them: {table or 'none'}."
    )


def _read(name: str, text: str, default: Any) -> Any:
    """Return a written value in the type of its parameter."""
    kind, lower = kind_of(name, default), text.casefold()
    value: Any = text
    if lower in _NOTHING:
        value = None
    elif kind in ("number", "whole"):
        value = _number(text)
    elif kind == "flag" and lower in (*_TRUE, *_FALSE):
        value = lower in _TRUE
    elif kind == "list":
        value = [part.strip() for part in text.split(",") if part.strip()]
    try:
        return checked(name, value, default)
    except ArgumentError:
        raise ArgumentError(
            f"--set {name}={text}: {WANTED[kind]} is needed, found {shown(text)}."
        ) from None


def _number(text: str) -> Any:
    """Return a number, written with a point or one comma; the text itself when it is none."""
    try:
        return float(text.replace(",", ".") if text.count(",") == 1 else text)
    except ValueError:
        return text


def users_of(values: Mapping[str, Any], have: Mapping[str, Mapping[str, Any]]) -> dict[str, str]:
    """Return for every value that is set which notebooks use it: "02, 04"."""
    return {
        name: listed((file[:2] for file, own in have.items() if name in own), most=99)
        for name in values
    }
