"""A Jump and a Recording on the screen."""

from __future__ import annotations

import math

import numpy as np

from cmjlab.catalog import CHECKS, METRICS, STATUS_LABELS
from cmjlab.jump_types import Check, Jump
from cmjlab.plan import DEFAULT_REPORT_METRICS
from cmjlab.recording import Recording
from cmjlab.screen.card import Card, Fold, Grid
from cmjlab.screen.drawing import force_drawing
from cmjlab.screen.rounding import value_with_error
from cmjlab.words.catalog import read_words

#: Flags that are named at once.
_FLAGS = 2
_ORDER = {"fail": 0, "warn": 1, "note": 2}
#: Part of a recording that is drawn around the jump, seconds before the onset and after the landing.
_AROUND_S = (0.4, 0.6)


def _whose(recording: Recording) -> str:
    say = read_words().say
    ids = {"athlete": recording.athlete, "session": recording.session, "trial": recording.trial}
    parts = [say(f"screen.of_{name}", id=value) for name, value in ids.items() if value is not None]
    if recording.jump != 1:
        parts.append(say("screen.of_jump", id=recording.jump))
    return ", ".join(parts)


def jump_card(jump: Jump) -> Card:
    """Return what is shown of a jump: verdict, main measures, flags, its force."""
    words = read_words()
    say = words.say
    main = Grid(
        (say("screen.measure"), say("screen.value")),
        tuple((words.label(key), _value(jump, key)) for key in DEFAULT_REPORT_METRICS),
    )
    everything = Grid(
        (say("screen.phase"), say("screen.measure"), say("screen.value"), say("screen.why")),
        tuple(
            (m.phase, words.label(key), _value(jump, key), jump.voided.get(key, ""))
            for key, m in METRICS.items()
            if "_se_" not in key
        ),
    )
    checks = Grid(
        (say("screen.check"), say("screen.status"), say("screen.why")),
        tuple((_rule(c), STATUS_LABELS[c.status], c.reason) for c in jump.checks),
    )
    whose = _whose(jump.recording)
    return Card(
        say("screen.jump") + (f": {whose}" if whose else ""),
        (_verdict(jump), _flags(jump)),
        main,
        (
            Fold(say("screen.all_metrics", n=len(everything.rows)), grid=everything),
            Fold(say("screen.all_checks", n=len(checks.rows)), grid=checks),
        ),
        drawing=_drawn(jump),
        last=(say("screen.care"),),
    )


def _value(jump: Jump, key: str) -> str:
    head, _, unit = _error_name(key)
    error = jump.metrics.get(f"{head}_se_{unit}", math.nan)
    return value_with_error(jump.metrics.get(key, math.nan), error, METRICS[key].unit)


def _error_name(key: str) -> tuple[str, str, str]:
    """Return the parts of the key whose standard error would stand as ``<head>_se_<unit>``."""
    for other in METRICS:
        head, found, unit = other.partition("_se_")
        if found and key == f"{head}_{unit}":
            return head, found, unit
    return key, "", ""


def _rule(check: Check) -> str:
    return CHECKS[check.code].label if check.code in CHECKS else check.code.replace("_", " ")


def _verdict(jump: Jump) -> str:
    say = read_words().say
    if jump.accepted:
        return say("screen.accepted")
    failed = [c for c in jump.checks if c.status == "fail" and c.scope == "jump"]
    return say("screen.not_accepted", why=" ".join(c.reason for c in failed[:_FLAGS]))


def _flags(jump: Jump) -> str:
    say = read_words().say
    flags = sorted(jump.flags, key=lambda c: _ORDER[c.status])
    if not flags:
        return say("screen.no_flags")
    named = [f"{_rule(c)} ({STATUS_LABELS[c.status].lower()})" for c in flags[:_FLAGS]]
    if len(flags) > _FLAGS:
        named.append(say("screen.more_flags", n=len(flags) - _FLAGS))
    return say("screen.flags", what="; ".join(named))


def _drawn(jump: Jump) -> str:
    """Return the force from shortly before the onset to shortly after the landing."""
    rec, events = jump.recording, jump.events
    time = rec.time_s
    start, stop = events.get("onset", math.nan), events.get("landing", math.nan)
    if not math.isfinite(start) or not math.isfinite(stop):
        return force_drawing(rec.total_n)
    low, high = np.searchsorted(time, [start - _AROUND_S[0], stop + _AROUND_S[1]])
    if high - low < 2:
        return force_drawing(rec.total_n)
    first, last = time[low], time[high - 1]
    marks = [
        (events.get(e, math.nan) - first) / (last - first) for e in ("onset", "takeoff", "landing")
    ]
    return force_drawing(rec.total_n[low:high], [m for m in marks if math.isfinite(m)])


def recording_card(recording: Recording) -> Card:
    """Return what is shown of a recording: whose, how long, which plates, its force."""
    words = read_words()
    say = words.say
    total = recording.total_n
    known = total[np.isfinite(total)]
    whose, lost = _whose(recording), len(total) - len(known)
    lines = [
        say("screen.length", seconds=f"{recording.duration_s:.2f}", rate=f"{recording.rate_hz:g}",
            samples=recording.n_samples),
        say("screen.plates", what=", ".join(recording.plates)),
        say("screen.force", low=f"{known.min():.0f}", high=f"{known.max():.0f}")
        if len(known) else say("screen.no_force"),
    ]  # fmt: skip
    if lost:
        lines.append(words.count("screen.lost", lost))
    notes = tuple(str(n) for n in recording.notes)
    folds = (Fold(words.count("screen.reading_notes", len(notes)), notes),) if notes else ()
    title = say("screen.recording") + (f": {whose}" if whose else "")
    return Card(title, tuple(lines), None, folds, drawing=force_drawing(total))
