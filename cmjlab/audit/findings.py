"""What an audit found: one thing a row, as data; words come later."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

Verdict = Literal["follows", "differs", "unchecked"]


@dataclass(frozen=True)
class Finding:
    """One thing that was looked at.

    Attributes
    ----------
    verdict : {"follows", "differs", "unchecked"}
        Whether it follows from the raw files.
    key : str
        Which sentence says it (``audit.<key>`` of the words).
    values : mapping
        Numbers and names of the sentence.
    """

    verdict: Verdict
    key: str
    values: Mapping[str, Any] = field(default_factory=dict)
