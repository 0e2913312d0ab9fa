"""An honest paragraph for a team without a control group."""

from __future__ import annotations

from cmjlab.errors import StatsError
from cmjlab.results import Result
from cmjlab.stats.common.wording import interval_text, name_of, percent, signed
from cmjlab.units import show


def team_paragraph(within: Result, metric: str, individual: Result | None = None) -> str:
    """Return what may be said about a team's change without a control group.

    Parameters
    ----------
    within : Result
        Of :func:`cmjlab.change_within`, without groups.
    metric : str
    individual : Result, optional
        Of :func:`cmjlab.change_individual`, for how well one athlete's change is known.

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
    unit = str(row["unit"])
    size = signed(float(row["estimate"]), unit)
    interval = interval_text(float(row["ci_low"]), float(row["ci_high"]), unit, float(row["level"]))
    text = [
        f"{name_of(metric)} of {int(row['n'])} athletes changed by {size} on average from"
        f" {within.settings['before']} to {within.settings['after']} ({interval})."
    ]
    if row["ci_low"] <= 0 <= row["ci_high"]:
        text.append(
            "The interval holds no change at all, so these data cannot tell whether the team changed."
        )
    else:
        text.append("That the team changed is what the data show; why it changed they do not show.")
    text.append(
        "Nobody trained differently in the same weeks, so season, other training, learning of the test and body"
        " mass are part of this change and cannot be separated from the block."
    )
    if individual is not None:
        mine = individual.rows("individual_change", metric=metric)
        half = float(((mine["ci_high"] - mine["ci_low"]) / 2).median())
        level = float(mine["level"].iloc[0])
        text.append(
            f"One athlete's change is known to ±{show(half, unit)} ({percent(level)} interval); who responded more"
            " than others cannot be told without a control group."
        )
    return " ".join(text)
