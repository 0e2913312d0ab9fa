"""Do one work on a study and tell each step, so that a test can kill it at a moment it draws."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import pyarrow.parquet

import cmjlab as cj
from cmjlab.report.write import write_report
from cmjlab.review.session import Review
from cmjlab.share.share import share_study
from cmjlab.study.store import batch

#: What a work needs is loaded before the clock starts.
LOADED = (pyarrow.parquet,)
#: Decisions that the works "decisions" and "review" make, one after the other.
DECISIONS = 40


def tell(word: object) -> None:
    """Print a word at once: what was told has been done."""
    print(word, flush=True)


def measure(folder: Path) -> None:
    """Measure and keep each file as a part of its own."""
    batch._KEEP_EVERY_FILES = 1
    cj.Study.open(folder).measure(workers=1)


def report(folder: Path) -> None:
    """Write the report over the one that is there."""
    write_report(cj.Study.open(folder), folder / "results" / "r.html", draft=True)


def decisions(folder: Path) -> None:
    """Decide on jumps, each with its number as the reason."""
    study = cj.Study.open(folder)
    files = sorted(study.measure()["file"])
    for number in range(DECISIONS):
        action = "reject" if number % 2 else "accept"
        file = files[number % len(files)]
        study = study.decide(cj.Decision(action, file, 1, reason=f"no {number}", who="T1"))
        tell(number)


def review(folder: Path) -> None:
    """Look at one jump and accept, reject, move and take back."""
    seen = Review(cj.Study.open(folder), who="T1")
    for number in range(DECISIONS):
        reason = f"no {number}"
        if number % 4 == 2:
            seen.move("onset", 1.2 + number / 1000, reason=reason)
        elif number % 4 == 3:
            seen.undo(reason, "onset")
        else:
            (seen.accept if number % 4 else seen.reject)(reason)
        tell(number)


def share(folder: Path) -> None:
    """Write a copy for others beside the study."""
    share_study(folder, folder.parent / "copy", licence="CC-BY-4.0")


WORKS: dict[str, Callable[[Path], None]] = {
    work.__name__: work for work in (measure, report, decisions, review, share)
}

if __name__ == "__main__":
    tell("ready")
    WORKS[sys.argv[1]](Path(sys.argv[2]))
    tell("done")
