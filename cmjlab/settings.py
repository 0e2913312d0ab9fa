"""Frozen, documented, validated settings: the base of Method, Limits, Plan and Layout.

Every field carries its unit, what is allowed, one sentence of help and its source in the
field's metadata, so that documentation, error messages and files on disk agree.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass, field, fields
from typing import Any, Self

from cmjlab.checks import closest, shown, suggestion
from cmjlab.errors import ArgumentError
from cmjlab.keys import key_of
from cmjlab.upstairs import upstairs

ENGINEERING = "our own choice; no paper prescribes it"


def setting(
    default: Any,
    help: str,
    *,
    unit: str = "",
    allowed: tuple[Any, ...] | None = None,
    low: float | None = None,
    high: float | None = None,
    source: str = ENGINEERING,
) -> Any:
    """Declare one field of a :class:`Settings` class.

    Parameters
    ----------
    default : object
        Default value; its type (float, int, bool, str, tuple, dict, Settings) is the field's type.
    help : str
        One sentence that says what the field does.
    unit : str
        Unit of a number.
    allowed : tuple, optional
        The only values allowed.
    low, high : float, optional
        Closed range of a number.
    source : str
        Where the default comes from.
    """
    metadata = {
        "help": help,
        "unit": unit,
        "allowed": allowed,
        "low": low,
        "high": high,
        "source": source,
    }
    if isinstance(default, dict):
        return field(default_factory=lambda: dict(default), metadata=metadata)
    if isinstance(default, Settings):
        return field(default_factory=type(default), metadata=metadata)
    return field(default=default, metadata=metadata)


#: Larger whole numbers are no floats; none of the settings needs a tenth of it.
_LARGEST = 10**300


def _default(f: dataclasses.Field[Any]) -> Any:
    if f.default is not dataclasses.MISSING:
        return f.default
    assert f.default_factory is not dataclasses.MISSING
    return f.default_factory()


def _number_problem(value: float, f: dataclasses.Field[Any]) -> str | None:
    low, high, unit = f.metadata["low"], f.metadata["high"], f.metadata["unit"]
    if not math.isfinite(value):
        return f"a finite number is needed, found {shown(value)}"
    if (low is not None and value < low) or (high is not None and value > high):
        return f"found {value:g}, allowed is {low} to {high} {unit}".rstrip()
    return None


def _coerce(value: Any, f: dataclasses.Field[Any]) -> tuple[Any, str | None]:
    """Return the value in the field's type, and a problem in words or None."""
    default = _default(f)
    allowed = f.metadata["allowed"]
    if allowed is not None and not isinstance(default, tuple):
        if value in allowed and isinstance(value, bool) == isinstance(default, bool):
            return value, None
        listed = ", ".join(repr(a) for a in allowed)
        near = closest(value, allowed)
        hint = f" (did you mean {near!r}?)" if near else ""
        return value, f"found {shown(value)}, allowed are {listed}{hint}"
    if isinstance(default, Settings):
        if isinstance(value, type(default)):
            return value, None
        if isinstance(value, dict):
            return type(default).from_dict(value), None
        return value, f"a table of settings is needed, found {shown(value)}"
    if isinstance(default, bool):
        return value, None if isinstance(value, bool) else f"true or false, found {shown(value)}"
    if isinstance(default, float | int):
        return _coerce_number(value, f, whole=isinstance(default, int))
    if isinstance(default, str):
        return value, None if isinstance(value, str) else f"text is needed, found {shown(value)}"
    if isinstance(default, tuple):
        return _coerce_tuple(value, allowed)
    if isinstance(default, dict):
        if not isinstance(value, dict):
            return value, f"a table of names and values is needed, found {shown(value)}"
        return dict(value), None
    return value, None


def _coerce_number(value: Any, f: dataclasses.Field[Any], *, whole: bool) -> tuple[Any, str | None]:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return value, f"a number is needed, found {shown(value)}"
    if isinstance(value, int) and abs(value) > _LARGEST:
        return value, f"a smaller number is needed, found {shown(value)}"
    if whole and not float(value).is_integer():
        return value, f"a whole number is needed, found {shown(value)}"
    return int(value) if whole else float(value), _number_problem(float(value), f)


