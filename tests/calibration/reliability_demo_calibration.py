"""Do the intervals hold the truth of regenerated demo studies: the demo is no normal model.

    python tests/calibration/reliability_demo_calibration.py          # some minutes on one core

Each study is a new squad of the demo's design (30 athletes, two baselines, three jumps), measured
without signals. Truth is the population's (from a large squad of the same design). Writes
``reliability_demo_coverage.csv``: one row per metric and statistic.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np
import pandas as pd
from harness import covers, proportion_limits

from cmjlab.simulate.design import StudySettings
from cmjlab.simulate.squad import draw_squad, metrics_of
from cmjlab.simulate.study import simulate_sessions
from cmjlab.simulate.study_truth import POPULATION_SEED, POPULATION_SIZE
from cmjlab.stats.reliability.reliability import reliability
from cmjlab.stats.reliability.rows import FIXED, PUBLISHED

TABLE = Path(__file__).with_name("reliability_demo_coverage.csv")
STUDIES = 1000
SEED = 5
#: Statistic -> kind of interval, where several stand beside each other.
STATISTICS = {
    "typical_error": None,
    "typical_error_robust": None,
    "typical_error_percent": None,
    "icc_c1": PUBLISHED,
    "icc_a1": FIXED,
    "session_change": None,
    "sd_between_athletes": None,
    "sd_between_jumps": None,
    "sd_between_days": None,
}


def truth() -> pd.DataFrame:
    """Return metric, statistic, truth of the population."""
    table = simulate_sessions(seed=0, population=True).truth
    part = table[(table["level"] == "population") & table["statistic"].isin(STATISTICS)]
    part = part[["metric", "statistic", "value"]].rename(columns={"value": "truth"})
    robust = part[part["statistic"] == "typical_error"].assign(statistic="typical_error_robust")
    return pd.concat(
        [part, robust, _percent_truth(list(part["metric"].unique()))], ignore_index=True
    )


def _percent_truth(metrics: list[str]) -> pd.DataFrame:
    """Return the typical error of logs in percent, from the population behind the truth table."""
    settings = StudySettings()
    factor = max(1, POPULATION_SIZE // settings.n_athletes)
    squad = draw_squad(settings, np.random.default_rng(POPULATION_SEED), factor=factor)
    rows = []
    for metric, values in metrics_of(squad.jump_parameters, metrics).items():
        logs = np.log(values[:, :2].mean(axis=2))
        te = np.std(logs[:, 1] - logs[:, 0], ddof=1) / np.sqrt(2)
        rows.append((metric, "typical_error_percent", 100 * np.expm1(te)))
    return pd.DataFrame(rows, columns=["metric", "statistic", "truth"])


def one_study(seed: int) -> pd.DataFrame:
    """Return metric, statistic, ci_low, ci_high of one regenerated study."""
    study = simulate_sessions(seed=np.random.SeedSequence([SEED, seed]))
    result = reliability(study.sessions, jumps=study.jumps)
    t = result.table
    keep = pd.Series(False, index=t.index)
    for statistic, kind in STATISTICS.items():
        keep |= (t["statistic"] == statistic) & (kind is None or t["interval_kind"] == kind)
    return t.loc[keep, ["metric", "statistic", "ci_low", "ci_high"]]


def run(studies: int) -> pd.DataFrame:
    """Return coverage per metric and statistic."""
    rows = pd.concat([one_study(i) for i in range(studies)], ignore_index=True)
    rows = rows.merge(truth(), on=["metric", "statistic"])
    rows["hit"] = covers(rows["ci_low"], rows["ci_high"], rows["truth"])
    table = (
        rows.groupby(["statistic", "metric"], sort=False)["hit"].agg(["count", "sum"]).reset_index()
    )
    table["proportion"] = table["sum"] / table["count"]
    table["mc_low"], table["mc_high"] = proportion_limits(table["sum"], table["count"], 0.95)
    return table.rename(columns={"count": "studies", "sum": "hits"})


def main() -> None:
    """Run and write."""
    start = time.perf_counter()
    table = run(STUDIES)
    table.to_csv(TABLE, index=False, float_format="%.6g", lineterminator="\n")
    mean = table.groupby("statistic", sort=False)["proportion"].agg(["mean", "min", "max"])
    sys.stdout.write(f"{mean.round(3).to_string()}\n{time.perf_counter() - start:.0f} s\n")


if __name__ == "__main__":
    main()
