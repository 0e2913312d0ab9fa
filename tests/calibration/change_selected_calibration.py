"""Calibration for groups chosen on a baseline, without any true effect: coverage and bias.

    python tests/calibration/change_selected_calibration.py   # some minutes on one core

Writes ``change_selected_coverage.csv`` and ``change_selected_bias.csv`` beside this file. The m
highest of n athletes in base1 form the group; there is no training effect. Total variance
(athletes + noise) is 1. ``outcome`` "same": the selecting metric is tested; "other": another
metric is, with a correlation of .3 between athletes and of .8 within sessions. ``world``:
"still" (nothing happens), "drift" (slow true change, SD .3 of the trait), "shift" (the whole squad gains .3).
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np
import pandas as pd
from harness import COVERAGE_BAR, count, covers, judge

from cmjlab.stats.change.drift import (
    clean_change,
    clean_change_squad_error,
    constrained_model,
    regression_drift,
)
from cmjlab.stats.common.least_squares import contrast, least_squares

TABLE = Path(__file__).with_name("change_selected_coverage.csv")
BIAS = Path(__file__).with_name("change_selected_bias.csv")
STUDIES = 10_000
SEED = 20261126
BATCH = 1000
LEVEL = 0.95
#: Largest bias allowed, in SDs of a single value.
BIAS_BAR = 0.015

WRONG = {
    "change from base1, group": "naive: regression to the mean is in it",
    "change from base1, group - rest": "naive: regression to the mean is in it",
    "ANCOVA on base2 alone, group - rest": "the covariate is not what decided the group: refused",
}


def cells():
    """Return all situations."""
    return [
        {"n": n, "m": m, "icc": icc, "outcome": outcome, "world": "still"}
        for n, m in ((12, 4), (20, 7), (40, 13))
        for icc in (0.6, 0.85)
        for outcome in ("same", "other")
    ] + [
        {"n": 20, "m": 7, "icc": 0.85, "outcome": "same", "world": world}
        for world in ("drift", "shift")
    ]


def simulate(rng, cell, size):
    """Return selecting values (size, n, 3), tested values (size, n, 3) and membership."""
    n, icc = cell["n"], cell["icc"]
    trait = rng.normal(size=(size, n, 1))
    noise = rng.normal(size=(size, n, 3))
    x = np.sqrt(icc) * trait + np.sqrt(1 - icc) * noise
    if cell["outcome"] == "same":
        y = x
    else:
        own_trait = 0.3 * trait + np.sqrt(1 - 0.09) * rng.normal(size=trait.shape)
        own_noise = 0.8 * noise + 0.6 * rng.normal(size=noise.shape)
        y = np.sqrt(icc) * own_trait + np.sqrt(1 - icc) * own_noise
    if cell["world"] == "drift":
        y = y.copy()
        # SD .3 of the trait, its variance kept: 4.6 % of what an athlete was is gone by post
        moved = np.sqrt(1 - 0.09) * trait[..., 0] + 0.3 * rng.normal(size=(size, n))
        y[..., 2] += np.sqrt(icc) * (moved - trait[..., 0])
    if cell["world"] == "shift":
        y = y + np.array([0.0, 0.0, 0.3])
    rank = np.argsort(np.argsort(-x[..., 0], axis=1), axis=1)
    return x, y, rank < cell["m"]


def estimates(rng, cell, size):
    """Return every estimator of the effect in this cell."""
    x, y, member = simulate(rng, cell, size)
    base1, base2, post = y[..., 0], y[..., 1], y[..., 2]
    selectors = x[..., :1] if cell["outcome"] == "same" else np.stack([x[..., 0], base1], axis=-1)
    out = {
        "1 change from base2, group's spread": clean_change(base2, post, member),
        "1 change from base2, squad's error": clean_change_squad_error(base1, base2, post, member),
        "2 regression on the selectors": regression_drift(
            selectors, base1, base2, post, member
        ).beyond,
        "change from base1, group": clean_change(base1, post, member),
    }
    groups = np.stack([member, ~member], axis=-1).astype(float)
    minus = np.array([1.0, -1.0])
    out["1 change from base2, group - rest"] = contrast(
        least_squares(post - base2, groups), minus, "hc2_bm"
    )
    out["change from base1, group - rest"] = contrast(
        least_squares(post - base1, groups), minus, "hc2_bm"
    )
    for name, covariates in (
        ("3 ANCOVA on the selectors, group - rest", selectors),
        (
            "3 ANCOVA on selectors and base2, group - rest",
            np.concatenate([selectors, y[..., 1:2]], -1),
        ),
        ("ANCOVA on base2 alone, group - rest", y[..., 1:2]),
    ):
        centred = covariates - covariates.mean(axis=1, keepdims=True)
        fit = least_squares(post, np.concatenate([groups, centred], axis=-1))
        weights = np.concatenate([minus, np.zeros(covariates.shape[-1])])
        for kind, words in (("hc2_bm", "HC2"), ("classical", "classical")):
            if kind == "classical" or not name.startswith("ANCOVA"):
                out[f"{name}, {words}" if name.startswith("3") else name] = contrast(
                    fit, weights, kind
                )
    if cell["outcome"] == "same":
        (found,), status = constrained_model(y, member.astype(int), np.ones(y.shape, dtype=bool))
        found_se = np.where(status > 1, np.nan, found.se)
        out["3 constrained longitudinal model, group - rest"] = type(found)(
            found.estimate, found_se, found.df
        )
    return out


def shown(cell, quantity):
    """Return why a row is only shown, or "" when it is judged."""
    if quantity in WRONG:
        return WRONG[quantity]
    if cell["world"] == "drift":
        return "slow true drift: only athletes without training remove it"
    if cell["world"] == "shift" and "rest" not in quantity:
        return "shift of the whole squad: only athletes without training remove it"
    return ""


def bar(cell, quantity):
    """Return lowest and highest acceptable proportion."""
    if quantity.endswith("HC2"):
        return (0.94, 0.98)  # few athletes decide a cut's contrast: Bell-McCaffrey is conservative
    if "squad's error" in quantity or quantity.startswith("2"):
        return (0.94, 0.965)  # shares the second baseline with its own error term
    return COVERAGE_BAR


class Recorder:
    """The study function, which also keeps sums of the estimates for the bias table."""

    def __init__(self):
        self.sums = {}

    def __call__(self, rng, cell, size):
        """Count coverage and add the estimates to the sums."""
        found = estimates(rng, cell, size)
        for name, estimate in found.items():
            value = np.asarray(estimate.estimate)
            good = value[np.isfinite(value)]
            total = self.sums.setdefault(name, [0.0, 0.0, 0])
            total[0] += good.sum()
            total[1] += (good**2).sum()
            total[2] += len(good)
        return {name: covers(*e.interval(LEVEL), 0.0) for name, e in found.items()}

    def bias(self, cell):
        """Return mean and Monte Carlo error of every estimator."""
        rows = []
        for name, (total, squares, k) in self.sums.items():
            mean = total / k
            error = np.sqrt((squares / k - mean**2) / k)
            why = shown(cell, name)
            # two Monte Carlo errors of slack: a bias just below the bar passes
            verdict = "shown" if why else "pass" if abs(mean) < BIAS_BAR + 2 * error else "fail"
            rows.append({**cell, "quantity": name, "bias": mean, "mc_error": error, "bar": BIAS_BAR,
                         "verdict": verdict, "why": why})  # fmt: skip
        return rows


def main():
    """Run everything and write the tables."""
    start = time.perf_counter()
    counted = []
    biases = []
    for cell in cells():
        recorder = Recorder()
        counted += count(cell, recorder, studies=STUDIES, seed=SEED, batch=BATCH)
        biases += recorder.bias(cell)
    table = judge(pd.DataFrame(counted), bar=bar, shown=shown)
    bias = pd.DataFrame(biases)
    for frame, path in ((table, TABLE), (bias, BIAS)):
        frame.to_csv(path, index=False, float_format="%.6g", lineterminator="\n")
        words = frame["verdict"].value_counts().to_dict()
        sys.stdout.write(f"{path.name}: {len(frame)} rows, {words}\n")
        failed = frame[frame["verdict"] == "fail"]
        if len(failed):
            sys.stdout.write(failed.to_string() + "\n")
    sys.stdout.write(f"{time.perf_counter() - start:.0f} s\n")


if __name__ == "__main__":
    pd.set_option("display.width", 250)
    main()