def _coerce_tuple(value: Any, allowed: tuple[Any, ...] | None) -> tuple[Any, str | None]:
    if isinstance(value, str) or not isinstance(value, list | tuple):
        return value, f"a list is needed, found {shown(value)}"
    wrong = [v for v in value if allowed is not None and v not in allowed]
    if wrong:
        listed = ", ".join(repr(a) for a in allowed or ())
        return value, f"found {shown(wrong[0])}, allowed are {listed}"
    return tuple(value), None


@dataclass(frozen=True, eq=False)
class Settings:
    """Base of frozen settings; declare subclasses with ``@dataclass(frozen=True, eq=False)``.

    Two settings are equal, and have the same hash, when their :attr:`key` is the same.
    """

    def __post_init__(self) -> None:
        problems = []
        for f in fields(self):
            value, problem = _coerce(getattr(self, f.name), f)
            object.__setattr__(self, f.name, value)
            if problem:
                problems.append(f"{f.name}: {problem}")
        problems += self._contradictions() if not problems else []
        if problems:
            raise ArgumentError(f"{type(self).__name__}: " + "; ".join(problems) + ".")

    def _contradictions(self) -> list[str]:
        """Return problems between fields, in words; subclasses extend it."""
        return []

    def to_dict(self) -> dict[str, Any]:
        """Return plain data (TOML and JSON can hold it)."""
        return {f.name: _plain(getattr(self, f.name)) for f in fields(self)}

    @classmethod
    def from_dict(cls, values: dict[str, Any]) -> Self:
        """Build from plain data; names that do not exist raise ArgumentError."""
        names = [f.name for f in fields(cls)]
        unknown = [v for v in values if v not in names]
        if unknown:
            raise ArgumentError(
                f"{cls.__name__}: there is no setting {unknown[0]!r}."
                f"{suggestion(unknown[0], names)} The settings are: {', '.join(names)}."
            )
        return cls(**values)

    def replace(self, **changes: Any) -> Self:
        """Return a copy with some fields changed."""
        return type(self).from_dict({**self._shallow(), **changes})

    def _shallow(self) -> dict[str, Any]:
        return {f.name: getattr(self, f.name) for f in fields(self)}

    @property
    def key(self) -> str:
        """SHA-256 of these settings: the same in every process."""
        known: str | None = self.__dict__.get("_key")
        if known is None:
            known = key_of(self.to_dict())
            if not self._can_change():
                object.__setattr__(self, "_key", known)
        return known

    def _can_change(self) -> bool:
        """Return whether a table among the values could still be changed by somebody."""
        values = [getattr(self, f.name) for f in fields(self)]
        return any(
            isinstance(v, dict) or (isinstance(v, Settings) and v._can_change()) for v in values
        )

    def __eq__(self, other: object) -> bool:
        return type(self) is type(other) and self.key == other.key  # type: ignore[attr-defined]

    def __hash__(self) -> int:
        return int(self.key[:15], 16)

    def __init_subclass__(cls) -> None:
        cls.__repr__ = Settings.__repr__  # type: ignore[method-assign]  # else dataclass makes one

    def __repr__(self) -> str:
        """Return how to write these settings again: those that differ from the usual."""
        mine = [(f.name, getattr(self, f.name)) for f in fields(self) if self._differs(f)]
        return f"{type(self).__name__}({', '.join(f'{name}={value!r}' for name, value in mine)})"

    def _differs(self, f: dataclasses.Field[Any]) -> bool:
        return bool(getattr(self, f.name) != _default(f))

    def _repr_html_(self) -> str:
        return upstairs("html_of")(self)  # type: ignore[no-any-return]

    @classmethod
    def describe(cls) -> list[dict[str, str]]:
        """Return one row per field: name, default, unit, allowed, help, source."""
        rows = []
        for f in fields(cls):
            m = f.metadata
            if m["allowed"] is not None:
                allowed = ", ".join(str(a) for a in m["allowed"])
            elif m["low"] is not None or m["high"] is not None:
                allowed = f"{m['low']} to {m['high']}"
            else:
                allowed = ""
            rows.append(
                {
                    "name": f.name,
                    "default": str(_plain(_default(f))),
                    "unit": m["unit"],
                    "allowed": allowed,
                    "help": m["help"],
                    "source": m["source"],
                }
            )
        return rows


def _plain(value: Any) -> Any:
    if isinstance(value, Settings):
        return value.to_dict()
    if isinstance(value, tuple | list):
        return [_plain(v) for v in value]
    if isinstance(value, dict):
        return {str(k): _plain(v) for k, v in value.items()}
    return value
