"""A paper's numbers beside ours: replicated, not replicated, or not to be told."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from os import PathLike
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from cmjlab import checks
from cmjlab.errors import ArgumentError
from cmjlab.results import Reason, Result
from cmjlab.scrutiny.opened import opened
from cmjlab.scrutiny.paper.compared_row import Compared, Pair
from cmjlab.scrutiny.paper.own_values import Own, OwnValues
from cmjlab.scrutiny.paper.precision import Precision, precision_of, single
from cmjlab.scrutiny.paper.read_words import KINDS
from cmjlab.scrutiny.paper.rows import result_of
from cmjlab.scrutiny.paper.rule import CANNOT_TELL, compared, narrow_level, verdicts
from cmjlab.scrutiny.paper.table import PaperRow, read_paper

if TYPE_CHECKING:
    from cmjlab.study.study import Study


@dataclass(frozen=True)
class Margins:
    """How far ours may be from the published and still count as the same."""

    amounts: Mapping[str, float]
    declared: Mapping[str, float]
    ratio: float
    icc: float

    def of(self, row: PaperRow, own: OwnValues) -> tuple[float, float, str]:
        """Return the margin of a row, and where it comes from: "given", "plan" or "default"."""
        kind = KINDS[row.statistic]
        if kind.scale == "ratio":
            return 1 / self.ratio, self.ratio, "ratio"
        if kind.scale == "icc":
            return -self.icc, self.icc, "icc"
        mean, sd = own.spread(row)
        if row.metric in self.amounts:
            amount, source = self.amounts[row.metric], "given"
        elif self.declared.get(row.metric, 0.0) > 0:
            amount, source = self.declared[row.metric], "plan"
        else:
            published = row.sd.value if row.statistic == "mean" else np.nan
            amount, source = 0.2 * (published if published > 0 else sd), "default"
        if kind.unit == "%":
            amount = 100 * amount / abs(mean)
        return -amount, amount, source


def compare_paper(
    study: Study,
    paper: str | PathLike[str] | pd.DataFrame,
    *,
    margin: float | Mapping[str, float] | None = None,
    ratio: float = 1.25,
    icc: float = 0.1,
    level: float = 0.95,
) -> Result:
    """Set a published table beside this study: what is replicated, what not, what cannot be told.

    Parameters
    ----------
    study : Study
        An opened study.
    paper : path or pandas.DataFrame
        The table that was filled in (:func:`cmjlab.paper_template`), .csv or .xlsx. In a DataFrame
        give values as text, so that their decimals are seen: "0.30" is not 0.3.
    margin : float or mapping of metric to float, optional
        Difference of means and changes that does not matter, in the metric's table unit. Default:
        the plan's change that matters; failing that 0.2 SD between athletes, which is arbitrary.
    ratio : float
        Spreads, typical errors and CVs that differ by less than this factor count as the same.
        Default 1.25, the convention of bioequivalence; arbitrary here.
    icc : float
        Difference of ICCs that does not matter; the default is arbitrary.
    level : float
        Level of the intervals.

    Returns
    -------
    Result
        kind "replication". ``table``: per row of the paper ``own_value``, ``published_value`` and
        ``published_difference`` or ``published_ratio``. ``points["comparison"]``: one row per row of
        the paper with ours, theirs, difference, margin, ``verdict`` ("replicated", "not_replicated",
        "cannot_tell"), ``beyond_margin`` and ``reason_code``. Notes say what was assumed.

    Raises
    ------
    ReadError
        The file is no table.
    StudyError
        Cells that cannot be used, all at once, each with row, column, what was found and what to do.
    ArgumentError
        A margin, factor or level that is not usable.

    Notes
    -----
    The published number has an error of its own, from what is printed beside it, and so has ours;
    the interval of their difference (or ratio) holds both and the rounding of the printed number.
    Replicated needs evidence: two one-sided tests within the margin (Schuirmann 1987). Not
    replicated: else, when ours lies outside the prediction interval of the published number (Patil,
    Peng & Leek 2016). See :mod:`cmjlab.scrutiny.paper.rule`.

    Examples
    --------
    >>> import pandas as pd
    >>> import cmjlab as cj
    >>> study = cj.Study.open(cj.demo_study())
    >>> invented = pd.DataFrame([
    ...     {"metric": "jump height", "statistic": "mean", "value": "45.0", "unit": "cm", "sd": "4.0",
    ...      "n": 40, "source": "invented"},
    ...     {"metric": "jump_height_m", "statistic": "ICC(3,1)", "value": "0.90", "source": "invented"},
    ... ])
    >>> result = cj.compare_paper(study, invented)
    >>> result.points["comparison"]["verdict"].tolist()
    ['not_replicated', 'cannot_tell']
    """
    level = checks.number("level", checks.level(level), low=0.76)  # the narrow one is 2 level − 1
    study = opened(study)
    own = OwnValues(study)
    rows, notes = read_paper(paper, own.around())
    margins = Margins(
        _amounts(margin, rows),
        study.plan.change_that_matters,
        checks.number("ratio", ratio, low=1.001, high=100.0),
        checks.number("icc", icc, low=0.001, high=1.0),
    )
    found = [_compared(single(row), own, margins, level) for row in rows]
    settings = {"level": level, "ratio": margins.ratio, "icc": margins.icc,
                "margin": dict(margins.amounts)}  # fmt: skip
    return result_of(found, notes, settings)


def _amounts(margin: float | Mapping[str, float] | None, rows: list[PaperRow]) -> dict[str, float]:
    """Return the stated margins by metric; one number is for the only metric."""
    if margin is None:
        return {}
    metrics = list(dict.fromkeys(r.metric for r in rows))
    if isinstance(margin, Mapping):
        given = {checks.one_of("margin", m, metrics): v for m, v in margin.items()}
    else:
        given = {checks.one_of("margin", metrics[0], metrics[:1]): margin}
        if len(metrics) > 1:
            raise ArgumentError(
                f"margin: one number for {len(metrics)} metrics ({checks.listed(metrics)}); give a"
                " mapping of metric to number."
            )
    return {m: checks.number(f"margin of {m}", v, low=1e-12) for m, v in given.items()}


def _compared(row: PaperRow, own: OwnValues, margins: Margins, level: float) -> Compared:
    """Return what the rule says of one row."""
    ours = own.find(row, level)
    precision = precision_of(row)
    low, high, source = margins.of(row, own)
    nothing = (np.nan, np.nan)
    ratios = KINDS[row.statistic].scale == "ratio"
    difference = ours.estimate / row.value.value if ratios else ours.estimate - row.value.value
    if isinstance(precision, Reason):
        return Compared(
            row, ours, nothing, difference, nothing, (low, high), source, CANNOT_TELL, precision
        )
    theirs = tuple(float(x) for x in precision(np.asarray(row.value.value), level))
    published = (theirs[0], theirs[1])
    if ours.reason is not None:
        return Compared(row, ours, published, difference, nothing, (low, high), source, CANNOT_TELL,
                        ours.reason)  # fmt: skip
    wide, narrow = (
        _interval(row, own.find(row, at), (precision, at), ratios)
        for at in (level, narrow_level(level))
    )
    verdict = str(verdicts(wide, narrow, (low, high), 1.0 if ratios else 0.0))
    return Compared(row, ours, published, difference, wide, (low, high), source, verdict)


def _interval(row: PaperRow, ours: Own, how: tuple[Precision, float], ratios: bool) -> Pair:
    precision, level = how
    low, high = compared(
        (ours.estimate, ours.low, ours.high), (row.value.value, row.value.half),
        lambda value: precision(value, level), ratios=ratios,
    )  # fmt: skip
    return float(low), float(high)
