"""Spreadsheets and text with frame and sub-frame columns, and with a row of units."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from openpyxl import Workbook

from cmjlab.errors import ReadError
from cmjlab.files.inspect import inspect_file
from cmjlab.files.read import read_recording
from cmjlab.layout import Layout
from cmjlab.simulate.jump import simulate_jump

RATE = 250.0
PER_FRAME = 5
TOTAL = simulate_jump(rate_hz=RATE, noise_sd_n=1.0).recording.total_n.round(2)
GROUPS = ["", "", "Plate 1 - Force", "", "", "Plate 1 - Moment", "", "", "Plate 2 - Force", "", ""]
NAMES = ["Frame", "Sub Frame", "Fx", "Fy", "Fz", "Mx", "My", "Mz", "Fx", "Fy", "Fz"]
UNITS = ["", "", "N", "N", "N", "N.mm", "N.mm", "N.mm", "N", "N", "N"]


def _rows(lost: tuple[int, ...] = ()) -> list[list[Any]]:
    """Return rows of two plates; the left out samples are missing."""
    rows = []
    for k, v in enumerate(TOTAL.tolist()):
        side = round(0.04 * v, 2)
        plates = [side, -side, round(0.5 * v, 3), 50 * v, 9.5, 0.1, -side, side, round(0.5 * v, 3)]
        rows.append([k // PER_FRAME + 1, k % PER_FRAME, *plates])
    return [row for k, row in enumerate(rows) if k not in lost]


def _write(path: Path, head: list[list[Any]], rows: list[list[Any]]) -> Path:
    if path.suffix == ".xlsx":
        book = Workbook()
        sheet = book.active
        assert sheet is not None
        for row in [*head, *rows]:
            sheet.append(row)
        book.save(path)
    else:
        mark = {".csv": ",", ".txt": "\t"}[path.suffix]
        lines = [mark.join(map(str, row)) for row in [*head, *rows]]
        path.write_text("\n".join(lines) + "\n")
    return path


#: what stands in the row of units -> the row
UNIT_ROWS: dict[str, list[Any]] = {
    "units": UNITS,
    "a remark over the frames": ["checked", *UNITS[1:]],
    "a remark over a force": [*UNITS[:4], "see sheet 2", *UNITS[5:]],
    "a number behind the columns": [*UNITS, "", 1000],
    "cut short": UNITS[:5],
    "remarks and numbers": [1, "mk", "N", "?", "N", "", "N.mm", "", "N", "N", "N", "", "ok"],
}


@pytest.mark.parametrize("ending", [".csv", ".txt", ".xlsx"])
@pytest.mark.parametrize("row", UNIT_ROWS)
def test_stray_cells_among_the_units_cost_no_column_its_name(
    row: str, ending: str, tmp_path: Path
) -> None:
    head = [["Devices"], [], GROUPS, NAMES, UNIT_ROWS[row]]
    path = _write(tmp_path / f"a{ending}", head, _rows())
    found = read_recording(path, rate_hz=RATE)
    assert found.plates == ("plate_1", "plate_2")
    assert found.n_samples == TOTAL.size
    np.testing.assert_allclose(found.total_n, TOTAL, atol=0.0011)
    stated = Layout(force_columns=("Plate 2 - Force Fz",), plates=("right",))
    right = read_recording(path, rate_hz=RATE, layout=stated)
    np.testing.assert_array_equal(right.total_n, found.plate("plate_2"))


@pytest.mark.parametrize("ending", [".csv", ".xlsx"])
def test_frames_with_sub_frames_show_lost_samples(ending: str, tmp_path: Path) -> None:
    lost = (207, 208, 209, 210, 211, 212, 213)
    path = _write(tmp_path / f"a{ending}", [GROUPS, NAMES, UNITS], _rows(lost))
    found = read_recording(path, rate_hz=RATE)
    assert found.n_samples == TOTAL.size
    assert tuple(np.flatnonzero(np.isnan(found.total_n)).tolist()) == lost
    roles = {c.name: c.role for c in inspect_file(path, rate_hz=RATE).columns}
    assert roles["Frame"] == "sample number"
    assert roles["Sub Frame"] == "sample number within its frame"


def test_a_frame_that_stands_on_several_rows_is_no_clock(tmp_path: Path) -> None:
    rows = [[row[0], row[4]] for row in _rows()]
    path = _write(tmp_path / "a.csv", [["Frame", "Fz"]], rows)
    with pytest.raises(ReadError, match="--rate 1000"):
        read_recording(path)
    found = read_recording(path, rate_hz=RATE)
    assert found.n_samples == TOTAL.size
    assert found.rate_hz == RATE


def test_a_frame_on_every_row_is_the_clock(tmp_path: Path) -> None:
    rows = [[k + 1, v] for k, v in enumerate(TOTAL.tolist()) if k not in (50, 51)]
    path = _write(tmp_path / "a.csv", [["Frame", "Fz"]], rows)
    found = read_recording(path, rate_hz=RATE)
    assert np.flatnonzero(np.isnan(found.total_n)).tolist() == [50, 51]


@pytest.mark.parametrize("names", [["Bild", "Teil", "A", "B"], ["", "", "", ""]])
def test_a_counter_under_any_name_is_never_proposed_as_force(
    names: list[str], tmp_path: Path
) -> None:
    rows = [[*row[:2], row[4], row[2]] for row in _rows()]
    path = _write(tmp_path / "a.csv", [names] if names[0] else [], rows)
    with pytest.raises(ReadError, match="which column") as caught:
        read_recording(path, rate_hz=RATE)
    text = str(caught.value)
    assert "Bild" not in text
    assert "Teil" not in text
    assert re.search(r'force_columns = \["(A|3)"\]', text), text


def test_the_only_column_that_does_not_count_is_taken(tmp_path: Path) -> None:
    rows = [[*row[:2], row[4]] for row in _rows()]
    path = _write(tmp_path / "a.csv", [["Bild", "Teil", "Werte"]], rows)
    found = read_recording(path, rate_hz=RATE)
    np.testing.assert_allclose(2 * found.total_n, TOTAL, atol=0.0011)
    assert "force_column_assumed" in {n.code for n in found.notes}
