"""The section [block] of study.toml: weeks of the block, and what stands in the weight room."""

from __future__ import annotations

from dataclasses import dataclass

from cmjlab.settings import Settings, setting

_COMMON = "common practice, no source"
#: Heaviest bar or plate that is taken for one, kg (our own); it catches pounds and grams.
_HEAVIEST_BAR, _HEAVIEST_PLATE = 60.0, 50.0


@dataclass(frozen=True, eq=False)
class BlockSettings(Settings):
    """How a block is trained: weeks, how the percentage rises, and what a bar can weigh."""

    weeks: int = setting(
        0, "weeks of the block; 0: block_weeks of the plan, else one week", low=0, high=52
    )
    percent_per_week: float = setting(
        0.0, "how much a percentage rises a week; 0: evenly from the lower to the upper end of its range",
        unit="%", low=0.0, high=20.0,
    )  # fmt: skip
    bar_kg: float = setting(
        20.0, "mass of the bar", unit="kg", low=0.0, high=_HEAVIEST_BAR, source=_COMMON
    )
    plates_kg: tuple[float, ...] = setting(
        (25.0, 20.0, 15.0, 10.0, 5.0, 2.5, 1.25),
        "plates at hand, each once (kg); they are put on in pairs, as many as are needed",
        source=_COMMON,
    )
    maximum_until: str = setting(
        "", "last session whose 1RM counts; empty: the session before the block"
    )

    def _contradictions(self) -> list[str]:
        numbers = all(
            isinstance(p, int | float) and not isinstance(p, bool) and 0 < p <= _HEAVIEST_PLATE
            for p in self.plates_kg
        )
        if not self.plates_kg or not numbers:
            return [
                f"plates_kg: found {list(self.plates_kg)}; a list of masses above 0 and up to"
                f" {_HEAVIEST_PLATE:g} kg is needed, e.g. plates_kg = [20, 10, 5, 2.5, 1.25]"
            ]
        return []
