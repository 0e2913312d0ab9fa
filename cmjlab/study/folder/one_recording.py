"""What is stated about one recording: by a file that a person names, or by the study it lies in."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from cmjlab.errors import ArgumentError
from cmjlab.layout import Layout
from cmjlab.method import Method
from cmjlab.safe_open import read_file
from cmjlab.study.folder.missing_folder import study_above
from cmjlab.study.folder.recordings import which_layout
from cmjlab.study.folder.settings import method_from
from cmjlab.toml_text import read_toml

#: Given instead of a file: nothing is stated, whatever lies beside the recording.
NOTHING = "none"
_STUDY = "study.toml"


@dataclass(frozen=True)
class Stated:
    """Layout and method of one recording, None where nothing is stated, and where they stand.

    ``origin`` names the file and what of it is used, in words; "" when there is none.
    """

    layout: Layout | None = None
    method: Method | None = None
    origin: str = ""


def stated_for(recording: Path, given: Path | None = None) -> Stated:
    """Return what is stated about one recording.

    Parameters
    ----------
    recording : Path
        The force file.
    given : Path, optional
        A TOML file with [[layout]] blocks, such as study.toml; "none": nothing is stated. Without
        it, study.toml of the folder of the recording or of the nearest one above is used.

    Raises
    ------
    ArgumentError
        When the file cannot be read, a setting is wrong, or a named file has no fitting layout.
    """
    if given is not None and str(given) == NOTHING:
        return Stated()
    above = study_above(recording) if given is None else None
    if given is None and above is None:
        return Stated()
    source = given if above is None else above / _STUDY
    assert source is not None
    try:
        data = _toml(source)
        layouts = [Layout.from_dict(block) for block in _blocks(data)]
        method = _method(data)
    except ArgumentError as problem:
        way_out = "" if given is not None else f" With --layout {NOTHING} it is not used."
        raise ArgumentError(f"{source}: {problem}{way_out}") from None
    place = which_layout(_known_as(recording, source, data), [*layouts, Layout()])
    if given is not None and place == len(layouts):
        raise ArgumentError(_none_fits(recording, source, layouts))
    layout = layouts[place] if place < len(layouts) else None
    return Stated(layout, method, _origin(source, place, layout, method))


def method_in(source: Path) -> Method:
    """Return the Method that the section [method] of a TOML file states, such as a study.toml.

    Raises
    ------
    ArgumentError
        When the file cannot be read, has no such section, or a setting is wrong.
    """
    try:
        found = _method(_toml(source))
    except ArgumentError as problem:
        raise ArgumentError(f"{source}: {problem}") from None
    if found is None:
        raise ArgumentError(
            f"{source}: there is no section [method]; write one, with settings such as"
            ' onset_rule = "sd" below it.'
        )
    return found


def _toml(source: Path) -> dict[str, Any]:
    try:
        return read_toml(read_file(source).decode("utf-8-sig"))
    except FileNotFoundError:
        raise ArgumentError("no such file; name a TOML file with a [[layout]] block.") from None
    except OSError as problem:
        raise ArgumentError(f"it cannot be opened ({problem.strerror}).") from None
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as problem:
        raise ArgumentError(
            f"this is no TOML ({problem}). Texts stand in quotation marks, every setting on a line"
            " of its own."
        ) from None


def _blocks(data: dict[str, Any]) -> list[Any]:
    found = data.get("layout", [])
    blocks = [found] if isinstance(found, dict) else found
    if not isinstance(blocks, list) or not all(isinstance(block, dict) for block in blocks):
        raise ArgumentError("layout: [[layout]] blocks are needed, on a line of their own.")
    return blocks


def _method(data: dict[str, Any]) -> Method | None:
    if "method" not in data:
        return None
    if not isinstance(data["method"], dict):
        raise ArgumentError("method: a section [method] is needed, on a line of its own.")
    return method_from(data["method"])


def _known_as(recording: Path, source: Path, data: dict[str, Any]) -> str:
    """Return the path by which a study knows a recording, else its name."""
    head = data.get("study")
    inside = str(head.get("recordings", "recordings")) if isinstance(head, dict) else "recordings"
    try:
        folder = (source.absolute().parent / inside).resolve()
        return recording.resolve().relative_to(folder).as_posix()
    except ValueError:
        return recording.name


def _none_fits(recording: Path, source: Path, layouts: list[Layout]) -> str:
    if not layouts:
        return f"{source}: there is no [[layout]] block in it; 'cmjlab inspect' prints one to copy."
    patterns = ", ".join(repr(layout.match) for layout in layouts)
    return (
        f"{source}: no [[layout]] fits {recording.name} (match: {patterns}). Leave match out, or"
        " write a pattern with * that fits."
    )


def _origin(source: Path, place: int, layout: Layout | None, method: Method | None) -> str:
    fits = f' (match = "{layout.match}")' if layout is not None and layout.match else ""
    used = [f"[[layout]] {place + 1}{fits}"] if layout is not None else []
    used += ["[method]"] if method is not None else []
    return f"{source}: {' and '.join(used) or 'nothing about this file'}"
