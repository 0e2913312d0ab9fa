"""What separates the cells of a text file: the one list that everything reads.

Reading, inspecting and writing recordings, layouts and the tables that people keep all follow
from :data:`DELIMITERS`: a separator added here is understood everywhere.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Delimiter:
    """One separator.

    Attributes
    ----------
    mark : str
        The character in the file; "" for one column, " " for any run of blanks.
    words : tuple of str
        What a person may write instead; the first is shown where the mark cannot be seen.
    in_numbers : bool
        May stand inside a number (decimal comma, blank between thousands): alone it proves
        nothing.
    in_text : bool
        May stand inside a name or remark, so that tables of text are never cut at it.
    """

    mark: str
    words: tuple[str, ...]
    in_numbers: bool = False
    in_text: bool = False

    @property
    def shown(self) -> str:
        """The mark as a person writes it."""
        return self.mark if self.mark.strip() else self.words[0]


#: In the order in which they are tried: what proves itself comes first.
DELIMITERS: tuple[Delimiter, ...] = (
    Delimiter("\t", ("tab", "\\t")),
    Delimiter(";", ("semicolon",)),
    Delimiter("|", ("bar",)),
    Delimiter(",", ("comma",), in_numbers=True),
    Delimiter(" ", ("space",), in_numbers=True, in_text=True),
    Delimiter("", ("none",), in_numbers=True, in_text=True),
)


def marks() -> tuple[str, ...]:
    """Return every mark, "" and " " included."""
    return tuple(d.mark for d in DELIMITERS)


def sure_marks() -> tuple[str, ...]:
    """Return the marks that are never part of a number, so that they leave no doubt."""
    return tuple(d.mark for d in DELIMITERS if not d.in_numbers)


def table_marks() -> tuple[str, ...]:
    """Return the marks at which a table of text may be cut."""
    return tuple(d.mark for d in DELIMITERS if not d.in_text)


def words() -> tuple[str, ...]:
    """Return the words that a person may write instead of a mark."""
    return tuple(word for d in DELIMITERS for word in d.words if word.isalpha())


def is_known(written: str) -> bool:
    """Return whether a person's word names a separator: any one character or a known word."""
    return len(written) == 1 or mark_of(written) != written


def mark_of(written: str) -> str:
    """Return the mark that a person's word or character stands for."""
    return next((d.mark for d in DELIMITERS if written in d.words), written)


def shown(mark: str) -> str:
    """Return a mark as a person writes it in a layout."""
    return next((d.shown for d in DELIMITERS if d.mark == mark), mark)
