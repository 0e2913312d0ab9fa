"""A million invented jumps: written as a data set, summarised, reliability and squad, and what it takes.

    python tests/benchmarks/large_tables.py [jumps] [--folder FOLDER]

Tables of 1,000 athletes with all metrics of the catalogue come from a generator, as studies would.
Every step runs in a process of its own, whose largest resident memory is read when it ends; the
in-memory functions do the same with 50,000 jumps. Prints seconds, megabytes and bytes per jump;
nothing is asserted.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd

import cmjlab as cj
from cmjlab.catalog import METRICS

SESSIONS = ("base1", "base2", "week4", "week8", "post")
ROLES = ("baseline", "baseline", "monitoring", "monitoring", "post")
JUMPS_EACH = 4
ATHLETES_OF_TABLE = 1000
IN_MEMORY = 50_000


def tables(jumps: int) -> Iterator[pd.DataFrame]:
    """Yield jumps tables of clubs of 1,000 athletes; about one value in 5,000 is missing."""
    athletes = jumps // (len(SESSIONS) * JUMPS_EACH)
    for first in range(0, athletes, ATHLETES_OF_TABLE):
        yield club(first, min(ATHLETES_OF_TABLE, athletes - first))


def club(first: int, athletes: int) -> pd.DataFrame:
    """Return the jumps of one club: athletes differ by 10 %, days by 3 %, jumps by 3 %."""
    random = np.random.default_rng(first)
    shape = (athletes, len(SESSIONS), JUMPS_EACH, len(METRICS))
    size = random.uniform(0.3, 3000.0, len(METRICS))
    person = random.normal(1.0, 0.1, (athletes, 1, 1, len(METRICS)))
    day = random.normal(0.0, 0.03, (athletes, len(SESSIONS), 1, len(METRICS)))
    values = (size * np.abs(person + day + random.normal(0.0, 0.03, shape))).reshape(
        -1, len(METRICS)
    )
    values[random.random(values.shape) < 0.0002] = np.nan
    rows = len(values)
    ids = np.repeat([f"A{first + i:07d}" for i in range(athletes)], rows // athletes)
    places = np.tile(np.repeat(np.arange(len(SESSIONS)), JUMPS_EACH), athletes)
    trials = np.tile(np.arange(1, JUMPS_EACH + 1), rows // JUMPS_EACH)
    sessions = pd.Categorical.from_codes(places, list(SESSIONS), ordered=True)
    files = [f"sub-{a}_ses-{s}_run-{t}.csv" for a, s, t in zip(ids, sessions, trials, strict=True)]
    sums = random.bytes(32 * rows).hex()
    head = pd.DataFrame(
        {
            "file": files,
            "sha256": [sums[64 * i : 64 * i + 64] for i in range(rows)],
            "athlete": ids,
            "session": sessions,
            "trial": trials.astype(str),
            "jump": pd.array(np.ones(rows), dtype="Int64"),
            "date": np.array(
                ["2026-01-12", "2026-01-15", "2026-02-09", "2026-03-09", "2026-04-06"]
            )[places],
            "rate_hz": 1000.0,
            "group": f"club {first // ATHLETES_OF_TABLE}",
            "sex": np.repeat(random.choice(["female", "male"], athletes), rows // athletes),
            "role": np.array(ROLES)[places],
            "accepted": pd.array(random.random(rows) > 0.05, dtype="boolean"),
            "flags": np.where(random.random(rows) > 0.9, "quiet_standing:warn", ""),
        }
    )
    return pd.concat([head, pd.DataFrame(values, columns=list(METRICS))], axis=1)


def generate(jumps: int, folder: Path) -> None:
    """Only make the tables, to know what of the writing is their making."""
    for _ in tables(jumps):
        pass


def write(jumps: int, folder: Path) -> None:
    """Write the data set."""
    cj.JumpsDataset.write(tables(jumps), folder / "jumps")


def sessions_of(folder: Path) -> pd.DataFrame:
    """Return the sessions table that was kept."""
    return pd.read_parquet(folder / "sessions.parquet").assign(
        session=lambda t: pd.Categorical(t["session"], list(SESSIONS), ordered=True)
    )


def summarise(jumps: int, folder: Path) -> None:
    """Summarise the data set."""
    table = cj.JumpsDataset.open(folder / "jumps").sessions_table()
    table.assign(session=table["session"].astype("str")).to_parquet(folder / "sessions.parquet")


def best(jumps: int, folder: Path) -> None:
    """Take the best jumps of the data set."""
    cj.JumpsDataset.open(folder / "jumps").sessions_table("best")


def reliability(jumps: int, folder: Path) -> None:
    """Take the reliability of all metrics from two baselines."""
    cj.reliability(sessions_of(folder))


def reliability_five(jumps: int, folder: Path) -> None:
    """Take the reliability of all metrics from all five sessions."""
    cj.reliability(sessions_of(folder), use=list(SESSIONS))


def squad(jumps: int, folder: Path) -> None:
    """Place every athlete of the squad."""
    cj.squad_places(sessions_of(folder))


def all_of_it(jumps: int, folder: Path) -> None:
    """From the data set to reliability and squad in one process."""
    table = cj.JumpsDataset.open(folder / "jumps").sessions_table()
    cj.reliability(table)
    cj.squad_places(table)


def in_memory(jumps: int, folder: Path) -> None:
    """Summarise one table in memory, and the same jumps part by part; only that is timed."""
    table = pd.concat(tables(jumps), ignore_index=True)
    stored = cj.JumpsDataset.open(folder / "jumps")
    for how in ("mean", "best", "mean", "best"):
        start = time.perf_counter()
        cj.summarise_sessions(table, how)
        between = time.perf_counter()
        stored.sessions_table(how)
        _tell(how, (time.perf_counter() - between) / (between - start))


STEPS = {
    f.__name__: f
    for f in (
        generate,
        write,
        summarise,
        best,
        reliability,
        reliability_five,
        squad,
        all_of_it,
        in_memory,
    )
}


def _tell(name: str, seconds: float) -> None:
    sys.stdout.write(json.dumps([name, seconds]) + "\n")


def run(step: str, jumps: int, folder: Path) -> dict[str, float]:
    """Run a step in a process of its own; return seconds inside it and its largest memory."""
    code = f"import large_tables as b; b.child({step!r}, {jumps}, {str(folder)!r})"
    environment = os.environ | {
        "PYTHONPATH": os.pathsep.join([str(Path(__file__).parent), *sys.path])
    }
    done = subprocess.run(
        [sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=True
    )
    return dict(json.loads(line) for line in done.stdout.splitlines())


def child(step: str, jumps: int, folder: str) -> None:
    """Run a step here and tell what it took."""
    import resource

    start, busy = time.perf_counter(), time.process_time()
    STEPS[step](jumps, Path(folder))
    _tell("seconds", time.perf_counter() - start)
    _tell("busy", time.process_time() - busy)
    _tell("megabytes", resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)


def show(step: str, jumps: int, folder: Path) -> dict[str, float]:
    """Run a step and print its line."""
    found = run(step, jumps, folder)
    line = f"{step:18s}{jumps:>10,}{found['seconds']:9.1f} s{found['busy']:9.1f} s busy"
    sys.stdout.write(f"{line}{found['megabytes']:8.0f} MB\n")
    sys.stdout.flush()
    return found


def main() -> None:
    """Run all steps."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("jumps", nargs="?", type=int, default=1_000_000)
    parser.add_argument(
        "--steps",
        default="generate,write,summarise,best,reliability,reliability_five,squad,all_of_it",
    )
    parser.add_argument(
        "--folder", type=Path, help="a folder in which a data set may stand already"
    )
    given = parser.parse_args()
    sys.stdout.write(f"load {os.getloadavg()[0]:.1f} on {len(os.sched_getaffinity(0))} cores\n")
    with tempfile.TemporaryDirectory() as place:
        folder = given.folder or Path(place)
        for step in given.steps.split(","):
            show(step, given.jumps, folder)
        size = sum(p.stat().st_size for p in (folder / "jumps").glob("*.parquet"))
        sys.stdout.write(f"bytes per jump: {size / given.jumps:.0f}\n")
    with tempfile.TemporaryDirectory() as place:
        few = min(IN_MEMORY, given.jumps)
        show("write", few, Path(place))
        found = show("in_memory", few, Path(place))
        for how in ("mean", "best"):
            line = f"part by part / in memory, {few:,} jumps, {how}: {found[how]:.2f} times as long"
            sys.stdout.write(f"{line}\n")


if __name__ == "__main__":
    main()
