"""Make curves_mne.json: the largest-|t| sign-flip test of MNE-Python on :mod:`curves_kit`.

Run in an environment of its own with ``pip install mne``; MNE-Python 1.13 (BSD licence), function
``mne.stats.permutation_t_test``, all 2**9 deals of signs, two-sided (it leaves one deal
and its mirror out).

    PYTHONPATH=tests python tests/reference/curves_mne.py
"""

from __future__ import annotations

import json
from pathlib import Path

import mne
from curves_kit import reference_curves

if __name__ == "__main__":
    t, p, largest = mne.stats.permutation_t_test(
        reference_curves(), n_permutations="all", tail=0, n_jobs=1, seed=1
    )
    found = {
        "program": f"MNE-Python {mne.__version__}, mne.stats.permutation_t_test",
        "t": t.tolist(),
        "p": p.tolist(),
        "deals": len(largest),
        "largest": sorted(map(float, largest)),
    }
    path = Path(__file__).with_name("curves_mne.json")
    path.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
