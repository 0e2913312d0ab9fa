"""Squad, season, figures and report of a study by its own plan; see ``change.py`` beside this file."""

from __future__ import annotations

from collections.abc import Sequence
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cmjlab.errors import CmjlabError, StatsError
from cmjlab.results import Result
from cmjlab.stats.season.charts import FollowSettings
from cmjlab.study.analyses.change import StudyChange
from cmjlab.study.analyses.defaults import baselines_tested, grouped, pair_of
from cmjlab.study.weeks import follow_weeks
from cmjlab.upstairs import upstairs

if TYPE_CHECKING:
    from matplotlib.figure import Figure


class StudyAnalyses(StudyChange):
    """The methods of :class:`cmjlab.Study` about the squad, figures and the report."""

    def change_targets(self, *, reliability: Any = None) -> Result:
        """Return whether each subgroup's emphasis did what it was for.

        The table :attr:`targets` says what was wanted.

        Parameters
        ----------
        reliability : Result, optional
            The noise, against which athletes are counted; default :meth:`reliability` of the
            measures of the targets.

        Returns
        -------
        Result
            See :func:`cmjlab.change_targets`.

        Examples
        --------
        >>> import cmjlab as cj
        >>> answers = cj.Study.open(cj.demo_study()).change_targets()
        >>> answers.kind
        'targets'
        """
        from cmjlab.stats.targets.targets import change_targets

        if not len(self.targets):
            raise StatsError(
                "targets.csv states no target: write a row per subgroup and measure, with what is"
                " wanted (more, less, unchanged) and by how much."
            )
        first, last = pair_of(self, None, None)
        sessions, noise = self.sessions_table(), reliability
        if noise is None:
            names = [m for m in dict.fromkeys(self.targets["metric"].astype(str)) if m in sessions]
            noise = self._noise_or_none(names)
        return change_targets(
            grouped(sessions), self.targets, self.plan, before=first, after=last, reliability=noise
        )

    def _noise_or_none(self, names: Sequence[str]) -> Result | None:
        """Return the noise of the means of these measures, None where nobody can know it."""
        from cmjlab.stats.reliability.reliability import reliability

        sessions, plan = self.sessions_table(), self.plan
        try:
            return reliability(
                sessions, list(names), use=baselines_tested(self, sessions), level=plan.level,
                change_that_matters=plan.change_that_matters or None,
            )  # fmt: skip
        except CmjlabError:
            return None

    def subgroup_athletes(self, *, within: str | Sequence[str] | None = "sex") -> Result:
        """Return which subgroup each athlete belongs to by the study's rules, and how sure it is.

        The table :attr:`subgroups` holds the rules.

        Parameters
        ----------
        within : str, sequence of str or None
            Columns of athletes.csv whose values have cuts of their own.

        Returns
        -------
        Result
            See :func:`cmjlab.subgroup_athletes`.

        Raises
        ------
        StatsError
            There are no rules, or nobody has the values that they need.

        Examples
        --------
        >>> import cmjlab as cj
        >>> placed = cj.Study.open(cj.demo_study()).subgroup_athletes()
        >>> placed.kind
        'subgroups'
        """
        found = upstairs("study_subgroups")(self, within=within, only=("placement",))
        if "placement" not in found.results:
            raise StatsError(f"no placement: {found.reasons['placement']}")
        return found.results["placement"]  # type: ignore[no-any-return]

    def squad(self, session: str | None = None) -> Result:
        """Return where every athlete stands in the squad.

        Parameters
        ----------
        session : str, optional
            Default: the session that decided the subgroups.

        Returns
        -------
        Result
            See :func:`cmjlab.squad_places`.

        Examples
        --------
        >>> import cmjlab as cj
        >>> cj.Study.open(cj.demo_study()).squad().kind
        'squad'
        """
        from cmjlab.stats.subgroups.squad import squad_places

        chosen = session or self.plan.selected_in or None
        return squad_places(self.sessions_table(), session=chosen, level=self.plan.level)

    def follow(
        self, metrics: Sequence[str] | None = None, *, settings: FollowSettings | None = None
    ) -> Result:
        """Follow the weeks of monitoring against stable weeks.

        Parameters
        ----------
        metrics : sequence of str, optional
            Default: the plan's primary measure and a few that show fatigue.
        settings : FollowSettings, optional
            How often an unchanged athlete may give an alarm, and how many weeks there will be.

        Returns
        -------
        Result
            See :func:`cmjlab.follow`.

        Examples
        --------
        >>> import cmjlab as cj
        >>> cj.Study.open(cj.demo_study()).follow(["jump_height_m"]).kind
        'follow'
        """
        return follow_weeks(self, self.sessions_table(), metrics, settings)

    def compare_curves(
        self,
        quantity: str = "force_per_kg",
        *,
        before: str | None = None,
        after: str | None = None,
        control: str | None = None,
        level: float | None = None,
    ) -> Result:
        """Return where in the movement whole curves changed.

        Parameters
        ----------
        quantity : str
            "force_per_kg", "force", "velocity", "displacement", "acceleration", "power" or
            "power_per_kg".
        before, after : str, optional
            Sessions; default those of the plan.
        control : str, optional
            Group that the others are compared with; default the plan's.
        level : float, optional
            Level of the bands; default the plan's.

        Returns
        -------
        Result
            See :func:`cmjlab.compare_curves`.

        Examples
        --------
        >>> import cmjlab as cj
        >>> cj.Study.open(cj.demo_study()).compare_curves("velocity").kind
        'curves'
        """
        return upstairs("compare_curves")(  # type: ignore[no-any-return]
            self, quantity, before=before, after=after, control=control, level=level
        )

    def plot(
        self, figure: str = "squad", metric: str | None = None, *, session: str | None = None
    ) -> Figure:
        """Return a figure of the study.

        Parameters
        ----------
        figure : str
            "squad" (scatter plots with cuts and noise), "overview" (distributions of a session),
            "noise", "sessions", "agreement", "jumps_needed", "within", "between", "individuals",
            "placement", "strength".
        metric : str, optional
            Where the figure shows one measure; default the plan's primary.
        session : str, optional
            For "overview"; default the first.

        Returns
        -------
        matplotlib.figure.Figure
            With an ``alt_text`` that says what it shows.

        Examples
        --------
        >>> import cmjlab as cj
        >>> figure = cj.Study.open(cj.demo_study()).plot("within")
        >>> figure.alt_text[:11]
        'Jump height'
        """
        return upstairs("plot_study")(self, figure, metric, session=session)  # type: ignore[no-any-return]

    def report(self, out: str | PathLike[str] | None = None, *, draft: bool = False) -> Path:
        """Write the block report and return where it lies.

        Parameters
        ----------
        out : path, optional
            An .html, .docx or .pdf file, or a folder; default the results folder of the study.
        draft : bool
            Write what can be written although parts are missing; the page lists them.

        Returns
        -------
        Path
            See :func:`cmjlab.write_report`, which has more choices.

        Examples
        --------
        >>> import tempfile
        >>> import cmjlab as cj
        >>> study = cj.Study.open(cj.demo_study(mini=True))
        >>> with tempfile.TemporaryDirectory() as folder:
        ...     page = study.report(folder, draft=True)
        ...     page.suffix
        '.html'
        """
        return upstairs("write_report")(self, out, draft=draft)  # type: ignore[no-any-return]

    def __repr__(self) -> str:
        return upstairs("text_of")(self)  # type: ignore[no-any-return]

    def _repr_html_(self) -> str:
        return upstairs("html_of")(self)  # type: ignore[no-any-return]
