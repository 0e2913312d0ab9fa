"""Columns of measures.csv in the sessions table: the measure with its unit behind."""

from __future__ import annotations

import re

import pandas as pd

_MEASURE_UNITS = {"%": "percent", "n/kg": "n_per_kg", "w/kg": "w_per_kg", "m/s": "m_per_s"}


def measure_column(measure: str, unit: object) -> str:
    """Return the column of a measure: its name with the unit behind (squat_1rm, kg -> squat_1rm_kg)."""
    name = re.sub(r"\W+", "_", str(measure).strip().casefold()).strip("_")
    word = "" if pd.isna(unit) else str(unit).strip().casefold()
    word = _MEASURE_UNITS.get(word, re.sub(r"\W+", "_", word).strip("_"))
    return name if not word or word == "1" or name.endswith(f"_{word}") else f"{name}_{word}"
