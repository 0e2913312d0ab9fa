"""Running the notebooks on a study.

:func:`run_notebooks` writes the file with parameters and executes copies of the notebooks with
this interpreter; the installed notebooks are never written to.
"""

from __future__ import annotations

import atexit
import json
import os
import re
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cmjlab.errors import CmjlabError, StudyError
from cmjlab.extras import need
from cmjlab.files.atomic_write import atomic_write
from cmjlab.report.build.analyses import Step
from cmjlab.report.notebooks.files import DEMO_TAG, choose_notebooks, has_tag
from cmjlab.report.notebooks.index import write_index
from cmjlab.report.notebooks.parameters import VARIABLE
from cmjlab.report.notebooks.solutions import with_solutions
from cmjlab.words.catalog import read_words

if TYPE_CHECKING:
    from cmjlab.study.study import Study

_CELL_SECONDS = 600
#: What runs notebooks, and what the cells of some of them import.
_LAB = ("nbformat", "nbclient", "ipykernel", "mistune", "seaborn", "pingouin")
#: Colours that a traceback puts into its text.
_COLOUR = re.compile(r"\x1b\[[0-9;]*m")
_KIND_OF_ERROR = re.compile(r"^\w*Error: ")


class NotebookStopped(StudyError):
    """A cell of a notebook failed.

    Attributes
    ----------
    reason : str
        Why, without the notebook's name and the kind of error.
    """

    def __init__(self, name: str, last_line: str, target: Path) -> None:
        super().__init__(f"notebook {name} stopped: {last_line} (see {target}).")
        self.reason = _KIND_OF_ERROR.sub("", last_line)


def is_demo(study: Study) -> bool:
    """Return whether a study is the demo study itself, in the checkout or in the cache."""
    from cmjlab.study.demo.demo import demo_study

    try:
        return Path(study.folder).resolve() == demo_study().resolve()
    except (OSError, CmjlabError):
        return False


def run_notebooks(
    study: Study,
    *,
    only: Sequence[str] | None = None,
    answers: bool = False,
    progress: Callable[[Any], None] | None = None,
) -> Path:
    """Run the notebooks on a study, in order, and write an index page.

    Parameters
    ----------
    study : Study
    only : sequence of str, optional
        Numbers such as "02"; default: all.
    answers : bool
        True: the solution is shown below each exercise (the teacher's set).
    progress : callable, optional
        Called with objects that have ``done``, ``total`` and ``what``.

    Returns
    -------
    Path
        ``results/notebooks/index.html``; the executed notebooks lie beside it, each with a
        page that can be read without JupyterLab.

    Raises
    ------
    MissingExtraError
        The lab extra is not installed.
    StudyError
        Notebooks stopped with an error. All others were run nevertheless; the index page
        names those that stopped, with the reason.
    """
    need(_LAB, extra="lab", purpose="notebooks need")
    paths = choose_notebooks(only)
    target = Path(study.results) / "notebooks"
    try:
        target.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StudyError(
            f"{target}: cannot be made ({error.strerror}). Name another place for the results:"
            ' --results FOLDER, or in Python results="..." when the study is opened.'
        ) from None
    demo = is_demo(study)
    stopped: dict[str, str] = {}
    values = {
        "study": str(Path(study.folder).resolve()),
        "results": str(Path(study.results).resolve()),
    }
    with _parameters_file(values):
        for number, path in enumerate(paths):
            if progress is not None:
                progress(Step(number, len(paths), path.stem.replace("_", " ")))
            try:
                execute(path, target / path.name, keep_demo_checks=demo, answers=answers)
            except NotebookStopped as error:
                stopped[path.name] = error.reason
    words = read_words(study.folder / "words.toml")
    index = write_index(target, paths, study.title, stopped, words)
    if stopped:
        raise StudyError(
            f"{len(stopped)} of {len(paths)} notebooks stopped. {_reasons(stopped)}"
            f" The others were run: {index}."
        )
    return index


def _run(client: Any) -> None:
    """Execute in a thread of its own, so that Ctrl-C reaches us and ends the kernel, too."""
    import asyncio
    from concurrent.futures import ThreadPoolExecutor

    def run() -> None:
        asyncio.run(client.async_execute())

    try:
        with ThreadPoolExecutor(1) as pool:
            running = pool.submit(run)
            try:
                running.result()
            except KeyboardInterrupt:
                process = getattr(getattr(client.km, "provisioner", None), "process", None)
                if process is not None:
                    process.terminate()
                raise
    finally:
        # A kernel that died on its way up leaves this behind, and it fails when Python ends.
        atexit.unregister(client._cleanup_kernel)


def _reasons(stopped: Mapping[str, str]) -> str:
    """Return the reasons in words, each once with all notebooks that stopped for it."""
    by_reason: dict[str, list[str]] = {}
    for name, reason in stopped.items():
        by_reason.setdefault(reason, []).append(name.removesuffix(".ipynb"))
    return " ".join(f"{', '.join(names)}: {reason}" for reason, names in by_reason.items())


@contextmanager
def _parameters_file(values: Mapping[str, Any]) -> Iterator[None]:
    """Name a temporary JSON file in the environment, and put the environment back after."""
    before = os.environ.get(VARIABLE)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "parameters.json"
        path.write_text(json.dumps(dict(values)), encoding="utf-8")
        os.environ[VARIABLE] = str(path)
        try:
            yield
        finally:
            if before is None:
                del os.environ[VARIABLE]
            else:
                os.environ[VARIABLE] = before


def execute(
    source: Path, target: Path, *, keep_demo_checks: bool = True, answers: bool = False
) -> None:
    """Execute one notebook with this interpreter and write it with its outputs.

    Raises
    ------
    MissingExtraError
        The lab extra is not installed.
    NotebookStopped
        A cell failed; the notebook is written up to there.
    """
    need(_LAB, extra="lab", purpose="notebooks need")
    import nbformat
    from nbclient import NotebookClient
    from nbclient.exceptions import CellExecutionError, CellTimeoutError, DeadKernelError

    from cmjlab.report.notebooks.kernel import OwnKernelManager

    notebook = nbformat.read(source, as_version=4)
    if not keep_demo_checks:
        notebook.cells = [c for c in notebook.cells if not has_tag(c, DEMO_TAG)]
    if answers:
        notebook.cells = with_solutions(notebook.cells)
    client = NotebookClient(
        notebook,
        timeout=_CELL_SECONDS,
        kernel_manager_class=OwnKernelManager,
        resources={"metadata": {"path": str(target.parent)}},
    )
    try:
        _run(client)
    except (CellExecutionError, CellTimeoutError, DeadKernelError, RuntimeError) as error:
        lines = _COLOUR.sub("", str(error)).strip().splitlines()
        reason = lines[-1] if lines else type(error).__name__
        raise NotebookStopped(source.name, reason, target) from None
    finally:
        atomic_write(target, nbformat.writes(notebook) + "\n")
