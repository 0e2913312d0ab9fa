"""The one check command: format, lint, types, tests, doctests, notebooks.

Run ``python tests/check.py`` from anywhere; ``--fast`` leaves out the notebooks.
Exit code 0 when everything passed.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
PYTHON = sys.executable

#: name -> command; the order is the order of running.
STEPS: dict[str, list[str]] = {
    "format": ["-m", "ruff", "format", "--check", "."],
    "lint": ["-m", "ruff", "check", "."],
    "types": ["-m", "mypy"],
    "tests": ["-m", "pytest", "-n", "auto", "-m", "not slow", "--durations=10"],
    "doctests": ["-m", "pytest", "--doctest-modules", "cmjlab", "-q"],
    "notebooks": ["-m", "pytest", "--nbval-lax", "notebooks", "-q", "-W", "default"]
    + ["--nbval-current-env", "--nbval-cell-timeout=300"],
}


def main() -> int:
    """Run every step, print a summary, return the number of failed steps."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--fast", action="store_true", help="leave out the notebooks")
    parser.add_argument("--only", choices=STEPS, action="append", help="run this step only")
    args = parser.parse_args()
    wanted = args.only or [s for s in STEPS if not (args.fast and s == "notebooks")]
    environment = {**os.environ, "MPLBACKEND": "agg", "PYTHONHASHSEED": "0"}
    # Two workers on two cores: each linear-algebra library with one thread.
    environment |= {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    outcome = {}
    for step in wanted:
        print(f"\n=== {step} ===", flush=True)
        start = time.perf_counter()
        done = subprocess.run([PYTHON, *STEPS[step]], cwd=ROOT, env=environment, check=False)
        outcome[step] = (done.returncode == 0, time.perf_counter() - start)
    print("\n=== summary ===")
    for step, (passed, seconds) in outcome.items():
        print(f"{'ok    ' if passed else 'FAILED'} {step} ({seconds:.0f} s)")
    return sum(not passed for passed, _ in outcome.values())


if __name__ == "__main__":
    raise SystemExit(main())
