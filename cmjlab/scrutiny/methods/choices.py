"""The choices that a reviewer may ask about: what else could have been done, and what could not.

A *choice* is one question (where does the movement begin?), its *levels* are the answers in use.
Choices of the signal change the Method; the others change what is made of the measured jumps. A
combination that nobody would defend is left out and named with its reason, so that it can neither
help nor harm a result.

The levels are those of published recipes and of common practice; each is a setting of
:class:`cmjlab.Method` with its source there.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any

from cmjlab import checks
from cmjlab.checks import one_of
from cmjlab.errors import ArgumentError
from cmjlab.method import Method
from cmjlab.results import Reason

#: Level -> settings of the Method.
Levels = Mapping[str, Mapping[str, Any]]
#: The study's own settings, where they are none of the named levels.
OWN = "as_stated"

#: Choice -> level -> settings; together they make the Methods.
SIGNAL: Mapping[str, Levels] = {
    "onset": {
        "fit": {"onset_rule": "fit"},
        "sd_5": {"onset_rule": "sd", "onset_sd": 5.0},
        "newton_10": {"onset_rule": "newton", "onset_newton": 10.0},
        "newton_20": {"onset_rule": "newton", "onset_newton": 20.0},
        "percent_2_5": {"onset_rule": "percent", "onset_percent": 2.5},
        "percent_5": {"onset_rule": "percent", "onset_percent": 5.0},
    },
    "weighing": {"stillest": {"weighing": "stillest"}, "last": {"weighing": "last"}},
    "rest": {
        "onset": {"integration_start": "onset"},
        "weighing_end": {"integration_start": "weighing_end"},
    },
    "body_weight": {
        "window": {"body_weight": "window"},
        "rest_to_rest": {"body_weight": "rest_to_rest"},
    },
    "takeoff": {
        "larger": {"takeoff_rule": "larger"},
        "flight_sd": {"takeoff_rule": "flight_sd"},
        "newton_20": {"takeoff_rule": "newton", "takeoff_newton": 20.0},
    },
    "filter": {
        "none": {"filter": "none"},
        "low_pass_50": {"filter": "butterworth", "filter_cutoff_hz": 50.0},
    },
}
#: Choice -> levels that change what is made of the measured jumps.
ANALYSIS: Mapping[str, tuple[str, ...]] = {
    "height": ("takeoff_velocity", "flight_time"),
    "summary": ("mean", "best", "median", "best_n_mean"),
    "exclusion": ("rules", "enough_jumps", "strict", "everything"),
    "baseline": (),  # the sessions of role baseline, and their mean
    "estimator": ("change_difference", "adjusted_difference"),
}
#: Every choice, in the order in which it is made.
CHOICES = (*SIGNAL, *ANALYSIS)


@dataclass(frozen=True)
class Combination:
    """Levels of the signal choices and the Method that they make."""

    levels: tuple[str, ...]
    method: Method


@dataclass(frozen=True)
class LeftOut:
    """Levels that are not put together, by choice, and why not; ``group`` when only for one."""

    levels: Mapping[str, str]
    why: Reason
    group: str = ""


@dataclass(frozen=True)
class Asked:
    """What is tried.

    Attributes
    ----------
    signal : mapping of choice to levels with their settings
    analysis : mapping of choice to levels
        A choice that is not asked about has one level, the study's own.
    own : mapping of choice to level
        What the study itself does.
    """

    signal: Mapping[str, Levels]
    analysis: Mapping[str, tuple[str, ...]]
    own: Mapping[str, str]


def ask_for(method: Method, own: Mapping[str, str], choices: Any = None) -> Asked:
    """Return what is tried: all choices, or those that a person names, always with the study's own.

    Parameters
    ----------
    method : Method
        The study's.
    own : mapping of choice to level
        The study's own levels of the choices of analysis; ``baseline`` lists all there are in
        ``choices`` or has one.
    choices : mapping, optional
        Choice -> levels that are tried (names, or name -> settings of the Method for levels of
        one's own). A choice that is not named keeps all its levels.

    Raises
    ------
    ArgumentError
        No such choice, no such level, or settings that are none.
    """
    wanted = _checked(choices)
    signal, here = {}, dict(own)
    for name, levels in SIGNAL.items():
        mine = _levels(name, levels, wanted.get(name))
        mine, here[name] = _with_own(mine, levels, method)
        signal[name] = mine
    analysis = {}
    for name, known in ANALYSIS.items():
        levels_of = tuple(wanted.get(name, known)) or (here[name],)
        allowed = known or levels_of
        for level in levels_of:
            one_of(f"choices[{name!r}]", level, allowed)
        analysis[name] = tuple(dict.fromkeys((here[name], *levels_of)))
    return Asked(signal, analysis, here)


def _checked(choices: Any) -> dict[str, Any]:
    if choices is None:
        return {}
    if not isinstance(choices, Mapping):
        raise ArgumentError(
            f"choices: found {checks.shown(choices)}; a mapping of choice to levels is needed, e.g."
            ' {"onset": ["fit", "sd_5"]}.'
        )
    out = {}
    for name, levels in choices.items():
        one_of("choices", name, CHOICES)
        out[name] = (
            levels if isinstance(levels, Mapping) else checks.names(f"choices[{name!r}]", levels)
        )
    return out


def _levels(name: str, known: Levels, wanted: Any) -> Levels:
    if wanted is None:
        return known
    if isinstance(wanted, Mapping):
        if not all(isinstance(v, Mapping) for v in wanted.values()):
            raise ArgumentError(
                f"choices[{name!r}]: give each level its settings of the Method, e.g."
                ' {"sd_3": {"onset_rule": "sd", "onset_sd": 3.0}}.'
            )
        return {str(level): dict(settings) for level, settings in wanted.items()}
    for level in wanted:
        one_of(f"choices[{name!r}]", level, tuple(known))
    return {level: known[level] for level in wanted}


def _with_own(levels: Levels, known: Levels, method: Method) -> tuple[Levels, str]:
    """Return levels with the study's own first, and its name."""
    stated = method.to_dict()
    for name, settings in (*levels.items(), *known.items()):
        if all(stated[k] == v for k, v in settings.items() if k in stated):
            rest = {k: v for k, v in levels.items() if k != name}
            return {name: settings, **rest}, name
    names = dict.fromkeys(k for settings in known.values() for k in settings)
    return {OWN: {k: stated[k] for k in names}, **levels}, OWN


def combinations(asked: Asked, method: Method) -> tuple[list[Combination], list[LeftOut]]:
    """Return the Methods to measure with, the study's own first, and combinations that are none."""
    found, left_out = [], []
    for levels in product(*asked.signal.values()):
        named = dict(zip(asked.signal, levels, strict=True))
        settings = {
            k: v for name, level in named.items() for k, v in asked.signal[name][level].items()
        }
        own = all(asked.own[name] == level for name, level in named.items())
        why = None if own else _not_defended(named)
        if why is not None:
            left_out.append(LeftOut(*why))
            continue
        try:
            found.append(Combination(levels, method if own else method.replace(**settings)))
        except ArgumentError as problem:
            if set(settings) - set(method.to_dict()):
                raise
            left_out.append(
                LeftOut(named, Reason("choice_contradiction", {"problem": str(problem)}))
            )
    return found, _once(left_out)


def _not_defended(named: Mapping[str, str]) -> tuple[Mapping[str, str], Reason] | None:
    """Return the levels of a combination of the signal that no reviewer would defend, and why."""
    pair = {"weighing": "stillest", "rest": "weighing_end"}
    if all(named.get(k) == v for k, v in pair.items()):
        return pair, Reason("choice_drift_of_waiting")
    return None


def _once(left_out: Sequence[LeftOut]) -> list[LeftOut]:
    kept: dict[tuple[Any, ...], LeftOut] = {}
    for one in left_out:
        kept.setdefault((*one.levels.items(), one.why.code), one)
    return list(kept.values())


def analyses_of(asked: Asked) -> Iterator[tuple[str, str]]:
    """Yield (summary, exclusion) for each way to make values of sessions that can be defended."""
    own = (asked.own["summary"], asked.own["exclusion"])
    for summary, exclusion in product(asked.analysis["summary"], asked.analysis["exclusion"]):
        if (summary, exclusion) == own or _summary_left_out(summary, exclusion) is None:
            yield summary, exclusion


def summaries_left_out(asked: Asked) -> list[LeftOut]:
    """Return the summaries that are not put together with an exclusion, and why not."""
    own = (asked.own["summary"], asked.own["exclusion"])
    pairs = product(asked.analysis["summary"], asked.analysis["exclusion"])
    return [
        LeftOut({"summary": s, "exclusion": e}, why)
        for s, e in pairs
        if (s, e) != own and (why := _summary_left_out(s, e)) is not None
    ]


def _summary_left_out(summary: str, exclusion: str) -> Reason | None:
    """The best of jumps with faults is often the fault: a step off the plate makes a long flight."""
    if exclusion == "everything" and summary in ("best", "best_n_mean"):
        return Reason("choice_best_of_faults")
    return None
