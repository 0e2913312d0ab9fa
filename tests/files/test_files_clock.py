"""The uniform clock: rate, rounding, holes, repeats, scatter; and both reading paths alike."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cmjlab.errors import ReadError
from cmjlab.files import fast
from cmjlab.files.even_grid import resolution
from cmjlab.files.headings import read_heading
from cmjlab.files.inspect import inspect_file
from cmjlab.files.notes import NOTE_CODES
from cmjlab.files.read import read_recording
from cmjlab.layout import Layout

RATES = [100.0, 240.0, 333.0, 450.0, 500.0, 600.0, 960.0, 1000.0, 1024.0, 1200.0, 2000.0, 2048.0]


def _force(n: int) -> np.ndarray:
    return 750.0 + 40.0 * np.sin(np.arange(n) / 17.0)


def _file(folder: Path, times: list[str], head: str = "Time [s],Fz [N]") -> Path:
    path = folder / "a.csv"
    force = _force(len(times))
    rows = [f"{t},{f:.1f}" for t, f in zip(times, force.tolist(), strict=True)]
    path.write_text("\n".join([head, *rows]) + "\n")
    return path


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize("digits", [3, 4, 6, 9])
def test_whole_rates_are_found_from_rounded_stamps(
    rate: float, digits: int, tmp_path: Path
) -> None:
    times = [f"{k / rate:.{digits}f}" for k in range(3000)]
    found = read_recording(_file(tmp_path, times))
    assert found.rate_hz == rate
    assert found.n_samples == 3000
    assert not np.isnan(found.total_n).any()


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize("lost", [1, 2, 7, 60])
def test_any_hole_is_found_where_stamps_are_fine(rate: float, lost: int, tmp_path: Path) -> None:
    digits = 3 if rate in (100.0, 500.0, 1000.0) else 6
    kept = [k for k in range(2000) if not 900 <= k < 900 + lost]
    found = read_recording(_file(tmp_path, [f"{k / rate:.{digits}f}" for k in kept]))
    assert found.rate_hz == rate
    assert found.n_samples == 2000
    assert np.flatnonzero(np.isnan(found.total_n)).tolist() == list(range(900, 900 + lost))
    note = next(n for n in found.notes if n.code == "gap")
    assert f"{lost} samples are lost" in note.text


def test_several_holes_and_the_file_clock(tmp_path: Path) -> None:
    kept = [k for k in range(1500) if k not in (10, 11, 700, 1201)]
    found = read_recording(_file(tmp_path, [f"{12.5 + k / 1000:.3f}" for k in kept]))
    assert found.start_s == 12.5
    assert np.flatnonzero(np.isnan(found.total_n)).tolist() == [10, 11, 700, 1201]


def test_a_hole_in_rounded_stamps_is_not_overlooked(tmp_path: Path) -> None:
    kept = [k for k in range(3000) if not 900 <= k < 940]
    with pytest.raises(ReadError, match="rounded too coarsely"):
        read_recording(_file(tmp_path, [f"{k / 1000:.2f}" for k in kept]))


def test_rows_written_twice_are_left_out(tmp_path: Path) -> None:
    lines = _file(tmp_path, [f"{k / 1000:.3f}" for k in range(600)]).read_text().splitlines()
    lines[300:300] = [lines[299]]
    path = tmp_path / "b.csv"
    path.write_text("\n".join(lines) + "\n")
    found = read_recording(path)
    assert found.n_samples == 600
    assert "repeated_rows" in {n.code for n in found.notes}


def test_scatter_is_noted_not_resampled(tmp_path: Path) -> None:
    rng = np.random.default_rng(2)
    times = np.arange(1000) / 500.0 + rng.uniform(-2e-4, 2e-4, 1000)
    found = read_recording(_file(tmp_path, [f"{t:.6f}" for t in times]))
    assert found.rate_hz == pytest.approx(500.0, rel=1e-3)
    assert "time_jitter" in {n.code for n in found.notes}
    np.testing.assert_allclose(found.total_n, _force(1000).round(1), atol=1e-9)


@pytest.mark.parametrize(("given", "used"), [(1000.0, 1000.0), (1001.0, 1000.0)])
def test_a_given_rate_that_agrees(given: float, used: float, tmp_path: Path) -> None:
    path = _file(tmp_path, [f"{k / 1000:.2f}" for k in range(3000)])
    found = read_recording(path, rate_hz=given)
    assert found.rate_hz == used
    assert ("rate_agrees" in {n.code for n in found.notes}) == (given != used)


def test_a_given_rate_that_contradicts_stops_and_can_be_insisted_on(tmp_path: Path) -> None:
    path = _file(tmp_path, [f"{k / 1000:.3f}" for k in range(600)])
    with pytest.raises(ReadError, match="the time column says 1000"):
        read_recording(path, rate_hz=500.0)
    found = read_recording(path, layout=Layout(time_column="none"), rate_hz=500.0)
    assert found.rate_hz == 500.0
    assert found.n_samples == 600


def test_counter_with_holes(tmp_path: Path) -> None:
    kept = [k for k in range(800) if not 400 <= k < 410]
    found = read_recording(_file(tmp_path, [str(k) for k in kept], "Frame,Fz [N]"), rate_hz=100.0)
    assert found.n_samples == 800
    assert int(np.isnan(found.total_n).sum()) == 10
    assert "gap of 110 ms" in next(n.text for n in found.notes if n.code == "gap")


def test_counter_in_a_time_column_when_the_rate_is_given(tmp_path: Path) -> None:
    path = _file(tmp_path, [str(k) for k in range(800)], "Time,Fz [N]")
    assert read_recording(path, rate_hz=500.0).rate_hz == 500.0
    assert read_recording(path, layout=Layout(time_unit="ms")).rate_hz == 1000.0


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 6), st.floats(50.0, 5000.0))
def test_resolution_is_the_printed_step(digits: int, rate: float) -> None:
    values = np.array([round(k / rate, digits) for k in range(400)])
    values += 0.0
    step = resolution(values)
    scaled = values / step if step else values
    assert step == 0.0 or np.abs(scaled - np.rint(scaled)).max() < 1e-3
    assert (
        step <= max(10.0**-digits, 1e-9) * (1 + 1e-9)
        or np.ptp(values * 10**digits % 10) == 0
        or (math.isclose(step, 10.0 ** round(math.log10(step))))
    )


PLAIN = [
    "time_s,force_left_n,force_right_n",
    "Time [s],Fz [N]",
    "Time,Fz",
    "Sample,Fz",
    "Left,Right",
    "Fz",
    "",
]


@pytest.mark.parametrize("head", PLAIN)
@pytest.mark.parametrize("mark", [",", "\t", ";"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_fast_and_careful_path_agree(
    head: str, mark: str, end: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    width = head.count(",") + 1 if head else 2
    rows = []
    for k in range(400):
        cells = [f"{k / 1000:.3f}" if "ime" in head or not head else str(k)]
        cells += [f"{380.0 + 20 * math.sin(k / 9 + c):.1f}" for c in range(3)]
        first = 0 if "ime" in head or "Sample" in head or not head else 1
        rows.append(mark.join(cells[first : first + width]))
    path = tmp_path / "a.csv"
    path.write_bytes(end.join([*([head.replace(",", mark)] if head else []), *rows, ""]).encode())
    assert fast.read_fast("a.csv", path.read_bytes(), None) is not None
    quick = read_recording(path, rate_hz=1000.0)
    monkeypatch.setattr("cmjlab.files.read.read_fast", lambda *a: None)
    slow = read_recording(path, rate_hz=1000.0)
    np.testing.assert_array_equal(quick.force_n, slow.force_n)
    assert quick.plates == slow.plates
    assert quick.notes == slow.notes
    assert quick.start_s == slow.start_s


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b"750,7\n" * 90, "the comma may be a decimal mark"),
        (b"Time,Fz\n" + b"0.1,750\n" * 90 + b"0.2,75", "no final line end"),
        (b"Time,Fz\n" + b"0.1,750\n" * 60 + b"\n" + b"0.1,750\n" * 60, "an empty line"),
        (b"Time,Fz\n" + b"0.1,750\n" * 60 + b"0.1,nan\n" + b"0.1,750\n" * 60, "nan"),
        (b"Time,Fz\n" + b"0.1,750\n" * 60 + b"0.1,OVR\n" + b"0.1,750\n" * 60, "a word"),
        (b"Time,Fz\n" + b"0.1,750\n" * 60 + b"0.1,750,1\n" + b"0.1,750\n" * 60, "a third cell"),
        (b"s,N\n" + b"0.1,750\n" * 90, "a units row"),
        (b"Rate 1000,Fz\n" + b"0.1,750\n" * 90, "a rate in the header"),
        ("Zeit,Kräfte\n".encode("cp1252") + b"0.1,750\n" * 90, "not UTF-8"),
        (b"Time,Fz\n" + b"0.1,750\n" * 90 + b"end\n", "a footer"),
        (b'"Time","Fz"\n' + b"0.1,750\n" * 90, "quotes"),
    ],
)
def test_the_fast_path_leaves_doubt_to_the_careful_one(data: bytes, why: str) -> None:
    assert fast.read_fast("a.csv", data, None) is None, why


def test_every_note_code_is_declared() -> None:
    """Every code used in the reader is in the list, and every listed code is used."""
    folder = Path(fast.__file__).parent
    text = "\n".join(
        p.read_text(encoding="utf-8") for p in folder.glob("*.py") if p.name != "notes.py"
    )
    unused = [c for c in NOTE_CODES if f'"{c}"' not in text]
    assert not unused


@pytest.mark.parametrize(
    ("header", "quantity", "axis", "side", "plate", "unit"),
    [
        ("Time[s]", "time", "", "", 0, "s"),
        ("#Sample", "sample", "", "", 0, ""),
        ("GRFv", "force", "v", "", 0, ""),
        ("GRF[N]", "force", "", "", 0, "N"),
        ("Plate 2 Fz", "force", "z", "", 2, ""),
        ("F1Z", "force", "z", "", 1, ""),
        ("LFz", "force", "z", "left", 0, ""),
        ("FZ Right (kN)", "force", "z", "right", 0, "kN"),
        ("Force (kg)", "force", "", "", 0, "kgf"),
        ("Bodenkraft für Stoß [N]", "force", "", "", 0, "N"),
        ("Kraft links", "force", "", "left", 0, ""),
        ("forceRight", "force", "", "right", 0, ""),
        ("Total", "", "", "total", 0, ""),
        ("Mx", "other", "x", "", 0, ""),
        ("COPx", "other", "", "", 0, ""),
        ("Ch1", "", "", "", 0, ""),
        ("Channel 2 (N)", "force", "", "", 0, "N"),
        ("Force plate 1 Force Z (N)", "force", "z", "", 1, "N"),
        ("Time (hh:mm:ss.sss)", "time", "", "", 0, ""),
        ("velocity [m/s]", "other", "", "", 0, "other"),
    ],
)
def test_headings(header: str, quantity: str, axis: str, side: str, plate: int, unit: str) -> None:
    found = read_heading(header)
    assert found.quantity == quantity
    assert found.side == side
    assert found.plate == plate
    assert found.unit == unit
    if quantity == "force":
        assert found.axis == axis


def test_inspection_of_a_doubtful_file_names_all_questions(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    rows = "\n".join(f"{k},{1.5 + 0.01 * (k % 7):.3f}" for k in range(500))
    path.write_text("Time,Ch1\n" + rows + "\n")
    seen = inspect_file(path)
    assert len(seen.questions) == 2
    assert "milliseconds" in seen.questions[0]
    assert "unit of force" in seen.questions[1]
    assert "# time_unit" in seen.layout_toml()
    assert "# force_unit" in seen.layout_toml()
    assert any(line.strip().startswith("question:") for line in seen.lines())
