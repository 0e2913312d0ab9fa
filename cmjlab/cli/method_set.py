"""A Method as it is typed: settings on the command line, on top of what is stated."""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING, Any

from cmjlab.toml_text import read_toml

if TYPE_CHECKING:
    from cmjlab.method import Method


def method_with(stated: Method | None, settings: list[str]) -> Method:
    """Return what is stated, or a preset, with the settings of the command line on top.

    Raises
    ------
    ArgumentError
        A word that is no name=value, or a setting that is not known or not allowed.
    """
    from cmjlab.errors import ArgumentError
    from cmjlab.method import Method
    from cmjlab.study.folder.settings import method_from

    changes: dict[str, Any] = {}
    for item in settings:
        name, equals, value = item.partition("=")
        if not equals:
            raise ArgumentError(f"--set {item!r}: write it as name=value.")
        try:
            changes[name.strip()] = read_toml(f"v = {value.strip()}")["v"]
        except tomllib.TOMLDecodeError:
            changes[name.strip()] = value.strip()
    return method_from(changes) if "preset" in changes else (stated or Method()).replace(**changes)
