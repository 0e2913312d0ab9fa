"""The one check command: format, lint, types, tests, doctests, notebooks, documentation site.

Run ``python tests/check.py`` from anywhere; ``--fast`` leaves out the notebooks and the site. While working
in one room, ``--room stats`` or ``--room stats/change`` runs format, lint and types of its files
and the tests below ``tests/`` of the same name; it may be given several times.
Exit code 0 when everything passed.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor

from places import PACKAGE, ROOT, TESTS

PYTHON = sys.executable
#: Whether a step passed, and its seconds.
Outcome = tuple[bool, float]

#: name -> command; the order is the order of running. A worker takes whole files of tests, so
#: that what a file prepares is prepared once.
STEPS: dict[str, list[str]] = {
    "format": ["-m", "ruff", "format", "--check", "."],
    "lint": ["-m", "ruff", "check", "."],
    "types": ["-m", "mypy"],
    "tests": ["-m", "pytest", "-n", "auto", "--dist", "loadfile", "-m", "not slow"]
    + ["--durations=25"],
    "doctests": ["-m", "pytest", "--doctest-modules", "cmjlab", "-q"],
    # Every output of every cell is compared, pictures apart (tests/plots/test_pictures.py has those).
    "notebooks": ["-m", "pytest", "--nbval", "notebooks", "-q", "-W", "default"]
    + ["-n", "auto", "--dist", "loadfile", "--nbval-current-env", "--nbval-cell-timeout=300"],
    "site": ["notebooks/site/build.py"],
}
#: Steps of one processor each: they run at the same time, and each tells all it has to say at its end.
TOGETHER = ("types", "doctests")
#: Steps that ``--fast`` leaves out.
SLOW = ("notebooks", "site")
#: The room of layer 0 has no folder of its own: what stands at the top of the package, and these.
BASE = ("catalog", "tables")


def rooms() -> list[str]:
    """Return the rooms that can be checked alone: folders of tests, "stats/change" among them."""
    folders = {p.parent for p in TESTS.rglob("test_*.py")}
    inner = {f.relative_to(TESTS) for f in folders}
    return sorted({r.as_posix() for room in inner for r in (room, *room.parents) if r.name})


def files_of(room: str) -> list[str]:
    """Return the files and folders of the package that make a room, from the root."""
    if room == "base":
        found = [*PACKAGE.glob("*.py"), *(PACKAGE / name for name in BASE)]
    else:
        found = [p for p in [PACKAGE / room] if p.is_dir()]
    return [p.relative_to(ROOT).as_posix() for p in sorted(found)]


def steps_of(wanted: list[str]) -> dict[str, list[str]]:
    """Return the steps that check these rooms only."""
    package = [path for room in wanted for path in files_of(room)]
    tests = [f"tests/{room}" for room in wanted]
    steps = {
        "format": ["-m", "ruff", "format", "--check", *package, *tests],
        "lint": ["-m", "ruff", "check", *package, *tests],
        "types": ["-m", "mypy", *package],
        "tests": ["-m", "pytest", "-n", "auto", "-m", "not slow", *tests],
    }
    return steps if package else {k: v for k, v in steps.items() if k != "types"}


def room(name: str) -> str:
    """Return a room by its name; an unknown one is told with those there are."""
    plain = name.strip("/").removeprefix("tests/").removeprefix("cmjlab/")
    if plain not in rooms():
        raise argparse.ArgumentTypeError(f"no room {name!r}; rooms: {', '.join(rooms())}")
    return plain


def arguments(words: list[str] | None = None) -> argparse.Namespace:
    """Read the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--fast", action="store_true", help="leave out notebooks and site")
    parser.add_argument("--only", choices=STEPS, action="append", help="run this step only")
    parser.add_argument(
        "--room", type=room, action="append", help="check this room only (may be repeated)"
    )
    args = parser.parse_args(words)
    args.steps = steps_of(args.room) if args.room else STEPS
    missing = [step for step in args.only or [] if step not in args.steps]
    if missing:
        parser.error(f"with --room there is no step {', '.join(missing)}")
    return args


def stages(wanted: list[str]) -> list[list[str]]:
    """Return the steps in their order; those that run at the same time stand together at the first."""
    both = [s for s in wanted if s in TOGETHER]
    out: list[list[str]] = []
    for step in wanted:
        if step not in both:
            out.append([step])
        elif step == both[0]:
            out.append(both)
    return out


def run_stage(commands: dict[str, list[str]], environment: dict[str, str]) -> dict[str, Outcome]:
    """Run the steps of a stage; return whether each passed, and its seconds."""
    if len(commands) == 1:
        [(step, command)] = commands.items()
        print(f"\n=== {step} ===", flush=True)
        start = time.perf_counter()
        done = subprocess.run(command, cwd=ROOT, env=environment, check=False)
        return {step: (done.returncode == 0, time.perf_counter() - start)}
    with ThreadPoolExecutor(len(commands)) as pool:
        return dict(pool.map(lambda item: _aside(*item, environment), commands.items()))


def _aside(step: str, command: list[str], environment: dict[str, str]) -> tuple[str, Outcome]:
    """Run a step beside another; what it says is kept until it ends, so that lines do not mix."""
    start = time.perf_counter()
    done = subprocess.run(
        command, cwd=ROOT, env=environment, check=False,
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, errors="replace",
    )  # fmt: skip
    print(f"\n=== {step} ===\n{done.stdout}", flush=True)
    return step, (done.returncode == 0, time.perf_counter() - start)


def main() -> int:
    """Run every step, print a summary, return the number of failed steps."""
    args = arguments()
    wanted = args.only or [s for s in args.steps if not (args.fast and s in SLOW)]
    environment = {**os.environ, "MPLBACKEND": "agg", "PYTHONHASHSEED": "0"}
    # Two workers on two cores: each linear-algebra library with one thread.
    environment |= {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    outcome: dict[str, Outcome] = {}
    for stage in stages(wanted):
        commands = {step: [PYTHON, *args.steps[step]] for step in stage}
        outcome |= run_stage(commands, environment)
    print("\n=== summary ===")
    for step, (passed, seconds) in outcome.items():
        print(f"{'ok    ' if passed else 'FAILED'} {step} ({seconds:.0f} s)")
    return sum(not passed for passed, _ in outcome.values())


if __name__ == "__main__":
    raise SystemExit(main())
