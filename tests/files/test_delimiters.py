"""One list of separators: what stands in it is understood wherever files are read."""

from __future__ import annotations

import csv
import subprocess
import sys

import numpy as np
import pytest

from cmjlab.delimiters import DELIMITERS
from cmjlab.errors import ArgumentError, ReadError
from cmjlab.files.inspect import inspect_file
from cmjlab.files.read import read_recording
from cmjlab.files.table import read_table
from cmjlab.files.write import write_recording
from cmjlab.layout import Layout
from cmjlab.simulate.jump import simulate_jump
from cmjlab.study.folder.cells import read_cells

RECORDING = simulate_jump(noise_sd_n=1.0, seed=3).recording

#: A separator is added to the list before anything else is loaded, as an edit of it would be.
NEW_ONE = """
import sys
from pathlib import Path

import cmjlab.delimiters as home

home.DELIMITERS = (*home.DELIMITERS, home.Delimiter("^", ("caret",)))

import numpy as np
from cmjlab.files.inspect import inspect_file
from cmjlab.files.read import read_recording
from cmjlab.files.table import read_table
from cmjlab.files.write import write_recording
from cmjlab.layout import Layout
from cmjlab.simulate.jump import simulate_jump
from cmjlab.study.folder.cells import read_cells

folder = Path(sys.argv[1])
recording = simulate_jump(noise_sd_n=1.0, seed=3).recording
file = write_recording(recording, folder / "force.txt", delimiter="^")
assert "^" in file.read_text()
assert np.allclose(read_recording(file).force_n, recording.force_n, atol=0.051)
commas = folder / "commas.txt"
commas.write_text(file.read_text().replace(".", ","))
assert np.allclose(read_recording(commas).force_n, recording.force_n, atol=0.051)
assert inspect_file(file).dialect["delimiter"] == "^"
assert np.allclose(
    read_recording(file, layout=Layout(delimiter="caret")).force_n, recording.force_n, atol=0.051
)
[row] = [r for r in Layout.describe() if r["name"] == "delimiter"]
assert "'caret'" in row["help"]
table = folder / "athletes.csv"
table.write_text("athlete^mass, kg\\nA01^71.5\\nA02^80\\n")
assert read_table(table)["mass, kg"].tolist() == [71.5, 80.0]
assert read_cells(table).rows == [["A01", "71.5"], ["A02", "80"]]
print("understood")
"""


def test_a_new_separator_is_understood_everywhere(tmp_path):
    done = subprocess.run(
        [sys.executable, "-c", NEW_ONE, str(tmp_path)], capture_output=True, text=True
    )
    assert done.stdout.strip() == "understood", done.stderr


@pytest.mark.parametrize("one", [d for d in DELIMITERS if d.mark], ids=lambda d: d.words[0])
def test_every_separator_is_written_inspected_and_read(one, tmp_path):
    file = write_recording(RECORDING, tmp_path / "force.txt", delimiter=one.mark)
    assert inspect_file(file).dialect["delimiter"] == one.shown
    for stated in ("", one.mark, *one.words):
        found = read_recording(file, layout=Layout(delimiter=stated))
        assert np.allclose(found.force_n, RECORDING.force_n, atol=0.051)


@pytest.mark.parametrize("one", [d for d in DELIMITERS if not d.in_text], ids=lambda d: d.words[0])
def test_tables_are_cut_at_every_separator_that_text_lacks(one, tmp_path):
    file = tmp_path / "athletes.csv"
    lines = [["athlete", "note", "mass"], ["A01", "left early", "71.5"], ["A02", "", "80"]]
    file.write_text("".join(one.mark.join(line) + "\n" for line in lines))
    assert read_table(file)["mass"].tolist() == [71.5, 80.0]
    assert read_cells(file).header == lines[0]
    assert read_cells(file).rows == lines[1:]


def test_a_word_that_names_no_separator_is_refused():
    with pytest.raises(ArgumentError, match=r"'semikolon'.*Did you mean 'semicolon'"):
        Layout(delimiter="semikolon")
    assert Layout(delimiter="§").delimiter == "§"


def test_any_one_character_can_be_stated(tmp_path):
    file = write_recording(RECORDING, tmp_path / "force.txt")
    for mark in ("§", "~"):
        odd = tmp_path / "odd.txt"
        odd.write_text(file.read_text().replace(",", mark), encoding="utf-8")
        found = read_recording(odd, layout=Layout(delimiter=mark))
        assert np.allclose(found.force_n, RECORDING.force_n, atol=0.051)


def test_one_endless_cell_is_no_reason_to_fail(tmp_path):
    file = tmp_path / "values.csv"
    file.write_text("athlete;note\nA01;" + "x" * 100_000 + "," + "x" * 60_000 + "\n")
    before = csv.field_size_limit(131_072)  # other libraries lift it for the whole process
    try:
        with pytest.raises(ReadError, match="values.csv"):
            read_table(file)
    finally:
        csv.field_size_limit(before)
