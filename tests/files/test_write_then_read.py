"""Copies of the demo recordings in every format measure the same."""

from __future__ import annotations

import math

import pytest
from places import SAMPLE_DATA

import cmjlab as cj

MINI = SAMPLE_DATA / "merrowfold_mini" / "recordings"
FILES = sorted(MINI.glob("sub-*_run-01*"))
#: C3D keeps 32-bit floats; the other formats keep the 1 N steps of these files exactly.
FORMATS = {".csv": 1e-9, ".txt": 1e-9, ".csv.gz": 1e-9, ".parquet": 1e-9, ".c3d": 1e-5}


@pytest.mark.parametrize("suffix", FORMATS)
def test_a_copy_measures_the_same(suffix, tmp_path):
    assert len(FILES) == 12
    for file in FILES:
        original = cj.read_recording(file)
        path = tmp_path / f"{file.name.split('.')[0]}{suffix}"
        cj.write_recording(original, path, resolution_n=0.001)
        copy = cj.read_recording(path)
        assert copy.rate_hz == pytest.approx(original.rate_hz, rel=1e-9)
        assert copy.plates == original.plates
        before, after = cj.measure(original), cj.measure(copy)
        assert [c.status for c in after.checks] == [c.status for c in before.checks]
        for key, value in before.metrics.items():
            other = after.metrics[key]
            same = math.isnan(value) and math.isnan(other)
            assert same or other == pytest.approx(value, rel=FORMATS[suffix], abs=1e-9), key
