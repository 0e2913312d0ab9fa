"""Every figure of speed and scale in one run, each as a ratio against its pair, device named.

Run ``python tests/benchmarks/all_speed.py`` (some three minutes), with ``--large`` also 3,000 files
on one and two processes and the memory of 2,000 and 20,000 files (some ten minutes more). Run it
on a quiet machine: the load before and after is printed. The bars are aims, nothing is asserted.
"""

from __future__ import annotations

import os
import platform
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import measure_speed
import pandas as pd
import read_speed
import study_speed
from pairs import paired
from pyarrow import csv

from cmjlab.files.read import read_recording
from cmjlab.files.write import write_recording
from cmjlab.jump.measure import measure
from cmjlab.study.study import Study

Row = tuple[str, str, str]
#: Fresh processes a figure.
ROUNDS = 7


def fresh(code: str, *arguments: object) -> float:
    """Return the median seconds of a fresh Python process."""
    command = [sys.executable, "-c", code, *map(str, arguments)]
    return statistics.median(
        study_speed.seconds(lambda: subprocess.run(command, check=True, capture_output=True))
        for _ in range(ROUNDS)
    )


def engine(folder: Path) -> Iterator[Row]:
    """Yield the figures of one file."""
    recording = measure_speed.recording()
    path = write_recording(recording, folder / "jump.csv")
    ratio = paired(lambda: measure(recording), lambda: pd.read_csv(path))[2]
    yield "measure one jump / pandas.read_csv of it", f"{ratio:.2f}", "0.70"
    plain = write_recording(read_speed.recording(), folder / "plain.csv")
    ratio = paired(lambda: read_recording(plain), lambda: csv.read_csv(plain))[2]
    yield "read / bare pyarrow", f"{ratio:.2f}", "1.50"


def studies(folder: Path) -> Iterator[Row]:
    """Yield the figures of a study of 243 and of 2,700 files."""
    for athletes, rounds in ((27, 7), (300, 3)):
        place = study_speed.build(folder / f"study_{athletes}", athletes)
        files = len(list((place / "recordings").iterdir()))
        kept = tempfile.mkdtemp()
        Study.open(place, kept).measure()
        first, second = [], []
        for _ in range(rounds):
            one = study_speed.cold(place, 1)
            first.append(one / study_speed.parse(place))
            second.append(
                one / study_speed.seconds(lambda: Study.open(place, kept).measure())  # noqa: B023
            )
        shutil.rmtree(kept)
        what = f"{files} files, open included"
        yield (f"raw to jumps table / parse, {what}", f"{statistics.median(first):.2f}", "2.00")
        yield (f"first run / second run, {what}", f"{statistics.median(second):.1f}", "20")


def report(folder: Path) -> Iterator[Row]:
    """Yield seconds of the demo's report from raw files, beside measuring alone."""
    import cmjlab as cj

    measuring = "import sys, cmjlab as cj\ncj.Study.open(*sys.argv[1:]).measure()"
    writing = "import sys, cmjlab as cj\ncj.write_report(cj.Study.open(*sys.argv[1:]))"
    taken: list[float] = []
    for name, code in (("measured", measuring), ("reported", writing)):
        command = [sys.executable, "-c", code, str(cj.demo_study()), str(folder / name)]
        taken.append(study_speed.seconds(lambda: subprocess.run(command, check=True)))  # noqa: B023
    yield "demo report from raw, s (measuring alone)", f"{taken[1]:.1f} ({taken[0]:.1f})", "12"


def imports(folder: Path) -> Iterator[Row]:
    """Yield what a fresh process needs."""
    path = write_recording(measure_speed.recording(), folder / "one.csv")
    bare = fresh("pass")
    code = "import sys, cmjlab as cj; cj.measure(cj.read_recording(sys.argv[1]))"
    pair = "import sys, pandas as pd; pd.read_csv(sys.argv[1])"
    helping = "import sys; sys.argv[1:] = ['--help']; from cmjlab.__main__ import main; main()"
    yield "cmjlab --help, s", f"{fresh(helping):.3f}", "0.200"
    yield "import cmjlab, s", f"{fresh('import cmjlab') - bare:.3f}", "0.030"
    ratio = fresh(code, path) / fresh(pair, path)
    yield "fresh process: read and measure / pandas and parse", f"{ratio:.2f}", "1.50"


def workers(folder: Path) -> Iterator[Row]:
    """Yield what several processes gain."""
    few = study_speed.build(folder / "few", 27)
    pairs = [study_speed.cold(few, "auto") / study_speed.cold(few, 1) for _ in range(5)]
    yield "workers auto / one, 243 files", f"{statistics.median(pairs):.2f}", "1.05"
    if "--large" in sys.argv:
        many = study_speed.build(folder / "many", 334)
        times = [(study_speed.cold(many, 1), study_speed.cold(many, 2)) for _ in range(3)]
        ratio = statistics.median(a / b for a, b in times)
        each = 1e3 * statistics.median(a for a, _ in times) / 3006
        yield f"one / two processes, 3,006 files ({each:.1f} ms a file)", f"{ratio:.2f}", "1.80"


def memory(folder: Path) -> Iterator[Row]:
    """Yield the peak memory of measuring 2,000 and 20,000 files."""
    code = (
        "import re, sys; from cmjlab.study.study import Study\n"
        "Study.open(*sys.argv[1:]).measure(workers=1)\n"
        # The system's own largest size of a process begins with that of the one that started it.
        "print(int(re.search(r'VmHWM:\\s+(\\d+)', open('/proc/self/status').read())[1]) / 1024)"
    )
    peaks = []
    for athletes in (222, 2222):
        place = study_speed.build(folder / f"memory_{athletes}", athletes)
        done = subprocess.run(
            [sys.executable, "-c", code, str(place), tempfile.mkdtemp(dir=folder)],
            capture_output=True, text=True, check=True,
        )  # fmt: skip
        peaks.append(float(done.stdout))
    told = f"{peaks[0]:.0f} to {peaks[1]:.0f} MB, {100 * (peaks[1] / peaks[0] - 1):+.0f} %"
    yield "peak memory, 1,998 to 19,998 files", told, "+10 %"


def main() -> None:
    """Print the table."""
    parts: list[Callable[[Path], Iterator[Row]]] = [engine, studies, report, imports, workers]
    if "--large" in sys.argv:
        parts.append(memory)
    cores = len(os.sched_getaffinity(0))
    print(f"{platform.machine()}, {cores} cores, Python {platform.python_version()}")
    print(f"load before {os.getloadavg()[0]:.2f}; begun {time.strftime('%H:%M')}")
    with tempfile.TemporaryDirectory() as place:
        for part in parts:
            for what, found, bar in part(Path(place)):
                print(f"{what:62s} {found:>22s}   bar {bar}", flush=True)
    print(f"load after {os.getloadavg()[0]:.2f}; ended {time.strftime('%H:%M')}")


if __name__ == "__main__":
    main()
