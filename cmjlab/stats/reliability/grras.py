"""What a report of reliability should say (GRRAS), filled in as far as the data allow."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from cmjlab.results import Reason, Result, Sentence
from cmjlab.words.catalog import Words, read_words

#: Items of the Guidelines for Reporting Reliability and Agreement Studies: Kottner et al. 2011,
#: J Clin Epidemiol 64:96 (shortened, from memory). What each asks stands in the words.
ITEMS = (
    *("title", "device", "athletes", "testers", "known_before", "sample_size", "sampling"),
    *("measurement", "independence", "analysis", "numbers", "characteristics", "estimates"),
    *("meaning", "details"),
)
_COLUMNS = ("item", "asks", "found")
#: Metrics whose mean and SD describe the athletes.
_DESCRIBED = 3


def grras_points(result: Result) -> pd.DataFrame:
    """Return which items these data fill in, and which are left for a person to write.

    Parameters
    ----------
    result : Result
        Of :func:`cmjlab.reliability`.

    Returns
    -------
    pandas.DataFrame
        item (1 to 15), topic (key), to_write (bool).
    """
    filled = _filled(result)
    rows = [
        {"item": i, "topic": topic, "to_write": topic not in filled}
        for i, topic in enumerate(ITEMS, start=1)
    ]
    return pd.DataFrame(rows)


def grras_table(result: Result, words: Words | None = None) -> pd.DataFrame:
    """Return the items in words, with what these data say to each.

    Parameters
    ----------
    result : Result
        Of :func:`cmjlab.reliability`.
    words : Words, optional
        A lab's own words.

    Returns
    -------
    pandas.DataFrame
        Texts: the item, what it asks, what these data say (empty where a person has to write).

    Examples
    --------
    >>> import cmjlab as cj
    >>> study = cj.Study.open(cj.demo_study())
    >>> noise = study.reliability("jump_height_m")
    >>> len(cj.stats.grras_table(noise)) > 5
    True
    """
    say, filled = words or read_words(), _filled(result)
    rows = [
        (
            f"{i} {say.say(f'grras.{topic}')}",
            say.say(f"grras.{topic}_asks"),
            say.phrase(filled[topic]) if topic in filled else "",
        )
        for i, topic in enumerate(ITEMS, start=1)
    ]
    return pd.DataFrame(rows, columns=[say.say(f"grras.column_{c}") for c in _COLUMNS])


def _filled(result: Result) -> dict[str, Sentence]:
    """Return what these data say, by topic."""
    settings, values = result.settings, result.points["values"]
    metrics, sessions = list(settings["metrics"]), list(settings["use"])
    errors = result.rows("typical_error")["estimate"].astype(float)
    counts = {
        "athletes": settings["n_athletes"],
        "sessions": len(sessions),
        "metrics": len(metrics),
        "values": len(values),
    }
    found: dict[str, tuple[str, dict[str, Any]]] = {
        "measurement": (
            "sessions" if settings["retest_days"] is not None else "sessions_undated",
            {"sessions": sessions, "days": settings["retest_days"]},
        ),
        "analysis": ("methods", {"level": settings["level"]}),
        "numbers": ("counts", counts),
        "characteristics": ("means", {"means": _means(result, metrics[:_DESCRIBED])}),
        "estimates": ("errors", {"n": int(np.isfinite(errors).sum())}),
        "details": ("where", {}),
    }
    if result.sentences:
        found["meaning"] = ("sentence", {"sentence": result.sentences[0]})
    return {k: Sentence(f"grras.found_{key}", values=v) for k, (key, v) in found.items()}


def _means(result: Result, metrics: list[str]) -> list[Sentence | Reason]:
    """Return mean and SD of all sessions together, metric by metric."""
    values = result.points["values"]
    out: list[Sentence | Reason] = []
    for metric in metrics:
        part = values.loc[values["metric"] == metric, "value"]
        if len(part) > 1:
            numbers = {"mean": float(part.mean()), "sd": float(part.std())}
            out.append(Sentence("grras.mean", metric, values=numbers))
    return out or [Reason("no_values")]
