"""Noise and change of a study by its own plan: what a person asks an opened study for.

Nothing is computed here. Each method is one function of ``cmjlab.stats`` with everything filled in
that the study knows: measures, sessions before and after, groups and how they came about, the level,
the change that matters. Whatever is given takes the place of the plan's.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd

from cmjlab.errors import StatsError
from cmjlab.results import Result
from cmjlab.study.analyses.defaults import (
    Measures,
    baselines_tested,
    grouped,
    has_groups,
    measures_of,
    pair_of,
)
from cmjlab.study.folder.study_folder import StudyFolder


class StudyChange(StudyFolder):
    """The methods of :class:`cmjlab.Study` about noise and change."""

    def sessions_table(self, how: str | None = None) -> pd.DataFrame:
        """Return one row per athlete and session; the study says how."""
        raise NotImplementedError

    def jumps_at_load(self) -> pd.DataFrame:
        """Return the jumps that are analysed; the study says how."""
        raise NotImplementedError

    def reliability(
        self,
        metrics: Measures = None,
        *,
        use: Sequence[str] | None = None,
        by: str | None = None,
        level: float | None = None,
    ) -> Result:
        """Return which measures can be believed: typical error, ICC, CV, with intervals.

        Parameters
        ----------
        metrics : str or sequence of str, optional
            Default: the plan's measures that have values.
        use : sequence of str, optional
            Sessions without training in between; default those of role baseline.
        by : str, optional
            Column whose values are analysed apart, e.g. "sex".
        level : float, optional
            Level of the intervals; default the plan's.

        Returns
        -------
        Result
            See :func:`cmjlab.reliability`.

        Raises
        ------
        StatsError
            Fewer than two baselines, or no measure has a value.

        Examples
        --------
        >>> import cmjlab as cj
        >>> study = cj.Study.open(cj.demo_study())
        >>> noise = study.reliability("jump_height_m")
        >>> round(100 * noise.value("typical_error", metric="jump_height_m"), 1)  # cm
        1.4
        """
        from cmjlab.stats.reliability.reliability import reliability

        sessions = self.sessions_table()
        names = measures_of(self, sessions, metrics)
        return reliability(
            sessions, names, use=use or baselines_tested(self, sessions), by=by,
            level=level or self.plan.level, jumps=self.jumps_at_load(),
            change_that_matters=self.plan.change_that_matters or None,
        )  # fmt: skip

    def jumps_needed(
        self,
        metrics: Measures = None,
        *,
        use: Sequence[str] | None = None,
        level: float | None = None,
    ) -> Result:
        """Return how many jumps a session needs until the mean is steady enough.

        Parameters
        ----------
        metrics : str or sequence of str, optional
            Default: the plan's measures that have values.
        use : sequence of str, optional
            Sessions without training in between; default those of role baseline.
        level : float, optional
            Level of the intervals; default the plan's.

        Returns
        -------
        Result
            See :func:`cmjlab.jumps_needed`.

        Examples
        --------
        >>> import cmjlab as cj
        >>> curve = cj.Study.open(cj.demo_study()).jumps_needed("jump_height_m")
        >>> curve.kind
        'jumps_needed'
        """
        from cmjlab.stats.reliability.jumps_needed import jumps_needed

        sessions = self.sessions_table()
        names, found = measures_of(self, sessions, metrics), use or baselines_tested(self, sessions)
        return jumps_needed(self.jumps_at_load(), names, use=found, level=level or self.plan.level)

    def change_within(
        self,
        metrics: Measures = None,
        *,
        before: str | None = None,
        after: str | None = None,
        level: float | None = None,
    ) -> Result:
        """Return how much each group changed, by itself.

        Parameters
        ----------
        metrics : str or sequence of str, optional
            Default: the plan's measures that have values.
        before, after : str, optional
            Sessions; default those of the plan.
        level : float, optional
            Level of the intervals; default the plan's.

        Returns
        -------
        Result
            See :func:`cmjlab.change_within`; with the plan's primary measure and the change
            that matters (:func:`cmjlab.apply_plan`).

        Examples
        --------
        >>> import cmjlab as cj
        >>> within = cj.Study.open(cj.demo_study()).change_within("jump_height_m")
        >>> round(100 * within.value("mean_change", metric="jump_height_m", group="strength"), 1)
        2.2
        """
        from cmjlab.stats.change.change import change_within
        from cmjlab.stats.change.plan import apply_plan

        sessions = self.sessions_table()
        names, (first, last) = measures_of(self, sessions, metrics), pair_of(self, before, after)
        has = has_groups(sessions)
        result = change_within(
            grouped(sessions) if has else sessions, names, before=first, after=last,
            group="group" if has else None, level=level or self.plan.level,
        )  # fmt: skip
        return apply_plan(result, self.plan, probabilities=False)

    def change_between(
        self,
        metrics: Measures = None,
        *,
        before: str | None = None,
        after: str | None = None,
        control: str | None = None,
        level: float | None = None,
        details: bool = False,
    ) -> Result:
        """Return how much more one group changed than another.

        Parameters
        ----------
        metrics : str or sequence of str, optional
            Default: the plan's measures that have values.
        before, after : str, optional
            Sessions; default those of the plan.
        control : str, optional
            Group that the others are compared with; default the plan's.
        level : float, optional
            Level of the intervals; default the plan's.
        details : bool
            Keep the variants behind the rows that are read first.

        Returns
        -------
        Result
            See :func:`cmjlab.change_between`; groups came about as the plan records it; with the plan's primary measure and the change
            that matters (:func:`cmjlab.apply_plan`).

        Examples
        --------
        >>> import cmjlab as cj
        >>> between = cj.Study.open(cj.demo_study()).change_between("jump_height_m")
        >>> between.leading
        'change_difference'
        """
        from cmjlab.stats.change.change import change_between
        from cmjlab.stats.change.plan import apply_plan

        sessions = self.sessions_table()
        names, (first, last) = measures_of(self, sessions, metrics), pair_of(self, before, after)
        if not has_groups(sessions):
            raise StatsError("fewer than two groups in athletes.csv: nothing to compare")
        result = change_between(
            grouped(sessions), names, before=first, after=last, assignment=self.plan.assignment,
            control=control or self.plan.control_group or None, level=level or self.plan.level,
        )  # fmt: skip
        return apply_plan(
            result.with_details() if details else result, self.plan, probabilities=False
        )

    def change_mixed(
        self,
        metrics: Measures = None,
        *,
        order: Sequence[str] | None = None,
        control: str | None = None,
        level: float | None = None,
    ) -> Result:
        """Return how groups changed over all sessions: group × time.

        Parameters
        ----------
        metrics : str or sequence of str, optional
            Default: the plan's primary measure.
        order : sequence of str, optional
            Sessions in order; default all but weeks of monitoring.
        control : str, optional
            Group that the others are compared with; default the plan's.
        level : float, optional
            Level of the intervals; default the plan's.

        Returns
        -------
        Result
            See :func:`cmjlab.change_mixed`; the declared contrast is the plan's before and after.

        Examples
        --------
        >>> import cmjlab as cj
        >>> over = cj.Study.open(cj.demo_study()).change_mixed()
        >>> over.row("group_by_time")["interval_kind"]
        'kenward_roger'
        """
        from cmjlab.stats.mixed.mixed import change_mixed

        sessions = self.sessions_table()
        names = measures_of(self, sessions, metrics or self.plan.primary_metric)
        used = list(order) if order is not None else None
        pair = (self.before, self.after)
        asked = all(pair) and (used is None or set(pair) <= set(used))
        return change_mixed(
            grouped(sessions) if has_groups(sessions) else sessions, names, order=used,
            primary=pair if asked else None,
            control=control or self.plan.control_group or None, level=level or self.plan.level,
        )  # fmt: skip

    def individuals(
        self,
        metrics: Measures = None,
        *,
        before: str | None = None,
        after: str | None = None,
        reliability: Any = None,
        level: float | None = None,
    ) -> Result:
        """Return each athlete's change against the noise of the test.

        Parameters
        ----------
        metrics : str or sequence of str, optional
            Default: the plan's measures that have values.
        before, after : str, optional
            Sessions; default those of the plan.
        reliability : Result or mapping, optional
            The noise; default :meth:`reliability` of this study.
        level : float, optional
            Level of the intervals; default the plan's.

        Returns
        -------
        Result
            See :func:`cmjlab.change_individual`.

        Examples
        --------
        >>> import cmjlab as cj
        >>> each = cj.Study.open(cj.demo_study()).individuals("jump_height_m")
        >>> len(each.rows("individual_change"))
        28
        """
        from cmjlab.stats.individual.individual import change_individual

        sessions = self.sessions_table()
        names, (first, last) = measures_of(self, sessions, metrics), pair_of(self, before, after)
        noise = self.reliability(names) if reliability is None else reliability
        return change_individual(
            sessions, names, before=first, after=last, reliability=noise,
            control=self.plan.control_group or None, level=level or self.plan.level,
        )  # fmt: skip
