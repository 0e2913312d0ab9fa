"""Notebooks: where they are, their parameters as plain data, and running them on a study.

A notebook's first code cell (tagged ``parameters``) calls :func:`notebook_parameters` with its
defaults. A JSON file named by the environment variable CMJLAB_PARAMETERS replaces them; names
and types are checked against the defaults, so that an athlete "007" stays text and a misspelt
name is an error. :func:`run_notebooks` writes that file and executes copies of the notebooks
with this interpreter; the installed notebooks are never written to.
"""

from __future__ import annotations

import json
import os
import re
import sys
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from cmjlab.checks import shown, suggestion
from cmjlab.errors import ArgumentError, CmjlabError, StudyError
from cmjlab.places import AROUND, PACKAGE
from cmjlab.report.build.analyses import Step

if TYPE_CHECKING:
    from cmjlab.study.study import Study

#: Environment variable that names the JSON file with parameters.
VARIABLE = "CMJLAB_PARAMETERS"
#: Cells with this tag hold only on the demo study.
DEMO_TAG = "demo-check"
_CELL_SECONDS = 600
#: Colours that a traceback puts into its text.
_COLOUR = re.compile(r"\x1b\[[0-9;]*m")


class Parameters:
    """Parameters of a notebook as attributes; see :func:`notebook_parameters`."""

    def __init__(self, values: Mapping[str, Any]) -> None:
        self._values = MappingProxyType(dict(values))

    def __getattr__(self, name: str) -> Any:
        if name.startswith("_") or name not in self._values:
            have = ", ".join(self.__dict__.get("_values", {}))
            raise AttributeError(f"there is no parameter {name!r}; parameters are {have}")
        return self._values[name]

    def __repr__(self) -> str:
        return ", ".join(f"{k} = {v!r}" for k, v in self._values.items())


def notebook_parameters(**defaults: Any) -> Parameters:
    """Return a notebook's parameters: its defaults, or what CMJLAB_PARAMETERS says.

    Parameters
    ----------
    **defaults
        Name and default of every parameter: text, number, true/false, list, or None (then a
        text or nothing).

    Returns
    -------
    p : Parameters
        Every parameter as an attribute.

    Raises
    ------
    ArgumentError
        The file cannot be read, or a name or type in it does not fit the defaults.

    Examples
    --------
    >>> p = notebook_parameters(study=None, level=0.95)
    >>> p.level
    0.95
    """
    place = os.environ.get(VARIABLE, "")
    if not place:
        return Parameters(defaults)
    try:
        given = json.loads(Path(place).read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise ArgumentError(f"{VARIABLE}: {place} cannot be read as JSON ({error}).") from None
    if not isinstance(given, dict):
        raise ArgumentError(f"{VARIABLE}: an object of names and values is needed in {place}.")
    values = dict(defaults)
    for name, value in given.items():
        if name not in defaults:
            raise ArgumentError(
                f"{VARIABLE}: there is no parameter {name!r}.{suggestion(name, defaults)}"
                f" The parameters are {', '.join(defaults)}."
            )
        values[name] = _typed(name, value, defaults[name])
    return Parameters(values)


def _typed(name: str, value: Any, default: Any) -> Any:
    """Return the value when its type is that of the default."""
    if default is None:
        if value is None or isinstance(value, str):
            return value
        wanted = "text or null"
    elif isinstance(default, bool):
        if isinstance(value, bool):
            return value
        wanted = "true or false"
    elif isinstance(default, int | float):
        if isinstance(value, int | float) and not isinstance(value, bool):
            return type(default)(value)
        wanted = "a number"
    elif isinstance(default, list | tuple):
        if isinstance(value, list):
            return type(default)(value)
        wanted = "a list"
    elif isinstance(value, str):
        return value
    else:
        wanted = "text"
    raise ArgumentError(f"{VARIABLE}: {name}: {wanted} is needed, found {shown(value)}.")


def notebooks_folder() -> Path:
    """Return the folder with the notebooks, installed or in the checkout.

    Raises
    ------
    StudyError
        Neither holds notebooks: the installation is incomplete.
    """
    for place in (PACKAGE / "notebooks", AROUND / "notebooks"):
        if any(place.glob("[0-9][0-9]_*.ipynb")):
            return place
    raise StudyError("no notebooks were found beside cmjlab; install it again.")


def check_answer(answer: float | None, value: float, *, tolerance: float, unit: str = "") -> str:
    """Return whether a student's number is right, in words; None has not been answered yet."""
    if answer is None:
        return "Not answered yet: put your number in place of None and run the cell again."
    if abs(float(answer) - value) <= tolerance:
        return "Right."
    return (
        f"Not yet: {answer:g} {unit}".rstrip() + " is too far off. Look at the cells above again."
    )


def choose_notebooks(only: Sequence[str] | None = None) -> list[Path]:
    """Return the notebooks with these numbers, in order; all without any.

    Raises
    ------
    ArgumentError
        There is no notebook of a number.
    """
    paths = sorted(notebooks_folder().glob("[0-9][0-9]_*.ipynb"))
    if only is None:
        return paths
    wanted = [str(n).strip().zfill(2)[:2] for n in only]
    have = [p.name[:2] for p in paths]
    for number, text in zip(wanted, only, strict=True):
        if number not in have:
            raise ArgumentError(
                f"only: there is no notebook {text!r}; there are {', '.join(have)}."
            )
    return [p for p in paths if p.name[:2] in wanted]


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
    StudyError
        The lab extra is not installed, or notebooks stopped with an error. All others were
        run nevertheless; the index page names those that stopped, with the reason.
    """
    from cmjlab.report.notebooks.index import write_index

    paths = choose_notebooks(only)
    target = Path(study.results) / "notebooks"
    try:
        target.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StudyError(
            f"{target}: cannot be made ({error.strerror}). Name another place for the results:"
            " --results FOLDER, or Study.open(folder, results=...)."
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
            except StudyError as error:
                if not (target / path.name).is_file():
                    raise
                stopped[path.name] = _reason(str(error))
    index = write_index(target, paths, study.title, stopped)
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

    with ThreadPoolExecutor(1) as pool:
        running = pool.submit(run)
        try:
            running.result()
        except KeyboardInterrupt:
            process = getattr(getattr(client.km, "provisioner", None), "process", None)
            if process is not None:
                process.terminate()
            raise


def _reason(text: str) -> str:
    """Return why a notebook stopped, without its name, place and kind of error."""
    reason = text.partition(" stopped: ")[2].rpartition(" (see ")[0] or text
    return re.sub(r"^\w*Error: ", "", reason)


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
    StudyError
        A cell failed; the notebook is written up to there.
    """
    try:
        import nbformat
        from nbclient import NotebookClient
        from nbclient.exceptions import CellExecutionError, CellTimeoutError, DeadKernelError

        from cmjlab.report.notebooks.kernel import OwnKernelManager
    except ImportError as error:
        raise StudyError(
            f"notebooks need the extra 'lab' ({error.name} is missing):"
            f' "{sys.executable}" -m pip install "cmjlab[lab]".'
        ) from None
    notebook = nbformat.read(source, as_version=4)
    if not keep_demo_checks:
        notebook.cells = [
            c for c in notebook.cells if DEMO_TAG not in c.get("metadata", {}).get("tags", [])
        ]
    if answers:
        from cmjlab.report.notebooks.copy import with_solutions

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
        raise StudyError(f"notebook {source.name} stopped: {reason} (see {target}).") from None
    finally:
        nbformat.write(notebook, target)
