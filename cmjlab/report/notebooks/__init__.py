"""Notebooks run on a study, copied for students, and their exercises."""
