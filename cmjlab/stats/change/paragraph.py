"""An honest paragraph for a team without a control group."""

from __future__ import annotations

from cmjlab.errors import StatsError
from cmjlab.results import Result, Sentence
from cmjlab.stats.common.verdicts import side_of_zero


def team_paragraph(
    within: Result, metric: str, individual: Result | None = None
) -> tuple[Sentence, ...]:
    """Return what may be said about a team's change without a control group.

    Parameters
    ----------
    within : Result
        Of :func:`cmjlab.change_within`, without groups.
    metric : str
    individual : Result, optional
        Of :func:`cmjlab.change_individual`, for how well one athlete's change is known.

    Returns
    -------
    tuple of Sentence
        To be read one behind the other.

    Raises
    ------
    StatsError
        When the metric has no single mean change with an interval.
    """
    rows = within.rows("mean_change", metric=metric)
    if len(rows) != 1 or rows["ci_low"].isna().any():
        raise StatsError(
            f"{metric}: one mean change with an interval is needed; use change_within for the whole team."
        )
    row = rows.iloc[0]
    columns = ("estimate", "ci_low", "ci_high", "level")
    sessions = {k: within.settings[k] for k in ("before", "after")}
    changed = {**{c: float(row[c]) for c in columns}, **sessions, "n": int(row["n"])}
    sure = side_of_zero(float(row["ci_low"]), float(row["ci_high"])) != "open"
    sentences = [
        Sentence("change.team", metric, values=changed),
        Sentence("change.team_changed" if sure else "change.team_open", metric),
        Sentence("change.team_without_control", metric),
    ]
    if individual is not None:
        mine = individual.rows("individual_change", metric=metric)
        half = float(((mine["ci_high"] - mine["ci_low"]) / 2).median())
        known = {"half": half, "level": float(mine["level"].iloc[0])}
        sentences.append(Sentence("change.team_one_athlete", metric, values=known))
    return tuple(sentences)
