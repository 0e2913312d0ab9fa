"""Whole curves of a study compared: who is in, what changed where, and how it is said."""
