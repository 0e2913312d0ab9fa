"""``split_jumps``: one recording with several jumps becomes one recording per jump."""

from __future__ import annotations

from cmjlab.jump.flights import find_contacts
from cmjlab.jump.signal import prepare
from cmjlab.method import Method
from cmjlab.recording import Recording

_DEFAULT = Method()
#: Less contact than this between two flights is a rebound of the same jump, s.
REBOUND_S = 0.9


def split_jumps(recording: Recording, method: Method = _DEFAULT) -> list[Recording]:
    """Return one recording per jump, each with its own standing before and after.

    Cuts lie in the middle of the contact between two flights. A second flight less than
    0.9 s after landing is a rebound and stays with its jump.

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
    """
    signal = prepare(recording)
    flights = sorted(find_contacts(signal, method).flights, key=lambda f: f.start)
    rebound = REBOUND_S * signal.rate
    cuts = [
        (before.stop + after.start) // 2
        for before, after in zip(flights, flights[1:], strict=False)
        if after.start - before.stop >= rebound
    ]
    if not cuts:
        return [recording]
    bounds = [0, *cuts, signal.n]
    return [
        recording.replace(
            force_n=recording.force_n[start:stop],
            start_s=recording.start_s + start / recording.rate_hz,
            jump=number,
        )
        for number, (start, stop) in enumerate(zip(bounds, bounds[1:], strict=False), start=1)
    ]
