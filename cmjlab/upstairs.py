"""What is made higher in the house, for those below who offer it to a person by name.

A Result can be drawn, a Study can write its report: a person expects to ask the object itself.
Figures and reports stand above both, and imports point downward only. So the way up stands here as
data: a task, and where in the house it is done. It is looked up when somebody asks, and nothing below
knows more than the name of the task. The names are tried one by one in
``tests/project/test_upstairs.py``.
"""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from typing import Any

#: Task -> module and function. Only methods that a person calls on an object go this way.
TASKS = {
    "compare_curves": "cmjlab.scrutiny.curves.compare:compare_curves",
    "plot_result": "cmjlab.plots.choose:plot_result",
    "plot_jump": "cmjlab.plots.jump:jump_figure",
    "plot_recording": "cmjlab.plots.recording:recording_figure",
    "plot_study": "cmjlab.report.study_figures:plot_study",
    "study_subgroups": "cmjlab.report.build.subgroups:study_subgroups",
    "html_of": "cmjlab.screen.show:html_of",
    "text_of": "cmjlab.screen.show:text_of",
    "write_report": "cmjlab.report.write:write_report",
}


def upstairs(task: str) -> Callable[..., Any]:
    """Return the function that does a task of :data:`TASKS`; its module is loaded now."""
    module, name = TASKS[task].split(":")
    return getattr(import_module(module), name)  # type: ignore[no-any-return]
