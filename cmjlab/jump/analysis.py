"""The chain: contacts, weighing, onset, take-off and landing, motion, phases.

Everything here counts in samples of the recording; :mod:`cmjlab.jump.measure` turns it into
seconds on the file's clock.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple

from cmjlab.jump.edges import Edges, find_edges
from cmjlab.jump.flights import Contacts, Flight, find_contacts
from cmjlab.jump.landing import Rest, balance
from cmjlab.jump.motion import Path, integrate
from cmjlab.jump.onset import Onset, find_onset
from cmjlab.jump.phases import Phases, find_phases
from cmjlab.jump.signal import Signal, filtered, without_offset
from cmjlab.jump.weighing import Weighing, find_window, is_restless, weigh
from cmjlab.method import Method

#: The weighing window ends at least this long before take-off, s.
_LEAST_JUMP_S = 0.2


@dataclass(frozen=True, slots=True)
class Analysis:
    """All intermediate results of one jump; None where the chain could not go on.

    Attributes
    ----------
    signal : Signal
        Force used, offset removed when the method says so.
    contacts : Contacts
        Coarse look at the recording.
    flight : Flight or None
        The flight that is analysed.
    begin, stop : int
        Contact before and after it.
    edges, weighing, onset, rest, path, phases
        Results of the steps; see their classes.
    borrowed : bool
        Whether body weight comes from other jumps of the athlete.
    """

    signal: Signal
    contacts: Contacts
    flight: Flight | None = None
    begin: int = 0
    stop: int = 0
    edges: Edges | None = None
    weighing: Weighing | None = None
    onset: Onset | None = None
    rest: Rest | None = None
    path: Path | None = None
    phases: Phases | None = None
    borrowed: bool = False

    def complete(self) -> Complete | None:
        """Return the analysis with nothing missing, or None when a step found nothing."""
        if (
            self.flight is None
            or self.edges is None
            or self.weighing is None
            or self.onset is None
            or self.rest is None
            or self.path is None
            or self.phases is None
        ):
            return None
        return Complete(
            self.signal,
            self.contacts,
            self.flight,
            self.begin,
            self.stop,
            self.edges,
            self.weighing,
            self.onset,
            self.rest,
            self.path,
            self.phases,
        )


@dataclass(frozen=True, slots=True)
class Complete:
    """An analysis with nothing missing: a dip, a push and a take-off. Fields as in Analysis."""

    signal: Signal
    contacts: Contacts
    flight: Flight
    begin: int
    stop: int
    edges: Edges
    weighing: Weighing
    onset: Onset
    rest: Rest
    path: Path
    phases: Phases


class KnownWeight(NamedTuple):
    """Body weight that is known from elsewhere, and its standard error, N."""

    weight: float
    se: float


def analyse(
    signal: Signal,
    method: Method,
    fixed: Mapping[str, float],
    known: KnownWeight | None = None,
    contacts: Contacts | None = None,
) -> Analysis:
    """Run the chain on one recording.

    Parameters
    ----------
    signal : Signal
        Force as recorded.
    method : Method
        All choices.
    fixed : mapping of str to float
        Events that a person fixed, in samples.
    known : KnownWeight, optional
        Body weight to use when the athlete did not stand still here.
    contacts : Contacts, optional
        Those of this signal, when somebody has looked for them already.
    """
    if contacts is None:
        contacts = find_contacts(signal, method)
    flight = _flight(signal, contacts, fixed)
    if flight is None:
        return Analysis(signal, contacts)
    raw = signal
    if method.offset_removal != "none":
        signal = without_offset(signal, *flight.middle, method.offset_removal)
    edges = _edges(signal, flight, contacts, method, fixed)
    begin = max(
        contacts.contact_before(flight.start),
        flight.start - signal.samples(method.weighing_search_s),
    )
    stop = signal.n if flight.open else contacts.contact_after(edges.first_loaded, signal.n)
    stop = min(stop, flight.stop + signal.samples(method.after_landing_s))
    found = Analysis(signal, contacts, flight, begin, stop, edges)
    if edges.last_loaded - begin < 8:
        return found
    scale = raw if method.weigh_before_offset else signal
    weighing = _weighing(signal, scale, begin, edges.last_loaded, method, fixed)
    borrowed = known is not None and is_restless(weighing, signal.rate, method)
    if known is not None and borrowed:
        weighing = replace(weighing, weight=known.weight, se=known.se)
    if weighing.weight <= 0.0:
        return replace(found, weighing=weighing)
    rest = balance(signal, weighing, edges, stop, method)
    if method.body_weight == "rest_to_rest" and not math.isnan(rest.weight):
        weighing = replace(weighing, weight=rest.weight, se=rest.se)
    onset = _onset(signal, weighing, edges.last_loaded, method, fixed)
    if onset.sample < weighing.stop and "weighing_end" not in fixed:
        weighing = _before_onset(scale, weighing, begin, math.floor(onset.sample))
        if known is not None and borrowed:
            weighing = replace(weighing, weight=known.weight, se=known.se)
        if method.body_weight == "rest_to_rest" and not math.isnan(rest.weight):
            weighing = replace(weighing, weight=rest.weight, se=rest.se)
    found = replace(found, weighing=weighing, rest=rest, onset=onset, borrowed=borrowed)
    origin = onset.sample if method.integration_start == "onset" else float(weighing.stop)
    force = filtered(signal, method) if method.filter != "none" else signal.force
    path = integrate(
        force[:stop],
        min(origin, edges.last_loaded - 2.0),
        weight=weighing.weight,
        gravity=method.gravity_m_per_s2,
        rate=signal.rate,
        rule=method.integration,
        push_stop=edges.last_loaded + 2,
    )
    phases = find_phases(path, onset.sample, edges, method)
    return replace(found, path=path, phases=phases)


def _flight(signal: Signal, contacts: Contacts, fixed: Mapping[str, float]) -> Flight | None:
    """Return the flight to analyse: the first complete one, or the one that a person fixed."""
    complete = [f for f in contacts.flights if not f.open]
    flights = complete or list(contacts.flights)
    if "takeoff" in fixed:
        takeoff = fixed["takeoff"]
        near = [f for f in flights if f.start - 0.2 * signal.rate <= takeoff < f.stop]
        if near:
            return near[0]
        if "landing" in fixed:
            return Flight(
                math.ceil(takeoff), max(math.floor(fixed["landing"]), math.ceil(takeoff) + 2)
            )
    return flights[0] if flights else None


def _edges(
    signal: Signal, flight: Flight, contacts: Contacts, method: Method, fixed: Mapping[str, float]
) -> Edges:
    coarse = contacts.threshold + contacts.shift - signal.offset
    edges = find_edges(signal, flight, coarse, method)
    if "takeoff" in fixed:
        sample = min(max(fixed["takeoff"], 2.0), signal.n - 2.0)
        k = int(sample)
        here, there = float(signal.force[k]), float(signal.force[k + 1])
        edges = replace(
            edges, takeoff=sample, last_loaded=k, takeoff_force=here + (there - here) * (sample - k)
        )
    if "landing" in fixed:
        sample = min(max(fixed["landing"], edges.takeoff + 1.0), signal.n - 2.0)
        edges = replace(edges, landing=sample, first_loaded=math.ceil(sample))
    return edges


def _weighing(
    signal: Signal,
    scale: Signal,
    begin: int,
    takeoff: int,
    method: Method,
    fixed: Mapping[str, float],
) -> Weighing:
    """Return body weight; ``scale`` is the force that is weighed, ``signal`` the one analysed."""
    least = signal.samples(method.weighing_minimum_s)
    end = max(begin + least, takeoff - signal.samples(_LEAST_JUMP_S))
    end = min(end, takeoff)
    length = signal.samples(method.weighing_duration_s)
    if method.weighing == "start":
        window = (begin, min(begin + length, end))
    else:
        window = find_window(scale, begin, end, method)
        if method.weighing == "last":
            first = weigh(scale, *window)
            onset = find_onset(signal, first, takeoff, method)
            last = max(int(onset.sample - method.weighing_gap_s * signal.rate), begin + least)
            window = (max(begin, last - length), last)
    if "weighing_start" in fixed or "weighing_end" in fixed:
        start = round(fixed.get("weighing_start", window[0]))
        stop = round(fixed.get("weighing_end", start + length))
        stop = min(max(stop, 2), takeoff)
        window = (min(max(start, 0), stop - 2), stop)
    return weigh(scale, *window)


def _before_onset(scale: Signal, weighing: Weighing, begin: int, stop: int) -> Weighing:
    """Return the weighing with its window moved back to end at the onset, or cut there."""
    start = max(begin, weighing.start - (weighing.stop - stop))
    if stop - start < 2:
        return replace(weighing, stop=max(stop, weighing.start + 2))
    return weigh(scale, start, stop)


def _onset(
    signal: Signal, weighing: Weighing, takeoff: int, method: Method, fixed: Mapping[str, float]
) -> Onset:
    onset = find_onset(signal, weighing, takeoff, method)
    if "onset" in fixed:
        sample = min(max(fixed["onset"], 0.0), takeoff - 3.0)
        onset = replace(onset, sample=sample, se=math.hypot(onset.se, onset.sample - sample))
    return onset
