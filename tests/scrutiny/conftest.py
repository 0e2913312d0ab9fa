"""Studies of simulated recordings whose curves change where it is known, measured once."""

from __future__ import annotations

import pytest
from curves_kit import curve_study

from cmjlab.study.study import Study


@pytest.fixture(scope="session")
def changed(tmp_path_factory):
    """Return a study in which the first group gains braking force, with its jumps."""
    folder = tmp_path_factory.mktemp("curves") / "changed"
    made = curve_study(folder, {"quick": 7, "usual": 7}, change=0.25)
    return Study.open(folder), made


@pytest.fixture(scope="session")
def unchanged(tmp_path_factory):
    """Return the same study without any change."""
    folder = tmp_path_factory.mktemp("curves") / "unchanged"
    curve_study(folder, {"quick": 7, "usual": 7}, plan='groups_formed = "random"')
    return Study.open(folder)


@pytest.fixture(scope="session")
def found(changed):
    return changed[0].compare_curves("force_per_kg")


@pytest.fixture(scope="session")
def nothing(unchanged):
    return unchanged.compare_curves("force_per_kg")
