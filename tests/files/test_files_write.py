"""Writing, then reading: the same force, rate, plates and start; the same bytes every time."""

from __future__ import annotations

import gzip
from pathlib import Path

import numpy as np
import pytest

from cmjlab.catalog import METRICS
from cmjlab.errors import ArgumentError, ReadError
from cmjlab.files.read import read_recording
from cmjlab.files.write import write_recording
from cmjlab.jump.measure import measure
from cmjlab.recording import Recording
from cmjlab.simulate.jump import simulate_jump

ENDINGS = (".csv", ".txt", ".csv.gz", ".txt.gz", ".parquet", ".c3d")


def _recording(
    rate: float = 1000.0, plates: tuple[str, ...] = ("left", "right"), **more: float
) -> Recording:
    rng = np.random.default_rng(11)
    return Recording(380.0 + rng.normal(0, 25, (700, len(plates))), rate, plates, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("ending", ENDINGS)
@pytest.mark.parametrize("rate", [1000.0, 450.0, 600.0, 2048.0, 333.25, 1200.0])
@pytest.mark.parametrize(
    "plates",
    [("total",), ("left", "right"), ("plate_1", "plate_2", "plate_3"), ("left", "right", "total")],
)
def test_written_files_read_back(
    ending: str, rate: float, plates: tuple[str, ...], tmp_path: Path
) -> None:
    given = _recording(rate, plates)
    if len(plates) == 1:
        given = given.replace(force_n=2 * given.force_n)
    path = write_recording(given, tmp_path / f"a{ending}")
    found = read_recording(path)
    assert found.plates == plates
    assert found.n_samples == given.n_samples
    assert found.rate_hz == pytest.approx(rate, rel=1e-9)
    step = {".parquet": 0.0, ".c3d": 5e-5}.get(ending, 0.05)
    assert np.abs(found.force_n - given.force_n).max() <= step + 1e-9


@pytest.mark.parametrize("ending", ENDINGS)
def test_the_same_recording_gives_the_same_bytes(ending: str, tmp_path: Path) -> None:
    first = write_recording(_recording(), tmp_path / f"a{ending}").read_bytes()
    second = write_recording(_recording(), tmp_path / f"b{ending}").read_bytes()
    assert first == second


@pytest.mark.parametrize("ending", [".csv", ".parquet", ".c3d"])
def test_start_time_is_kept(ending: str, tmp_path: Path) -> None:
    found = read_recording(write_recording(_recording(start_s=2.5), tmp_path / f"a{ending}"))
    assert found.start_s == pytest.approx(2.5, abs=1e-9)
    assert found.time_s[1] == pytest.approx(2.501, abs=1e-9)


@pytest.mark.parametrize("ending", ENDINGS)
def test_lost_samples_stay_lost(ending: str, tmp_path: Path) -> None:
    force = _recording().force_n.copy()
    force[100:120] = np.nan
    found = read_recording(
        write_recording(Recording(force, 1000.0, ("left", "right")), tmp_path / f"a{ending}")
    )
    np.testing.assert_array_equal(np.isnan(found.force_n), np.isnan(force))
    assert found.notes


@pytest.mark.parametrize(
    ("delimiter", "decimal"),
    [(",", "."), (";", "."), (";", ","), ("\t", ","), ("\t", "."), ("|", ","), (" ", ".")],
)
@pytest.mark.parametrize("resolution", [0.001, 0.1, 0.5, 1.0])
def test_dialects_and_resolutions(
    delimiter: str, decimal: str, resolution: float, tmp_path: Path
) -> None:
    given = _recording()
    path = write_recording(
        given, tmp_path / "a.txt", delimiter=delimiter, decimal=decimal, resolution_n=resolution
    )
    found = read_recording(path)
    error = np.abs(found.force_n - given.force_n)
    assert error.max() <= resolution / 2 + 1e-9
    assert error.max() > 0.4 * resolution
    off = found.force_n / resolution - np.round(found.force_n / resolution)
    assert np.abs(off).max() < 1e-6


def test_without_time_the_rate_must_be_told(tmp_path: Path) -> None:
    path = write_recording(_recording(), tmp_path / "a.csv", time=False)
    assert path.read_text().startswith("force_left_n,force_right_n\n")
    with pytest.raises(ReadError, match="--rate"):
        read_recording(path)
    assert read_recording(path, rate_hz=1000.0).n_samples == 700
    kept = write_recording(_recording(), tmp_path / "a.parquet", time=False)
    assert read_recording(kept).rate_hz == 1000.0


def test_gz_holds_no_time_and_no_name(tmp_path: Path) -> None:
    data = write_recording(_recording(), tmp_path / "a.csv.gz").read_bytes()
    assert data[4:8] == b"\x00\x00\x00\x00"
    assert data[3] == 0
    assert gzip.decompress(data).startswith(b"time_s,force_left_n,force_right_n\n0.000,")


def test_unusable_arguments(tmp_path: Path) -> None:
    given = _recording()
    for options, words in (
        ({"delimiter": ",", "decimal": ","}, "decimal mark too"),
        ({"decimal": "·"}, "decimal"),
        ({"delimiter": "x"}, "delimiter"),
        ({"resolution_n": 0.0}, "resolution_n"),
    ):
        with pytest.raises(ArgumentError, match=words):
            write_recording(given, tmp_path / "a.csv", **options)  # type: ignore[arg-type]
    with pytest.raises(ArgumentError, match="ending"):
        write_recording(given, tmp_path / "a.docx")


@pytest.mark.parametrize("ending", ENDINGS)
def test_copies_give_equal_metrics(ending: str, tmp_path: Path) -> None:
    """Metrics of a copy equal those of the recording rounded as the format rounds it."""
    recording = simulate_jump(noise_sd_n=1.0, seed=4).recording
    rounded = recording.replace(force_n=np.round(recording.force_n, 1))
    copy = read_recording(write_recording(rounded, tmp_path / f"a{ending}"))
    expected, found = measure(rounded), measure(copy)
    assert found.accepted == expected.accepted
    for key, value in expected.metrics.items():
        # C3D keeps 7 digits: differences of forces near 1000 N to 1e-4 N
        near = 1e-4 if METRICS[key].unit == "N" else 1e-5
        assert found.metrics[key] == pytest.approx(value, rel=1e-5, abs=near, nan_ok=True), key
