"""How far the instrument is from the truth: a name of this group that is made in ``cmjlab.truth``."""

from cmjlab.truth.budget import known_truth

__all__ = ["known_truth"]
