"""Targets: whether the emphasis of each subgroup did what it was for."""
