"""Make the committed numbers again after a change of numbers that is meant.

    python tests/remake.py                   # all quick ones: about six minutes
    python tests/remake.py golden demo       # these only
    python tests/remake.py --long            # the simulations of coverage too: half an hour more
    python tests/remake.py mixed             # a long one by its name

Look at the difference that git shows before you commit it. Times are those of one free core.

=========== ==================================================================== =======
name        makes                                                                takes
=========== ==================================================================== =======
golden      reference/golden_jump.json: one jump by several methods              seconds
demo        sample_data: recordings, tables and truth.csv of both demo studies   20 s
alarms      calibration/false_alarms.csv                                         10 s
onsets      calibration/onset_rules.csv, body_weight_rules.csv                   30 s
budget      calibration/error_budget.csv, error_budget_onsets.csv                5 min
profiles    calibration/random_profiles.csv                                      30 s
follow      calibration/follow_rates.csv                                         10 s
replication calibration/replication.csv                                          30 s
=========== ==================================================================== =======

With ``--long``:

=========== ==================================================================== =======
errors      calibration/standard_errors.csv                                      3 min
reliability calibration/reliability_coverage.csv, reliability_jumps_coverage.csv
            and reliability_demo_coverage.csv                                    8 min
change      calibration/change_coverage.csv, change_selected_coverage.csv,
            change_selected_bias.csv and change_demo_coverage.csv                7 min
mixed       calibration/mixed_random_intercept.csv, mixed_general.csv,
            mixed_joint.csv, jumps_model.csv                                   9 min
noise       calibration/noise_check.csv                                          2 min
own         calibration/own_noise.csv                                            8 min
placement   calibration/placement.csv, placement_shown.csv                       10 min
pooling     calibration/pooling.csv                                              3 min
doubts      calibration/session_doubts.csv                                       2 min
targets     calibration/targets_coverage.csv                                     15 min
threshold   calibration/threshold.csv                                            2 min
curves      calibration/curve_bands.csv                                          4 min
ways        calibration/specifications_rates.csv                                10 min
=========== ==================================================================== =======

A number of the golden jump that is no longer what it was is only written with a new
``cmjlab.keys.ENGINE``; metrics, events and rules that are new come in without.
"""

from __future__ import annotations

import argparse
import gzip
import json
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from golden_kit import GOLDEN, METHODS, moved, numbers
from places import CALIBRATION, ROOT, SAMPLE_DATA

from cmjlab import keys
from cmjlab.study.demo import scenario
from cmjlab.study.demo.demo import write_demo


def golden(path: Path = GOLDEN) -> None:
    """Write the numbers of the golden jump, unless one moved under the same engine."""
    kept = json.loads(path.read_text("utf-8"))
    found = {name: numbers(name) for name in METHODS}
    told = [
        f"{name}: {line}"
        for name, old in kept.items()
        if name != "engine"
        for line in moved(old, found.get(name, {}))
    ]
    if told and kept["engine"] == keys.ENGINE:
        raise SystemExit(
            "\n".join(told) + f"\n{len(told)} number(s) moved: raise cmjlab.keys.ENGINE first."
        )
    text = json.dumps({"engine": keys.ENGINE, **found}, indent=1)
    path.write_text(text + "\n", encoding="utf-8")


def demo(root: Path = SAMPLE_DATA) -> None:
    """Write both demo studies anew where a file's content differs, and remove what is gone."""
    for name, mini in ((scenario.NAME, False), (scenario.MINI_NAME, True)):
        with tempfile.TemporaryDirectory() as place:
            replace_files(write_demo(Path(place) / name, mini=mini), root / name)


def replace_files(made: Path, kept: Path) -> None:
    """Bring a folder to what was made; results stay, and files that only packing changed."""
    new = {p.relative_to(made) for p in made.rglob("*") if p.is_file()}
    old = {p.relative_to(kept) for p in kept.rglob("*") if p.is_file()}
    for name in sorted(n for n in old - new if "results" not in n.parts):
        (kept / name).unlink()
    for name in sorted(new):
        if name not in old or _content(made / name) != _content(kept / name):
            (kept / name).parent.mkdir(parents=True, exist_ok=True)
            (kept / name).write_bytes((made / name).read_bytes())


def _content(path: Path) -> bytes:
    data = path.read_bytes()
    return gzip.decompress(data) if path.suffix == ".gz" else data


