"""How often the joint test of groups × sessions rejects when there is no effect.

Two groups of n athletes, three or five sessions, complete or with 10 % of the values missing at
random. Tests: the F of a mixed model (unstructured covariance; random slope) by Kenward–Roger and
by Satterthwaite, and the mixed ANOVA with Greenhouse–Geisser on the athletes who have all sessions.
Data: a state that wanders from session to session (correlation .7), or slopes of the athletes' own.

``python tests/calibration/mixed_joint.py`` (about three minutes on one core) writes
``mixed_joint.csv``; ``--pilot`` prints 100 studies a cell.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np
from harness import REJECTION_BAR, calibrate, rejects
from judged_table import write_judged
from mixed_cells import simulate

from cmjlab.stats.common.reml import fit_linear, slope_structure, unstructured
from cmjlab.stats.common.reml_tests import kenward_roger_f, satterthwaite_f
from cmjlab.stats.mixed.anova import BOTH, anova_fit
from cmjlab.stats.mixed.models import UNSTRUCTURED_MARGIN

PATH = Path(__file__).parent / "mixed_joint.csv"
SEED = 20261126
STUDIES = 1_000
BATCH = 100
TESTS = {"Kenward–Roger": kenward_roger_f, "Satterthwaite": satterthwaite_f}

CELLS = [
    {
        "data": data, "n": n, "n_control": n, "sessions": k, "missing": missing, "icc": 0.85,
        "response_sd": 0.0,
    }
    for data in ("AR state", "slopes")
    for k in (3, 5)
    for n in (6, 8, 12, 20, 30)
    for missing in (0.0, 0.1)
]  # fmt: skip


def joint_design(cell):
    """Return cell means (athletes, sessions, 2k) and the contrasts of group × session."""
    n, m, k = cell["n"], cell["n"] + cell["n_control"], cell["sessions"]
    x = np.zeros((m, k, 2 * k))
    contrasts = np.zeros((k - 1, 2 * k))
    for j in range(k):
        x[:n, j, j] = 1.0
        x[n:, j, k + j] = 1.0
        if j:
            contrasts[j - 1, [0, j, k, k + j]] = -1.0, 1.0, 1.0, -1.0
    return x, contrasts


def _models(cell):
    """Return the models to fit: the unstructured one where the library would, on one kind of data."""
    k = cell["sessions"]
    models = {
        "random slope": (slope_structure(np.arange(k, dtype=float)), np.array([0.3, 0.7, 0.0, 0.1 / k**2]))
    }  # fmt: skip
    enough = cell["n"] + cell["n_control"] > k + UNSTRUCTURED_MARGIN
    if enough and cell["data"] == "AR state":
        rows, columns = np.tril_indices(k)
        models["unstructured"] = (unstructured(k), np.where(rows == columns, 1.0, 0.0))
    return models


def study(rng, cell, size):
    """Return rejections of every test."""
    y = simulate(rng, cell, size)
    x, contrasts = joint_design(cell)
    models = _models(cell)
    p = {f"{m}, {t}": np.full(size, np.nan) for m in models for t in TESTS}
    for i in range(size):
        for name, (g, start) in models.items():
            fit = fit_linear(y[i], x, np.isfinite(y[i]), g=g, start=start)
            if fit.status != "ok":
                continue
            for label, test in TESTS.items():
                found = test(fit.pieces, contrasts)
                if found.df2 > 0 and found.value >= 0:
                    p[f"{name}, {label}"][i] = found.p
    p["mixed ANOVA, Greenhouse–Geisser"] = _anova_p(y, cell)
    return {name: rejects(values) for name, values in p.items()}


def _anova_p(y, cell):
    member = np.repeat([0, 1], [cell["n"], cell["n_control"]])
    out = np.full(len(y), np.nan)
    for i, values in enumerate(y):
        complete = np.isfinite(values).all(axis=1)
        if min(complete[member == g].sum() for g in (0, 1)) > 1:
            fit = anova_fit(values[complete], member[complete])
            out[i] = fit.effects[BOTH].p(fit.greenhouse_geisser)
    return out


def why_shown(cell, quantity):
    """Return why a row is shown and not judged, "" when it is judged."""
    if quantity == "unstructured, Kenward–Roger" and cell["missing"] == 0:
        return ""  # exact there: it is the T² of Hotelling
    return "an approximation: the number is what a reader needs"


if __name__ == "__main__":
    start = time.perf_counter()
    pilot = "--pilot" in sys.argv
    table = calibrate(
        CELLS,
        study,
        studies=100 if pilot else STUDIES,
        seed=SEED,
        bar=REJECTION_BAR,
        shown=why_shown,
        batch=BATCH,
    )
    if pilot:
        keys = ["data", "sessions", "n", "missing"]
        print(table.pivot(index=keys, columns="quantity", values="proportion").to_string())
    else:
        write_judged(table, PATH, start)
