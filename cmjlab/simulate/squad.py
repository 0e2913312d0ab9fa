"""The squad in numbers: traits of every athlete, session and jump, and who is in which group."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cmjlab.simulate.closed_form import Parameters
from cmjlab.simulate.design import EFFECT_SHARE, StudySettings
from cmjlab.simulate.exact import exact_metrics
from cmjlab.simulate.population import (
    TRAITS,
    apply_deviation,
    correlated_normals,
    parameters_of,
    trait_vector,
)

FloatArray = NDArray[np.float64]
_STRENGTH, _MASS = TRAITS.index("strength"), TRAITS.index("mass")
_DEPTH, _TIME = TRAITS.index("depth"), TRAITS.index("time")
_CHUNK = 4000


@dataclass(frozen=True)
class Squad:
    """Traits and jumps of a simulated squad; n athletes, k sessions, j jumps.

    Attributes
    ----------
    group : ndarray of str, shape (n,)
    expected : ndarray, shape (n, k, n_traits)
        Traits of an athlete in a session, without the day's and the jump's deviation.
    lifted_kg : ndarray, shape (n, k)
        Tested squat one-repetition maximum, with its error, in steps of 2.5 kg.
    true_parameters : Parameters
        Jump of the expected traits; numbers of shape (n, k).
    jump_parameters : Parameters
        Jump that was done; numbers of shape (n, k, j).
    asymmetry : dict of phase to ndarray, shape (n, k, j)
        100 (right − left) / (right + left), percent.
    """

    group: NDArray[np.str_]
    expected: FloatArray
    lifted_kg: FloatArray
    true_parameters: Parameters
    jump_parameters: Parameters
    asymmetry: dict[str, FloatArray]


def draw_squad(settings: StudySettings, random: np.random.Generator, *, factor: int = 1) -> Squad:
    """Draw a squad ``factor`` times as large as the groups of the settings say."""
    names = list(settings.groups)
    sizes = [settings.groups[g] * factor for g in names]
    n, k, j = sum(sizes), len(settings.sessions), settings.jumps
    traits_r, build_r, day_r, jump_r, lift_r, group_r, effect_r, limb_r = random.spawn(8)
    means = np.broadcast_to(trait_vector(settings.means), (n, len(TRAITS))).copy()
    athlete = apply_deviation(
        means,
        correlated_normals(
            settings.between_sd, settings.between_correlation, shape=(n,), random=traits_r
        ),
    )
    within = settings.within_correlation
    day = correlated_normals(settings.day_sd, within, shape=(n, k), random=day_r)
    single = correlated_normals(settings.jump_sd, within, shape=(n, k, j), random=jump_r)
    learned = np.arange(k)[:, None] > 0
    base = np.log1p(trait_vector(settings.learning)) * learned
    first = apply_deviation(athlete, day[:, 0] + single[:, 0].mean(axis=1))
    lift_error = lift_r.normal(0, settings.strength_error, (n, k))
    seen_lift = to_plates(first[:, _STRENGTH] * first[:, _MASS] * np.exp(lift_error[:, 0]))
    group = _allocate(settings, sizes, (seen_lift / first[:, _MASS], first), group_r)
    change = base + _block(settings, group, effect_r)
    expected = apply_deviation(np.repeat(athlete[:, None], k, axis=1), change)
    done = apply_deviation(expected[:, :, None], day[:, :, None] + single)
    lifted = to_plates(expected[..., _STRENGTH] * expected[..., _MASS] * np.exp(lift_error))
    fixed = _build(n, build_r)
    drop = np.maximum(fixed["landing_drop_m"][:, None, None] + jump_r.normal(0, 0.01, (n, k, j)), 0)
    true = parameters_of(expected, **{key: v[:, None] for key, v in fixed.items()})
    jumps = parameters_of(
        done,
        push_exponent=fixed["push_exponent"][:, None, None],
        push_dip=fixed["push_dip"][:, None, None],
        impact_share=fixed["impact_share"][:, None, None],
        landing_drop_m=drop,
    )
    return Squad(group, expected, lifted, true, jumps, _asymmetry((n, k, j), limb_r))


def to_plates(kilogram: FloatArray) -> FloatArray:
    """Return loads in the steps that a barbell allows, 2.5 kg."""
    return np.round(kilogram / 2.5) * 2.5


def _build(n: int, random: np.random.Generator) -> dict[str, FloatArray]:
    """Return what stays the same in an athlete's jumps: shape of the push, and landing."""
    return {
        "push_exponent": random.uniform(6, 9, n),
        "push_dip": np.clip(random.normal(0, 0.2, n), -0.4, 0.4),
        "landing_drop_m": np.maximum(random.normal(0.03, 0.015, n), 0),
        "impact_share": random.uniform(0.5, 0.7, n),
    }


