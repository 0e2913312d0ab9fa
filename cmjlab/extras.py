"""Optional libraries: imported where they are used, or one sentence that says what to install."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from importlib import import_module
from importlib.util import find_spec
from typing import Any

from cmjlab.errors import MissingExtraError


def optional(module: str, *, extra: str, purpose: str, otherwise: str = "") -> Any:
    """Import a library that one of the extras of the installation brings.

    Parameters
    ----------
    module : str
        Name under which it is imported.
    extra : str
        The extra that brings it.
    purpose : str
        What needs it, as the beginning of a sentence ("a Word file needs").
    otherwise : str
        A sentence that says how to do without it.

    Raises
    ------
    MissingExtraError
        It is not installed; the message holds the command that installs it.
    """
    try:
        return import_module(module)
    except ImportError as error:
        text = _what_to_install(error.name or module, extra, purpose)
        raise MissingExtraError(f"{text} {otherwise}".rstrip()) from error


def need(modules: Sequence[str], *, extra: str, purpose: str) -> None:
    """Stop when one of several libraries is not installed; none of them is loaded.

    Raises
    ------
    MissingExtraError
        As :func:`optional`.
    """
    missing = [m for m in modules if find_spec(m) is None]
    if missing:
        raise MissingExtraError(_what_to_install(missing[0], extra, purpose))


def _what_to_install(module: str, extra: str, purpose: str) -> str:
    return (
        f"{purpose} the extra '{extra}' ({module} is missing):"
        f' "{sys.executable}" -m pip install "cmjlab[{extra}]".'
    )
