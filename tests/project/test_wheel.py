"""What is released: the wheel holds the package and its notebooks, the sdist the whole project."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tarfile
import zipfile
from email.parser import HeaderParser
from pathlib import Path

import pytest
from git_files import git_files
from places import ROOT

import cmjlab


def _built(target: str, folder: Path) -> Path:
    pytest.importorskip("hatchling", reason="building a release needs hatchling")
    command = [sys.executable, "-m", "hatchling", "build", "-t", target, "-d", str(folder)]
    subprocess.run(command, cwd=ROOT, check=True, capture_output=True)
    [built] = folder.iterdir()
    return built


@pytest.fixture(scope="module")
def wheel(tmp_path_factory) -> Path:
    return _built("wheel", tmp_path_factory.mktemp("wheel"))


@pytest.fixture(scope="module")
def sdist(tmp_path_factory) -> Path:
    return _built("sdist", tmp_path_factory.mktemp("sdist"))


@pytest.fixture(scope="module")
def packed(sdist) -> set[str]:
    """Files of the source distribution, from its own root."""
    with tarfile.open(sdist) as archive:
        return {m.name.partition("/")[2] for m in archive.getmembers() if m.isfile()}


def _version_in(text: str) -> str:
    return HeaderParser().parsestr(text)["Version"]


def test_one_version_everywhere(wheel, sdist):
    """Wheel, source distribution, CITATION.cff and the package say the same."""
    with zipfile.ZipFile(wheel) as archive:
        [metadata] = [n for n in archive.namelist() if n.endswith(".dist-info/METADATA")]
        assert _version_in(archive.read(metadata).decode("utf-8")) == cmjlab.__version__
    with tarfile.open(sdist) as archive:
        [info] = [
            m for m in archive.getmembers() if m.name.count("/") == 1 and "PKG-INFO" in m.name
        ]
        held = archive.extractfile(info)
        assert held is not None
        assert _version_in(held.read().decode("utf-8")) == cmjlab.__version__
    cited = re.findall(r"^version: (\S+)$", (ROOT / "CITATION.cff").read_text("utf-8"), re.M)
    assert cited == [cmjlab.__version__]


def test_source_distribution_is_what_git_holds(packed):
    """No results, no virtual environment, nothing forgotten: tests and their data included."""
    assert packed - {"PKG-INFO"} == set(git_files(new=True))
    for name in ("tests/conftest.py", "tests/data/LICENCES.md", "tests/reference/golden_jump.json"):
        assert name in packed
    for folder in ("sample_data/", "notebooks/", "cmjlab/report/templates/"):
        assert any(name.startswith(folder) for name in packed)
    parts = {part for name in packed for part in name.split("/")[:-1]}
    assert not parts & {"results", ".venv", "__pycache__", ".git", "dist", ".pytest_cache"}


def test_wheel_holds_every_file_of_the_package(wheel):
    """hatchling obeys .gitignore: a careless line there would leave a whole room out."""
    names = set(zipfile.ZipFile(wheel).namelist())
    known = {n for n in git_files(new=True) if n.startswith("cmjlab/")}
    assert len(known) > 200
    assert known - names == set()


def test_wheel_holds_package_data_and_no_test(wheel):
    names = zipfile.ZipFile(wheel).namelist()
    assert any(n.startswith("cmjlab/notebooks/") and n.endswith(".ipynb") for n in names)
    assert "cmjlab/words/en/report_page.toml" in names
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
