"""Which card an object has, as HTML and as text."""

from __future__ import annotations

from dataclasses import replace

from cmjlab.jump_types import Jump
from cmjlab.recording import Recording
from cmjlab.results import Result
from cmjlab.screen.card import Card, as_html, as_text
from cmjlab.screen.jump import jump_card, recording_card
from cmjlab.screen.result import result_card, result_text_end
from cmjlab.screen.settings import settings_card
from cmjlab.screen.study import study_card
from cmjlab.settings import Settings
from cmjlab.study.folder.study_folder import StudyFolder


def card_of(thing: Recording | Jump | Result | Settings | StudyFolder) -> Card:
    """Return what is shown of an object."""
    if isinstance(thing, Recording):
        return recording_card(thing)
    if isinstance(thing, Jump):
        return jump_card(thing)
    if isinstance(thing, Result):
        return result_card(thing)
    if isinstance(thing, Settings):
        return settings_card(thing)
    return study_card(thing)


def html_of(thing: Recording | Jump | Result | Settings | StudyFolder) -> str:
    """Return an object as a notebook shows it."""
    return as_html(card_of(thing))


def text_of(thing: Recording | Jump | Result | Settings | StudyFolder) -> str:
    """Return an object as a console shows it."""
    card = card_of(thing)
    if isinstance(thing, Result):
        card = replace(card, last=(*result_text_end(thing), *card.last))
    return as_text(card)
