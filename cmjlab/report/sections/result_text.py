"""The sentences and notes of a result, as a section shows them."""

from __future__ import annotations

from cmjlab.report.blocks.data import Block, Items
from cmjlab.report.build.context import Context
from cmjlab.report.sections.alike import together
from cmjlab.results import Result

#: Sentences of one result in the short form.
_MOST_SENTENCES = 6
#: Begins the keys of sentences that repeat an estimate against the change that matters.
_AGAIN = "change.matters_"


def result_text(context: Context, result: Result) -> list[Block]:
    """Return the sentences of a result about the primary measure, and all its notes.

    Sentences that hold an interval against the change that matters again are left to the
    tables (rows "equivalence" and "minimum_effect"): the page has said it in words before. A note
    stands once on the page; in the short form those on other measures are left to the full one.
    """
    words = context.words
    once = [s for s in result.sentences if not s.key.startswith(_AGAIN)]
    mine = [s for s in once if s.metric == context.primary] or once
    said = together(words, mine)
    lines = said if context.full else said[:_MOST_SENTENCES]
    if len(lines) < len(said):
        lines = [*lines, words.count("page.more_sentences", len(said) - len(lines))]
    blocks: list[Block] = [Items(tuple(lines))] if lines else []
    noted = [(n, words.phrase(n)) for n in result.notes]
    new = [(n, text) for n, text in noted if context.is_new(text)]
    kept = [text for n, text in new if context.full or n.metric in ("", context.primary)]
    if len(kept) < len(new):
        kept.append(words.count("page.more_notes", len(new) - len(kept)))
    return [*blocks, Items(tuple(kept), small=True)] if kept else blocks
