"""How often bands of whole curves are wrong, and how often they find a change where it was put.

Curves are random: three phases of 21 points, a slow wave and a quicker one, SD from 0.3 at the ends
of the phases to 1 in their middle and half as much again in the last phase. *smooth*: normal;
*rough*: three times as wavy; *heavy tails*: each athlete's curve is stretched by the root of
3 / chi-square(3), as in a t distribution; *twice*: the first group spreads twice as much as the second.

*any change* counts studies without any change whose band leaves zero somewhere: it must be 5 %.
With a bump of 1.5 SD at 70 % of braking, half as high at 60 and 80 %: *found there* counts studies
with a stretch that meets 60 to 80 % of braking, *stretches meet it* the studies in which every
stretch meets it, *band holds the truth* those whose band holds the true difference at all points.
*one athlete* counts changes of single unchanged athletes that leave the noise band of a whole
curve, which comes from n other athletes in k sessions.

``python tests/calibration/curve_bands.py`` (some three minutes on one core) writes ``curve_bands.csv``.
"""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
from harness import calibrate, rejects
from judged_table import write_judged

from cmjlab.stats.curves.max_t import one_group, two_groups
from cmjlab.stats.curves.noise import curve_noise
from cmjlab.stats.curves.stretches import stretches

PATH = Path(__file__).with_name("curve_bands.csv")
SEED = 20261201
STUDIES = 4_000
BATCH = 250
LEVEL = 0.95
#: Points of a phase; deals and draws of each study (the library takes 5,000 and 4,000).
POINTS, DEALS, DRAWS = 21, 500, 500
#: Changes of unchanged athletes that are read against each noise.
READ = 4
BARS = {
    "any change": (0.04, 0.06),
    "band holds the truth": (0.94, 0.97),
    "one athlete": (0.035, 0.065),
}
HIGH = 1.5

_NONE = {"kind": "", "n": 0, "other": 0, "shape": "smooth", "change": "none", "sessions": 0}
CELLS = [
    {**_NONE, **cell}
    for cell in (
        *({"kind": "one group", "n": n, "shape": s} for n in (8, 20) for s in ("smooth", "rough", "heavy tails")),
        *({"kind": "two groups", "n": n, "other": n, "shape": s} for n in (8, 20) for s in ("smooth", "rough", "heavy tails")),
        *({"kind": "two groups", "n": 8, "other": 20, "shape": s} for s in ("smooth", "heavy tails")),
        *({"kind": "two groups", "n": n, "other": m, "shape": "twice"} for n, m in ((20, 20), (20, 8), (8, 20))),
        *({"kind": "two groups", "n": n, "other": n, "change": "braking 60 to 80 %"} for n in (8, 12, 20)),
        {"kind": "one group", "n": 12, "change": "braking 60 to 80 %"},
        *({"kind": "one athlete", "n": n, "sessions": k, "shape": s}
          for n, k, s in ((8, 2, "smooth"), (12, 2, "smooth"), (20, 2, "smooth"), (30, 2, "smooth"),
                          (12, 3, "smooth"), (20, 2, "rough"), (20, 2, "heavy tails"))),
    )
]  # fmt: skip


def _roots() -> dict[str, np.ndarray]:
    """Return what turns independent normal numbers into curves, by shape."""
    at = np.tile(np.linspace(0.0, 1.0, POINTS), 3) + np.repeat(np.arange(3), POINTS)
    sd = (0.3 + 0.7 * np.sin(np.pi * (at % 1.0)) ** 2) * np.where(at >= 2.0, 1.5, 1.0)
    apart = at[:, None] - at[None, :]
    out = {}
    for shape, quick in (("smooth", 1.0), ("rough", 3.0)):
        waves = 0.7 * np.exp(-((apart * quick / 0.6) ** 2)) + 0.3 * np.exp(
            -((apart * quick / 0.15) ** 2)
        )
        values, vectors = np.linalg.eigh(waves * sd[:, None] * sd[None, :])
        keep = values > 1e-6 * values[-1]
        out[shape] = (vectors[:, keep] * np.sqrt(values[keep])).T
    return out


