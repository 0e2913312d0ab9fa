"""Athlete, session and trial from a file name: entity names, or a template.

Entity names follow the open BIDS standard: ``sub-A07_ses-base1_run-02.csv``; folders may
carry them too (``sub-A07/ses-base1/run-02.csv``). A template such as
``{session}/{athlete}_{trial}.csv`` is plain text with fields: no regular expression, so it
cannot hang, and a name that fits in two ways is refused instead of guessed.
"""

from __future__ import annotations

import re
import unicodedata
from pathlib import PurePosixPath

from cmjlab.errors import ArgumentError
from cmjlab.study.folder.ids import tidy_id

FIELDS = ("athlete", "session", "trial", "date", "any")
_ENTITIES = {"sub": "athlete", "ses": "session", "run": "trial", "date": "date"}
_PACKED = (".gz", ".zip")
#: Endings of files that can hold a force recording.
SUFFIXES = (".csv", ".txt", ".tsv", ".asc", ".dat", ".tab", ".prn", ".xlsx", ".parquet", ".c3d")


def stem_and_suffix(name: str) -> tuple[str, str]:
    """Split "a.csv.gz" into ("a", ".csv.gz"); a name without a known ending has suffix ""."""
    rest, packed = name, ""
    for ending in _PACKED:
        if rest.lower().endswith(ending):
            rest, packed = rest[: -len(ending)], rest[-len(ending) :]
    for ending in SUFFIXES:
        if rest.lower().endswith(ending):
            return rest[: -len(ending)], rest[-len(ending) :] + packed
    return rest, packed


def trial_id(text: str) -> str:
    """Return the number of a trial without leading zeros; other text unchanged."""
    word = tidy_id(text)
    return str(int(word)) if word.isdecimal() else word


def from_entities(file: str) -> dict[str, str]:
    """Return the fields found in entity names; the file name wins over its folders."""
    path = PurePosixPath(unicodedata.normalize("NFC", file))
    found: dict[str, str] = {}
    for part in [*path.parts[:-1], stem_and_suffix(path.name)[0]]:
        for piece in part.split("_"):
            key, dash, value = piece.partition("-")
            if dash and value and key.lower() in _ENTITIES:
                found[_ENTITIES[key.lower()]] = value
    return _tidy(found)


def _tidy(found: dict[str, str]) -> dict[str, str]:
    out = {k: tidy_id(v) for k, v in found.items() if k != "any"}
    if "trial" in out:
        out["trial"] = trial_id(out["trial"])
    if re.fullmatch(r"\d{8}", out.get("date", "")):
        day = out["date"]
        out["date"] = f"{day[:4]}-{day[4:6]}-{day[6:]}"
    return out


class Template:
    """A file-name template, e.g. ``{session}/{athlete}_{trial}.csv``.

    Raises
    ------
    ArgumentError
        When a field is unknown or stands twice, braces do not match, or two fields touch.
    """

    def __init__(self, text: str) -> None:
        self.text = unicodedata.normalize("NFC", text.strip())
        self.parts = self._parts(self.text)
        self.has_suffix = bool(stem_and_suffix(self.text)[1])

    @staticmethod
    def _parts(text: str) -> list[tuple[str, str]]:
        """Return (field, "") and ("", literal) parts in order."""
        parts: list[tuple[str, str]] = []
        for piece in re.split(r"(\{[^{}]*\})", text):
            if piece.startswith("{") and piece.endswith("}"):
                parts.append((piece[1:-1].strip().lower(), ""))
            elif piece:
                parts.append(("", piece))
        fields = [f for f, literal in parts if not literal]
        example = "for instance {session}/{athlete}_{trial}.csv"
        if any("{" in literal or "}" in literal for _, literal in parts):
            raise ArgumentError(f"file_names: braces of {text!r} do not match; write it {example}.")
        for name in fields:
            if name not in FIELDS:
                raise ArgumentError(
                    f"file_names: there is no field {name!r}; fields are {', '.join(FIELDS)}."
                )
            if name != "any" and fields.count(name) > 1:
                raise ArgumentError(f"file_names: the field {name!r} stands twice in {text!r}.")
        if "athlete" not in fields:
            raise ArgumentError(
                f"file_names: {text!r} has no field {{athlete}}; write it {example}."
            )
        for (first, _), (second, _) in zip(parts, parts[1:], strict=False):
            if first and second:
                raise ArgumentError(
                    f"file_names: {{{first}}} and {{{second}}} touch; a sign must stand between them."
                )
        return parts

    def match(self, file: str) -> list[dict[str, str]]:
        """Return the readings of a path: none, one, or two when it is ambiguous."""
        text = unicodedata.normalize("NFC", file)
        if not self.has_suffix:
            folder, slash, name = text.rpartition("/")
            text = folder + slash + stem_and_suffix(name)[0]
        if "/" not in self.text:
            text = text.rpartition("/")[2]
        readings = self._readings(text, 0, 0, {})
        tidy: list[dict[str, str]] = []
        for reading in readings:
            fields = _tidy(reading)
            if fields not in tidy:
                tidy.append(fields)
        return tidy

    def _readings(
        self, text: str, part: int, at: int, known: dict[tuple[int, int], list[dict[str, str]]]
    ) -> list[dict[str, str]]:
        """Return at most two ways to read text[at:] by the parts from ``part`` on."""
        if (part, at) in known:
            return known[part, at]
        out: list[dict[str, str]] = []
        if part == len(self.parts):
            out = [{}] if at == len(text) else []
        else:
            field, literal = self.parts[part]
            if literal:
                if text[at : at + len(literal)].casefold() == literal.casefold():
                    out = self._readings(text, part + 1, at + len(literal), known)
            else:
                stop = text.find("/", at)
                stop = len(text) if stop < 0 else stop
                for end in range(at + 1, stop + 1):
                    for rest in self._readings(text, part + 1, end, known):
                        if len(out) < 2:
                            out.append({field: text[at:end], **rest})
                    if len(out) >= 2:
                        break
        known[part, at] = out
        return out
