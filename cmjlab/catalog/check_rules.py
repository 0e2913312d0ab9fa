"""CHECKS: every quality rule of a jump."""

from __future__ import annotations

from cmjlab.catalog.entries import CheckRule

_ALL: tuple[CheckRule, ...] = ()

CHECKS: dict[str, CheckRule] = {c.code: c for c in _ALL}
