"""The jumps of a copy have the numbers of the study, to the last bit; or there is no copy."""

from __future__ import annotations

import numpy as np
import pandas as pd

from cmjlab.catalog import METRICS
from cmjlab.errors import StudyError
from cmjlab.share.forces import jump_numbers
from cmjlab.share.tables import Rewriting

_WHERE = ["file", "jump"]
#: Largest relative difference where a clock was set back; seconds since 1970 have seven decimals.
_CLOSE = 1e-6


def refuse_other_numbers(work: Rewriting, copied: pd.DataFrame) -> None:
    """Compare every metric and every verdict of a copy with those of the study.

    Parameters
    ----------
    work : Rewriting
        The study, and the names of its files in the copy.
    copied : pandas.DataFrame
        The jumps table of the copy.

    Raises
    ------
    StudyError
        A jump is missing, or has another number.
    """
    columns = [*_WHERE, "accepted", "flags", *METRICS]
    own = _named_as_in_copy(work)[columns].sort_values(_WHERE).reset_index(drop=True)
    other = copied[columns].sort_values(_WHERE).reset_index(drop=True)
    if len(own) != len(other):
        raise _differs(f"{len(other)} jumps instead of {len(own)}")
    same = (own == other) | (own.isna() & other.isna())
    for column in METRICS:
        same[column] |= _set_back(work, own) & np.isclose(
            own[column], other[column], rtol=_CLOSE, atol=0
        )
    if not bool(same.to_numpy().all()):
        wrong = [str(c) for c in columns if not same[c].all()]
        raise _differs(f"{int((~same.all(axis=1)).sum())} jumps differ, in {', '.join(wrong[:3])}")


def _set_back(work: Rewriting, own: pd.DataFrame) -> pd.Series:
    """Return which jumps come from a file whose clock was set back: their times are rounded anew."""
    files = {name for (file, _), name in work.forces.names.items() if file in work.forces.clocks}
    return own["file"].isin(files)


def _named_as_in_copy(work: Rewriting) -> pd.DataFrame:
    """Return the jumps of the study with the file and number that each has in the copy."""
    jumps = work.study.measure()
    numbers = {file: jump_numbers(work.study, file) for file in jumps["file"].unique()}
    places = [
        (file, numbers[file].get(int(jump), (0, int(jump))))
        for file, jump in zip(jumps["file"], jumps["jump"], strict=True)
    ]
    out = jumps.assign(
        file=[work.forces.names.get((f, stretch)) for f, (stretch, _) in places],
        jump=pd.array([n for _, (_, n) in places], dtype="Int64"),
    )
    return out[out["file"].notna()]


def _differs(what: str) -> StudyError:
    return StudyError(
        f"the copy does not give the numbers of the study ({what}). Nothing was written. Please report"
        " this; the files of the study are untouched."
    )
