"""Numbers of figures and tables, and where the text refers to them.

A section names nothing special: every figure and every table with a title is numbered in the
order of the report. A paragraph or a list says with ``see=("key", …)`` which of them it speaks
of. What nobody speaks of is named all the same, by a rule:

1. at the end of the nearest text before it under the same heading,
2. else at the end of the first text after it under the same heading,
3. else in a line of its own before it.

Text is a plain or lead paragraph, or a list that is not of small remarks.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from cmjlab.report.blocks.data import (
    Block,
    FigureBlock,
    Heading,
    Items,
    Paragraph,
    Section,
    TableBlock,
)
from cmjlab.words.catalog import Words

_TONES = ("plain", "lead")


def numbered(sections: Sequence[Section], words: Words) -> tuple[Section, ...]:
    """Return the sections with every figure and table numbered and referred to.

    Raises
    ------
    ValueError
        Two figures or tables have one key, or a text refers to a key that the report lacks.
    """
    labelled = _labelled(sections, words)
    labels = _by_key(labelled)
    seen = {key for s in labelled for b in s.blocks for key in getattr(b, "see", ())}
    unknown = sorted(seen - set(labels))
    if unknown:
        raise ValueError(
            f"see={unknown[0]!r}: the report has no such figure or table; it has {', '.join(labels)}."
        )
    return tuple(_referring(s, labels, seen, words) for s in labelled)


def places(sections: Iterable[Section]) -> dict[str, str]:
    """Return the anchor on the page of every label, as ``{"Table 1": "table-flow"}``."""
    blocks = (b for s in sections for b in s.blocks)
    return {b.label: b.anchor for b in blocks if isinstance(b, FigureBlock | TableBlock) if b.label}


def _labelled(sections: Sequence[Section], words: Words) -> list[Section]:
    counts = {"figure": 0, "table": 0}

    def labelled(block: Block) -> Block:
        if not isinstance(block, FigureBlock | TableBlock):
            return block
        if not (block.caption if isinstance(block, FigureBlock) else block.title):
            return block
        counts[block.kind] += 1
        n = counts[block.kind]
        label = words.say(f"numbers.{block.kind}", n=n)
        return replace(block, label=label, key=block.key or f"{block.kind}_{n}")

    return [replace(s, blocks=tuple(map(labelled, s.blocks))) for s in sections]


def _by_key(sections: Sequence[Section]) -> dict[str, str]:
    labels: dict[str, str] = {}
    for block in (b for s in sections for b in s.blocks):
        if isinstance(block, FigureBlock | TableBlock) and block.label:
            if block.key in labels:
                raise ValueError(
                    f"two figures or tables have the key {block.key!r}; name one anew."
                )
            labels[block.key] = block.label
    return labels


def _referring(section: Section, labels: dict[str, str], seen: set[str], words: Words) -> Section:
    """Return a section whose texts name their figures and tables."""
    named: dict[int, list[str]] = {}
    first: set[int] = set()
    alone: dict[int, list[str]] = {}
    blocks = section.blocks
    for place, block in enumerate(blocks):
        for key in getattr(block, "see", ()):
            named.setdefault(place, []).append(labels[key])
        if not isinstance(block, FigureBlock | TableBlock) or not block.label or block.key in seen:
            continue
        before = next((i for i in _under_heading(blocks, place, -1) if _is_text(blocks[i])), None)
        after = next((i for i in _under_heading(blocks, place, +1) if _is_text(blocks[i])), None)
        if before is not None:
            named.setdefault(before, []).append(block.label)
        elif after is not None:
            first.add(after)
            named.setdefault(after, []).append(block.label)
        else:
            alone.setdefault(_group_start(blocks, place), []).append(block.label)
    out: list[Block] = []
    for place, block in enumerate(blocks):
        if place in alone:
            out.append(Paragraph(words.say("numbers.see", labels=alone[place])))
        if place in named and isinstance(block, Items | Paragraph):
            refers = words.say("numbers.refer", labels=named[place])
            block = replace(block, refers=refers)
            if isinstance(block, Items):
                block = replace(block, refers_first=place in first)
        out.append(block)
    return replace(section, blocks=tuple(out))


def _under_heading(blocks: Sequence[Block], place: int, step: int) -> Iterable[int]:
    """Yield the places before (step -1) or after (+1) a block up to the next heading."""
    while 0 <= (place := place + step) < len(blocks) and not isinstance(blocks[place], Heading):
        yield place


def _group_start(blocks: Sequence[Block], place: int) -> int:
    """Return the first block under the heading of a place: where a line of its own stands."""
    return min(_under_heading(blocks, place, -1), default=place)


def _is_text(block: Block) -> bool:
    if isinstance(block, Items):
        return not block.small and bool(block.items)
    return isinstance(block, Paragraph) and block.tone in _TONES
