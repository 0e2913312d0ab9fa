"""Running the notebooks on a study.

:func:`run_notebooks` executes copies of the notebooks with this interpreter, with values put into
their parameters cells; the installed notebooks are never written to.
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

from cmjlab.errors import ArgumentError, CmjlabError, StudyError
from cmjlab.extras import need
from cmjlab.files.atomic_write import atomic_write
from cmjlab.report.build.analyses import Step
from cmjlab.report.notebooks.declared import check_given, declared_in, with_values
from cmjlab.report.notebooks.files import DEMO_TAG, PARAMETERS_TAG, choose_notebooks, has_tag
from cmjlab.report.notebooks.index import write_index
from cmjlab.report.notebooks.own_places import (
    clean_outputs,
    own_places,
    way_to,
    without_any_place,
)
from cmjlab.report.notebooks.parameters import VARIABLE, given_by_variable
from cmjlab.report.notebooks.solutions import with_solutions
from cmjlab.words.catalog import read_words

if TYPE_CHECKING:
    from cmjlab.study.study import Study

_CELL_SECONDS = 600
#: What runs notebooks, and what the cells of some of them import.
_LAB = ("nbformat", "nbclient", "ipykernel", "mistune", "latex2mathml", "seaborn", "pingouin")
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
    settings: Mapping[str, Any] | None = None,
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
    settings : mapping, optional
        Values of parameters by name, for the notebooks that declare them. They go before those
        of the file that CMJLAB_PARAMETERS names.
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
    ArgumentError
        None of the notebooks has a parameter of that name, or its value is of another kind.
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
    chosen = chosen_values(study, paths, settings)
    # What a demo check asserts holds for the demo as it is.
    how = {"keep_demo_checks": is_demo(study) and not chosen, "answers": answers}
    values, unreachable = _places_as_seen(study, target)
    hidden = {
        str(Path(study.results).resolve()): "results",
        str(Path(study.folder).resolve()): Path(study.folder).resolve().name,
    }
    stopped: dict[str, str] = {}
    with _parameters_file(unreachable):
        for number, path in enumerate(paths):
            if progress is not None:
                progress(Step(number, len(paths), path.stem.replace("_", " ")))
            try:
                execute(path, target / path.name, values={**chosen, **values}, hidden=hidden, **how)
            except NotebookStopped as error:
                stopped[path.name] = without_any_place(error.reason, own_places(hidden))
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


def chosen_values(
    study: Study, paths: Sequence[Path], settings: Mapping[str, Any] | None
) -> dict[str, Any]:
    """Return what is set for these notebooks: by the file of CMJLAB_PARAMETERS, then by hand.

    Raises
    ------
    ArgumentError
        None of the notebooks has such a parameter, a value is of another kind, or the file names
        another study or place for results than the command.
    """
    have = declared_in(paths)
    given = given_by_variable()
    for name, place in (("study", study.folder), ("results", study.results)):
        named = given.pop(name, None)
        if named is not None and Path(str(named)).resolve() != Path(place).resolve():
            raise ArgumentError(
                f"{VARIABLE}: {name} is {named}, and the command works on {place}. Take"
                f" {name!r} out of the file, or name the same place."
            )
    check_given(given, have, VARIABLE)
    check_given(settings or {}, have, "settings")
    return {**given, **(settings or {})}


def _places_as_seen(study: Study, target: Path) -> tuple[dict[str, Any], dict[str, str]]:
    """Return the ways from the executed notebooks to study and results, and what has no way.

    The second holds whole places for the kernel alone, where another drive has no way to it.
    """
    found: dict[str, Any] = {}
    unreachable: dict[str, str] = {}
    for name, place in (("study", study.folder), ("results", study.results)):
        way = way_to(place, target)
        found[name] = way if way is not None else Path(place).resolve().name
        if way is None:
            unreachable[name] = str(Path(place).resolve())
    return found, unreachable


@contextmanager
def _parameters_file(values: Mapping[str, Any]) -> Iterator[None]:
    """Let kernels read these values, or nothing at all, from a file; put the environment back."""
    before = os.environ.pop(VARIABLE, None)
    with tempfile.TemporaryDirectory() as folder:
        if values:
            path = Path(folder) / "parameters.json"
            path.write_text(json.dumps(dict(values)), encoding="utf-8")
            os.environ[VARIABLE] = str(path)
        try:
            yield
        finally:
            os.environ.pop(VARIABLE, None)
            if before is not None:
                os.environ[VARIABLE] = before


def execute(
    source: Path,
    target: Path,
    *,
    keep_demo_checks: bool = True,
    answers: bool = False,
    values: Mapping[str, Any] | None = None,
    hidden: Mapping[str, str] | None = None,
) -> None:
    """Execute one notebook with this interpreter and write it with its outputs.

    Parameters
    ----------
    source, target : Path
        The notebook, and where the executed one is written.
    keep_demo_checks : bool
        False: without the cells that hold on the demo study only.
    answers : bool
        True: with the solutions.
    values : mapping, optional
        Values of parameters by name, written into the parameters cell.
    hidden : mapping, optional
        Places that must not stand in the outputs, with what stands for each.

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
    for cell in notebook.cells:
        if has_tag(cell, PARAMETERS_TAG):
            cell.source = with_values(cell.source, values or {})
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
        clean_outputs(notebook.cells, own_places(hidden))
        atomic_write(target, nbformat.writes(notebook) + "\n")
