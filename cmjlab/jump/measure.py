"""``measure``: from one recording to a Jump."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from cmjlab.catalog import METRICS, MOVABLE_EVENTS
from cmjlab.checks import number, one_of
from cmjlab.errors import ArgumentError, JumpError
from cmjlab.jump.analysis import Analysis, Complete, KnownWeight, analyse
from cmjlab.jump.flights import Contacts
from cmjlab.jump.landing import landing_metrics
from cmjlab.jump.limbs import limb_metrics
from cmjlab.jump.metrics import add_per_mass, push_metrics
from cmjlab.jump.quality import all_checks
from cmjlab.jump.signal import prepare
from cmjlab.jump_types import EVENTS, Check, Jump, Motion
from cmjlab.method import Method
from cmjlab.recording import Recording

_DEFAULT = Method()
_SCOPE = {key: metric.scope for key, metric in METRICS.items()}
#: Standard error of a body weight from elsewhere when nobody says it, N (our own).
_BORROWED_SE_N = 2.0
_NONE = dict.fromkeys(METRICS, math.nan)


def measure(
    recording: Recording,
    method: Method = _DEFAULT,
    *,
    events: Mapping[str, float] | None = None,
    body_weight_n: float | None = None,
    body_weight_se_n: float = _BORROWED_SE_N,
    load_kg: float = 0.0,
) -> Jump:
    """Analyse the first complete jump of a recording.

    Parameters
    ----------
    recording : Recording
        Vertical force, N.
    method : Method
        Every choice that can change a number.
    events : mapping of str to float, optional
        Events that a person fixed, in seconds on the file's clock: weighing_start,
        weighing_end, onset, takeoff, landing. The others follow from the force.
    body_weight_n : float, optional
        Body weight from the athlete's other jumps of the session, N. It is used only when the
        athlete does not stand still in this recording, and the method allows it
        (``body_weight="session"``).
    body_weight_se_n : float
        Its standard error, N; it enters the standard error of the height.
    load_kg : float
        Mass that the athlete carries (bar, vest), kg. The motion is that of athlete and load
        together; body weight, body mass and all values per kilogram are the athlete's own.

    Returns
    -------
    Jump
        Events, motion, metrics and checks. A recording without a jump gives a Jump that
        is not accepted.

    Raises
    ------
    JumpError
        When the input itself is not usable.
    ArgumentError
        When a fixed event has an unknown name or lies outside the recording, a body weight
        is given that the method does not allow, or a load is negative or not less than what
        stands on the plate.

    Examples
    --------
    >>> import cmjlab as cj
    >>> jump = cj.measure(cj.simulate_jump("typical").recording)
    >>> round(jump.metrics["jump_height_m"], 3), jump.accepted
    (0.345, True)
    """
    given = Given(events or {}, body_weight_n, body_weight_se_n, load_kg)
    return measure_with(recording, method, given)


class Given(NamedTuple):
    """What is stated of a jump: events of a person, weight of other jumps, load; see measure."""

    events: Mapping[str, float]
    body_weight_n: float | None = None
    body_weight_se_n: float = _BORROWED_SE_N
    load_kg: float = 0.0


def measure_with(
    recording: Recording, method: Method, given: Given, contacts: Contacts | None = None
) -> Jump:
    """Analyse the first complete jump; ``contacts`` are known where several jumps were looked for."""
    signal = prepare(recording)
    if not isinstance(method, Method):
        raise JumpError(f"method: a cmjlab Method is needed, found {type(method).__name__}.")
    fixed = _fixed(recording, given.events)
    load = number("load_kg", given.load_kg, low=0.0, high=1000.0, unit="kg")
    known = _known_weight(method, given.body_weight_n, given.body_weight_se_n, load)
    automatic = analyse(signal, method, {}, known, contacts)
    found = analyse(signal, method, fixed, known, contacts) if fixed else automatic
    complete = found.complete()
    numbers = _metrics(complete, method, load) if complete else {}
    detected = _events(automatic, recording)
    used = _events(found, recording) if fixed else detected
    shifts = [abs(used[name] - detected[name]) for name in fixed]
    checks = all_checks(found, numbers, max(shifts) if shifts else None, method)
    metrics, voided = _voided(numbers, checks)
    motion = _motion(found, recording)
    return Jump(recording, method, used, detected, motion, metrics, checks, voided, load)


def _known_weight(
    method: Method, weight: float | None, se: float, load: float
) -> KnownWeight | None:
    """Return the weight on the plate: the athlete's, known from elsewhere, and the load's."""
    if weight is None:
        return None
    if method.body_weight != "session":
        raise ArgumentError(
            "body_weight_n: the method weighs each jump by itself; use"
            ' Method(body_weight="session") to allow body weight from other jumps.'
        )
    value = number("body_weight_n", weight, low=1.0, high=5000.0, unit="N")
    value += load * method.gravity_m_per_s2
    return KnownWeight(value, number("body_weight_se_n", se, low=0.0, high=500.0, unit="N"))


def _fixed(recording: Recording, events: Mapping[str, float]) -> dict[str, float]:
    """Return the fixed events in samples."""
    out = {}
    for name, time in events.items():
        one_of("events", name, MOVABLE_EVENTS)
        last = recording.start_s + recording.duration_s
        value = number(f"events[{name!r}]", time, low=recording.start_s, high=last, unit="s")
        out[name] = (value - recording.start_s) * recording.rate_hz
    return out


def _metrics(found: Complete, method: Method, load: float) -> dict[str, float]:
    """Return every metric that this jump allows; the athlete's own mass is that without load."""
    numbers = push_metrics(found, method)
    if load >= found.path.mass:
        raise ArgumentError(
            f"load_kg: {load:g} kg is not less than the {found.path.mass:.1f} kg on the plate; give"
            " what the athlete carries, without body mass, in kilograms."
        )
    numbers["body_mass_kg"] -= load
    numbers["body_weight_n"] -= load * found.path.gravity
    numbers.update(landing_metrics(found.signal, found.path, found.edges, found.stop, method))
    numbers.update(limb_metrics(found, method))
    if "flight_time_s" in numbers:
        ratio = numbers["flight_time_s"] / numbers["time_to_takeoff_s"]
        numbers["flight_to_contraction_ratio"] = ratio
    add_per_mass(numbers)
    return numbers


