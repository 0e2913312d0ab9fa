"""What is computed when it is first read, and kept: sentences and data for figures of a result.

A squad with fifty measures has tens of thousands of points behind its figures. Most of those who
ask for a table never look at them, so a result carries how to make them until somebody does.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import TYPE_CHECKING, Any, Generic, TypeVar, overload

if TYPE_CHECKING:
    import pandas as pd

T = TypeVar("T")


class Later(Generic[T]):
    """A value that is made at its first call; every later call returns the same object.

    Parameters
    ----------
    make : callable
        Makes the value. It must not depend on anything that can change in between.

    Examples
    --------
    >>> several = Later(lambda: [1, 2, 3])
    >>> several() is several()
    True
    """

    def __init__(self, make: Callable[[], T]) -> None:
        self._make: Callable[[], T] | None = make
        self._made: list[T] = []

    def __call__(self) -> T:
        """Return the value; the first call makes it."""
        if self._make is not None:
            self._made = [self._make()]
            self._make = None  # what it was made from can be let go
        return self._made[0]


class WhenRead(Generic[T]):
    """A field of a data class that takes a value or a :class:`Later`, and always reads as the value.

    Parameters
    ----------
    default
        Value of the field when none is given.
    """

    def __init__(self, default: T) -> None:
        self._default, self._name = default, ""

    def __set_name__(self, owner: type, name: str) -> None:
        self._name = name

    @overload
    def __get__(self, instance: None, owner: type) -> T: ...

    @overload
    def __get__(self, instance: object, owner: type) -> T: ...

    def __get__(self, instance: object | None, owner: type) -> T:
        """Return the value; of the class itself, the default."""
        if instance is None:
            return self._default
        value = vars(instance)[self._name]
        return value() if isinstance(value, Later) else value  # type: ignore[no-any-return]

    def __set__(self, instance: object, value: T | Later[T]) -> None:
        vars(instance)[self._name] = value


class Tables(Mapping[str, "pd.DataFrame"]):
    """Tables by name, read only; each is made when it is first read.

    Parameters
    ----------
    tables : mapping of str to DataFrame or Later
        Given an object of this class, both share what has been made.
    """

    def __init__(self, tables: Mapping[str, Any]) -> None:
        given = tables._tables if isinstance(tables, Tables) else tables
        self._tables: dict[str, Any] = dict(given)

    def __getitem__(self, name: str) -> pd.DataFrame:
        """Return a table; the first reading makes it."""
        found = self._tables[name]
        return found() if isinstance(found, Later) else found  # type: ignore[no-any-return]

    def __iter__(self) -> Iterator[str]:
        return iter(self._tables)

    def __len__(self) -> int:
        return len(self._tables)

    def __contains__(self, name: object) -> bool:
        return name in self._tables

    def __or__(self, more: Mapping[str, Any]) -> Tables:
        """Return these tables and more; what is not made yet stays so."""
        return Tables({**self._tables, **Tables(more)._tables})

    def without(self, name: str) -> Tables:
        """Return these tables less one; what is not made yet stays so."""
        return Tables({k: v for k, v in self._tables.items() if k != name})

    def __repr__(self) -> str:
        return f"Tables({', '.join(self._tables)})"