def _allocate(
    settings: StudySettings,
    sizes: list[int],
    seen: tuple[FloatArray, FloatArray],
    random: np.random.Generator,
) -> NDArray[np.str_]:
    """Return each athlete's group, from lot or from what the first session showed."""
    names = list(settings.groups)
    strength, traits = seen
    n = strength.size
    if settings.allocation == "random":
        return random.permutation(np.repeat(names, sizes))
    group = np.full(n, names[2], dtype=f"<U{max(map(len, names))}")
    group[np.argsort(strength, kind="stable")[: sizes[0]]] = names[0]
    others = np.flatnonzero(group != names[0])
    place = np.array([traits[others, t].argsort().argsort() for t in (_DEPTH, _TIME)])
    both = place.min(axis=0) + place.max(axis=0) / (2 * others.size)  # ties: the other value
    group[others[np.argsort(-both, kind="stable")[: sizes[1]]]] = names[1]
    return group


def _block(
    settings: StudySettings, group: NDArray[np.str_], random: np.random.Generator
) -> FloatArray:
    """Return the log change of every trait by the block, shape (n, k, n_traits)."""
    share = np.array([EFFECT_SHARE[role] for role in settings.sessions.values()])
    response = random.standard_normal((group.size, len(TRAITS))) * trait_vector(
        settings.response_sd
    )
    total = np.zeros((group.size, len(TRAITS)))
    for name in settings.groups:
        here = group == name
        effect = np.log1p(trait_vector(settings.effects.get(name, {})))
        trained = len(settings.groups) == 1 or name != settings.control
        total[here] = effect + (response[here] if trained else 0.0)
    return share[:, None] * total[:, None, :]


def _asymmetry(shape: tuple[int, int, int], random: np.random.Generator) -> dict[str, FloatArray]:
    """Return asymmetries: an athlete's own, and a deviation of each jump."""
    n = shape[0]
    own = random.standard_normal((5, n, 1, 1))
    single = random.standard_normal((5, *shape))
    braking = 6 * own[0]
    return {
        "standing": 3 * own[1] + 1.0 * single[0],
        "unweighting": 3 * own[1] + 2.0 * single[1],
        "braking": braking + 2.5 * single[2],
        "propulsion": 0.4 * braking + 3 * own[2] + 1.5 * single[3],
        "landing": 8 * own[3] + 6 * single[4],
    }


def metrics_of(parameters: Parameters, keys: Iterable[str]) -> dict[str, FloatArray]:
    """Return exact metrics of many jumps, in parts that fit into memory."""
    shape = np.broadcast_shapes(*(np.shape(v) for v in parameters[:-1]))
    numbers = parameters._fields[:-1]
    flat = {name: np.broadcast_to(getattr(parameters, name), shape).ravel() for name in numbers}
    wanted = list(keys)
    parts = []
    for start in range(0, int(np.prod(shape)), _CHUNK):
        part: dict[str, Any] = {k: v[start : start + _CHUNK] for k, v in flat.items()}
        parts.append(exact_metrics(parameters._replace(**part), wanted))
    return {key: np.concatenate([part[key] for part in parts]).reshape(shape) for key in parts[0]}
