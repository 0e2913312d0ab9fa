"""Where things stand, for all tests: no test counts folders upward from its own file."""

from __future__ import annotations

import os
from pathlib import Path

TESTS = Path(__file__).resolve().parent
ROOT = TESTS.parent
PACKAGE = ROOT / "cmjlab"
SAMPLE_DATA = ROOT / "sample_data"
CALIBRATION = TESTS / "calibration"
REFERENCE = TESTS / "reference"
#: Recordings and tables of others, and spoiled recordings of our own; see LICENCES.md there.
DATA = TESTS / "data"


def child_env(*places: Path) -> dict[str, str]:
    """Return what a child process of a test sees: the package of this tree, modules of these places.

    One thread of linear algebra each, since several children run at once; figures without a screen.
    """
    path = os.pathsep.join(map(str, (ROOT, *places)))
    more = {"PYTHONPATH": path, "OMP_NUM_THREADS": "1", "MPLBACKEND": "agg"}
    return os.environ | more
