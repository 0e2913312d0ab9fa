"""C3D reading held against outside values and an independent reader.

Expected numbers: printed output of ezc3d 1.7.2 on the public sample files (c3d.org set and
ezc3d-testFiles), to the digits printed. ezc3d serves as an oracle only on files that are sound.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

from cmjlab.errors import ReadError
from cmjlab.files.c3d_content import parse_c3d
from cmjlab.files.c3d_plates import vertical_forces
from cmjlab.files.read import read_recording
from cmjlab.files.write import write_recording
from cmjlab.layout import Layout
from cmjlab.recording import Recording

EB015 = [f"sample01_Eb015{kind}.c3d" for kind in ("pi", "pr", "vi", "vr")]

#: file -> per platform (mean, smallest, largest) vertical force in newtons, as ezc3d prints it.
PLATFORMS = {
    "sample01_Eb015pi.c3d": [(152.65519, 18.5999, 838.5556), (167.14141, 25.9186, 836.3133)],
    "sample10_TYPE-2.C3D": [(57.74226, -1.4808, 397.8510)],
    "sample10_TYPE-4.C3D": [(57.04919, -1.4674, 390.4838)],
    "sample21_sample21.c3d": [(-1824.05597, -2882.6460, 1117.9719), (-1816.39830, -2876.8724, 1150.4040)],
    "ezc3d-testFiles_FP_Type3.c3d": [(886.22043, 885.7708, 886.7066), (0.43486, -0.3059, 1.0992)],
}  # fmt: skip


@pytest.fixture(scope="session")
def samples(reference_data: Path) -> Path:
    return reference_data / "c3d"


def test_four_encodings_are_identical(samples: Path) -> None:
    first, *others = [parse_c3d(n, (samples / n).read_bytes()).analog for n in EB015]
    assert first.shape == (1800, 16)
    for other in others:
        np.testing.assert_array_equal(other, first)
    read = [read_recording(samples / n) for n in EB015]
    for other in read[1:]:
        np.testing.assert_array_equal(other.force_n, read[0].force_n)
        assert other.rate_hz == read[0].rate_hz == 200.0


@pytest.mark.parametrize("name", PLATFORMS)
def test_platform_forces(name: str, samples: Path) -> None:
    force, _, _ = vertical_forces(name, parse_c3d(name, (samples / name).read_bytes()))
    for k, (mean, low, high) in enumerate(PLATFORMS[name]):
        assert force[:, k].mean() == pytest.approx(mean, abs=5.1e-6)
        assert force[:, k].min() == pytest.approx(low, abs=5.1e-5)
        assert force[:, k].max() == pytest.approx(high, abs=5.1e-5)


def test_calibration_matrix_matters(samples: Path) -> None:
    """The same trial without and with its calibration matrix: 397.8510 and 390.4838 N."""
    plain = read_recording(samples / "sample10_TYPE-2.C3D")
    full = read_recording(samples / "sample10_TYPE-4.C3D")
    assert plain.total_n.max() == pytest.approx(397.8510, abs=5e-5)
    assert full.total_n.max() == pytest.approx(390.4838, abs=5e-5)
    assert "calibration_matrix" in {n.code for n in full.notes}


def test_rates_and_start(samples: Path) -> None:
    found = read_recording(samples / "ezc3d-testFiles_FP_Type3.c3d")
    assert found.rate_hz == 1000.0
    assert found.start_s == pytest.approx(1165 * 4 / 1000.0)
    lying = read_recording(samples / "sample21_sample21.c3d")
    assert lying.rate_hz == 1020.0  # what the file says; its read-me says 1000
    told = read_recording(samples / "sample21_sample21.c3d", rate_hz=1000.0)
    assert told.rate_hz == 1000.0
    assert "rate_overridden" in {n.code for n in told.notes}


@pytest.mark.skipif(sys.platform == "win32", reason="the oracle's wheels differ there")
@pytest.mark.parametrize("name", [*EB015, *PLATFORMS])
def test_independent_reader_agrees(name: str, samples: Path) -> None:
    ezc3d = pytest.importorskip("ezc3d")
    other = ezc3d.c3d(str(samples / name), extract_forceplat_data=True)
    ours = parse_c3d(name, (samples / name).read_bytes())
    np.testing.assert_allclose(ours.analog, other["data"]["analogs"][0].T, rtol=1e-12, atol=1e-9)
    force, _, _ = vertical_forces(name, ours)
    for k, platform in enumerate(other["data"]["platform"]):
        np.testing.assert_allclose(force[:, k], platform["force"][2], rtol=1e-9, atol=1e-9)


@pytest.mark.parametrize("plates", [("total",), ("left", "right"), ("plate_1", "plate_2")])
def test_written_files_are_read_by_an_independent_reader(
    plates: tuple[str, ...], tmp_path: Path
) -> None:
    ezc3d = pytest.importorskip("ezc3d")
    force = 700.0 + np.random.default_rng(1).normal(0, 30, (300, len(plates)))
    path = write_recording(Recording(force, 1200.0, plates, start_s=0.25), tmp_path / "a.c3d")
    other = ezc3d.c3d(str(path), extract_forceplat_data=True)
    assert other["parameters"]["ANALOG"]["RATE"]["value"][0] == 1200.0
    for k in range(len(plates)):
        np.testing.assert_allclose(
            other["data"]["platform"][k]["force"][2], force[:, k], rtol=1e-6, atol=1e-4
        )
    ours = read_recording(path)
    assert ours.plates == plates
    assert ours.start_s == 0.25
    np.testing.assert_allclose(ours.force_n, force, rtol=1e-7, atol=1e-4)


def test_a_channel_can_be_named_instead_of_a_platform(cases: Path) -> None:
    found = read_recording(cases / "c3d_type5.c3d", layout=Layout(force_columns=("Fz1",)))
    assert found.total_n.mean() == pytest.approx(749.978, abs=0.001)


def test_more_than_65535_frames_are_read_whole(tmp_path: Path) -> None:
    force = 750.0 + np.arange(70_000) % 97
    found = read_recording(write_recording(Recording(force, 1000.0), tmp_path / "a.c3d"))
    assert found.n_samples == 70_000
    np.testing.assert_array_equal(found.total_n, force)


def test_a_count_that_overflowed_is_refused(tmp_path: Path) -> None:
    """70,000 frames whose long counts were lost: the header can only say 65,535."""
    path = write_recording(Recording(np.full(70_000, 750.0), 1000.0), tmp_path / "a.c3d")
    data = bytearray(path.read_bytes())
    for name in (b"ACTUAL_END_FIELD", b"LONG_FRAMES"):
        at = data.index(name)
        data[at : at + 3] = b"ZZZ"
    path.write_bytes(data)
    with pytest.raises(ReadError, match="65535 frames only, the file holds 70"):
        read_recording(path)
