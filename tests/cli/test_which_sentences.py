"""Asked for one measure, the console says what is about this measure and nothing else."""

from __future__ import annotations

import pytest

from cmjlab.catalog import METRICS
from cmjlab.cli.shown import show_result
from cmjlab.results import Note, Reason, Result, Sentence
from cmjlab.stats.common.rows import Rows

#: Pairs of measures of which one's label begins the other's.
PAIRS = [
    (short, long)
    for short in METRICS
    for long in METRICS
    if short != long and METRICS[long].label.startswith(METRICS[short].label)
]


def _result(metrics: tuple[str, ...]) -> Result:
    rows = Rows(level=0.95)
    rows.at(metric=list(metrics)).none("typical_error", Reason("no_values"))
    return Result(
        "reliability",
        rows.frame(),
        sentences=tuple(Sentence("reliability.jump_noise", m, values={"sd": 1.0}) for m in metrics),
        notes=(
            *(Note("jump_order", {"metrics": [m]}) for m in metrics),
            Note("not_accepted", {"n": 2}),
        ),
    )


def test_many_labels_begin_another_label():
    assert len({short for short, _ in PAIRS}) >= 23


@pytest.mark.parametrize(("short", "long"), PAIRS)
def test_sentences_and_notes_are_chosen_by_their_measure(short, long, capsys):
    result = _result((short, long))
    for asked, sentence, note in zip((short, long), result.sentences, result.notes, strict=False):
        show_result(result, (), [asked])
        lines = capsys.readouterr().out.split("\n")
        lines = [line for line in lines if line]
        assert lines == [
            str(sentence),
            f"note: {note.text}",
            "note: 2 jumps that were not accepted are left out.",
            "note: 1 more on other measures are in the report",
        ]
