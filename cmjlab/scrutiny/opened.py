"""What every question of a reviewer begins with: an opened study."""

from __future__ import annotations

from typing import Any

from cmjlab import checks
from cmjlab.errors import ArgumentError
from cmjlab.study.study import Study


def opened(study: Any) -> Study:
    """Return the study; ArgumentError with what to write for anything else, e.g. a path."""
    if isinstance(study, Study):
        return study
    raise ArgumentError(
        f"study: an opened study is needed, found {checks.shown(study)};"
        ' write cj.Study.open("my_block").'
    )
