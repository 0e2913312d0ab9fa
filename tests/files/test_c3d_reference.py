"""C3D reading held against outside values, known truth and an independent reader.

Outside values: printed output of ezc3d 1.7.2 on a public sample file (ezc3d-testFiles), to the
digits printed. Files in every number format and with both kinds of plate axes are put together
byte by byte (c3d_kit), so their force is known exactly; ezc3d reads them as a second opinion.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest
from c3d_kit import PROCESSORS, Z_DOWN, Z_UP, Trial

from cmjlab.errors import ReadError
from cmjlab.files.c3d_content import parse_c3d
from cmjlab.files.c3d_plates import vertical_forces
from cmjlab.files.read import read_recording
from cmjlab.files.write import write_recording
from cmjlab.layout import Layout
from cmjlab.recording import Recording

TYPE_3 = "ezc3d-testFiles_FP_Type3.c3d"
#: Per platform of TYPE_3: mean, smallest, largest vertical force in newtons, as ezc3d prints it.
TYPE_3_FORCES = [(886.22043, 885.7708, 886.7066), (0.43486, -0.3059, 1.0992)]
ENCODINGS = [(processor, real) for processor in PROCESSORS for real in (False, True)]
#: Both types of six channels, each with the plates' own z axis up, down, and one of each.
PLATES = [
    Trial(kind=kind, corners=corners)
    for kind in (2, 4)
    for corners in ((Z_UP, Z_UP), (Z_DOWN, Z_DOWN), (Z_UP, Z_DOWN), (Z_DOWN,))
]


@pytest.fixture(scope="session")
def samples(reference_data: Path) -> Path:
    return reference_data / "c3d"


def _forces(name: str, data: bytes) -> np.ndarray:
    return vertical_forces(name, parse_c3d(name, data))[0]


def test_all_encodings_hold_the_same_trial(tmp_path: Path) -> None:
    """Three processors, integers and floating-point numbers: the same counts, to the last bit."""
    path = tmp_path / "a.c3d"
    for processor, real in ENCODINGS:
        trial = Trial(processor=processor, real=real)
        path.write_bytes(trial.written())
        content = parse_c3d(path.name, path.read_bytes())
        assert content.analog.shape == (360, 12)
        np.testing.assert_array_equal(content.analog, Trial().analog)
        found = read_recording(path)
        np.testing.assert_array_equal(found.force_n, Trial().vertical)
        assert found.rate_hz == 200.0


@pytest.mark.parametrize("trial", PLATES)
def test_platform_forces(trial: Trial) -> None:
    found = _forces("a.c3d", trial.written())
    np.testing.assert_allclose(found, trial.vertical, rtol=1e-12, atol=1e-9)


def test_sensors_in_four_corners(samples: Path) -> None:
    force = _forces(TYPE_3, (samples / TYPE_3).read_bytes())
    for k, (mean, low, high) in enumerate(TYPE_3_FORCES):
        assert force[:, k].mean() == pytest.approx(mean, abs=5.1e-6)
        assert force[:, k].min() == pytest.approx(low, abs=5.1e-5)
        assert force[:, k].max() == pytest.approx(high, abs=5.1e-5)


def test_calibration_matrix_matters(tmp_path: Path) -> None:
    """The same counts without and with a calibration matrix are different forces."""
    plain, full = tmp_path / "plain.c3d", tmp_path / "full.c3d"
    plain.write_bytes(Trial(kind=2).written())
    full.write_bytes(Trial(kind=4).written())
    without, with_it = read_recording(plain), read_recording(full)
    assert with_it.total_n.std() > 5.0 * without.total_n.std()  # moments leak into force
    assert "calibration_matrix" in {n.code for n in with_it.notes}
    assert "calibration_matrix" not in {n.code for n in without.notes}


def test_rates_and_start(samples: Path, tmp_path: Path) -> None:
    found = read_recording(samples / TYPE_3)
    assert found.rate_hz == 1000.0
    assert found.start_s == pytest.approx(1165 * 4 / 1000.0)
    path = tmp_path / "a.c3d"
    path.write_bytes(Trial(frame_rate_hz=60.0, samples_per_frame=17).written())
    lying = read_recording(path)
    assert lying.rate_hz == 1020.0  # what the file says; a person knows that it was 1000
    told = read_recording(path, rate_hz=1000.0)
    assert told.rate_hz == 1000.0
    assert "rate_overridden" in {n.code for n in told.notes}


def _agrees_with_an_independent_reader(path: Path) -> None:
    ezc3d = pytest.importorskip("ezc3d")
    other = ezc3d.c3d(str(path), extract_forceplat_data=True)
    ours = parse_c3d(path.name, path.read_bytes())
    np.testing.assert_allclose(ours.analog, other["data"]["analogs"][0].T, rtol=1e-12, atol=1e-9)
    force, _, _ = vertical_forces(path.name, ours)
    assert len(other["data"]["platform"]) == force.shape[1]
    for k, platform in enumerate(other["data"]["platform"]):
        np.testing.assert_allclose(force[:, k], platform["force"][2], rtol=1e-9, atol=1e-9)


@pytest.mark.skipif(sys.platform == "win32", reason="the oracle's wheels differ there")
@pytest.mark.parametrize("kind", [2, 4])
@pytest.mark.parametrize(("processor", "real"), [e for e in ENCODINGS if e[0] != "mips"])
def test_independent_reader_agrees(kind: int, processor: str, real: bool, tmp_path: Path) -> None:
    """The independent reader knows no files of MIPS processors."""
    path = tmp_path / "a.c3d"
    for corners in ((Z_UP, Z_DOWN), (Z_DOWN,)):
        trial = Trial(processor=processor, real=real, kind=kind, corners=corners)
        path.write_bytes(trial.written())
        _agrees_with_an_independent_reader(path)


@pytest.mark.skipif(sys.platform == "win32", reason="the oracle's wheels differ there")
def test_independent_reader_agrees_on_a_real_file(samples: Path) -> None:
    _agrees_with_an_independent_reader(samples / TYPE_3)


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
