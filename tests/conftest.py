"""What is common to all tests."""

from __future__ import annotations

from pathlib import Path

import pytest
from places import DATA


@pytest.fixture(scope="session")
def reference_data() -> Path:
    """Folder with real recordings and classic data sets; their licences stand beside them."""
    return DATA


@pytest.fixture(scope="session")
def cases() -> Path:
    """Folder with recordings spoiled in the ways that real people report."""
    return DATA / "cases"
