"""What was found of metrics measured two ways, as rows of a table and as sentences."""

from __future__ import annotations

from typing import Any

from cmjlab.results import Reason, Sentence
from cmjlab.scrutiny.pool.one import NoPooling, Pooling
from cmjlab.scrutiny.pool.rule import AFTER, AS_IT_IS, NOT
from cmjlab.stats.common.intervals import mean_limits
from cmjlab.stats.common.rows import Rows

_STATISTICS = ("pool_bias", "pool_limit_lower", "pool_limit_upper", "pool_slope", "conversion_offset",
               "conversion_slope", "conversion_error", "conversion_error_mean", "pool_error_plain",
               "pool_error_converted")  # fmt: skip


def add_rows(rows: Rows, found: Pooling | NoPooling) -> None:
    """Add all rows of one metric."""
    if isinstance(found, NoPooling):
        for statistic in _STATISTICS:
            rows.at(metric=found.metric).none(statistic, found.why)
        return
    place = rows.at(metric=found.metric, n=found.athletes)
    equal = Reason("pool_equal")
    ba, df = found.limits, found.difference.df_between
    bias_limits = (_bare(ba.bias_low, found.equal), _bare(ba.bias_high, found.equal))
    place.add("pool_bias", ba.bias, limits=bias_limits, df=df, interval_kind="t", reason=equal,
              estimator="differences_by_athlete")  # fmt: skip
    for statistic, at, ends in (
        ("pool_limit_lower", ba.lower, (ba.lower_low, ba.lower_high)),
        ("pool_limit_upper", ba.upper, (ba.upper_low, ba.upper_high)),
    ):
        bare = tuple(_bare(e, found.equal) for e in ends)
        place.add(statistic, at, limits=(bare[0], bare[1]), interval_kind="mover",
                  reason=equal, estimator="differences_by_athlete")  # fmt: skip
    _relation_rows(rows, found)
    _error_rows(rows, found)


def _bare(limit: Any, equal: bool) -> float:
    """Return a limit, nan where both always show the same: an interval without width claims too much."""
    return float("nan") if equal else float(limit)


def _relation_rows(rows: Rows, found: Pooling) -> None:
    """Add the line, and the offset and factor of the conversion."""
    place, made, line = rows.at(metric=found.metric, n=found.athletes), found.conversion, found.line
    if line is None:
        place.none("pool_slope", Reason("pool_no_line"))
    elif found.equal:
        place.add("pool_slope", 1.0, reason=Reason("pool_equal"), estimator="deming")
    else:
        place.add("pool_slope", line.slope, limits=line.slope_limits(rows.level), df=line.df,
                  se=line.slope_se(), estimator="deming", interval_kind="jackknife_athletes",
                  reason=Reason("pool_no_line"))  # fmt: skip
    if made.line is None:
        df, se = found.difference.df_between, found.difference.mean_variance**0.5
    else:
        df, se = made.line.df, float(made.line.variance_at(0.0)) ** 0.5
    low, high = mean_limits(made.offset, se, df, rows.level)
    bare = (_bare(low, found.equal), _bare(high, found.equal))
    place.add(
        "conversion_offset", made.offset, limits=bare, df=df, reason=Reason("pool_equal"),
        estimator="minus_the_bias" if made.line is None else "deming",
        interval_kind="t" if made.line is None else "jackknife_athletes",
    )  # fmt: skip
    place.add(
        "conversion_slope", made.slope, estimator="offset_alone" if made.line is None else "deming"
    )


def _error_rows(rows: Rows, found: Pooling) -> None:
    """Add errors of conversion, and what pooling adds to the typical error."""
    place, made = rows.at(metric=found.metric, n=found.athletes), found.conversion
    verdict = found.verdict
    equal = Reason("pool_equal")
    ends = [v**0.5 for v in made.variance_limits(1, rows.level)]
    place.add(
        "conversion_error", made.variance() ** 0.5, reason=equal, estimator="components",
        limits=(_bare(ends[0], found.equal), _bare(ends[1], found.equal)),
        interval_kind="modified_large_sample",
    )  # fmt: skip
    mean = made.variance(found.per_value, found.athletes) ** 0.5
    place.add("conversion_error_mean", mean, estimator="components")
    for statistic, at, low, high in (
        ("pool_error_plain", verdict.as_it_is, verdict.as_it_is_low, verdict.as_it_is_high),
        ("pool_error_converted", verdict.converted, verdict.converted_low, verdict.converted_high),
    ):
        if verdict.key == "":
            place.none(statistic, verdict.why or Reason("pool_no_noise"))
        else:
            place.add(
                statistic, at, limits=(_bare(low, found.equal), _bare(high, found.equal)),
                reason=equal, estimator=f"against_{found.yardstick.source}",
                interval_kind="noise_as_known",
            )  # fmt: skip


def sentences_of(found: Pooling | NoPooling, level: float) -> list[Sentence]:
    """Return what is said about one metric."""
    if isinstance(found, NoPooling):
        return [Sentence("pool.nothing", found.metric, values={"why": found.why})]
    if found.equal:
        return [Sentence("pool.equal", found.metric, values={"jumps": found.jumps})]
    ba = found.limits
    values: dict[str, Any] = {
        "bias": float(ba.bias), "low": float(ba.bias_low), "high": float(ba.bias_high),
        "lower": float(ba.lower), "upper": float(ba.upper), "athletes": found.athletes,
        "jumps": found.jumps,
    }  # fmt: skip
    return [
        Sentence("pool.difference", found.metric, values=values),
        _verdict_sentence(found, level),
    ]


def _verdict_sentence(found: Pooling, level: float) -> Sentence:
    made, verdict = found.conversion, found.verdict
    jump, mean = found.half_widths(level)
    values: dict[str, Any] = {
        "offset": made.offset, "slope": made.slope, "jump": jump, "mean": mean, "level": level,
        "athletes": found.athletes, "noise": f"pool_{found.yardstick.source}", "plain": verdict.as_it_is,
        "plain_high": verdict.as_it_is_high, "converted": verdict.converted,
        "converted_high": verdict.converted_high, "why": verdict.why,
    }  # fmt: skip
    with_slope = "" if made.line is None else "_slope"
    keys = {AS_IT_IS: "pool.as_it_is", AFTER: f"pool.after{with_slope}", NOT: "pool.do_not"}
    return Sentence(
        keys.get(verdict.key, f"pool.not_judged{with_slope}"), found.metric, values=values
    )
