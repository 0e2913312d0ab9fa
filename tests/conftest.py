"""What is common to all tests."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from places import DATA

if TYPE_CHECKING:
    from cmjlab import Study
    from cmjlab.report.blocks.data import ReportData

KIT_DATE = "2026-11-02"


@pytest.fixture(scope="session")
def reference_data() -> Path:
    """Folder with real recordings and classic data sets; their licences stand beside them."""
    return DATA


@pytest.fixture(scope="session")
def cases() -> Path:
    """Folder with recordings spoiled in the ways that real people report."""
    return DATA / "cases"


# ---- one analysed study for all tests that only read it -----------------------------------------


@pytest.fixture(scope="session")
def kit(tmp_path_factory: pytest.TempPathFactory) -> Study:
    """An opened study with odd names in names.csv; whoever changes a study makes an own one."""
    from report_kit import NAMES, kit_study

    return kit_study(tmp_path_factory.mktemp("kit"), names=NAMES)


@pytest.fixture(scope="session")
def kit_report(kit: Study) -> ReportData:
    """Its report as it comes by default: short, athletes by id."""
    from cmjlab.report.gather import gather

    return gather(kit, date=KIT_DATE)


@pytest.fixture(scope="session")
def kit_steps() -> list[Any]:
    """What was told while ``kit_full`` was made."""
    return []


@pytest.fixture(scope="session")
def kit_full(kit: Study, kit_steps: list[Any]) -> ReportData:
    """Its report in full, athletes by id."""
    from cmjlab.report.build.choices import Choices
    from cmjlab.report.gather import gather

    return gather(kit, progress=kit_steps.append, date=KIT_DATE, choices=Choices(full=True))


@pytest.fixture
def undrawn(monkeypatch: pytest.MonkeyPatch) -> None:
    """Figures are made but not drawn as pictures: a third of a report's time, for tests of words."""
    from cmjlab.plots.style import Picture

    empty = '<svg xmlns="http://www.w3.org/2000/svg"/>'
    monkeypatch.setattr(Picture, "svg", lambda self: empty)
