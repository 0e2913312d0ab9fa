"""What the tests of a cluster share: two workers, a study, and what one process makes of it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest


@pytest.fixture(scope="module")
def two() -> Iterator[str]:
    """Return the address of a cluster with two workers."""
    from cluster_kit import started

    with started(2) as made:
        yield made.scheduler_address


@pytest.fixture(scope="module")
def base(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a study in which something is wrong with some files."""
    from cluster_kit import spoiled_study

    return spoiled_study(tmp_path_factory.mktemp("cluster") / "base")


@pytest.fixture(scope="module")
def alone(base: Path) -> Path:
    """Return the folder of what one process wrote of that study."""
    from cluster_kit import written_alone

    return written_alone(base)
