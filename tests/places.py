"""Where things stand, for all tests: no test counts folders upward from its own file."""

from __future__ import annotations

from pathlib import Path

TESTS = Path(__file__).resolve().parent
ROOT = TESTS.parent
PACKAGE = ROOT / "cmjlab"
SAMPLE_DATA = ROOT / "sample_data"
CALIBRATION = TESTS / "calibration"
REFERENCE = TESTS / "reference"
#: Recordings and tables of others, and spoiled recordings of our own; see LICENCES.md there.
DATA = TESTS / "data"
