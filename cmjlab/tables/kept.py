"""Tables that a person keeps in a study folder."""

from __future__ import annotations

from cmjlab.tables.declare import Column, Table

_WHO = (
    Column("athlete", "text", "athlete id", required=True),
    Column("session", "text", "session id", required=True),
)

ATHLETES = Table(
    "athletes",
    "the roster: one row per athlete",
    (
        Column("athlete", "text", "id: letters and digits, no name", required=True),
        Column("group", "text", "training group of the block"),
        Column("sex", "text", "female, male or empty; a stratum of the statistics"),
        Column("birth_year", "integer", "year of birth; no full birth dates", low=1900, high=2100),
        Column("stature_m", "number", "stature", "m"),
        Column("body_mass_kg", "number", "body mass on a scale", "kg"),
        Column("position", "text", "playing position"),
        Column("team", "text", "squad or team"),
    ),
    key=("athlete",),
)

RECORDINGS = Table(
    "recordings",
    "which file belongs to whom, when file names do not say it",
    (
        Column("file", "text", "path below the recordings folder", required=True),
        *_WHO,
        Column("trial", "text", "number of the recording within the session"),
        Column("date", "date", "date, ISO"),
        Column("start", "number", "first second to use, on the file's clock", "s"),
        Column("stop", "number", "last second to use, on the file's clock", "s"),
        Column("load_kg", "number", "what the athlete carries; empty: as in the session", "kg"),
    ),
    key=("file", "start"),
    key_optional=("start",),
)

SESSION_NOTES = Table(
    "session notes",
    "how each session was held",
    (
        Column("session", "text", "session id", required=True),
        Column("date", "date", "date, ISO"),
        Column("tester", "text", "coded id of the tester"),
        Column("surface", "text", "surface under the plates"),
        Column("footwear", "text", "footwear"),
        Column("wording", "text", "sentence said before each jump"),
        Column("warm_up", "text", "warm-up"),
        Column("load_kg", "number", "what all athletes carry; empty: nothing", "kg"),
        Column(
            "stable",
            "text",
            "yes: no training before it, own levels and noise may come from it; no: never; empty: as its role says",
            allowed=("yes", "no"),
        ),
        Column("deviations", "text", "deviations from the protocol"),
    ),
    key=("session",),
)

MEASURES = Table(
    "measures",
    "values that do not come from the force plate",
    (
        *_WHO,
        Column("date", "date", "date, ISO"),
        Column("measure", "text", "name, e.g. squat_1rm", required=True),
        Column("value", "number", "value", required=True),
        Column("unit", "text", "unit", required=True),
        Column("how", "text", "tested, estimated, rated, …"),
        Column("note", "text", "remark"),
    ),
    key=("athlete", "session", "measure"),
)

PARTICIPATION = Table(
    "participation",
    "who was missing, and why",
    (
        Column("athlete", "text", "athlete id", required=True),
        Column("session", "text", "session id; or from and to"),
        Column("from", "date", "first day"),
        Column("to", "date", "last day"),
        Column(
            "status",
            "text",
            "what happened",
            required=True,
            allowed=(
                "absent",
                "travelling",
                "injured",
                "ill",
                "pain",
                "left",
                "withdrawn",
                "excluded",
            ),
        ),
        Column("reason", "text", "coded reason; no diagnoses"),
    ),
)

DECISIONS = Table(
    "decisions",
    "a person's log, append only; the last row counts",
    (
        Column("file", "text", "path below the recordings folder", required=True),
        Column("jump", "integer", "number of the jump within its file", required=True),
        Column(
            "action",
            "text",
            "what was decided",
            required=True,
            allowed=("accept", "reject", "move", "undo"),
        ),
        Column("event", "text", "event that was moved"),
        Column("time_s", "number", "its new time on the file's clock", "s"),
        Column("reason", "text", "why", required=True),
        Column("who", "text", "coded id of the person", required=True),
        Column("when", "text", "date and time, ISO", required=True),
    ),
)

SUBGROUPS = Table(
    "subgroups",
    "rules, first match wins, an else row; and moves made by a person",
    (
        Column("subgroup", "text", "name of the subgroup", required=True),
        Column("rule", "text", "condition, or 'else'"),
        Column("athlete", "text", "athlete moved by hand"),
        Column("reason", "text", "why"),
    ),
)

BLOCK = Table(
    "block",
    "exercises of the block by subgroup",
    (
        Column("exercise", "text", "exercise", required=True),
        Column("subgroup", "text", "subgroup, or 'all'", required=True),
        Column("start_position", "text", "start position"),
        Column("range", "text", "range of motion"),
        Column("intent", "text", "intent of the movement"),
        Column("load", "text", "load"),
        Column("sets", "text", "sets"),
        Column("reps", "text", "repetitions"),
        Column("weeks", "text", "weeks of the block in which the row holds, e.g. 1-4; empty: all"),
        Column("percent_of", "text", "measure that a percentage of load is of, e.g. squat_1rm"),
    ),
)

TARGETS = Table(
    "targets",
    "what each subgroup's emphasis is for; the first page of the report answers it row by row",
    (
        Column("subgroup", "text", "name of the subgroup", required=True),
        Column("metric", "text", "key of a metric or measure, e.g. jump_height_m", required=True),
        Column(
            "wanted",
            "text",
            "what the emphasis is to do to it",
            required=True,
            allowed=("more", "less", "unchanged"),
        ),
        Column(
            "amount",
            "number",
            "smallest change worth it (unchanged: largest that does not matter), in the unit of"
            " the key; empty: the declared change that matters",
        ),
        Column("why", "text", "why this is wanted"),
    ),
    key=("subgroup", "metric", "wanted"),
)

REFERENCE = Table(
    "reference",
    "values of other athletes that a squad is compared with; each row names its source",
    (
        Column("metric", "text", "key of a metric or measure, e.g. jump_height_m", required=True),
        Column("sex", "text", "of whom: as in athletes.csv; empty: everybody"),
        Column("position", "text", "of whom: as in athletes.csv; empty: every position"),
        Column("level", "text", "of whom, in words, e.g. under 19, national; shown with the source"),
        Column("mean", "number", "mean, in the unit of the key"),
        Column("sd", "number", "standard deviation, in the unit of the key"),
        *(Column(f"p{q}", "number", f"percentile {q}, in the unit of the key; goes before mean and sd")
          for q in (5, 10, 25, 50, 75, 90, 95)),
        Column("n", "integer", "number of athletes behind the row"),
        Column("source", "text", "where the values come from: paper, table, page", required=True),
    ),
)  # fmt: skip

NAMES = Table(
    "names",
    "names of athletes; private, joined only when asked",
    (
        Column("athlete", "text", "athlete id", required=True),
        Column("name", "text", "name", required=True),
    ),
    key=("athlete",),
)

#: Tables that a user writes, by file stem.
USER_TABLES: dict[str, Table] = {
    "athletes": ATHLETES,
    "recordings": RECORDINGS,
    "sessions": SESSION_NOTES,
    "measures": MEASURES,
    "participation": PARTICIPATION,
    "decisions": DECISIONS,
    "subgroups": SUBGROUPS,
    "block": BLOCK,
    "targets": TARGETS,
    "reference": REFERENCE,
    "names": NAMES,
}
