"""How often the tests of a difference in change reject when there is none.

Two groups, no effect; the tested contrast is (last − first session), group minus control.
Methods: the contrast per athlete (pooled t; HC2), the random-intercept model by REML with
Kenward–Roger, Satterthwaite and with a normal quantile (as programs without small-sample
degrees of freedom do), and the same with a variance cut at 0; with four sessions the random
slope, the unstructured model, and the group × time F of the mixed ANOVA.

``python tests/calibration/mixed_cells.py`` (five minutes on one core) writes
``mixed_random_intercept.csv`` and ``mixed_general.csv`` (a word after the command chooses one);
``--pilot`` prints 500 studies a cell.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from harness import REJECTION_BAR, calibrate, rejects
from scipy import special

from cmjlab.stats.common.contrasts import two_groups
from cmjlab.stats.common.reml import fit_linear, slope_structure, unstructured
from cmjlab.stats.common.reml_intercept import fit_intercept
from cmjlab.stats.common.reml_tests import kenward_roger, satterthwaite
from cmjlab.stats.mixed.anova import BOTH, anova_fit

HERE = Path(__file__).parent
SEED = 20261125
STUDIES = 20_000
STUDIES_GENERAL = 2_000

#: Between-athlete state over sessions with correlation .7 from one to the next.
AR = 0.7
#: SD of athletes' own slopes per session, in units of the total SD.
SLOPE_SD = 0.25


def _cell(n, sessions, missing, data, icc=0.85, n_control=None, spread=1.0):
    """One situation; ``spread``: SD of true responses of the first group, in typical errors."""
    return {
        "data": data,
        "n": n,
        "n_control": n if n_control is None else n_control,
        "sessions": sessions,
        "missing": missing,
        "icc": icc,
        "response_sd": spread,
    }


CELLS = [
    *(
        _cell(n, k, missing, "compound symmetry", spread=0.0)
        for k in (2, 3)
        for n in (6, 10, 20)
        for missing in (0.0, 0.15)
    ),
    *(_cell(6, 2, missing, "compound symmetry", icc, spread=0.0) for icc in (0.0, 0.4) for missing in (0.0, 0.15)),
    *(_cell(6, 3, 0.15, "compound symmetry", icc, spread=0.0) for icc in (0.0, 0.4)),
    *(_cell(n, 4, missing, data, spread=0.0) for data in ("AR state", "slopes") for n in (6, 10, 20) for missing in (0.0, 0.15)),
    *(_cell(n, 2, missing, "unequal spread") for n in (6, 10, 20) for missing in (0.0, 0.15)),
    *(_cell(n, 2, 0.0, "unequal spread", n_control=c) for n, c in ((6, 12), (12, 6), (8, 20))),
]  # fmt: skip

GENERAL_CELLS = [
    _cell(n, 4, missing, data, spread=0.0)
    for data in ("compound symmetry", "AR state", "slopes")
    for n in (6, 10, 20)
    for missing in (0.0, 0.15)
]


def simulate(rng, cell, size):
    """Return values (size, athletes, sessions), nan where missing; no effect in the mean."""
    m, k = cell["n"] + cell["n_control"], cell["sessions"]
    error = np.sqrt(1.0 - cell["icc"])
    trait = np.sqrt(cell["icc"]) * rng.standard_normal((size, m, 1))
    y = np.broadcast_to(trait, (size, m, k)).copy()
    if cell["data"] == "AR state":
        state = rng.standard_normal((size, m, k))
        for j in range(1, k):
            state[:, :, j] = AR * state[:, :, j - 1] + np.sqrt(1 - AR**2) * state[:, :, j]
        y += error * state
    else:
        y += error * rng.standard_normal((size, m, k))
    if cell["data"] == "slopes":
        y += SLOPE_SD * rng.standard_normal((size, m, 1)) * np.arange(k)
    if cell["response_sd"] > 0:
        y[:, : cell["n"], -1] += (
            error * cell["response_sd"] * rng.standard_normal((size, cell["n"]))
        )
    y[rng.random(y.shape) < cell["missing"]] = np.nan
    return y


def cell_means(cell):
    """Return the design (athletes, sessions, cells) and the contrast group minus control."""
    n, m, k = cell["n"], cell["n"] + cell["n_control"], cell["sessions"]
    x = np.zeros((m, k, 2 * k))
    for j in range(k):
        x[:n, j, j] = 1.0
        x[n:, j, k + j] = 1.0
    contrast = np.zeros(2 * k)
    contrast[[0, k - 1, k, 2 * k - 1]] = -1.0, 1.0, 1.0, -1.0
    return x, contrast


def _p(t, df):
    usable = np.isfinite(t) & (df > 0)
    out = np.full(np.shape(t), np.nan)
    out[usable] = 2.0 * special.stdtr(np.asarray(df)[usable], -np.abs(t[usable]))
    return out


def contrast_tests(y, cell):
    """Return rejections of the contrast per athlete."""
    d = y[:, :, -1] - y[:, :, 0]
    found = two_groups(d[:, : cell["n"]], d[:, cell["n"] :])
    return {
        "contrast, pooled t": rejects(_p(found.value / found.pooled_se, found.pooled_df)),
        "contrast, HC2": rejects(_p(found.value / found.separate_se, found.separate_df)),
    }


def intercept_tests(y, cell):
    """Return rejections of the random-intercept model by four ways."""
    x, contrast = cell_means(cell)
    seen = np.isfinite(y)
    out = {}
    fit = fit_intercept(y, x, seen)
    for name, test in (("Kenward–Roger", kenward_roger), ("Satterthwaite", satterthwaite)):
        found = test(fit.pieces, contrast)
        out[f"random intercept, {name}"] = rejects(_p(found.estimate / found.se, found.df))
    z = found.estimate / found.se  # Satterthwaite's standard error is the model's
    out["random intercept, z"] = rejects(2.0 * special.ndtr(-np.abs(z)))
    cut = kenward_roger(fit_intercept(y, x, seen, nonnegative=True).pieces, contrast)
    out["random intercept cut at 0, Kenward–Roger"] = rejects(_p(cut.estimate / cut.se, cut.df))
    return out


def study(rng, cell, size):
    """Return rejections of all vectorised methods."""
    y = simulate(rng, cell, size)
    return contrast_tests(y, cell) | intercept_tests(y, cell)


def study_general(rng, cell, size):
    """Return rejections of the random slope, the unstructured model and the mixed ANOVA."""
    y = simulate(rng, cell, size)
    x, contrast = cell_means(cell)
    k = cell["sessions"]
    rows, columns = np.tril_indices(k)
    models = {
        "random slope": (slope_structure(np.arange(k, dtype=float)), np.array([0.3, 0.7, 0.0, 0.1 / k**2])),
        "unstructured": (unstructured(k), np.where(rows == columns, 1.0, 0.0)),
    }  # fmt: skip
    if cell["n"] + cell["n_control"] <= k + 8:
        del models["unstructured"]
    p = {
        f"{m}, {t}": np.full(size, np.nan)
        for m in models
        for t in ("Kenward–Roger", "Satterthwaite")
    }
    for i in range(size):
        for name, (g, start) in models.items():
            fit = fit_linear(y[i], x, np.isfinite(y[i]), g=g, start=start)
            if fit.status != "ok":
                continue
            for label, test in (("Kenward–Roger", kenward_roger), ("Satterthwaite", satterthwaite)):
                found = test(fit.pieces, contrast)
                t = np.atleast_1d(found.estimate / found.se)
                p[f"{name}, {label}"][i] = _p(t, np.atleast_1d(found.df))[0]
    if cell["missing"] == 0:
        p |= anova_p(y, cell)
    return {name: rejects(values) for name, values in p.items()}


def anova_p(y, cell):
    """Return p values of the group × time F with and without Greenhouse–Geisser."""
    member = np.repeat([0, 1], [cell["n"], cell["n_control"]])
    fits = [anova_fit(values, member) for values in y]
    return {
        "mixed ANOVA": np.array([f.effects[BOTH].p() for f in fits]),
        "mixed ANOVA, Greenhouse–Geisser": np.array(
            [f.effects[BOTH].p(f.greenhouse_geisser) for f in fits]
        ),
    }


def why_shown(cell, quantity):
    """Return why a row is shown and not judged, "" when it is judged."""
    if quantity.endswith(", z"):
        return "normal quantiles ignore that variances are estimated"
    if "cut at 0" in quantity and cell["icc"] < 0.8:
        return "a variance cut at 0 makes the residual variance too small"
    if quantity.startswith("random intercept") and cell["data"] in ("AR state", "slopes"):
        return "the covariance of these data is not that of a random intercept"
    if quantity.startswith("random intercept") and cell["data"] == "unequal spread":
        return "the model has one variance, the data have two"
    if quantity == "contrast, pooled t" and cell["data"] == "unequal spread":
        return "the pooled t has one variance, the data have two"
    if quantity.startswith(("random slope", "unstructured", "mixed ANOVA")):
        return "2,000 studies instead of 20,000"
    return ""


#: File, cells, study function and studies per cell of each committed table.
TABLES = (
    ("mixed_random_intercept.csv", CELLS, study, STUDIES),
    ("mixed_general.csv", GENERAL_CELLS, study_general, STUDIES_GENERAL),
)
BATCH = 500


def main(pilot: bool, only: str) -> None:
    """Write the tables, or print a pilot."""
    for name, cells, function, studies in TABLES:
        if only not in name:
            continue
        count = 500 if pilot else studies
        table = calibrate(
            cells,
            function,
            studies=count,
            seed=SEED,
            bar=REJECTION_BAR,
            shown=why_shown,
            batch=BATCH,
        )
        if pilot:
            keys = ["data", "n", "n_control", "sessions", "missing", "icc"]
            wide = table.pivot(index=keys, columns="quantity", values="proportion")
            print(wide.round(3).to_string())
            lost = table.pivot(index=keys, columns="quantity", values="not_estimable")
            print(lost.to_string())
        else:
            table.round(6).to_csv(HERE / name, index=False)
            print(table[table["verdict"] == "fail"].to_string())


if __name__ == "__main__":
    names = [a for a in sys.argv[1:] if not a.startswith("-")]
    main("--pilot" in sys.argv, names[0] if names else "")
