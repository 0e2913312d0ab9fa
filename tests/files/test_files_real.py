"""Real recordings of a biomechanics course (CC BY 4.0, doi:10.5281/zenodo.4599319)."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from cmjlab.errors import ReadError
from cmjlab.files.read import read_recording


def test_one_column_without_header_needs_the_rate(reference_data: Path) -> None:
    path = reference_data / "jumps" / "GRFZjump.txt"
    with pytest.raises(ReadError, match="--rate 1000"):
        read_recording(path)
    found = read_recording(path, rate_hz=600)
    assert found.n_samples == 1200
    assert found.force_n[:3, 0].tolist() == [633.21, 628.46, 640.51]
    # body weight 628.326 N: mean of the first 60 samples (course notebook, recomputed)
    assert found.total_n[:60].mean() == pytest.approx(628.326, abs=5e-4)


@pytest.mark.parametrize(
    ("name", "window", "weight"),
    [("jump1.txt", slice(1400, 1850), 692.279), ("jump2.txt", slice(1250, 1700), 774.104)],
)
def test_time_column_of_450_hz(
    name: str, window: slice, weight: float, reference_data: Path
) -> None:
    found = read_recording(reference_data / "jumps" / name)
    assert found.rate_hz == 450.0
    assert found.n_samples == 4500
    assert found.notes == ()
    assert found.total_n[window].mean() == pytest.approx(weight, abs=5e-4)


@pytest.mark.parametrize(
    ("name", "rows", "peak"), [("GRFZjump_m.txt", 2490, 4013.9), ("GRFZjump_n.txt", 2578, 11217.5)]
)
def test_numbered_samples_do_not_say_the_rate(
    name: str, rows: int, peak: float, reference_data: Path
) -> None:
    path = reference_data / "jumps" / name
    with pytest.raises(ReadError, match="numbers its samples"):
        read_recording(path)
    found = read_recording(path, rate_hz=500)
    assert found.n_samples == rows
    assert np.max(found.total_n) == pytest.approx(peak, abs=0.05)
