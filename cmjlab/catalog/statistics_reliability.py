"""Statistics of reliability."""

from __future__ import annotations

from cmjlab.catalog.entries import Statistic

RELIABILITY: tuple[Statistic, ...] = ()
