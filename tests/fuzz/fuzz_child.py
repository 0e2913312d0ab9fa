"""Child process: tries of one kind, the seed told before each; faults go to the standard output.

Run as ``python fuzz_child.py KIND FIRST COUNT``. A line a try: what is tried, then what came out.
"""

from __future__ import annotations

import resource
import signal
import sys
import tempfile
import time
import traceback
import warnings
from pathlib import Path

from fuzz_kinds import attempt

SECONDS, BYTES = 20, 4 * 2**30


class _TooLong(BaseException):
    """A try took longer than it may."""


def _stop(*_: object) -> None:
    raise _TooLong


def main(kind: str, first: int, count: int) -> None:
    """Make ``count`` tries from seed ``first`` on."""
    resource.setrlimit(resource.RLIMIT_AS, (BYTES, BYTES))
    signal.signal(signal.SIGALRM, _stop)
    warnings.simplefilter("ignore")
    for seed in range(first, first + count):
        print("try", kind, seed, flush=True)
        started = time.perf_counter()
        with tempfile.TemporaryDirectory() as place:
            signal.alarm(SECONDS)
            try:
                outcome = attempt(kind, seed, Path(place))
            except BaseException as fault:  # everything that is not an error of cmjlab's own
                where = traceback.extract_tb(fault.__traceback__)
                inside = [f for f in where if "/cmjlab/" in f.filename] or where
                place_in = f"{Path(inside[-1].filename).name}:{inside[-1].lineno}"
                outcome = f"FAULT {type(fault).__name__} {place_in} {str(fault)[:150]!r}"
            signal.alarm(0)
        print("out", kind, seed, f"{time.perf_counter() - started:.2f}", outcome, flush=True)


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]))
