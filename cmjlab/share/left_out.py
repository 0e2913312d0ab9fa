"""What of a study is not in its copy: nothing is left out silently."""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from cmjlab.share.tables import Rewriting, own_tables
from cmjlab.study.folder.cells import find_table
from cmjlab.study.frozen_plan import FILE_NAME
from cmjlab.tables import USER_TABLES
from cmjlab.words.catalog import read_words

#: Columns of the table of what was left out.
_COLUMNS = ["table", "column", "cells", "reason"]


def all_left_out(work: Rewriting) -> pd.DataFrame:
    """Return everything of a study that is not in its copy.

    Parameters
    ----------
    work : Rewriting
        The study and what was written of it.

    Returns
    -------
    pandas.DataFrame
        table, column and number of cells of columns; files and other things with the reason.
    """
    return pd.DataFrame([*_columns(work), *_recordings(work), *_others(work)], columns=_COLUMNS)


def _columns(work: Rewriting) -> Iterator[tuple[str, str, int, str]]:
    for stem, table in own_tables(work.study).items():
        there = [str(c) for c in table.columns]
        gone = [c for c in there if c not in work.choice.columns(stem, there)]
        for column in gone:
            cells = int((table[column].notna() & (table[column].astype(str) != "")).sum())
            if cells:
                yield stem, column, cells, ""


def _recordings(work: Rewriting) -> Iterator[tuple[str, str, int, str]]:
    say = read_words().say
    for file, why in work.forces.left_out:
        yield "recordings", file, 1, say(f"share.{why}")
    home = work.study.settings.recordings
    found = sum(p.is_file() for p in home.rglob("*")) if home.is_dir() else 0
    unused = found - work.study.files["file"].nunique()
    if unused > 0:
        yield "recordings", "", unused, say("share.unused")
    known = {file for file, _ in work.forces.names}
    dropped = int((~work.study.decisions["file"].isin(known)).sum())
    if dropped:
        yield "decisions", "", dropped, say("share.without_file")


def _others(work: Rewriting) -> Iterator[tuple[str, str, int, str]]:
    """Yield what else lies in the folder of the study, by name."""
    study = work.study
    taken = {
        p.name for stem in USER_TABLES for p in find_table(study.folder, stem) if stem != "names"
    }
    taken |= {"study.toml", FILE_NAME, study.results.name, study.settings.recordings.name}
    for path in sorted(study.folder.iterdir()):
        if path.name not in taken and not path.name.startswith("."):
            yield path.name, "", 1, read_words().say("share.other_file")
