"""A study on disk: what the folder holds, what was measured, and what was decided about it."""
