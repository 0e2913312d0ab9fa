"""What is asked of the curves of a study, with everything filled in that the plan knows."""

from __future__ import annotations

from dataclasses import dataclass

from cmjlab import checks
from cmjlab.checks import suggestion
from cmjlab.errors import StatsError
from cmjlab.plan import Selection
from cmjlab.study.analyses.defaults import pair_of
from cmjlab.study.curves import PHASES, QUANTITIES
from cmjlab.study.study import Study

#: Points of each phase, both ends included: 2 % steps.
POINTS = 51


@dataclass(frozen=True)
class Question:
    """What is asked.

    Attributes
    ----------
    quantity, unit : str
    before, after : str
        Sessions.
    control : str or None
    points : int
        Of each phase.
    level : float
    assignment : str or Selection
        How the groups came about.
    """

    quantity: str
    unit: str
    before: str
    after: str
    control: str | None
    points: int
    level: float
    assignment: str | Selection

    @property
    def biased(self) -> bool:
        """Whether the change starts from the session whose values decided the groups."""
        return isinstance(self.assignment, Selection) and self.assignment.session == self.before

    @property
    def phases(self) -> tuple[str, ...]:
        """The phases in order."""
        return tuple(PHASES)


def ask(
    study: Study,
    quantity: str,
    sessions: tuple[str | None, str | None],
    control: str | None,
    points: int,
    level: float | None,
) -> Question:
    """Return the question; what the study does not have is refused.

    Raises
    ------
    ArgumentError, StatsError
        An unknown quantity, session or control group, or sessions that are one.
    """
    checks.one_of("quantity", quantity, QUANTITIES)
    number = int(checks.number("points", points, low=11, high=501))
    before, after = pair_of(study, *sessions)
    known = list(study.sessions["session"].astype(str))
    for name, session in (("before", before), ("after", after)):
        if session not in known:
            raise StatsError(
                f"{name}: there is no session {session!r}; sessions are {', '.join(known)}."
                f"{suggestion(session, known)}"
            )
    if before == after:
        raise StatsError(f"before and after are both {before!r}; a change needs two sessions.")
    if control and control not in study.groups:
        raise StatsError(
            f"control: there is no group {control!r}; groups are {', '.join(study.groups) or 'none'}."
            f"{suggestion(control, study.groups)}"
        )
    plan = study.plan
    return Question(
        quantity, QUANTITIES[quantity], before, after, control or plan.control_group or None, number,
        checks.level(plan.level if level is None else level), plan.assignment,
    )  # fmt: skip
