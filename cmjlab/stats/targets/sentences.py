"""Sentences of targets, from their answers."""

from __future__ import annotations

import math

from cmjlab.results import Reason, Sentence
from cmjlab.stats.targets.answers import Answer, Athletes
from cmjlab.stats.targets.found import Found
from cmjlab.stats.targets.wanted import Target


def target_sentence(one: Answer, control: str) -> Sentence:
    """Return one target with its verdict, what it rests on, and how many athletes."""
    metric = one.target.metric
    values = {"aim": one.target.aim, "says": verdict_sentence(one)}
    key = "targets.answer_without_number"
    if one.main.has_interval:
        key = "targets.answer_without_athletes"
        values["number"] = number_sentence(metric, one.main, one.basis, control)
        if one.athletes is not None:
            key = "targets.answer"
            values["athletes"] = athletes_sentence(one.target, one.athletes)
    return Sentence(key, metric, one.target.subgroup, values)


def verdict_sentence(one: Answer) -> Sentence:
    """Return what the verdict says and means."""
    code = one.code
    if code == "cannot_tell":
        if not one.main.has_interval:
            code = "no_interval"
        elif one.agree is False:
            code = "disagree"
        elif one.target.wanted == "unchanged":
            code = "no_amount"
    elif one.surely and code in ("reached", "opposite", "changed"):
        code = f"{code}_surely"
    elif code == "reached" and math.isnan(one.target.amount):
        code = "reached_direction"
    why = one.main.reason or Reason("no_solution")
    return Sentence(f"target_says.{code}", one.target.metric, values={"why": why})


def number_sentence(metric: str, found: Found, basis: str, control: str) -> Sentence:
    """Return an estimate with its interval and what it is about."""
    values = {"estimate": found.estimate, "low": found.low, "high": found.high, "control": control}
    key = basis if basis == "within" else found.statistic
    return Sentence(f"targets.{key}", metric, values=values)


def athletes_sentence(target: Target, athletes: Athletes) -> Sentence:
    """Return how many athletes moved the wanted way beyond their own noise."""
    key = "athletes_unchanged" if target.wanted == "unchanged" else "athletes"
    values = {"beyond": athletes.beyond, "known": athletes.known}
    return Sentence(f"targets.{key}", target.metric, values=values)