ROOTS = _roots()
PLACE = np.arange(3 * POINTS) / (POINTS - 1)
#: A bump on the second phase: half as high at 60 and 80 % of it.
_PERCENT = np.linspace(0.0, 100.0, POINTS)
BUMP = HIGH * np.concatenate(
    [np.zeros(POINTS), 0.5 ** (((_PERCENT - 70.0) / 10.0) ** 2), np.zeros(POINTS)]
)


def curves(rng, shape, *size):
    """Return random curves, shape (*size, 63)."""
    root = ROOTS["rough" if shape == "rough" else "smooth"]
    values = rng.standard_normal((*size, len(root))) @ root
    if shape == "heavy tails":
        values *= np.sqrt(3.0 / rng.chisquare(3.0, (*size, 1)))
    return values


def groups(rng, cell):
    """Return the band of one study, and the true difference."""
    first = curves(rng, cell["shape"], cell["n"]) * (2.0 if cell["shape"] == "twice" else 1.0)
    truth = BUMP if cell["change"] != "none" else np.zeros_like(BUMP)
    seed = int(rng.integers(2**31))
    if cell["kind"] == "one group":
        return one_group(first + truth, LEVEL, drawn=DEALS, seed=seed), truth
    second = curves(rng, cell["shape"], cell["other"])
    return two_groups(first + truth, second, LEVEL, drawn=DEALS, seed=seed), truth


def found(band, truth):
    """Return whether the bump was found, whether all stretches meet it, whether the band holds."""
    where = stretches(band.outside, band.estimate, POINTS)
    meets = [s.phase == 1 and s.start <= 80.0 and s.end >= 60.0 for s in where]
    low, high = band.limits
    holds = bool(((low <= truth) & (truth <= high)).all())
    return any(meets), all(meets) if meets else np.nan, holds


def study(rng, cell, size):
    """Return what was counted in many studies of one cell."""
    if cell["kind"] == "one athlete":
        return {"one athlete": athletes(rng, cell, size)}
    bands = [groups(rng, cell) for _ in range(size)]
    if cell["change"] == "none":
        return {"any change": rejects([band.p_any for band, _ in bands])}
    hits = np.array([found(*b) for b in bands], dtype=float)
    return dict(
        zip(("found there", "stretches meet it", "band holds the truth"), hits.T, strict=True)
    )


def athletes(rng, cell, size):
    """Return which unchanged athletes leave the band, READ of them beside each noise."""
    hits = []
    for _ in range(-(-size // READ)):
        squad = curves(rng, cell["shape"], cell["n"], cell["sessions"])
        noise = curve_noise(squad, LEVEL, draws=DRAWS, seed=int(rng.integers(2**31)))
        change = np.diff(curves(rng, cell["shape"], READ, 2), axis=1)[:, 0]
        hits.append(noise.outside(change).any(axis=1))
    return np.concatenate(hits)[:size].astype(float)


def bar(cell, quantity):
    """Return the bar of a quantity."""
    return BARS.get(quantity, (0.0, 1.0))


def shown(cell, quantity):
    """Return why a row is only shown, or "" when it is judged."""
    if quantity in ("found there", "stretches meet it"):
        return "what is found, not a promise"
    if cell["shape"] == "twice" and cell["n"] < cell["other"]:
        return "the smaller group spreads twice as much: a note says so"
    if cell["shape"] == "twice" and cell["n"] > cell["other"]:
        return "the larger group spreads twice as much: too careful"
    if cell["kind"] == "one athlete" and cell["shape"] == "heavy tails":
        return "sessions of some athletes are far noisier than the normal distribution has them"
    return ""


def main():
    """Run everything and write the table."""
    start = time.perf_counter()
    table = calibrate(CELLS, study, studies=STUDIES, seed=SEED, bar=bar, shown=shown, batch=BATCH)
    write_judged(table, PATH, start)


if __name__ == "__main__":
    main()
