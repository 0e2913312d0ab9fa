"""Where the tests find outside data, and what is common to all of them."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from places import ROOT

REFERENCE = Path(os.environ.get("CMJLAB_REFERENCE_DATA", ROOT.parent / "shared" / "data"))


@pytest.fixture(scope="session")
def reference_data() -> Path:
    """Folder with real recordings and classic data sets that are not part of the repository.

    Set CMJLAB_REFERENCE_DATA to use another place; without it these tests are skipped.
    """
    if not REFERENCE.is_dir():
        pytest.skip(f"no outside data at {REFERENCE}; set CMJLAB_REFERENCE_DATA")
    return REFERENCE


@pytest.fixture(scope="session")
def cases(reference_data: Path) -> Path:
    """Folder with files that real people's reports taught us."""
    folder = reference_data.parent / "cases" / "files"
    if not folder.is_dir():
        pytest.skip(f"no case files at {folder}")
    return folder
