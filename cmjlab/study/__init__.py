"""A study on disk: what the folder holds, what was measured, and what was decided about it.

From the bottom up; imports point downward only (``tests/project/test_layers.py``):

* ``folder`` reads the user's folder into a ``StudyFolder``: settings, tables, recordings, problems.
* ``store`` measures files and keeps their rows: whole or not at all, never stale.
* ``decide`` adds what needs more than one file: a person's decisions, checks against other jumps,
  roster and measures. It makes the jumps table and the sessions table.
* ``check`` finds problems in tables; ``demo`` writes the invented study.
* ``summarise``, ``flow``, ``curves``, ``frozen_plan``, ``provenance`` take tables or a
  ``StudyFolder``.
* ``study`` stands on all of these: a ``Study`` is a ``StudyFolder`` with what is computed from it.
* ``check_study``, ``today`` and ``export`` work on an opened study.
"""
