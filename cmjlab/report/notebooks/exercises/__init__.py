"""The exercises of the notebooks: how an answer is checked, hints, and the solutions for teachers.

The answers stand here and not in the notebooks: a student's notebook holds the question and an
empty answer, the teacher's set (``cmjlab notebooks --copy FOLDER --answers``) shows the solution
below each. Answers are computed from the study at hand, so that they hold on every study.

One file per notebook, ``n02.py``, holds what its exercises ask for; the words to them stand in
``words/en/exercises_02.toml``.
"""

from cmjlab.report.notebooks.exercises.all import EXERCISES
from cmjlab.report.notebooks.exercises.check import (
    check_answer,
    check_exercise,
    hint,
    solution,
)
from cmjlab.report.notebooks.exercises.kinds import Exercise

__all__ = ["EXERCISES", "Exercise", "check_answer", "check_exercise", "hint", "solution"]
