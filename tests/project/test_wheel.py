"""The wheel holds everything: templates, words and notebooks, found from anywhere."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest
from places import ROOT


@pytest.fixture(scope="module")
def wheel(tmp_path_factory) -> Path:
    pytest.importorskip("hatchling", reason="building the wheel needs hatchling")
    folder = tmp_path_factory.mktemp("wheel")
    command = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)]
    subprocess.run(command, cwd=ROOT, check=True, capture_output=True)
    return next(folder.glob("*.whl"))


def test_wheel_holds_package_data_and_no_test(wheel):
    names = zipfile.ZipFile(wheel).namelist()
    assert any(n.startswith("cmjlab/notebooks/") and n.endswith(".ipynb") for n in names)
    assert "cmjlab/words/en/report.toml" in names
    assert "cmjlab/py.typed" in names
    assert "cmjlab/__init__.pyi" in names
    assert not [n for n in names if n.startswith(("tests/", "sample_data/"))]


def test_installed_wheel_finds_its_notebooks_from_anywhere(wheel, tmp_path):
    place = tmp_path / "site"
    zipfile.ZipFile(wheel).extractall(place)
    code = (
        "import cmjlab, pathlib; from cmjlab.report.notebooks.files import notebooks_folder; "
        "f = notebooks_folder(); print(f, len(list(f.glob('*.ipynb'))))"
    )
    environment = {**os.environ, "PYTHONPATH": str(place)}
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=tmp_path,
        env=environment,
        check=True,
        capture_output=True,
        text=True,
    )
    folder, count = done.stdout.split()
    assert Path(folder).is_relative_to(place)
    assert int(count) >= 4
