"""What is not known before a block and has to be assumed."""

from __future__ import annotations

from dataclasses import dataclass

from cmjlab.settings import Settings, setting


def _number_within(value: object, low: float, high: float) -> bool:
    return isinstance(value, int | float) and low <= value <= high


@dataclass(frozen=True, eq=False)
class Scenario(Settings):
    """What is not known before the block and has to be assumed; every field is stated in the result.

    Examples
    --------
    >>> import cmjlab as cj
    >>> cj.Scenario(attrition=0.1)
    Scenario(attrition=0.1)
    """

    response_sd: tuple[float, ...] = setting(
        (0.0, 0.5, 1.0, 1.5),
        "spread of true responses in the trained group, in typical errors; several are shown"
        " because nobody knows it in advance",
    )
    drift_sd: float = setting(
        0.0,
        "slow true change of athletes over the block without training, in typical errors",
        low=0.0,
        high=20.0,
    )
    sd_between_athletes: float = setting(
        0.0,
        "true spread between athletes in the metric's unit; 0: taken from the reliability result",
        low=0.0,
    )
    baselines: tuple[int, ...] = setting((1, 2), "baseline sessions that are averaged")
    attrition: float = setting(
        0.0, "share of athletes without a test after the block", low=0.0, high=0.9
    )
    largest: int = setting(60, "largest group in the pictures", low=4, high=1000)
    simulations: int = setting(2000, "simulated studies that confirm a size", low=0, high=1_000_000)
    seed: int = setting(1, "seed of the simulation", low=0)

    def _contradictions(self) -> list[str]:
        problems = []
        if not self.response_sd or any(not _number_within(r, 0, 20) for r in self.response_sd):
            problems.append(
                "response_sd: one or more numbers from 0 to 20 typical errors are needed"
            )
        if not self.baselines or any(
            not _number_within(b, 1, 20) or int(b) != b for b in self.baselines
        ):
            problems.append("baselines: one or more whole numbers from 1 to 20 are needed")
        return problems
