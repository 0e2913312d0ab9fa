"""Tables that cmjlab writes: jumps, checks, sessions, statistics, problems."""

from __future__ import annotations

from cmjlab.catalog import METRICS, SCOPES, STATUSES
from cmjlab.tables.declare import Column, Table


def _metric_columns() -> tuple[Column, ...]:
    return tuple(Column(m.key, "number", m.label, m.unit) for m in METRICS.values())


_WHO = (
    Column("athlete", "text", "athlete id", required=True),
    Column("session", "text", "session id", required=True),
)

JUMPS = Table(
    "jumps",
    "one row per jump, from its file alone",
    (
        Column("file", "text", "path below the study's recordings folder", required=True),
        Column("sha256", "text", "SHA-256 of the file's bytes; empty when it could not be opened"),
        *_WHO,
        Column("trial", "text", "number of the recording within the session"),
        Column("jump", "integer", "number of the jump within its file", required=True),
        Column("date", "date", "date of the session, ISO"),
        Column("rate_hz", "number", "sampling rate", "Hz"),
        Column("accepted", "boolean", "used in summaries", required=True),
        Column("accepted_by_rules", "boolean", "no rule of scope jump failed"),
        Column("verdict", "text", "a person's verdict: accept, reject or empty"),
        Column("moved_events", "text", "events that a person moved, separated by ;"),
        Column("flags", "text", "code:status of every flag, sorted, separated by ;"),
        Column("error", "text", "why the file could not be analysed"),
        Column("load_kg", "number", "what the athlete carried", "kg"),
        Column("system_mass_kg", "number", "mass of athlete and load, where there is a load", "kg"),
        *_metric_columns(),
    ),
    key=("file", "jump"),
)

CHECK_ROWS = Table(
    "checks",
    "one row per jump and quality rule",
    (
        Column("file", "text", "path below the study's recordings folder", required=True),
        Column("jump", "integer", "number of the jump within its file", required=True),
        Column("code", "text", "quality rule", required=True),
        Column(
            "status",
            "text",
            "what the rule found",
            required=True,
            allowed=STATUSES,
        ),
        Column(
            "scope",
            "text",
            "part of the jump that is voided by a fail",
            allowed=SCOPES,
        ),
        Column("value", "number", "measured value, in the rule's unit"),
        Column("limit", "number", "limit it was held against"),
        Column("unit", "text", "unit of value and limit"),
        Column("reason", "text", "one sentence"),
    ),
    key=("file", "jump", "code"),
)

SESSIONS = Table(
    "sessions",
    "one row per athlete and session: the summary of the accepted jumps",
    (
        Column("athlete", "text", "athlete id", required=True),
        Column("group", "text", "group of the athlete"),
        Column("session", "text", "session id, ordered", required=True),
        Column("role", "text", "role of the session in the study"),
        Column("date", "date", "date of the session, ISO"),
        Column("n_jumps", "integer", "jumps in the summary"),
        Column("n_expected", "integer", "jumps wanted"),
        Column("n_excluded", "integer", "jumps recorded but not in the summary"),
        Column("summary", "text", "best or best_n_mean, where the best jumps stand for a session"),
        Column(
            "n_compared",
            "integer",
            "first accepted jumps from which the best were taken: as many in each of the"
            " athlete's sessions, because the best of more jumps is higher by number alone",
        ),
        *_metric_columns(),
    ),
    key=("athlete", "session"),
)

