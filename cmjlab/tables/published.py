"""The table that a person fills in from a paper, to be set beside a study (``cmjlab replicate``)."""

from __future__ import annotations

from cmjlab.tables.declare import Column, Table

PUBLISHED = Table(
    "published values",
    "numbers of a published table, one a row, typed as they are printed",
    (
        Column("metric", "text", "key of a metric, or words of the trade", required=True),
        Column("statistic", "text", "mean, sd, icc, cv, typical error, change, percent change or"
               " difference", required=True),
        Column("value", "text", "the number with the decimals as printed", required=True),
        Column("unit", "text", "unit as printed; empty for an icc"),
        Column("sd", "text", "of a mean: SD between athletes; of a change or difference: SD of the changes"),
        Column("n", "integer", "number of athletes; of a difference: of the group", low=2),
        Column("n_other", "integer", "of a difference: number of athletes of the other group", low=2),
        Column("sessions", "integer", "of an icc, cv or typical error: number of sessions", low=2, high=100),
        Column("low", "text", "lower limit of the printed interval"),
        Column("high", "text", "upper limit of the printed interval"),
        Column("level", "number", "level of the printed interval in percent; empty: 95", "%", low=50, high=99.9),
        Column("p", "text", "printed p value of a change or difference, such as 0.03 or < 0.001"),
        Column("session", "text", "session of this study that it is set beside; empty: as the plan says"),
        Column("since", "text", "of a change or difference: session of this study before it"),
        Column("group", "text", "group or sex of this study; empty: everybody"),
        Column("other_group", "text", "of a difference: the group that is subtracted"),
        Column("how", "text", "how it was measured or computed, e.g. flight time, ICC(3,1), ANCOVA"),
        Column("source", "text", "author, year, journal, table, page", required=True),
    ),
)  # fmt: skip
#: An example of the template, written as a remark: it is no data.
EXAMPLE = {
    "metric": "jump_height_m", "statistic": "mean", "value": "31.4", "unit": "cm", "sd": "4.1",
    "n": "24", "session": "base1", "how": "take-off velocity", "source": "author, year, journal, table",
}  # fmt: skip
