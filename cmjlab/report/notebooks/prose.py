"""Prose of a notebook's output: read as Markdown in JupyterLab and on the pages, as text elsewhere."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

#: Characters that Markdown takes for more than they are.
_MARKUP = re.compile(r"([\\`*_\[\]<>|$#])")


class Prose(str):
    """Text that a notebook shows as a paragraph or a list and not as a quoted string.

    Lines that begin with "- " are bullets. Nothing else in it is taken for Markdown: a group
    called ``fast_braking`` keeps its underscore.
    """

    __slots__ = ()

    def __repr__(self) -> str:
        return str(self)

    def _repr_markdown_(self) -> str:
        return _MARKUP.sub(r"\\\1", str(self))


def prose(*sentences: object) -> Prose:
    """Return sentences as prose: one as a paragraph, several as bullets.

    Parameters
    ----------
    *sentences : object or iterable of object
        Sentences, notes, strings; lists of them are opened. What is said twice is shown once.

    Returns
    -------
    Prose
        A string; the last line of a cell shows it as Markdown.

    Examples
    --------
    >>> import cmjlab as cj
    >>> cj.notebook.prose(["Height rose.", "Power rose."])
    - Height rose.
    - Power rose.
    """
    found = [text for text in dict.fromkeys(_texts(sentences)) if text.strip()]
    if len(found) <= 1:
        return Prose("".join(found))
    return Prose("\n".join(f"- {text}" for text in found))


def _texts(sentences: Iterable[object]) -> Iterator[str]:
    """Yield every text of sentences and of lists of them, however deep."""
    for one in sentences:
        if isinstance(one, Iterable) and not isinstance(one, str):
            yield from _texts(one)
        else:
            yield str(one)
