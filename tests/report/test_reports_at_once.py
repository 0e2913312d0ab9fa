"""Several reports of one study at once: each ends well, and the files of one run stand together."""

from __future__ import annotations

import subprocess
import sys

import pytest
from report_kit import kit_study

from cmjlab.errors import StudyError
from cmjlab.report.gather import gather
from cmjlab.report.write import write_data
from cmjlab.study.store import lock as lock_module
from cmjlab.study.store.lock import WRITING, locked

CODE = "import sys; import cmjlab as cj; cj.write_report(cj.Study.open(sys.argv[1]))"
PAIRS = 2


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return kit_study(tmp_path_factory.mktemp("at_once"), athletes=6).folder


def test_pairs_of_reports_at_once_end_well(folder):
    """All begin with nothing kept, so that they measure, keep and write at the same time."""
    runs = [
        subprocess.Popen(
            [sys.executable, "-c", CODE, str(folder)], stderr=subprocess.PIPE, text=True
        )
        for _ in range(2 * PAIRS)
    ]
    said = [run.communicate()[1] for run in runs]
    assert [run.returncode for run in runs] == [0] * (2 * PAIRS), said
    results = folder / "results"
    assert not list(results.rglob("*.tmp"))
    [page] = results.glob("report_*.html")
    assert page.read_text(encoding="utf-8").rstrip().endswith("</html>")
    assert len(list(results.glob("store/*/jumps-*"))) <= 2 * PAIRS


def test_the_files_of_another_run_are_waited_for(folder, monkeypatch):
    import cmjlab as cj

    study = cj.Study.open(folder)
    data = gather(study)
    monkeypatch.setattr(lock_module, "WRITING_WAIT_S", 0.2)
    with (
        locked(study.results, name=WRITING),
        pytest.raises(StudyError, match="another run is writing"),
    ):
        write_data(data, study.results)
    assert write_data(data, study.results).is_file()


def test_a_folder_elsewhere_keeps_no_lock(folder, tmp_path):
    import cmjlab as cj

    write_data(gather(cj.Study.open(folder)), tmp_path)
    assert not list(tmp_path.glob("writing*"))
