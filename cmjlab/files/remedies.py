"""What to write so that a file can be read: lines that work when they are copied as they stand."""

from __future__ import annotations

from collections.abc import Mapping

#: What stands between two lines of study.toml in one sentence.
BELOW = " and below it: "


def toml_value(value: object) -> str:
    """Return a value as it is written in a TOML file."""
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(toml_value, value)) + "]"
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"').replace("\t", "\\t") + '"'
    return f"{value:.10g}" if isinstance(value, float) else str(value)


def write_in_layout(settings: Mapping[str, object]) -> str:
    """Return the words that say what to write under ``[[layout]]``, one line per setting."""
    lines = [f"{name} = {toml_value(value)}" for name, value in settings.items()]
    return "write under [[layout]] in study.toml: " + BELOW.join(lines)


def give_rate(example: float = 1000.0) -> str:
    """Return the sentence that says how to give a sampling rate."""
    return (
        f"give it: `--rate {example:.10g}` on the command line, rate_hz={example:.10g} in Python, or"
        f" {write_in_layout({'rate_hz': example})}"
    )


def without_time(rate_hz: float) -> str:
    """Return the words for reading rows as even samples, whatever the time column says."""
    return write_in_layout({"time_column": "none", "rate_hz": rate_hz})