STATISTICS_TABLE = Table(
    "statistics",
    "one estimate a row",
    (
        Column("metric", "text", "metric key", required=True),
        Column("statistic", "text", "statistic key of the catalog", required=True),
        Column("group", "text", "group or stratum, where it applies"),
        Column(
            "contrast",
            "text",
            "for display: later - earlier, group - control, with which metric, or the case",
        ),
        Column("first", "text", "what the contrast is counted from: later session, or group"),
        Column("second", "text", "what is taken off: earlier session, or control group"),
        Column("other_metric", "text", "metric on the other side of a correlation, slope or cut"),
        Column("session", "text", "session, where it applies"),
        Column(
            "since", "text", "earlier session, where groups are compared in a change to session"
        ),
        Column("athlete", "text", "athlete, where it applies"),
        Column("case", "text", "key of what the row is for, where one place has several"),
        Column("estimate", "number", "estimate"),
        Column("ci_low", "number", "lower limit of the interval"),
        Column("ci_high", "number", "upper limit of the interval"),
        Column("level", "number", "level of the interval"),
        Column("n", "integer", "athletes used"),
        Column("df", "number", "degrees of freedom"),
        Column("df2", "number", "second degrees of freedom of an F"),
        Column("se", "number", "standard error"),
        Column("test_value", "number", "t, F or chi-square"),
        Column("p", "number", "p value"),
        Column("p_adjusted", "number", "p value adjusted within its declared family"),
        Column("unit", "text", "unit of estimate and limits"),
        Column("estimator", "text", "key of how the estimate was computed"),
        Column("interval_kind", "text", "key of how the interval was computed"),
        Column("method", "text", "for display: estimator and interval in words"),
        Column("leads", "boolean", "whether this row answers its question; at most one does"),
        Column("role", "text", "primary or exploratory", allowed=("primary", "exploratory")),
        Column("reason_code", "text", "key of why there is no number or no interval"),
        Column("remark_code", "text", "key of what to know about the number"),
        Column("word_values", "text", "named values of case, estimator, reason, remark, as JSON"),
        Column("text", "text", "for display: reason and remark in words"),
    ),
)

TARGET_ANSWERS = Table(
    "target_answers",
    "one row per target of a subgroup's emphasis, with its verdict",
    (
        Column("subgroup", "text", "subgroup", required=True),
        Column("metric", "text", "metric key", required=True),
        Column("wanted", "text", "more, less or unchanged", required=True),
        Column("amount", "number", "smallest change worth it, in the metric's unit"),
        Column(
            "verdict",
            "text",
            "the answer",
            required=True,
            allowed=(
                "reached",
                "partly",
                "not_reached",
                "opposite",
                "cannot_tell",
                "unchanged_shown",
                "changed",
                "unchanged_not_shown",
            ),
        ),
        Column("surely", "boolean", "whether the whole interval lies beyond the amount"),
        Column("n", "integer", "athletes of the subgroup with both sessions"),
        Column("within", "number", "mean change within the subgroup"),
        Column("within_low", "number", "lower limit, over all targets at once"),
        Column("within_high", "number", "upper limit, over all targets at once"),
        Column("basis", "text", "what the verdict rests on", allowed=("against", "within")),
        Column("control", "text", "comparison group"),
        Column("statistic", "text", "statistic of the change that the verdict rests on"),
        Column("change", "number", "that change, against the comparison group where there is one"),
        Column("change_low", "number", "lower limit, over all targets at once"),
        Column("change_high", "number", "upper limit, over all targets at once"),
        Column("other_statistic", "text", "the other estimate against the comparison group"),
        Column("other", "number", "the other estimate"),
        Column("other_low", "number", "lower limit, over all targets at once"),
        Column("other_high", "number", "upper limit, over all targets at once"),
        Column("other_verdict", "text", "the answer by the other estimate"),
        Column("agree", "boolean", "whether both estimates give the same verdict"),
        Column("level", "number", "level at which all intervals hold together"),
        Column("level_of_each", "number", "level of each interval by itself"),
        Column(
            "detectable", "number", "true change that would be told from zero in 80 % of studies"
        ),
        Column("athletes_beyond", "integer", "athletes beyond their own noise, as wanted"),
        Column("athletes_known", "integer", "athletes whose own noise is known"),
        Column("reason_code", "text", "key of why there is no interval"),
        Column("word_values", "text", "values of the words of that reason, as JSON"),
        Column("why", "text", "why this was wanted"),
    ),
    key=("subgroup", "metric"),
)