def _events(found: Analysis, recording: Recording) -> dict[str, float]:
    """Return all eight events in seconds on the file's clock."""
    at = dict.fromkeys(EVENTS, math.nan)
    if found.weighing is not None:
        at["weighing_start"], at["weighing_end"] = found.weighing.start, found.weighing.stop
    if found.onset is not None:
        at["onset"] = found.onset.sample
    if found.phases is not None:
        at["minimum_force"] = found.phases.minimum
        at["peak_downward_velocity"] = found.phases.slowest.sample
        at["zero_velocity"] = found.phases.lowest.sample
    if found.edges is not None:
        at["takeoff"], at["landing"] = found.edges.takeoff, found.edges.landing
    return {name: recording.start_s + sample / recording.rate_hz for name, sample in at.items()}


def _motion(found: Analysis, recording: Recording) -> Motion:
    """Return the motion from the first sample at or after the onset."""
    path = found.path
    if path is None or found.onset is None:
        empty = np.empty(0)
        return Motion(empty, empty, empty, empty, empty)
    first = max(0, math.ceil(found.onset.sample) - path.base)
    time = np.arange(path.base + first, path.base + path.force.shape[0]) / recording.rate_hz
    time += recording.start_s
    return Motion(
        time,
        path.force[first:],
        path.acceleration[first:],
        path.velocity[first:],
        path.displacement[first:],
    )


def _voided(
    numbers: dict[str, float], checks: tuple[Check, ...]
) -> tuple[dict[str, float], dict[str, str]]:
    """Return every metric of the catalog, nan with a reason where it is not known or voided.

    A fail of scope "flight" also voids the landing, which begins with it. A fail of scope
    "jump" makes the jump not accepted; its numbers stay, as evidence for a person. Only where
    a number is impossible, all are voided: none of them can be believed.
    """
    why: dict[str, str] = {}
    for check in checks:
        if check.status == "fail":
            why.setdefault(check.scope, check.reason)
    if "flight" in why:
        why.setdefault("landing", why["flight"])
    missing = {
        "jump": why.get("jump", "The force does not allow it."),
        "flight": why.get("flight") or why.get("jump", "There is no landing."),
        "landing": why.get("landing") or why.get("jump", "The landing does not allow it."),
        "limbs": why.get("limbs") or why.get("jump", "There are no plates left and right."),
    }
    impossible = [c.reason for c in checks if c.code == "impossible" and c.status == "fail"]
    if impossible:
        return dict(_NONE), dict.fromkeys(_NONE, impossible[0])
    metrics = {**_NONE, **numbers}
    if len(why) > ("jump" in why):
        void = set(why) - {"jump"}
        metrics = {k: math.nan if _SCOPE[k] in void else v for k, v in metrics.items()}
    voided = {key: missing[_SCOPE[key]] for key, value in metrics.items() if value != value}
    for key in [k for k in voided if k in numbers and _SCOPE[k] not in why]:
        voided[key] = "It is not defined for this jump."
    return metrics, voided
