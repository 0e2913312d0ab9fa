"""Files that real people's reports taught us: read to the right newtons and hertz, or asked.

All come from a closed-form synthetic jump of 750 N body weight, g = 9.80665 m/s²; what is wrong
with each file stands in tests/data/LICENCES.md.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from cmjlab.errors import ReadError
from cmjlab.files.read import read_recording
from cmjlab.layout import Layout

#: Files of the 500 Hz recording: name -> (rate given, codes of notes that must be there).
READABLE: dict[str, tuple[float | None, set[str]]] = {
    "b01_decimal_comma.csv": (None, {"decimal_comma", "unit_assumed", "time_unit_assumed"}),
    "b05_preamble_units.csv": (None, {"rate_agrees"}),
    "b06_two_headers.txt": (500.0, {"rate_given", "columns_not_used"}),
    "b07_bom.csv": (None, {"unit_assumed"}),
    "b08_utf16.txt": (None, {"unit_assumed"}),
    "b09_cp1252.csv": (None, {"encoding_assumed", "decimal_comma"}),
    "b11_trailing_delim.csv": (None, {"unit_assumed"}),
    "b12_time_ms.csv": (None, {"time_unit_assumed"}),
    "b13_no_time.csv": (500.0, {"rate_given"}),
    "b17_text_numbers.csv": (None, {"bad_cells"}),
    "b18_negative.csv": (None, {"sign_reversed"}),
    "b20_kgf.csv": (None, {"unit_converted"}),
    "b22_yup_3comp.csv": (None, {"vertical_axis"}),
    "b24_cr_only.csv": (None, {"unit_assumed"}),
    "b25_fixed_width.txt": (None, {"unit_assumed"}),
    "b27_clock_time.csv": (None, {"clock_time"}),
}


@pytest.mark.parametrize("name", READABLE)
def test_readable_dialects(name: str, cases: Path) -> None:
    rate, codes = READABLE[name]
    found = read_recording(cases / name, rate_hz=rate)
    assert codes <= {n.code for n in found.notes}
    assert found.rate_hz == 500.0
    assert found.n_samples == 1972
    assert found.start_s == 0.0
    assert np.nanmean(found.total_n[:500]) == pytest.approx(750.0, abs=1.0)
    assert np.nanmax(found.total_n) == pytest.approx(3169.7, abs=0.2)
    assert np.nanmax(found.total_n[:1200]) == pytest.approx(1889.2, abs=0.2)


def test_all_dialects_hold_the_same_force(cases: Path) -> None:
    reference = read_recording(cases / "b07_bom.csv").total_n
    for name, (rate, _) in READABLE.items():
        found = read_recording(cases / name, rate_hz=rate).total_n
        kept = np.isfinite(found)
        assert kept.sum() == (1966 if name.startswith("b17") else 1972)
        assert np.abs(found - reference)[kept].max() <= 0.15, name


def test_plates_are_kept_apart(cases: Path) -> None:
    two = read_recording(cases / "b06_two_headers.txt", rate_hz=500)
    assert two.plates == ("plate_1", "plate_2")
    assert two.force_n[0].tolist() == [360.3, 390.4]
    three = read_recording(cases / "b05_preamble_units.csv")
    assert three.plates == ("left", "right", "total")
    assert three.total_n[0] == 750.7


def test_rounded_time_gives_the_whole_rate(cases: Path) -> None:
    found = read_recording(cases / "b14_time_rounded.csv")
    assert found.rate_hz == 1000.0
    assert found.n_samples == 3944
    assert "rate_rounded" in {n.code for n in found.notes}


def test_lost_samples_leave_a_hole(cases: Path) -> None:
    found = read_recording(cases / "b15_dropped.csv")
    assert found.rate_hz == 500.0
    assert found.n_samples == 1972
    assert np.flatnonzero(np.isnan(found.total_n)).tolist() == list(range(1030, 1050))
    gap = next(n for n in found.notes if n.code == "gap")
    assert "42 ms" in gap.text
    assert "2.058 s" in gap.text


def test_samples_lost_beside_a_counter_are_not_invented(cases: Path) -> None:
    found = read_recording(cases / "b15b_dropped_no_gap_in_index.csv", rate_hz=500)
    assert found.n_samples == 1952
    assert "counter_only" in {n.code for n in found.notes}


def test_bad_cells_are_named_and_lost(cases: Path) -> None:
    found = read_recording(cases / "b17_text_numbers.csv")
    assert np.flatnonzero(np.isnan(found.total_n)).tolist() == list(range(299, 305))
    text = next(n.text for n in found.notes if n.code == "bad_cells")
    for word in ("'-1.#IND'", "'NaN'", "'Inf'", "'---'", "'OVR'", "empty", "line 301"):
        assert word in text


def test_units_that_only_a_person_knows(cases: Path) -> None:
    kn = read_recording(cases / "b19_kN.csv", layout=Layout(force_unit="kN"))
    volts = Layout(force_unit="V", newton_per_unit=500.0)
    v = read_recording(cases / "b21_volts.csv", layout=volts)
    for found in (kn, v):
        assert np.mean(found.total_n[:500]) / 9.80665 == pytest.approx(76.48, abs=0.05)
        assert np.max(found.total_n) == pytest.approx(3169.7, abs=0.2)
    assert "scale_given" in {n.code for n in v.notes}


#: Files that must stop: name -> words of the one sentence.
QUESTIONS = {
    "b06_two_headers.txt": ["--rate 1000", "rate_hz=1000", "rate_hz = 1000"],
    "b13_no_time.csv": ["--rate 1000", "no time column"],
    "b15b_dropped_no_gap_in_index.csv": ["numbers its samples", "--rate 1000"],
    "b19_kN.csv": ["unit of force", 'force_unit = "kN"', "76.5 kg"],
    "b21_volts.csv": ["unit of force", "newton_per_unit"],
    "b28_time_restart.csv": ["line 1974", "3.942", "2 recordings"],
    "b30_empty.csv": ["empty (0 bytes)"],
    "b31_header_only.csv": ["no table of numbers", "Time,Fz"],
    "c3d_bad_magic_changed.c3d": ["not a C3D file"],
    "c3d_bad_only_header.c3d": ["damaged"],
    "c3d_bad_params_garbled.c3d": ["damaged"],
    "c3d_bad_text_renamed.c3d": ["not a C3D file"],
    "c3d_bad_truncated_half.c3d": ["announces 394 frames", "holds 195"],
    "c3d_bad_zero_bytes.c3d": ["empty (0 bytes)"],
    "c3d_type3.c3d": ["needs 8", "lists 6 channels"],
    "c3d_type5.c3d": ["type 5", "types 1 to 4"],
    "c3d_type7.c3d": ["type 7", "types 1 to 4"],
}


@pytest.mark.parametrize("name", QUESTIONS)
def test_doubtful_and_damaged_files_stop_with_the_right_sentence(name: str, cases: Path) -> None:
    with pytest.raises(ReadError) as caught:
        read_recording(cases / name)
    text = str(caught.value)
    assert text.startswith(name)
    for words in QUESTIONS[name]:
        assert words in text
    assert "\n" not in text


C3D_TOTALS = {
    "c3d_std_pos.c3d": 749.978,
    "c3d_npts0.c3d": 749.978,
    "c3d_no_fp.c3d": 749.978,
    "c3d_two_plates.c3d": 749.978,
    "c3d_type4_volts.c3d": 749.978,
    "c3d_bad_truncated_tail_100.c3d": 749.978,
    "c3d_patch_GEN_SCALE.c3d": 1499.957,
    "c3d_patch_OFFSET.c3d": 649.978,
}


@pytest.mark.parametrize("name", C3D_TOTALS)
def test_c3d_cases(name: str, cases: Path) -> None:
    found = read_recording(cases / name)
    assert found.rate_hz == 1000.0
    assert found.n_samples == 3940
    assert found.total_n.mean() == pytest.approx(C3D_TOTALS[name], abs=0.001)
    assert found.plates == (("plate_1", "plate_2") if "two" in name else ("total",))


def test_every_signal_case_reads(cases: Path) -> None:
    names = sorted(p.name for p in cases.glob("c[01]*.csv"))
    assert len(names) == 13
    for name in names:
        found = read_recording(cases / name)
        assert found.rate_hz == 1000.0
        rows = (cases / name).read_text(encoding="utf-8").count("\n") - 1
        assert found.n_samples == rows
        assert not np.isnan(found.total_n).any()
        assert found.notes == ()


def test_every_case_file_is_covered(cases: Path) -> None:
    """No recording among the cases is left without an expectation."""
    known = {*READABLE, *QUESTIONS, *C3D_TOTALS, "b14_time_rounded.csv", "b15_dropped.csv"}
    known |= {"b29_clipped.csv"}
    present = {p.name for p in cases.iterdir() if p.name.startswith(("b", "c3d_"))}
    assert present == known


def test_clipped_file_reads_as_it_stands(cases: Path) -> None:
    assert read_recording(cases / "b29_clipped.csv").total_n.max() == 1500.0