_SIDES = ("above", "below", "")

WEEKS = Table(
    "weeks",
    "one row per athlete, metric and week that is followed, against the own stable weeks",
    (
        Column("athlete", "text", "athlete id", required=True),
        Column("group", "text", "group of the athlete"),
        Column("metric", "text", "metric key", required=True),
        Column("session", "text", "week", required=True),
        Column("date", "date", "date of the week, ISO"),
        Column("look", "integer", "number of the athlete's week"),
        Column("value", "number", "value of the week, in the metric's unit"),
        Column("own_level", "number", "mean of the athlete's stable weeks"),
        Column("stable_weeks", "integer", "how many they are"),
        Column("difference", "number", "value less own level"),
        Column("alarm_half", "number", "an alarm is a difference beyond this, either way"),
        Column("alarm", "text", "where the week lies beyond it", allowed=_SIDES),
        Column("mean", "number", "weighted mean of the differences up to this week"),
        Column("mean_half", "number", "a conclusion is a weighted mean beyond this, either way"),
        Column("conclusion", "text", "where the weighted mean lies beyond it", allowed=_SIDES),
        Column("since", "text", "week since which the conclusion stands without a break"),
        Column("sum_above", "number", "running sum above, in typical errors"),
        Column("sum_below", "number", "running sum below, in typical errors"),
        Column("sum_limit", "number", "a sum beyond this is a second sign of a change"),
        Column("sum_side", "text", "which sum lies beyond it", allowed=_SIDES),
    ),
    key=("athlete", "metric", "session"),
)

PROBLEMS = Table(
    "problems",
    "one row per problem of a study folder",
    (
        Column("severity", "text", "note, warn or fail", allowed=("note", "warn", "fail")),
        Column("file", "text", "file or table"),
        Column("row", "text", "row, as a spreadsheet counts"),
        Column("column", "text", "column"),
        Column("code", "text", "kind of problem"),
        Column("found", "text", "what was found"),
        Column("expected", "text", "what is expected"),
        Column("remedy", "text", "what to do"),
    ),
)

SPECIFICATIONS = Table(
    "specifications",
    "one row per target and defensible way to analyse it",
    (
        Column("subgroup", "text", "subgroup of the target", required=True),
        Column("metric", "text", "metric key", required=True),
        Column("onset", "text", "where the movement begins", required=True),
        Column("weighing", "text", "window of body weight", required=True),
        Column("rest", "text", "from where force is integrated", required=True),
        Column(
            "body_weight", "text", "body weight of the window or of the whole jump", required=True
        ),
        Column("takeoff", "text", "force at take-off and landing", required=True),
        Column("filter", "text", "low-pass filter", required=True),
        Column("height", "text", "definition of jump height", required=True),
        Column("summary", "text", "value of a session from its jumps", required=True),
        Column("exclusion", "text", "which jumps and athletes count", required=True),
        Column("baseline", "text", "session that the change starts from", required=True),
        Column("estimator", "text", "how the change is estimated", required=True),
        Column("n", "integer", "athletes of the groups compared"),
        Column("estimate", "number", "change of the target, in the metric's unit"),
        Column("se", "number", "its standard error"),
        Column("df", "number", "degrees of freedom of its interval"),
        Column("low", "number", "lower limit"),
        Column("high", "number", "upper limit"),
        Column("level", "number", "level of the interval, as page one uses it"),
        Column("verdict", "text", "the answer"),
        Column("counts", "boolean", "false where an earlier row has the very same numbers"),
        Column("own", "boolean", "whether the study itself does it this way"),
    ),
)

#: Tables that cmjlab writes.
RESULT_TABLES: dict[str, Table] = {
    "jumps": JUMPS,
    "checks": CHECK_ROWS,
    "sessions": SESSIONS,
    "statistics": STATISTICS_TABLE,
    "problems": PROBLEMS,
    "target_answers": TARGET_ANSWERS,
    "weeks": WEEKS,
    "specifications": SPECIFICATIONS,
}
