"""Options that belong together: a dataclass as one parameter of a command, an option for each field."""

from __future__ import annotations

import functools
import inspect
from collections.abc import Callable
from typing import Any, get_type_hints


def spread(command: Callable[..., None], parameter: str) -> Callable[..., None]:
    """Return a command that takes the fields of a parameter, a dataclass, as options of its own.

    Parameters
    ----------
    command : callable
        A command as typer takes it, but for this parameter.
    parameter : str
        Its name; its annotation is a dataclass whose fields are annotated as options.
    """
    hints = get_type_hints(command, include_extras=True)
    kind = hints[parameter]
    of_kind = get_type_hints(kind, include_extras=True)
    taken = [
        p.replace(annotation=hints[p.name], kind=inspect.Parameter.KEYWORD_ONLY)
        for p in inspect.signature(command).parameters.values()
        if p.name != parameter
    ]
    fields = [
        p.replace(annotation=of_kind[p.name], kind=inspect.Parameter.KEYWORD_ONLY)
        for p in inspect.signature(kind).parameters.values()
    ]

    @functools.wraps(command)
    def run(**given: Any) -> None:
        group = kind(**{p.name: given.pop(p.name) for p in fields})
        command(**given, **{parameter: group})

    run.__signature__ = inspect.Signature([*taken, *fields])  # type: ignore[attr-defined]
    run.__annotations__ = {p.name: p.annotation for p in [*taken, *fields]}
    return run
