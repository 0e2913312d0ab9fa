"""What the reader understands of a file, and what it needs to be told."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from cmjlab.checks import number
from cmjlab.errors import ReadError
from cmjlab.files.clock import find_clock
from cmjlab.files.columns import Columns
from cmjlab.files.contents import Contents, load
from cmjlab.files.dialect import Dialect
from cmjlab.files.even_grid import Clock
from cmjlab.files.force import force_matrix
from cmjlab.files.force_columns import assign_force
from cmjlab.files.read import build, read_columns, refuse_few_rows
from cmjlab.files.remedies import toml_value
from cmjlab.files.roles import Roles, name_or_number, read_headings, standing_level
from cmjlab.files.time_column import assign_time
from cmjlab.files.zeroed import zeroed_with_athlete
from cmjlab.layout import Layout
from cmjlab.recording import ReadingNote, Recording


@dataclass(frozen=True)
class ColumnFound:
    """One column: its number (from 1), name, unit as understood, role and typical loaded value.

    ``named`` is how a layout names it: by a name that no other column has, else by its number.
    """

    number: int
    name: str
    unit: str
    role: str
    standing: float
    named: str


@dataclass(frozen=True)
class Inspection:
    """What was understood of a file.

    Attributes
    ----------
    file : str
        File name.
    kind : str
        "text", "c3d", "xlsx" or "parquet".
    dialect : mapping of str to str
        Separator, decimal mark, encoding, header lines (text files).
    columns : tuple of ColumnFound
        Every column and the role it was given.
    rate_hz, duration_s, n_samples, standing_n
        nan or 0 where not understood; ``standing_n`` is the typical loaded force of all plates.
    plates : tuple of str
        Plate names.
    assumptions : tuple of ReadingNote
        Everything assumed or found while reading.
    questions : tuple of str
        What stops the reader; each says what to write. Empty: the file can be read.
    recording : Recording or None
        The recording, when there are no questions.
    """

    file: str
    kind: str = ""
    dialect: dict[str, str] = field(default_factory=dict)
    columns: tuple[ColumnFound, ...] = ()
    rate_hz: float = float("nan")
    n_samples: int = 0
    duration_s: float = float("nan")
    standing_n: float = float("nan")
    plates: tuple[str, ...] = ()
    assumptions: tuple[ReadingNote, ...] = ()
    questions: tuple[str, ...] = ()
    recording: Recording | None = None
    time_unit: str = ""
    stated: Layout = field(default_factory=Layout)

    @property
    def readable(self) -> bool:
        """Whether the file can be read as it stands."""
        return self.recording is not None

    def layout_toml(self) -> str:
        """Return a ``[[layout]]`` block for study.toml that states what was understood.

        What is not known stands as a comment with the values allowed.
        """
        force = [c for c in self.columns if c.role.startswith("force")]
        time = [c for c in self.columns if c.role == "time"]
        lines = ["[[layout]]", f"match = {toml_value(self.file)}"]
        lines += [
            f"{key} = {toml_value(self.dialect[key])}" for key in _STATED if key in self.dialect
        ]
        if self.kind != "c3d":
            lines += _time_lines(time, self)
            lines += _force_lines(force, self)
        else:
            lines += _kept_lines(self.stated, ("force_columns", "plates"))
        lines += _kept_lines(self.stated, ("newton_per_unit", "left", "right", "sheet"))
        if not self.readable and not force:
            lines.append('# force_columns = ["2"]    which columns are vertical force?')
        return "\n".join(lines) + "\n"

    def lines(self) -> list[str]:
        """Return what was understood, in lines of text for a person."""
        lines = [f"{self.file}: {self.kind or 'not readable'}"]
        lines += [f"  {key.replace('_', ' ')}: {value}" for key, value in self.dialect.items()]
        for c in self.columns:
            unit = f" [{c.unit}]" if c.unit else ""
            level = f", loaded {c.standing:.4g}" if c.role.startswith("force") else ""
            lines.append(f"  column {c.number}: {c.name or '(no name)'}{unit}: {c.role}{level}")
        if self.readable:
            lines.append(
                f"  {self.n_samples} samples at {self.rate_hz:g} Hz, {self.duration_s:.3f} s;"
                f" plates {', '.join(self.plates)}; standing {self.standing_n:.0f} N"
                f" ({self.standing_n / 9.80665:.1f} kg)"
            )
        lines += [f"  assumed ({n.code}): {n.text}" for n in self.assumptions]
        lines += [f"  question: {q}" for q in self.questions]
        return lines


_STATED = ("delimiter", "decimal", "encoding", "skip_lines")


def inspect_file(
    path: str | Path, *, layout: Layout | None = None, rate_hz: float | None = None
) -> Inspection:
    """Find out how a file would be read, without stopping at the first doubt.

    Parameters
    ----------
    path : str or Path
        The file.
    layout : Layout, optional
        What a person states about it.
    rate_hz : float, optional
        Sampling rate in hertz.

    Returns
    -------
    Inspection
        With every question that remains; this function does not raise for a file's content.
    """
    path = Path(path)
    stated = layout or Layout()
    if rate_hz is not None:
        rate_hz = number("rate_hz", rate_hz, low=1.0, high=1e6, unit="Hz")
    kind = ""
    try:
        contents = load(path, limit_mb=stated.size_limit_mb)
        kind = contents.kind
        columns = read_columns(contents, stated)
        refuse_few_rows(columns)
    except ReadError as error:
        return Inspection(path.name, kind, questions=(str(error),), stated=stated)
    return _understood(contents, columns, stated, rate_hz)


def _understood(
    contents: Contents, columns: Columns, stated: Layout, rate_hz: float | None
) -> Inspection:
    roles = read_headings(columns)
    questions: list[str] = []
    notes: list[ReadingNote] = list(columns.notes)
    clock: Clock | None = None
    try:
        assign_time(columns, stated, roles)
        clock = find_clock(columns, roles, stated, rate_hz)
    except ReadError as error:
        questions.append(str(error))
    try:
        assign_force(columns, stated, roles)
        notes += roles.notes
        notes += clock.notes if clock else []
        notes += force_matrix(columns, roles, stated)[1]
    except ReadError as error:
        questions.append(str(error))
    recording = None
    if not questions:
        columns.notes = [n for n in columns.notes if n.code != "clock_time"]
        try:
            recording = build(contents, columns, stated, rate_hz)
            notes = list(recording.notes)
        except ReadError as error:
            questions.append(str(error))
    return Inspection(
        contents.name,
        contents.kind,
        _dialect(columns),
        _columns(columns, roles),
        recording.rate_hz if recording else clock.rate_hz if clock else float("nan"),
        recording.n_samples if recording else columns.n_rows,
        recording.duration_s if recording else float("nan"),
        _standing(recording) if recording else float("nan"),
        recording.plates if recording else tuple(roles.plates),
        tuple(notes),
        tuple(questions),
        recording,
        clock.unit if clock else "",
        stated,
    )


def _standing(recording: Recording) -> float:
    zeroed = zeroed_with_athlete(recording.total_n)
    return abs(zeroed.standing if zeroed else standing_level(recording.total_n))


def _dialect(columns: Columns) -> dict[str, str]:
    found = columns.facts.get("dialect")
    if not isinstance(found, Dialect) or columns.facts.get("encoding") == "xlsx":
        return {}
    shown = {"decimal": found.decimal, "encoding": str(columns.facts["encoding"])}
    if found.delimiter != "fixed":
        shown = {"delimiter": found.delimiter_word, **shown}
    shown["data from line"] = str(found.first + 1)
    return shown


def _columns(columns: Columns, roles: Roles) -> tuple[ColumnFound, ...]:
    found = []
    for i, name in enumerate(columns.names):
        values = columns.values[i]
        role = "not used"
        if i == roles.time:
            role = "sample number" if roles.is_counter else "time"
        elif i == roles.part:
            role = "sample number within its frame"
        elif i in roles.force:
            at = roles.force.index(i)
            role = f"force ({roles.plates[at]})" if roles.plates else "force"
        elif values is None:
            role = "no numbers"
        level = standing_level(values) if values is not None else float("nan")
        label = " ".join(p for p in (columns.groups[i], name) if p)
        if label or values is not None:
            named = name_or_number(columns, i)
            found.append(ColumnFound(i + 1, label, roles.headings[i].unit, role, level, named))
    return tuple(found)


def _time_lines(time: list[ColumnFound], seen: Inspection) -> list[str]:
    lines = []
    if time:
        lines.append(f"time_column = {toml_value(time[0].named)}")
        if seen.time_unit:
            lines.append(f"time_unit = {toml_value(seen.time_unit)}")
        else:
            lines.append('# time_unit = "s"    s, ms or us?')
    elif any(c.role == "sample number" for c in seen.columns) or seen.columns:
        known = seen.rate_hz == seen.rate_hz
        lines.append(f"rate_hz = {seen.rate_hz:g}" if known else "# rate_hz = 1000    which?")
    return lines


def _force_lines(force: list[ColumnFound], seen: Inspection) -> list[str]:
    if not force:
        return []
    lines = [f"force_columns = {toml_value([c.named for c in force])}"]
    if seen.plates:
        plates = [c.role.partition("(")[2].rstrip(")") for c in force]
        lines.append(f"plates = {toml_value(plates)}")
    unit = seen.stated.force_unit or force[0].unit
    if not unit and any(n.code == "unit_assumed" for n in seen.assumptions):
        unit = "N"
    if unit and unit != "other":
        lines.append(f"force_unit = {toml_value(unit)}")
        if unit in ("V", "mV", "mV/V") and not seen.stated.newton_per_unit:
            lines.append("# newton_per_unit = 500    newtons of one unit: your calibration")
    elif not seen.stated.newton_per_unit:
        lines.append('# force_unit = "N"    N, kN, kgf, lbf; V with newton_per_unit')
    largest = max(abs(c.standing) for c in force)
    codes = {n.code for n in seen.assumptions}
    turned = "sign_reversed" in codes and "zeroed_with_athlete" not in codes
    if turned and all(c.standing < 0 for c in force if abs(c.standing) > 0.05 * largest):
        lines.append("sign = -1")
    elif seen.stated.sign:
        lines.append(f"sign = {seen.stated.sign}")
    return lines


def _kept_lines(stated: Layout, keys: tuple[str, ...]) -> list[str]:
    """Return settings that a person stated and the reader cannot know."""
    plain, default = stated.to_dict(), Layout().to_dict()
    return [f"{k} = {toml_value(plain[k])}" for k in keys if plain[k] != default[k]]
