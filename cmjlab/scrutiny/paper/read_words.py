"""What a row of a paper is about: metric and statistic by key or by words of the trade."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from cmjlab.catalog import STATISTICS
from cmjlab.catalog.search import find
from cmjlab.stats.common.tables import unit_of as of_metric


@dataclass(frozen=True)
class Kind:
    """A statistic that papers print.

    Attributes
    ----------
    key : str
        Of the catalog, or "mean" and "sd".
    scale : str
        "plain" (difference), "ratio" (spreads) or "icc" (difference of ICCs).
    unit : str
        "metric", "%" or "".
    """

    key: str
    scale: str = "plain"
    unit: str = "metric"


KINDS = {
    k.key: k
    for k in (
        Kind("mean"), Kind("mean_change"), Kind("change_difference"), Kind("adjusted_difference"),
        Kind("percent_change", unit="%"),
        Kind("sd", "ratio"), Kind("typical_error", "ratio"),
        Kind("typical_error_percent", "ratio", "%"), Kind("cv_rms_percent", "ratio", "%"),
        Kind("cv_mean_percent", "ratio", "%"),
        Kind("icc_1", "icc", ""), Kind("icc_a1", "icc", ""), Kind("icc_c1", "icc", ""),
    )
}  # fmt: skip
CHANGES = ("mean_change", "percent_change")
DIFFERENCES = ("change_difference", "adjusted_difference")
#: Statistics that need two sessions without training in between.
NOISE = tuple(k for k in KINDS if k.startswith(("typical", "cv", "icc")))

#: Words that papers print, letters and digits only.
_SAID = {
    "mean": "mean", "average": "mean", "m": "mean",
    "sd": "sd", "standarddeviation": "sd", "sdbetweenathletes": "sd",
    "te": "typical_error", "typicalerror": "typical_error", "sem": "typical_error",
    "standarderrorofmeasurement": "typical_error", "withinsubjectsd": "typical_error",
    "cv": "cv", "cvpercent": "cv", "coefficientofvariation": "cv", "typicalerrorpercent": "typical_error_percent",
    "typicalerrorascv": "typical_error_percent",
    "change": "mean_change", "meanchange": "mean_change", "meandifference": "mean_change",
    "percentchange": "percent_change", "changepercent": "percent_change", "relativechange": "percent_change",
    "difference": "change_difference", "groupdifference": "change_difference",
    "differencebetweengroups": "change_difference",
}  # fmt: skip
#: How a CV is computed, by words of the column ``how``.
_CV_FORMS = (
    (r"root|rms|squared", "cv_rms_percent"),
    (r"mean of|individual|average", "cv_mean_percent"),
    (r"log|typical|hopkins", "typical_error_percent"),
)
_ICC_FORM = re.compile(r"\(?\b([123ac])\s*[,.]\s*([1k0-9])\b\)?")
_ICC_KEYS = {"1": "icc_1", "2": "icc_a1", "3": "icc_c1", "a": "icc_a1", "c": "icc_c1"}
#: How jump height is measured -> the metric that is measured so.
_HEIGHTS = (
    (r"flight", "jump_height_flight_m"),
    (r"above standing|displacement|total", "jump_height_total_m"),
    (r"take-?off velocity|impulse|momentum", "jump_height_m"),
)
_LEAST, _APART = 0.5, 0.02


@dataclass(frozen=True)
class Read:
    """What words were read as: the key ("" when nothing fits), and whether it had to be assumed.

    Attributes
    ----------
    key : str
    assumed : str
        What is not said and was assumed: "", "cv", "icc".
    average : bool
        Of an ICC: it is that of the mean of the sessions.
    """

    key: str
    assumed: str = ""
    average: bool = False


def statistic_of(words: str, how: str, unit: str) -> Read:
    """Return what a statistic is, from its name, how it was computed and its unit."""
    plain = re.sub(r"%", "percent", words.casefold())
    plain = re.sub(r"[^a-z0-9]", "", plain)
    if words.strip() in KINDS:
        return Read(words.strip())
    if plain.startswith(("icc", "intraclass")):
        return _icc(words.casefold(), how.casefold())
    key = _SAID.get(plain) or _found(words)
    percent = unit.strip() == "%"
    if key == "cv" or (key == "typical_error" and percent):
        return _cv(f"{words} {how}".casefold(), stated=key != "cv")
    if key == "mean_change" and percent:
        return Read("percent_change")
    if key == "change_difference" and re.search(r"ancova|adjust|covari", how.casefold()):
        return Read("adjusted_difference")
    return Read(key)


def _found(words: str) -> str:
    best = [f for f in find(words, among=[*STATISTICS]) if f.score >= _LEAST]
    return best[0].key if best and best[0].key in KINDS else ""


def _cv(words: str, *, stated: bool) -> Read:
    for pattern, key in _CV_FORMS:
        if re.search(pattern, words):
            return Read(key)
    return Read("typical_error_percent", "" if stated else "cv")


def _icc(words: str, how: str) -> Read:
    for text in (words, how):
        form = _ICC_FORM.search(text)
        if form:
            return Read(_ICC_KEYS[form[1]], average=form[2] != "1")
    both = f"{words} {how}"
    average = bool(re.search(r"average|mean of", both))
    for pattern, key in ((r"agreement", "icc_a1"), (r"consisten", "icc_c1"), (r"one-way", "icc_1")):
        if re.search(pattern, both):
            return Read(key, average=average)
    return Read("icc_c1", "icc", average)


def metric_of(words: str, how: str, known: Iterable[str]) -> str:
    """Return the metric that words mean; "" when nothing or more than one thing fits.

    Parameters
    ----------
    words, how : str
        The columns of the row. Words that mean jump height are decided by ``how``.
    known : iterable of str
        Metrics and measures that have a column in the study.
    """
    names = list(known)
    if words.strip() in names:
        return words.strip()
    found = [f for f in find(words, among=names) if f.score >= _LEAST]
    if not found or (len(found) > 1 and found[0].score - found[1].score < _APART):
        return ""
    key = found[0].key
    return (height_by(how) or key) if key == "jump_height_m" else key


def height_by(how: str) -> str:
    """Return the jump height that is measured in this way, "" where the words do not say."""
    return next((m for p, m in _HEIGHTS if re.search(p, how.casefold())), "")


def defined_otherwise(metric: str, how: str) -> str:
    """Return the metric that ``how`` describes when it is another jump height than this one."""
    described = height_by(how)
    heights = [m for _, m in _HEIGHTS]
    return described if described and metric in heights and metric != described else ""


def unit_of(kind: Kind, metric: str) -> str:
    """Return the table unit of a statistic of a metric."""
    return of_metric(metric) if kind.unit == "metric" else kind.unit
