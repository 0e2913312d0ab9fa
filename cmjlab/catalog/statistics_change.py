"""Statistics of change."""

from __future__ import annotations

from cmjlab.catalog.entries import Statistic

CHANGE: tuple[Statistic, ...] = ()
