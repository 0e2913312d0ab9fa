"""A card: title, lines, a small table, and folded parts; the same content as HTML and as text.

Everything that comes from a person or a file is escaped here, in one place. A notebook may show
the card on light or dark ground and on a phone: it sets no colours, text stands to the left, and what is too
wide scrolls in its own frame.
"""

from __future__ import annotations

import html
from collections.abc import Sequence
from dataclasses import dataclass, field

from cmjlab.words.catalog import read_words

#: Rows that are shown at once; the others are folded.
AT_ONCE = 15
#: Rows that a folded part holds at most: a page with more becomes slow.
IN_A_FOLD = 500
_LEFT = "text-align:left;vertical-align:top;padding:2px 14px 2px 0"
#: Longer cells are broken into lines; a number stays with its unit.
_UNBROKEN = 26


@dataclass(frozen=True)
class Grid:
    """A table of texts.

    Attributes
    ----------
    head : tuple of str
        Heads of the columns.
    rows : tuple of tuple of str
    total : int
        Rows that there are, where not all of them are here.
    """

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    total: int = 0


@dataclass(frozen=True)
class Fold:
    """A part that is opened on demand: its summary, and lines or a table."""

    summary: str
    lines: tuple[str, ...] = ()
    grid: Grid | None = None


@dataclass(frozen=True)
class Card:
    """What is shown of one object.

    Attributes
    ----------
    title : str
    lines : tuple of str
        Sentences below the title.
    grid : Grid or None
        The small table; from its rows after the first :data:`AT_ONCE` a folded part is made.
    folds : tuple of Fold
        Shown folded in a notebook, left out on a console.
    drawing : str
        SVG made by this room, beside the table in a notebook.
    last : tuple of str
        Lines at the end.
    """

    title: str
    lines: tuple[str, ...] = ()
    grid: Grid | None = None
    folds: tuple[Fold, ...] = field(default=())
    drawing: str = ""
    last: tuple[str, ...] = ()


def as_text(card: Card) -> str:
    """Return a card as a console shows it."""
    lines = [card.title, *card.lines]
    if card.grid is not None:
        shown, total = card.grid.rows[:AT_ONCE], card.grid.total or len(card.grid.rows)
        lines += _aligned(card.grid.head, shown)
        if total > len(shown):
            lines.append(read_words().say("screen.more_rows", n=total - len(shown)))
    return "\n".join([*lines, *card.last])


def as_html(card: Card) -> str:
    """Return a card as a notebook shows it; everything is escaped."""
    parts = [f"<p><strong>{html.escape(card.title)}</strong></p>", *_paragraphs(card.lines)]
    beside = []
    if card.grid is not None:
        first = Grid(card.grid.head, card.grid.rows[:AT_ONCE])
        beside.append(_frame(_table(first), card.title))
    if card.drawing:
        beside.append(f'<div style="max-width:100%">{card.drawing}</div>')
    if beside:
        parts.append(
            f'<div style="display:flex;flex-wrap:wrap;gap:8px 28px">{"".join(beside)}</div>'
        )
    if card.grid is not None and max(len(card.grid.rows), card.grid.total) > AT_ONCE:
        parts.append(_fold(Fold(_all_rows(card.grid), grid=card.grid)))
    parts += [_fold(fold) for fold in card.folds]
    parts += [f"<p><em>{html.escape(line)}</em></p>" for line in card.last]
    return f'<div style="text-align:left;max-width:100%">{"".join(parts)}</div>'


def _all_rows(grid: Grid) -> str:
    total, here = grid.total or len(grid.rows), min(len(grid.rows), IN_A_FOLD)
    key = "screen.show_all" if here == total else "screen.first_of_all"
    return read_words().say(key, n=here, total=total)


def _fold(fold: Fold) -> str:
    inner = "".join(_paragraphs(fold.lines))
    if fold.grid is not None:
        rows = fold.grid.rows[:IN_A_FOLD]
        inner += _frame(_table(Grid(fold.grid.head, rows)), fold.summary)
    return f"<details><summary>{html.escape(fold.summary)}</summary>{inner}</details>"


def _frame(inner: str, label: str) -> str:
    """Return a frame in which a wide table scrolls, by keyboard too."""
    name = html.escape(label)
    look = "max-width:100%;overflow-x:auto"
    return f'<div style="{look}" tabindex="0" role="region" aria-label="{name}">{inner}</div>'


def _paragraphs(lines: Sequence[str]) -> list[str]:
    return [f'<p style="margin:2px 0">{html.escape(line)}</p>' for line in lines]


def _table(grid: Grid) -> str:
    head = "".join(f'<th scope="col" style="{_LEFT}">{html.escape(h)}</th>' for h in grid.head)
    rows = "".join(
        "<tr>"
        + "".join(f'<td style="{_cell_style(c)}">{html.escape(c)}</td>' for c in row)
        + "</tr>"
        for row in grid.rows
    )
    return f"<table><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>"


def _cell_style(text: str) -> str:
    short = len(text) <= _UNBROKEN
    return f"{_LEFT};white-space:{'nowrap' if short else 'normal;min-width:11em'}"


def _aligned(head: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    """Return head and rows as lines whose columns stand below each other."""
    table = [tuple(head), *map(tuple, rows)]
    widths = [max(len(row[i]) for row in table) for i in range(len(head))]
    return [
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in table
    ]
