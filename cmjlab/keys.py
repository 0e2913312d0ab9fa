"""Keys of computed results: what was computed, from what, with which settings.

A key is the SHA-256 of canonical JSON, so it is the same in every process and on every
machine (Python's own ``hash`` is salted and differs between two runs).
"""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

from cmjlab.safe_open import open_file

#: Version of the numbers. Raise it by one whenever a change moves any metric or statistic:
#: stored results of older engines are then recomputed. ``tests/jump/test_golden.py`` guards it.
ENGINE = 3


def canonical_json(value: Any) -> str:
    """Return JSON with sorted keys and no spaces; floats by their shortest exact form."""
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def key_of(value: Any) -> str:
    """Return the SHA-256 (64 hexadecimal digits) of plain data."""
    return hashlib.sha256(canonical_json(value).encode("utf-8")).hexdigest()


def file_sha256(path: str | Path) -> str:
    """Return the SHA-256 of a file's bytes; only of an ordinary file."""
    with open_file(path) as handle:
        return hashlib.file_digest(handle, "sha256").hexdigest()
