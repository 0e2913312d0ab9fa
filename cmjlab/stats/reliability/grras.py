"""What a report of reliability should say (GRRAS), filled in as far as the data allow."""

from __future__ import annotations

import numpy as np
import pandas as pd

from cmjlab.results import Result

#: Items of the Guidelines for Reporting Reliability and Agreement Studies: Kottner et al. 2011,
#: J Clin Epidemiol 64:96. Shortened in our own words, from memory.
_ITEMS = (
    (1, "Title", "say that reliability or agreement was studied"),
    (2, "Device", "name and describe the measuring device"),
    (3, "Athletes", "describe the population of interest"),
    (4, "Testers", "describe the testers, or say that there is one"),
    (5, "Known before", "what is known already, and why this study"),
    (6, "Sample size", "how the numbers of athletes and sessions were chosen"),
    (7, "Sampling", "how athletes were chosen"),
    (8, "Measurement", "how and when it was measured, time between sessions, conditions"),
    (9, "Independence", "were the sessions measured independently"),
    (10, "Analysis", "statistical methods"),
    (11, "Numbers", "athletes, sessions and values that were used"),
    (12, "Characteristics", "describe the athletes"),
    (13, "Estimates", "reliability and agreement with intervals"),
    (14, "Meaning", "what the numbers mean in practice"),
    (15, "Details", "where the detailed results are"),
)


def grras_points(result: Result) -> pd.DataFrame:
    """Return the items with what these data say; empty ``from_data`` is left for a person.

    Parameters
    ----------
    result : Result
        Of :func:`cmjlab.stats.reliability.reliability.reliability`; its settings, table and notes are read.

    Returns
    -------
    pandas.DataFrame
        item, topic, asks, from_data, to_write (bool).
    """
    filled = _filled(result)
    rows = [
        {
            "item": i,
            "topic": topic,
            "asks": asks,
            "from_data": filled.get(i, ""),
            "to_write": i not in filled,
        }
        for i, topic, asks in _ITEMS
    ]
    return pd.DataFrame(rows)


def _filled(result: Result) -> dict[int, str]:
    settings, table = result.settings, result.table
    values = result.points["values"]
    n, sessions = settings["n_athletes"], settings["use"]
    days = settings["retest_days"]
    when = f"{days:g} days (median)" if days is not None else "not recorded"
    means = []
    for metric in settings["metrics"][:3]:
        part = values.loc[values["metric"] == metric, "value"]
        if len(part) > 1:
            means.append(f"{metric} {part.mean():.4g} (SD {part.std():.3g})")
    te = table[(table["statistic"] == "typical_error") & np.isfinite(table["estimate"])]
    more = (
        f" and {len(settings['metrics']) - 3} more metrics" if len(settings["metrics"]) > 3 else ""
    )
    return {
        8: f"sessions {', '.join(map(str, sessions))}; time between them: {when}",
        10: "ICC of McGraw & Wong (1996); typical error with chi-square interval (athletes and sessions"
        " fixed); session change by t; limits of agreement with exact intervals;"
        f" {100 * settings['level']:g} % intervals",
        11: f"{n} athletes, {len(sessions)} session(s), {len(settings['metrics'])} metric(s),"
        f" {len(values)} values",
        12: ("all sessions together: " + "; ".join(means) + more) if means else "no values",
        13: f"typical error of {len(te)} metric(s) and all other estimates with intervals in the table",
        14: " ".join(result.sentences[:2]) or "no statement possible from these data",
        15: "table and points of this result",
    }
