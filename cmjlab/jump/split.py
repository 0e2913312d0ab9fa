"""``split_jumps``: one recording with several jumps becomes one recording per jump."""

from __future__ import annotations

from cmjlab.jump.flights import Contacts, Flight, find_contacts
from cmjlab.jump.signal import prepare
from cmjlab.method import Method
from cmjlab.recording import Recording

_DEFAULT = Method()
#: Less contact than this between two flights is a rebound of the same jump, s.
REBOUND_S = 0.9
#: So much of the flights before and after is kept: it shows that the plate was empty, s.
_FLIGHT_SEEN_S = 0.03


def split_jumps(recording: Recording, method: Method = _DEFAULT) -> list[Recording]:
    """Return one recording per jump, each with all of the contact before and after it.

    A recording begins at the end of the flight before and ends with the beginning of the flight
    after: the standing between two jumps belongs to both, so that neither loses any of it. A
    second flight less than 0.9 s after landing is a rebound and stays with its jump.

    Parameters
    ----------
    recording : Recording
        Force with any number of jumps.
    method : Method
        Shortest and longest flight.

    Returns
    -------
    list of Recording
        The recording itself when it holds at most one jump.

    Raises
    ------
    JumpError
        When the input itself is not usable.

    Examples
    --------
    >>> import cmjlab as cj
    >>> import numpy as np
    >>> one = cj.simulate_jump(seed=1).recording
    >>> two = one.replace(force_n=np.vstack([one.force_n, one.force_n]))
    >>> [part.jump for part in cj.split_jumps(two)]
    [1, 2]
    """
    return [part for part, _ in split_with_contacts(recording, method)]


def split_with_contacts(
    recording: Recording, method: Method
) -> list[tuple[Recording, Contacts | None]]:
    """Return one recording per jump, and the contacts where they were looked for in all of it."""
    signal = prepare(recording)
    contacts = find_contacts(signal, method)
    flights = sorted(contacts.flights, key=lambda f: f.start)
    rebound = REBOUND_S * signal.rate
    jumps: list[list[Flight]] = []
    for flight in flights:
        if jumps and flight.start - jumps[-1][-1].stop < rebound:
            jumps[-1].append(flight)
        else:
            jumps.append([flight])
    if len(jumps) < 2:
        return [(recording, contacts)]
    seen = signal.samples(_FLIGHT_SEEN_S)
    starts = [0, *(j[-1].stop - seen for j in jumps[:-1])]
    stops = [*(j[0].start + seen for j in jumps[1:]), signal.n]
    return [
        (
            recording.replace(
                force_n=recording.force_n[start:stop],
                start_s=recording.start_s + start / recording.rate_hz,
                jump=number,
            ),
            None,
        )
        for number, (start, stop) in enumerate(zip(starts, stops, strict=True), start=1)
    ]
