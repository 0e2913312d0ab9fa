"""FollowSettings: how often an unchanged athlete may be called changed, and how weeks are weighed."""

from __future__ import annotations

from dataclasses import dataclass

from cmjlab.settings import Settings, setting

_MEMORY = "(from memory)"


@dataclass(frozen=True, eq=False)
class FollowSettings(Settings):
    """Two tiers: an alarm for each week, and a conclusion that holds for a whole season.

    Examples
    --------
    >>> import cmjlab as cj
    >>> cj.FollowSettings(looks=20)
    FollowSettings(looks=20)
    """

    alarm: float = setting(
        0.02, "share of unchanged weeks that give an alarm, both sides", low=0.0001, high=0.5
    )
    season: float = setting(
        0.05,
        "share of unchanged athletes for whom a season ends in a conclusion, per measure",
        low=0.001,
        high=0.5,
    )
    looks: int = setting(
        12,
        "weeks of the season for which the conclusion is to hold; state all that are planned",
        low=1,
        high=60,
    )
    weight: float = setting(
        0.3,
        "weight of the newest week in the weighted mean; 1: each week by itself",
        low=0.05,
        high=1.0,
        source=f"Roberts 1959; Lucas & Saccucci 1990 {_MEMORY}",
    )
    slack: float = setting(
        1.0,
        "typical errors that a week may lie off before it counts in the running sum",
        low=0.1,
        high=5.0,
        source=f"Page 1954; half of the shift that is to be seen {_MEMORY}",
    )
