"""METRICS: every number of one jump, gathered from the files of its kinds."""

from __future__ import annotations

from cmjlab.catalog.entries import Metric
from cmjlab.catalog.metrics_force import FORCE
from cmjlab.catalog.metrics_landing import LANDING
from cmjlab.catalog.metrics_limbs import LIMBS
from cmjlab.catalog.metrics_rates import RATES
from cmjlab.catalog.metrics_shape import SHAPE
from cmjlab.catalog.metrics_whole import WHOLE

METRICS: dict[str, Metric] = {m.key: m for m in (*WHOLE, *FORCE, *RATES, *SHAPE, *LANDING, *LIMBS)}
"""Metric key -> entry, in the order in which tables show them."""
