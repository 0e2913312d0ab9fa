"""ReportData: the whole report as plain data, before anything looks like HTML or Word.

A report is a list of sections, a section a list of blocks; a block is one of the few kinds
below. Every renderer (page, Word, workbook) walks the same data, so all of them say the same.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from cmjlab.report.blocks.templates import part_as_html
from cmjlab.words.catalog import Words, read_words

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Paragraph:
    """One paragraph; ``tone`` is "plain", "lead", "note" or "caution".

    ``see`` are the keys of figures and tables that it speaks of; ``refers`` names them, once the
    report is numbered (:mod:`cmjlab.report.blocks.numbers`).
    """

    text: str
    tone: str = "plain"
    see: tuple[str, ...] = ()
    refers: str = ""
    kind: str = field(default="paragraph", init=False)

    @property
    def shown(self) -> str:
        """The text as a person reads it, with its references."""
        return _with_reference(self.text, self.refers)


@dataclass(frozen=True)
class Heading:
    """A heading inside a section."""

    text: str
    kind: str = field(default="heading", init=False)


@dataclass(frozen=True)
class Items:
    """A list of short texts; ``small`` for remarks.

    ``see`` and ``refers`` as in :class:`Paragraph`; the reference stands behind the last text, or
    behind the first when ``refers_first``.
    """

    items: tuple[str, ...]
    ordered: bool = False
    small: bool = False
    see: tuple[str, ...] = ()
    refers: str = ""
    refers_first: bool = False
    kind: str = field(default="items", init=False)

    @property
    def shown(self) -> tuple[str, ...]:
        """The texts as a person reads them, with their references."""
        if not self.refers or not self.items:
            return self.items
        place = 0 if self.refers_first else len(self.items) - 1
        texts = list(self.items)
        texts[place] = _with_reference(texts[place], self.refers)
        return tuple(texts)


@dataclass(frozen=True)
class Facts:
    """Terms and what they mean, or names and values."""

    pairs: tuple[tuple[str, str], ...]
    kind: str = field(default="facts", init=False)


@dataclass(frozen=True)
class FigureBlock:
    """A figure as SVG text, with caption and alt text; ``label`` is "Figure 1" once numbered."""

    key: str
    caption: str
    alt: str
    svg: str = field(repr=False)
    width_cm: float = 16.0
    label: str = ""
    kind: str = field(default="figure", init=False)

    @property
    def anchor(self) -> str:
        """Where it stands on the page."""
        return f"figure-{self.key}"


@dataclass(frozen=True)
class TableBlock:
    """A table of texts as a person reads them; ``numeric`` columns stand to the right.

    ``pictures`` are one small figure per row, in a last column of their own under ``picture_head``.
    ``key`` is for texts that speak of it (``see``); ``label`` is "Table 1" once numbered.
    """

    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numeric: tuple[bool, ...]
    note: str = ""
    pictures: tuple[FigureBlock, ...] = ()
    picture_head: str = ""
    key: str = ""
    label: str = ""
    kind: str = field(default="table", init=False)

    @property
    def anchor(self) -> str:
        """Where it stands on the page."""
        return f"table-{self.key}"

    def _repr_html_(self) -> str:
        return part_as_html("", (self,))


def _with_reference(text: str, refers: str) -> str:
    """Return a text with a reference before its last stop or colon."""
    if not refers:
        return text
    end = text[-1:] if text.endswith((".", ":")) else ""
    return f"{text.removesuffix(end)} {refers}{end}"


Block = Paragraph | Heading | Items | Facts | TableBlock | FigureBlock


@dataclass(frozen=True)
class Section:
    """One section with its anchor, title and blocks; ``on_paper`` is false for the screen only."""

    key: str
    title: str
    blocks: tuple[Block, ...]
    on_paper: bool = True

    def _repr_html_(self) -> str:
        return part_as_html(self.title, self.blocks)


@dataclass(frozen=True)
class ReportData:
    """Everything that a report shows.

    Attributes
    ----------
    title, date : str
        Title of the study; day on which the report was made (ISO).
    subtitle : str
        One line: what kind of report, of what.
    version : str
        Version of cmjlab that made it.
    sections : tuple of Section
        The page for coaches first.
    tables : mapping of str to pandas.DataFrame
        The tables written beside the report, by file stem.
    figures : mapping of str to object
        The figures, by file stem, for ``cmjlab.plots.save_all``.
    words : Words
        The words of the study: whatever is written from the report speaks with them.
    with_names : bool
        Whether names of athletes appear.
    draft : bool
        Whether something is still missing.
    provenance : mapping
        Content of provenance.json.
    stops : tuple of str
        What cannot be right in the study and what to do, as page one says it.
    """

    title: str
    date: str
    subtitle: str
    version: str
    sections: tuple[Section, ...]
    tables: Mapping[str, pd.DataFrame] = field(default_factory=dict)
    figures: Mapping[str, Any] = field(default_factory=dict)
    words: Words = field(default_factory=read_words, repr=False)
    with_names: bool = False
    draft: bool = False
    provenance: Mapping[str, Any] = field(default_factory=dict)
    stops: tuple[str, ...] = ()

    @property
    def caution(self) -> str:
        """What stands below every page: about whom it is, and what it is not."""
        people = "page.with_names" if self.with_names else "page.ids_only"
        return f"{self.words.say(people)} {self.words.say('page.no_verdict')}"

    @property
    def made_with(self) -> str:
        """Which program made the report, in which version."""
        return self.words.say("page.made_with", version=self.version)

    def section(self, key: str) -> Section:
        """Return one section; KeyError when there is none of this key."""
        for s in self.sections:
            if s.key == key:
                return s
        raise KeyError(
            f"no section {key!r}; sections are {', '.join(s.key for s in self.sections)}"
        )
