"""One figure of each kind from the demo study: ``python tests/plots/demo_pictures.py`` keeps them."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any

import cmjlab as cj


@cache
def study() -> cj.Study:
    """Return the demo study."""
    return cj.Study.open(cj.demo_study())


def jump() -> Any:
    """Return the figure of one jump."""
    return cj.plots.jump_figure(study().jump(study().files["file"].iloc[4]))


def season() -> Any:
    """Return the figure of one athlete's weeks."""
    return cj.plots.season_figure(study().follow(), "A09")


def planning() -> Any:
    """Return the curves of power and precision."""
    noise = {"jump_height_m": (0.014, 28)}
    return cj.plots.planning_figure(
        cj.plan_study("jump_height_m", reliability=noise, matters=0.015)
    )


def between(matters: float = 0.015) -> Any:
    """Return the differences between groups with the band of the change that matters."""
    found = study().change_between("jump_height_m")
    return cj.plots.difference_figure(found, change_that_matters=matters)


#: Name of the kept picture -> the figure.
PICTURES: dict[str, Callable[[], Any]] = {
    "jump": jump,
    "season": season,
    "planning": planning,
    "between": between,
    **{
        name: (lambda name=name: study().plot(name))
        for name in (
            "squad", "overview", "noise", "sessions", "agreement", "jumps_needed", "within",
            "individuals", "placement", "strength",
        )
    },
}  # fmt: skip

if __name__ == "__main__":
    from picture_kit import coarse, keep

    for name, made in PICTURES.items():
        keep(name, coarse(made()))
        print(name)
