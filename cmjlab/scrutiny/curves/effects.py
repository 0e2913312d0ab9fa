"""What was found along the curves: bands of groups and comparisons, athletes beyond their noise."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cmjlab.results import Reason
from cmjlab.scrutiny.curves.question import Question
from cmjlab.scrutiny.curves.squad import SquadCurves
from cmjlab.stats.change.design import contrasts_of
from cmjlab.stats.curves.max_t import Band, one_group, two_groups
from cmjlab.stats.curves.noise import CurveNoise
from cmjlab.stats.curves.stretches import Stretch, stretches

Array = NDArray[np.float64]

#: Athletes of a group that are needed for a band.
FEWEST = 2
#: Groups differ in size, and the smaller spreads more, by these factors: the test is then too eager.
_SIZES, _SPREADS = 1.4, 1.4


@dataclass(frozen=True)
class Effect:
    """A change along the curve: of one group (``second`` is ""), or of one beside another.

    Attributes
    ----------
    first, second : str
        Groups.
    sizes : tuple of int
        Athletes of each.
    band : Band or Reason
    found : tuple of Stretch
        Where the band leaves zero.
    uneven : bool
        Whether the smaller group spreads so much more that p is too small.
    """

    first: str
    second: str
    sizes: tuple[int, ...]
    band: Band | Reason
    found: tuple[Stretch, ...] = ()
    uneven: bool = False


@dataclass(frozen=True)
class Athlete:
    """The change of one athlete, shape (m,), and where it lies beyond the noise of the test."""

    athlete: str
    group: str
    before: Array
    after: Array
    largest: float = float("nan")
    found: tuple[Stretch, ...] = ()

    @property
    def change(self) -> Array:
        """After − before."""
        return self.after - self.before


def group_effects(squad: SquadCurves, question: Question) -> tuple[list[Effect], list[Effect]]:
    """Return the change within each group, and the differences between groups."""
    changes = {g: _changes(squad, question, g) for g in squad.groups}
    few = {g for g, c in changes.items() if len(c) < FEWEST}
    within = [_within(g, changes[g], question) for g in squad.groups]
    contrasts = contrasts_of(squad.groups, question.control) if len(squad.groups) > 1 else []
    between = []
    for first, second in contrasts:
        sizes = (len(changes[first]), len(changes[second]))
        if few & {first, second}:
            between.append(Effect(first, second, sizes, _too_few((first, second), sizes)))
            continue
        band = two_groups(changes[first], changes[second], question.level)
        found = stretches(band.outside, band.estimate, question.points)
        uneven = _uneven(changes[first], changes[second])
        between.append(Effect(first, second, sizes, band, tuple(found), uneven))
    return within, between


def _changes(squad: SquadCurves, question: Question, group: str) -> Array:
    members = squad.members(group)
    return squad.of(question.after, members) - squad.of(question.before, members)


def _within(group: str, changes: Array, question: Question) -> Effect:
    sizes = (len(changes),)
    if len(changes) < FEWEST:
        return Effect(group, "", sizes, _too_few((group,), sizes))
    band = one_group(changes, question.level)
    found = stretches(band.outside, band.estimate, question.points)
    return Effect(group, "", sizes, band, tuple(found))


def _too_few(groups: tuple[str, ...], sizes: tuple[int, ...]) -> Reason:
    small = [g for g, n in zip(groups, sizes, strict=True) if n < FEWEST]
    return Reason("few_for_curves", {"groups": small or list(groups), "needed": FEWEST})


def _uneven(first: Array, second: Array) -> bool:
    """Return whether the smaller group spreads so much more that its p is too small."""
    small, large = sorted((first, second), key=len)
    spread = [float(np.sqrt(x.var(axis=0, ddof=1).mean())) for x in (small, large)]
    return len(large) >= _SIZES * len(small) and spread[0] >= _SPREADS * spread[1]


def athlete_effects(
    squad: SquadCurves, question: Question, noise: CurveNoise | Reason
) -> Iterator[Athlete]:
    """Yield the change of each athlete, in the order of the squad."""
    for athlete, group in zip(squad.athletes, squad.group, strict=True):
        before, after = (squad.means[athlete, s] for s in (question.before, question.after))
        if isinstance(noise, Reason):
            yield Athlete(athlete, str(group), before, after)
            continue
        change = after - before
        outside = noise.outside(change)
        half = noise.half_width
        with np.errstate(invalid="ignore", divide="ignore"):
            sizes = np.where(noise.moving, np.abs(change) / half, 0.0) * noise.critical
        found = stretches(outside, change, question.points)
        yield Athlete(athlete, str(group), before, after, float(sizes.max()), tuple(found))
