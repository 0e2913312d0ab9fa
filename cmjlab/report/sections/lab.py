"""Which part of the noise is the lab's: one paragraph of the reliability section."""

from __future__ import annotations

from cmjlab.errors import CmjlabError
from cmjlab.report.blocks.data import Block, Paragraph
from cmjlab.report.build.context import Context
from cmjlab.scrutiny.lab.page import lab_truth

#: Athletes imitated, recordings of each, recordings looked at: a second of the processor.
_PROFILES, _REPEATS, _LOOKS = 10, 6, 20
#: Sentences that the paragraph is made of.
_SAID = ("lab_truth.lab", "lab_truth.lab_with_step", "lab_truth.share", "lab_truth.no_share")


def lab_paragraph(context: Context) -> list[Block]:
    """Return what the lab's own plates and method make of the primary measure's noise."""
    say, metric = context.words.say, context.primary
    try:
        found = lab_truth(context.study, metric, profiles=_PROFILES, repeats=_REPEATS, most=_LOOKS)
    except CmjlabError as problem:
        return [Paragraph(say("repeatability.no_lab", reason=str(problem)), "note")]
    said = [context.words.phrase(s) for s in found.sentences if s.key in _SAID]
    n = found.settings["profiles"] * found.settings["repeats"]
    return [Paragraph(" ".join([*said, say("repeatability.lab", n=n)]))]
