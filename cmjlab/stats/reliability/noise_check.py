"""What the check for unequal noise can see: silence is no proof that all athletes are alike.

Shares of simulated squads in which the notes on uneven noise or on one athlete sound, from
``tests/calibration/noise_check.csv`` (4,000 squads a cell; a test holds the numbers here to it).
"""

from __future__ import annotations

from collections.abc import Sequence

from cmjlab.results import Note

#: Sessions -> athletes -> share of squads in which it is noticed that the noise of athletes reaches
#: from 0.2 to 3 times the usual, and from 0.5 to 2 times it.
SEEN = {
    2: {6: (0.12, 0.03), 8: (0.40, 0.17), 12: (0.43, 0.16), 20: (0.49, 0.18), 30: (0.57, 0.17)},
    3: {6: (0.29, 0.08), 8: (0.78, 0.43), 12: (0.79, 0.38), 20: (0.86, 0.35), 30: (0.90, 0.34)},
}


def seen(athletes: int, sessions: int) -> tuple[float, float] | None:
    """Return both shares of the next smaller squad of the table; None below it.

    More than three sessions are taken as three, which they see at least as well as.
    """
    if sessions < min(SEEN):
        return None
    table = SEEN[min(sessions, max(SEEN))]
    sizes = [n for n in table if n <= athletes]
    return table[max(sizes)] if sizes else None


def silence_notes(athletes: int, sessions: int, noticed: Sequence[Note]) -> list[Note]:
    """Return what the silence of the check is worth; nothing where it was not silent.

    Parameters
    ----------
    athletes, sessions : int
        Athletes with two or more values, and sessions.
    noticed : sequence of Note
        What the check found.
    """
    shares = seen(athletes, sessions)
    if noticed or shares is None:
        return []
    wide, narrow = shares
    values = {"athletes": athletes, "sessions": sessions, "wide": wide, "narrow": narrow}
    return [Note("noise_check_silent", values)]
