"""A study's own number for a row of a paper, with its interval, by the study's own analyses."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from cmjlab.errors import StatsError
from cmjlab.results import Reason, stored_reason
from cmjlab.scrutiny.paper.read_words import CHANGES, DIFFERENCES, NOISE
from cmjlab.scrutiny.paper.table import Around, PaperRow
from cmjlab.stats.change.change import change_between, change_within
from cmjlab.stats.common.intervals import mean_limits, sd_limits
from cmjlab.stats.reliability.reliability import reliability
from cmjlab.study.analyses.defaults import baselines_tested, pair_of

if TYPE_CHECKING:
    from cmjlab.study.study import Study


@dataclass(frozen=True)
class Own:
    """Ours: estimate, limits, athletes; or why there is none."""

    estimate: float
    low: float
    high: float
    n: int
    session: str = ""
    reason: Reason | None = None


def _none(reason: Reason) -> Own:
    return Own(np.nan, np.nan, np.nan, 0, reason=reason)


class OwnValues:
    """Finds the study's own numbers; each analysis runs once."""

    def __init__(self, study: Study) -> None:
        self._study = study
        self._table = study.sessions_table()
        self._kept: dict[Any, Own] = {}

    def around(self) -> Around:
        """Return what a row may be about."""
        table = self._table
        numbers = [str(c) for c in table.columns if pd.api.types.is_numeric_dtype(table[c])]
        groups = [g for c in ("group", "sex") if c in table for g in table[c].dropna().astype(str)]
        return Around(
            tuple(c for c in numbers if c not in _NO_MEASURES),
            tuple(dict.fromkeys(table["session"].astype(str))),
            tuple(dict.fromkeys(g for g in groups if g)),
        )

    def find(self, row: PaperRow, level: float) -> Own:
        """Return ours for a row at a level."""
        key = (row.statistic, row.metric, tuple(sorted(row.places.items())), level)
        if key not in self._kept:
            try:
                self._kept[key] = self._made(row, level)
            except StatsError as error:
                self._kept[key] = _none(Reason("own_refused", {"why": str(error).rstrip(".")}))
        return self._kept[key]

    def spread(self, row: PaperRow) -> tuple[float, float]:
        """Return mean and SD between athletes of the session before, nan where there are none."""
        values = self._values(row, row.places["since"] or self._study.before)
        if len(values) < 2:
            return np.nan, np.nan
        return float(np.mean(values)), float(np.std(values, ddof=1))

    def _made(self, row: PaperRow, level: float) -> Own:
        if row.statistic in NOISE:
            return self._noise(row, level)
        if row.statistic in CHANGES:
            return self._change(row, level)
        if row.statistic in DIFFERENCES:
            return self._difference(row, level)
        return self._level(row, level)

    def _part(self, *groups: str) -> pd.DataFrame:
        """Return the sessions of a group or sex, of everybody when none is named."""
        table, names = self._table, [g for g in groups if g]
        if not names:
            return table
        for column in ("group", "sex"):
            if column in table and set(names) <= set(table[column].dropna().astype(str)):
                return table[table[column].astype(str).isin(names)]
        return table.iloc[:0]

    def _values(self, row: PaperRow, session: str) -> Any:
        part = self._part(row.places["group"])
        here = part["session"].astype(str) == session
        return part.loc[here, row.metric].dropna().to_numpy(float)

    def _level(self, row: PaperRow, level: float) -> Own:
        session = row.places["session"] or self._study.before
        values = self._values(row, session)
        n = len(values)
        if n < 2:
            return _none(
                Reason("own_few_values", {"metric": row.metric, "n": n, "session": session})
            )
        mean, sd = float(np.mean(values)), float(np.std(values, ddof=1))
        if row.statistic == "sd":
            low, high = sd_limits(sd, n - 1, level)
            return Own(sd, float(low), float(high), n, session)
        low, high = mean_limits(mean, sd / np.sqrt(n), n - 1, level)
        return Own(mean, float(low), float(high), n, session)

    def _noise(self, row: PaperRow, level: float) -> Own:
        part = self._part(row.places["group"])
        use = baselines_tested(self._study, part)
        found = reliability(part, [row.metric], use=use, level=level)
        return _of(found.row(row.statistic, metric=row.metric), " ".join(use))

    def _change(self, row: PaperRow, level: float) -> Own:
        before, after = pair_of(
            self._study, row.places["since"] or None, row.places["session"] or None
        )
        part = self._part(row.places["group"])
        found = change_within(part, [row.metric], before=before, after=after, level=level)
        return _of(found.row(row.statistic, metric=row.metric), after)

    def _difference(self, row: PaperRow, level: float) -> Own:
        before, after = pair_of(
            self._study, row.places["since"] or None, row.places["session"] or None
        )
        group, other = row.places["group"], row.places["other_group"]
        part = self._part(group, other)
        if "group" not in part or set(part["group"].dropna().astype(str)) != {group, other}:
            return _none(Reason("own_no_groups", {"groups": (group, other)}))
        found = change_between(
            part, [row.metric], before=before, after=after, control=other,
            assignment=self._study.plan.assignment, level=level,
        )  # fmt: skip
        rows = found.rows(row.statistic, metric=row.metric)
        if not len(rows):
            return _none(Reason("own_not_made", {"groups": (group, other)}))
        leading = rows[rows["leads"].fillna(False).astype(bool)]
        return _of((leading if len(leading) else rows).iloc[0], after)


_NO_MEASURES = ("n_jumps", "n_expected", "n_excluded", "birth_year")


def _of(row: pd.Series, session: str) -> Own:
    """Return an estimate of a result."""
    record = {str(k): v for k, v in row.items()}
    estimate, low, high = (float(record[c]) for c in ("estimate", "ci_low", "ci_high"))
    n = 0 if pd.isna(record["n"]) else int(record["n"])
    if not (np.isfinite(low) and np.isfinite(high)):
        reason = stored_reason(record) or Reason("own_no_interval")
        return Own(estimate, np.nan, np.nan, n, session, reason)
    return Own(estimate, low, high, n, session)
