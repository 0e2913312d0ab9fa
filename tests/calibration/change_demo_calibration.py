"""Regenerated demo studies through the public functions: does the truth lie in the intervals.

    python tests/calibration/change_demo_calibration.py        # some minutes on one core

Writes ``change_demo_coverage.csv`` beside this file. Each study is the invented demo block
(three groups selected on the first session, two baselines, a post test; values skewed,
correlated and with responses that differ), simulated anew without signals and analysed by
``change_within``, ``change_between``, ``change_individual`` as the report does. Group truths are
those of the population behind the study (a large simulated squad); the truth of an athlete is
that athlete's own true change.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import pandas as pd
from harness import covers, judge

from cmjlab.plan import Selection
from cmjlab.simulate.study import simulate_sessions
from cmjlab.stats.change.change import change_between, change_within
from cmjlab.stats.individual.individual import change_individual

TABLE = Path(__file__).with_name("change_demo_coverage.csv")
STUDIES = 240
SEED = 20261127
METRICS = (
    "jump_height_m", "time_to_takeoff_s", "countermovement_depth_m", "rsi_modified_m_per_s",
)  # fmt: skip
SELECTION = Selection(("countermovement_depth_m", "time_to_takeoff_s"), "base1")


def population_truth():
    """Return the truth of the population by (statistic, metric, group)."""
    truth = simulate_sessions(seed=0, metrics=METRICS, population=True).truth
    part = truth[truth["level"] == "population"]
    keys = zip(part["statistic"], part["metric"], part["group"], strict=True)
    return dict(zip(keys, part["value"], strict=True))


def one_study(seed, population):
    """Return (quantity, metric, hit) of one regenerated study."""
    sim = simulate_sessions(seed=seed, metrics=METRICS)
    sessions = sim.sessions
    hits = []
    within = change_within(sessions, METRICS, before="base2", after="post", group="group")
    for row in within.rows("mean_change").itertuples():
        truth = population["true_change", row.metric, row.group]
        hits.append(("mean_change", row.metric, covers(row.ci_low, row.ci_high, truth)))
    between = change_between(
        sessions, METRICS, before="base2", after="post", assignment=SELECTION, control="usual"
    )
    rows = between.rows("change_difference")
    for row in rows[rows["interval_kind"] == "welch_bm"].itertuples():
        truth = population["true_change_difference", row.metric, row.first]
        hits.append(("change_difference", row.metric, covers(row.ci_low, row.ci_high, truth)))
    hits += individual_hits(sim)
    return hits


def individual_hits(sim):
    """Return whether each athlete's true change lies in the interval of the noise."""
    wide = sim.sessions.pivot(index="athlete", columns="session", values=list(METRICS))
    noise = {}
    for metric in METRICS:
        difference = (wide[metric]["base2"] - wide[metric]["base1"]).dropna()
        noise[metric] = (float(difference.std(ddof=1)) / 2**0.5, len(difference) - 1)
    found = change_individual(
        sim.sessions, METRICS, before="base2", after="post", reliability=noise, control="usual"
    )
    truth = sim.truth[sim.truth["statistic"] == "true_value"]
    value = truth.set_index(["metric", "athlete", "session"])["value"]
    hits = []
    for name in ("individual_change", "shrunken_change"):
        for row in found.rows(name).itertuples():
            true = value[row.metric, row.athlete, "post"] - value[row.metric, row.athlete, "base2"]
            hits.append((name, row.metric, covers(row.ci_low, row.ci_high, true)))
    return hits


def shown(cell, quantity):
    """Return why a row is only shown, or "" when it is judged."""
    if quantity == "shrunken_change":
        return "the share of noise is estimated from ten athletes a group"
    return ""


def bar(cell, quantity):
    """Return lowest and highest acceptable proportion."""
    return (0.93, 0.97)  # real-looking data: skewed, responses in proportion to the athlete's level


def main():
    """Run everything and write the table."""
    start = time.perf_counter()
    population = population_truth()
    hits = []
    for number in range(STUDIES):
        hits += one_study([SEED, number], population)
    frame = pd.DataFrame(hits, columns=["quantity", "metric", "hit"])
    frame["hit"] = frame["hit"].astype(float)
    grouped = frame.groupby(["quantity", "metric"])["hit"]
    counted = grouped.agg(studies="count", hits="sum").reset_index()
    counted["not_estimable"] = grouped.apply(lambda s: int(s.isna().sum())).to_numpy()
    counted["first_batch_studies"] = counted["first_batch_hits"] = 0
    table = judge(counted, bar=bar, shown=shown)
    table = table.drop(columns=["first_batch_studies", "first_batch_hits"])
    table.to_csv(TABLE, index=False, float_format="%.6g", lineterminator="\n")
    sys.stdout.write(table.to_string() + f"\n{time.perf_counter() - start:.0f} s\n")


if __name__ == "__main__":
    pd.set_option("display.width", 250)
    main()
