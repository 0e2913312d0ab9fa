"""A rule of a subgroup in words and units that a coach reads."""

from __future__ import annotations

from cmjlab.plots.labels import value_text
from cmjlab.stats.subgroups.rules import ELSE, Condition, read_rule
from cmjlab.words.catalog import Words
from cmjlab.words.fill import joined

_SIGNS = {"<": "below", "<=": "at_most", ">": "above", ">=": "at_least", "=": "is"}


def rule_words(rule: str, words: Words) -> str:
    """Return a rule, as a table of rules holds it, in words.

    Parameters
    ----------
    rule : str
        Such as ``relative_strength < 1.32 and position = wing``, or ``else``.
    words : Words
    """
    if rule == ELSE:
        return words.say("rule.else")
    read = read_rule(rule)
    if not read.conditions:
        return words.say("rule.else_within", subgroup=read.within)
    said = joined([_condition(c, words) for c in read.conditions], words.say("word.and"))
    return words.say("rule.within", rule=said, subgroup=read.within) if read.within else said


def _condition(condition: Condition, words: Words) -> str:
    if condition.is_word:
        cut = condition.word
    elif condition.is_relative:
        cut = condition.place
        if condition.among:
            cut = words.say("rule.place_among", place=condition.place, subgroup=condition.among)
    else:
        cut = value_text(condition.metric, condition.cut)
    key = f"rule.{_SIGNS[condition.sign]}"
    return words.say(key, metric=condition.metric, cut=cut)