def scripts(*names: str) -> Callable[[], None]:
    """Return a function that runs scripts of the folder ``calibration``, each in its own process."""

    def run() -> None:
        for name in names:
            subprocess.run([sys.executable, str(CALIBRATION / f"{name}.py")], cwd=ROOT, check=True)

    return run


@dataclass(frozen=True)
class Part:
    """Something that can be made again alone: what it writes, from the root of the tests."""

    make: Callable[[], None]
    writes: tuple[str, ...]
    long: bool = False


PARTS = {
    "golden": Part(golden, ("reference/golden_jump.json",)),
    "demo": Part(demo, ("../sample_data",)),
    "alarms": Part(scripts("false_alarms"), ("calibration/false_alarms.csv",)),
    "onsets": Part(
        scripts("onset_and_weight"),
        ("calibration/onset_rules.csv", "calibration/body_weight_rules.csv"),
    ),
    "budget": Part(
        scripts("error_budget", "error_budget_onsets"),
        ("calibration/error_budget.csv", "calibration/error_budget_onsets.csv"),
    ),
    "profiles": Part(scripts("random_profiles"), ("calibration/random_profiles.csv",)),
    "follow": Part(scripts("follow_calibration"), ("calibration/follow_rates.csv",)),
    "replication": Part(scripts("replication"), ("calibration/replication.csv",)),
    "errors": Part(scripts("standard_errors"), ("calibration/standard_errors.csv",), long=True),
    "reliability": Part(
        scripts(
            "reliability_calibration",
            "reliability_jumps_calibration",
            "reliability_demo_calibration",
        ),
        (
            "calibration/reliability_coverage.csv",
            "calibration/reliability_jumps_coverage.csv",
            "calibration/reliability_demo_coverage.csv",
        ),
        long=True,
    ),
    "change": Part(
        scripts("change_calibration", "change_selected_calibration", "change_demo_calibration"),
        (
            "calibration/change_coverage.csv",
            "calibration/change_selected_coverage.csv",
            "calibration/change_selected_bias.csv",
            "calibration/change_demo_coverage.csv",
        ),
        long=True,
    ),
    "mixed": Part(
        scripts("mixed_cells", "mixed_joint", "jumps_model"),
        (
            "calibration/mixed_random_intercept.csv",
            "calibration/mixed_general.csv",
            "calibration/mixed_joint.csv",
            "calibration/jumps_model.csv",
        ),
        long=True,
    ),
    "placement": Part(
        scripts("placement"),
        ("calibration/placement.csv", "calibration/placement_shown.csv"),
        long=True,
    ),
    "doubts": Part(scripts("session_doubts"), ("calibration/session_doubts.csv",), long=True),
    "targets": Part(
        scripts("targets_calibration"), ("calibration/targets_coverage.csv",), long=True
    ),
    "noise": Part(scripts("noise_check"), ("calibration/noise_check.csv",), long=True),
    "own": Part(scripts("own_noise"), ("calibration/own_noise.csv",), long=True),
    "ways": Part(scripts("specifications"), ("calibration/specifications_rates.csv",), long=True),
    "pooling": Part(scripts("pooling_calibration"), ("calibration/pooling.csv",), long=True),
    "threshold": Part(scripts("threshold"), ("calibration/threshold.csv",), long=True),
    "curves": Part(scripts("curve_bands"), ("calibration/curve_bands.csv",), long=True),
}


def wanted(words: list[str] | None = None) -> list[str]:
    """Read the command line; return the names of what is to be made, in order."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("names", nargs="*", metavar="name", help=", ".join(PARTS))
    parser.add_argument("--long", action="store_true", help="the simulations of coverage too")
    args = parser.parse_args(words)
    unknown = [name for name in args.names if name not in PARTS]
    if unknown:
        parser.error(f"nothing is called {', '.join(unknown)}; there are: {', '.join(PARTS)}")
    every = [name for name, part in PARTS.items() if args.long or not part.long]
    return [name for name in PARTS if name in args.names] if args.names else every


def main() -> None:
    """Make what is wanted, and say how long it took."""
    for name in wanted():
        start = time.perf_counter()
        PARTS[name].make()
        writes = ", ".join(PARTS[name].writes)
        print(f"{name}: {time.perf_counter() - start:.0f} s: {writes}", flush=True)


if __name__ == "__main__":
    main()
