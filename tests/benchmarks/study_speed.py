"""Speed of a study folder: ratios measured side by side in one run.

Run ``python tests/benchmarks/study_speed.py [files]``. A lone wall time is worth nothing on
a shared machine, so paired ratios are printed, with the load; nothing is asserted. Aims:
end to end at most 2.0 x a bare pandas parse of the same files; kept results at least 20 x
faster than the first run; "auto" never more than 5 % slower than one process; two processes
at least 1.5 x faster from 3,000 files; the test day of 40 athletes under 2 s.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import pandas as pd

from cmjlab.files.write import write_recording
from cmjlab.simulate.jump import simulate_jump
from cmjlab.study.study import Study

SETTINGS = "".join(
    f'[[sessions]]\nsession = "{s}"\nrole = "{r}"\n'
    for s, r in (("base1", "baseline"), ("base2", "baseline"), ("post", "post"))
)


def build(folder: Path, athletes: int, trials: int = 3, different: int = 24) -> Path:
    """Write a study of 1000 Hz recordings of two plates; files repeat after ``different``."""
    (folder / "recordings").mkdir(parents=True)
    (folder / "study.toml").write_text(SETTINGS)
    ids = [f"A{i:03d}" for i in range(athletes)]
    (folder / "athletes.csv").write_text("athlete,group\n" + "".join(f"{a},x\n" for a in ids))
    models = []
    for seed in range(different):
        path = folder / f"model_{seed}"
        made = simulate_jump(rate_hz=1000.0, noise_sd_n=1.5, seed=seed).recording
        models.append(write_recording(made, path.with_suffix(".csv")).read_bytes())
    number = 0
    for athlete in ids:
        for session in ("base1", "base2", "post"):
            for trial in range(1, trials + 1):
                name = f"sub-{athlete}_ses-{session}_run-{trial}.csv"
                (folder / "recordings" / name).write_bytes(models[number % different])
                number += 1
    return folder


def seconds(work: Callable[[], object]) -> float:
    """Return the wall time of one call."""
    begun = time.perf_counter()
    work()
    return time.perf_counter() - begun


def cold(folder: Path, workers: int | str) -> float:
    """Return the wall time of a first run."""
    results = Path(tempfile.mkdtemp())
    taken = seconds(lambda: Study.open(folder, results).measure(workers=workers))
    shutil.rmtree(results)
    return taken


def parse(folder: Path) -> float:
    """Return the wall time of a bare pandas parse of every file."""
    files = sorted((folder / "recordings").iterdir())
    return seconds(lambda: [pd.read_csv(f) for f in files])


def ratios(folder: Path, rounds: int) -> None:
    """Print end to end, kept results, and auto, each against its pair, best of some rounds."""
    end, kept, auto = [], [], []
    results = Path(tempfile.mkdtemp())
    Study.open(folder, results).measure()
    for _ in range(rounds):
        one = cold(folder, 1)
        end.append(one / parse(folder))
        kept.append(one / seconds(lambda: Study.open(folder, results).measure()))
        auto.append(cold(folder, "auto") / one)
    for name, values in (
        ("end to end / pandas parse", end),
        ("first run / kept results", kept),
        ("auto / one process", auto),
    ):
        values.sort()
        print(f"{name}: median {values[len(values) // 2]:.2f}  ({values[0]:.2f}-{values[-1]:.2f})")
    shutil.rmtree(results)


def test_day(folder: Path) -> None:
    """Print the wall time of the test day in a fresh process, with kept results."""
    results = tempfile.mkdtemp()
    code = (
        "import sys, time; begun = time.perf_counter()\n"
        "from cmjlab.study.study import Study; from cmjlab.study.today import today\n"
        "today(Study.open(sys.argv[1], sys.argv[2]), 'post').lines()\n"
        "print(f'{time.perf_counter() - begun:.2f} s wall, {time.process_time():.2f} s busy')"
    )
    for name in ("first", "kept", "kept"):
        done = subprocess.run(
            [sys.executable, "-c", code, str(folder), results],
            capture_output=True,
            text=True,
            check=True,
        )
        print(f"test day, 40 athletes, {name}: {done.stdout.strip()} (imports included)")
    shutil.rmtree(results)


def main() -> None:
    """Build the studies and print all ratios."""
    print(f"load {os.getloadavg()[0]:.1f} on {len(os.sched_getaffinity(0))} cores")
    with tempfile.TemporaryDirectory() as place:
        ratios(build(Path(place) / "block", 27), rounds=5)
        test_day(build(Path(place) / "day", 40))
        if len(sys.argv) > 1:
            many = int(sys.argv[1])
            folder = build(Path(place) / "many", max(1, many // 9))
            pairs = [cold(folder, 1) / cold(folder, 2) for _ in range(3)]
            print(f"one / two processes, {many} files: " + ", ".join(f"{p:.2f}" for p in pairs))
    print(f"load {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main()
