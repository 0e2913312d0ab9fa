"""Metrics of each foot, and asymmetries; phase boundaries come from the summed force."""

from __future__ import annotations

from cmjlab.catalog.entries import Metric

_SOURCE = "Bishop et al. 2016 (abstract read); share of the total for bilateral tests"
_SUM = "definition of the summed force, applied to one plate"
_NOTE = "compare it with the athlete's own spread from jump to jump first; it is no diagnosis"

#: stem, label, unit, phase, formula of one side
_QUANTITIES: tuple[tuple[str, str, str, str, str], ...] = (
    ("body_weight", "Body weight", "N", "weighing", "mean F while weighing"),
    ("mean_unweighting_force", "Mean unweighting force", "N", "unweighting", "∫F dt / t"),
    ("mean_braking_force", "Mean braking force", "N", "braking", "∫F dt / t"),
    ("peak_braking_force", "Peak braking force", "N", "braking", "max F in braking"),
    ("braking_impulse", "Braking impulse", "N·s", "braking", "∫F dt"),
    ("force_at_zero_velocity", "Force at zero velocity", "N", "braking", "F at v = 0"),
    ("mean_propulsion_force", "Mean propulsion force", "N", "propulsion", "∫F dt / t"),
    ("peak_propulsion_force", "Peak propulsion force", "N", "propulsion", "max F in propulsion"),
    ("propulsion_impulse", "Propulsion impulse", "N·s", "propulsion", "∫F dt"),
    ("peak_landing_force", "Peak landing force", "N", "landing", "max F within 0.5 s after landing"),
    (
        "landing_impulse_100ms", "Landing impulse of the first 100 ms", "N·s", "landing",
        "∫F dt over 0.1 s from landing",
    ),
)  # fmt: skip
_ENDING = {"N": "n", "N·s": "n_s"}


def _same_as(stem: str) -> str:
    """Return the asymmetry that an impulse's repeats: over one phase, impulse is mean times time."""
    phase = stem.removesuffix("_impulse")
    return f"mean_{phase}_force_asymmetry_percent" if phase != stem else ""


def _entries() -> list[Metric]:
    out = []
    for stem, label, unit, phase, formula in _QUANTITIES:
        late = phase == "landing"
        for side in ("left", "right"):
            out.append(
                Metric(
                    f"{side}_{stem}_{_ENDING[unit]}",
                    f"{label}, {side}",
                    unit,
                    "limbs",
                    f"{formula}, {side} plate ({phase})",
                    f"share of the {side} foot",
                    ratio_scale=True,
                    scope="limbs",
                    exploratory=late,
                    source=_SUM,
                )
            )
        out.append(
            Metric(
                f"{stem}_asymmetry_percent",
                f"{label}, asymmetry",
                "%",
                "limbs",
                "as the setting “asymmetry” says; by default 100 (R − L) / (R + L), + = right larger",
                _NOTE,
                ratio_scale=False,
                scope="limbs",
                same_as=_same_as(stem),
                exploratory=late,
                source=_SOURCE,
            )
        )
    return out


LIMBS: tuple[Metric, ...] = tuple(_entries())
