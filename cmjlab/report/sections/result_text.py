"""The sentences and notes of a result, as a section shows them."""

from __future__ import annotations

from cmjlab.plots.labels import metric_label
from cmjlab.report.blocks.data import Block, Items
from cmjlab.report.blocks.format import with_labels
from cmjlab.report.build.context import Context
from cmjlab.results import Note, Result, Sentence

#: Sentences of one result in the short form.
_MOST_SENTENCES = 6
#: Marks sentences that repeat an estimate against the change that matters.
_AGAIN = " against a change that matters of "


def result_text(context: Context, result: Result) -> list[Block]:
    """Return the sentences of a result about the primary measure, and all its notes.

    Sentences that hold an interval against the change that matters again are left to the
    tables (rows "equivalence" and "minimum_effect"): the page has said it in words before. A note
    stands once on the page; in the short form those on other measures are left to the full one.
    """
    name = metric_label(context.primary)
    mine = [
        str(s)
        for s in result.sentences
        if (
            s.metric == context.primary
            if isinstance(s, Sentence)
            else s.startswith((name, context.primary))
        )
    ]
    kept = [s for s in mine or map(str, result.sentences) if _AGAIN not in s]
    lines = [with_labels(s) for s in (kept if context.full else kept[:_MOST_SENTENCES])]
    if len(lines) < len(kept):
        lines.append(context.words.say("page.more_sentences", n=len(kept) - len(lines)))
    blocks: list[Block] = [Items(tuple(lines))] if lines else []
    if result.notes:
        texts = [t for t in map(_note_text, result.notes) if context.is_new(t)]
        mine_only = [t for t in texts if context.full or not _of_another(context, t)]
        if len(mine_only) < len(texts):
            mine_only.append(context.words.say("page.more_notes", n=len(texts) - len(mine_only)))
        if mine_only:
            blocks.append(Items(tuple(mine_only), small=True))
    return blocks


def _note_text(note: Note) -> str:
    return with_labels(note.text)


def _of_another(context: Context, text: str) -> bool:
    """Return whether a text begins with the name of a measure that is not the primary one."""
    others = tuple(f"{metric_label(m)}:" for m in context.analyses.metrics if m != context.primary)
    return text.startswith(others) if others else False
