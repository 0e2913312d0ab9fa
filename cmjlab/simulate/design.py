"""StudySettings: the squad, its variation, and what the block does to it."""

from __future__ import annotations

from dataclasses import dataclass

from cmjlab.settings import Settings, setting
from cmjlab.simulate.population import TRAITS

#: Roles of sessions, and the share of the block's effect that they show.
EFFECT_SHARE = {"baseline": 0.0, "mid": 0.5, "post": 1.0, "follow_up": 0.5}


def athlete_ids(n: int) -> list[str]:
    """Return ids A01, A02 and so on."""
    return [f"A{i:0{max(2, len(str(n)))}d}" for i in range(1, n + 1)]


@dataclass(frozen=True, eq=False)
class StudySettings(Settings):
    """Design and size of everything in a simulated study.

    Effects, learning and standard deviations are relative (0.05 = 5 %), by trait: height,
    depth, time (to take-off), mass, strength (squat one-repetition maximum / body mass); for
    rise (centre of mass at take-off) they are metres. The defaults are invented, within the
    ranges reported for trained women.

    Examples
    --------
    >>> import cmjlab as cj
    >>> twice = cj.simulate.StudySettings(sessions={"base1": "baseline", "base2": "baseline"})
    >>> len(cj.simulate_sessions(twice, seed=1, metrics=["jump_height_m"]).sessions)
    60
    """

    groups: dict[str, int] = setting(
        {"strength": 10, "fast_braking": 10, "usual": 10},
        "athletes per group; the last group is the control",
    )
    allocation: str = setting(
        "selected",
        "selected: on values seen in the first session, the weakest into the first group; of"
        " the others those beyond one limit of depth and one of time into the second; the rest"
        " into the third. random: by lot",
        allowed=("selected", "random"),
    )
    sessions: dict[str, str] = setting(
        {"base1": "baseline", "base2": "baseline", "post": "post"}, "role of each session, in order"
    )
    jumps: int = setting(3, "jumps per athlete and session", low=1, high=50)
    means: dict[str, float] = setting(
        {
            "height": 0.285,
            "depth": 0.30,
            "time": 0.82,
            "rise": 0.11,
            "mass": 68.0,
            "strength": 1.45,
        },
        "typical value of each trait",
    )
    between_sd: dict[str, float] = setting(
        {
            "height": 0.11,
            "depth": 0.11,
            "time": 0.10,
            "rise": 0.012,
            "mass": 0.09,
            "strength": 0.13,
        },
        "spread between athletes",
    )
    between_correlation: dict[str, float] = setting(
        {"depth time": 0.45, "height depth": 0.25, "height strength": 0.45},
        "correlations between athletes",
    )
    day_sd: dict[str, float] = setting(
        {"height": 0.036, "depth": 0.035, "time": 0.028, "rise": 0.003, "mass": 0.006},
        "variation from day to day within an athlete",
    )
    jump_sd: dict[str, float] = setting(
        {"height": 0.038, "depth": 0.045, "time": 0.045, "rise": 0.005},
        "variation from jump to jump within a day",
    )
    within_correlation: dict[str, float] = setting(
        {"depth time": 0.5, "height depth": 0.3}, "correlations within athletes"
    )
    learning: dict[str, float] = setting(
        {"height": 0.008, "time": -0.010}, "change from the first session to all later ones"
    )
    effects: dict[str, dict[str, float]] = setting(
        {
            "strength": {"height": 0.085, "strength": 0.11, "mass": 0.008},
            "fast_braking": {"time": -0.13, "depth": -0.12, "height": 0.015, "strength": 0.02},
            "usual": {"height": 0.004, "strength": 0.015},
        },
        "change of each trait by the block, by group",
    )
    response_sd: dict[str, float] = setting(
        {"height": 0.020, "depth": 0.025, "time": 0.025, "strength": 0.03},
        "spread of the block's effect between athletes of a trained group",
    )
    strength_error: float = setting(
        0.025, "error of a tested one-repetition maximum", low=0.0, high=0.5
    )
    absent: dict[str, str] = setting({}, "athlete id and the session that was missed")
    left: dict[str, str] = setting({}, "athlete id and the first session after leaving")
    rate_hz: float = setting(1000.0, "sampling rate", unit="Hz", low=100.0, high=10_000.0)
    noise_sd_n: float = setting(0.6, "plate noise", unit="N", low=0.0, high=100.0)
    sway_sd_n: float = setting(2.0, "standing sway", unit="N", low=0.0, high=100.0)
    quiet_before_s: float = setting(2.0, "least standing before", unit="s", low=0.2, high=60.0)
    quiet_after_s: float = setting(1.5, "least standing after", unit="s", low=0.0, high=60.0)

    @property
    def n_athletes(self) -> int:
        """Number of athletes."""
        return sum(self.groups.values())

    @property
    def control(self) -> str:
        """The control group."""
        return list(self.groups)[-1]

    @property
    def baselines(self) -> list[str]:
        """Sessions before the block, in order."""
        return [s for s, role in self.sessions.items() if role == "baseline"]

    def _contradictions(self) -> list[str]:
        problems = []
        if not self.groups or any(int(n) != n or n < 1 for n in self.groups.values()):
            return ["groups: at least one group, each with at least one athlete"]
        if self.allocation == "selected" and len(self.groups) != 3:
            problems.append("allocation 'selected' needs exactly three groups")
        wrong = [r for r in self.sessions.values() if r not in EFFECT_SHARE]
        if wrong or not self.sessions:
            problems.append(
                f"sessions: roles are {', '.join(EFFECT_SHARE)}, found {wrong or 'none'}"
            )
        problems += [f"effects: no group {g!r}" for g in self.effects if g not in self.groups]
        named = [("means", self.means), ("between_sd", self.between_sd), ("day_sd", self.day_sd),
                 ("jump_sd", self.jump_sd), ("learning", self.learning),
                 ("response_sd", self.response_sd),
                 *((f"effects.{g}", e) for g, e in self.effects.items())]  # fmt: skip
        for name, values in named:
            problems += [
                f"{name}: no trait {t!r} ({', '.join(TRAITS)})" for t in values if t not in TRAITS
            ]
        missing = [t for t in TRAITS if t not in self.means]
        problems += [f"means: {', '.join(missing)} missing"] if missing else []
        for name in ("absent", "left"):
            sessions = getattr(self, name).values()
            problems += [f"{name}: no session {s!r}" for s in sessions if s not in self.sessions]
            known = athlete_ids(self.n_athletes)
            problems += [
                f"{name}: no athlete {a!r} (they are {known[0]} to {known[-1]})"
                for a in getattr(self, name)
                if a not in known
            ]
        return problems
