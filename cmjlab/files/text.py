"""Bytes to lines of text: encoding, line ends, end marks."""

from __future__ import annotations

import codecs
import re
from dataclasses import dataclass

from cmjlab.errors import ReadError
from cmjlab.files.bounds import refuse_long_line, refuse_many_lines
from cmjlab.files.notes import note
from cmjlab.files.remedies import write_in_layout
from cmjlab.recording import ReadingNote

_MARKS: tuple[tuple[bytes, str], ...] = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)


_STRANGE = re.compile("[\x00-\x08\x0b\x0e-\x1f\ufffd]")


@dataclass(frozen=True)
class Text:
    """Lines of a text file, without their line ends."""

    lines: list[str]
    encoding: str
    ends_with_newline: bool
    notes: tuple[ReadingNote, ...]


def decode(name: str, data: bytes, encoding: str = "") -> Text:
    """Turn the bytes of a text file into lines.

    Parameters
    ----------
    name : str
        File name for messages.
    data : bytes
        The file.
    encoding : str
        Stated by a person; empty: found out (mark at the start, else UTF-8, else cp1252).

    Raises
    ------
    ReadError
        When the bytes are no text.
    """
    text, encoding, notes = whole_text(name, data, encoding)
    refuse_many_lines(name, text.count("\n"))
    ends = text.endswith(("\n", "\r"))
    if "\r" in text:
        text = text.replace("\r\r\n", "\n").replace("\r\n", "\n").replace("\r", "\n")
    lines = text.split("\n")
    if ends:
        lines.pop()
    refuse_long_line(name, lines)
    return Text(lines, encoding, ends, tuple(notes))


def whole_text(name: str, data: bytes, encoding: str = "") -> tuple[str, str, list[ReadingNote]]:
    """Return the text of a file as it stands, its encoding, and notes; ReadError for no text."""
    notes: list[ReadingNote] = []
    text, encoding = _text_of(name, data, encoding, notes)
    _refuse_binary(name, text.rstrip("\x00\x1a"))
    text = _without_end_marks(text, notes)
    return text, encoding, notes


def _text_of(name: str, data: bytes, encoding: str, notes: list[ReadingNote]) -> tuple[str, str]:
    if encoding:
        try:
            return data.decode(encoding).removeprefix("\ufeff"), encoding
        except UnicodeError as error:
            raise ReadError(
                f"{name}: the text is not {encoding} ({error}). Leave `encoding` out of the layout"
                " or state another one."
            ) from None
        except (LookupError, ValueError):
            likely = write_in_layout({"encoding": _text_of(name, data, "", [])[1]})
            raise ReadError(
                f"{name}: encoding: {encoding!r} is not known; {likely}; or leave it out."
            ) from None
    found = next((codec for mark, codec in _MARKS if data.startswith(mark)), "")
    if not found and b"\x00" in data[:400]:
        found = _unmarked_utf16(data)
        if found:
            notes.append(note("encoding_assumed", f"Every second byte is zero: read as {found}."))
    if found:
        if found.startswith("utf-16") and len(data) % 2:
            data = data[:-1]
        return data.decode(found, errors="replace").removeprefix("\ufeff"), found
    try:
        return data.decode("utf-8"), "utf-8"
    except UnicodeDecodeError as error:
        text = data.decode("cp1252", errors="replace")
        notes.append(
            note(
                "encoding_assumed",
                f"Byte {error.start + 1} is not UTF-8; the text was read as cp1252 (Western"
                " European). Only letters outside ASCII depend on it.",
            )
        )
        return text, "cp1252"


def _unmarked_utf16(data: bytes) -> str:
    head = data[:400]
    even, odd = head[0::2].count(0), head[1::2].count(0)
    half = len(head) / 2
    if odd > 0.8 * half and even < 0.1 * half:
        return "utf-16-le"
    if even > 0.8 * half and odd < 0.1 * half:
        return "utf-16-be"
    return ""


def _without_end_marks(text: str, notes: list[ReadingNote]) -> str:
    if text.endswith("\x00"):
        kept = text.rstrip("\x00")
        notes.append(
            note("padding", f"{len(text) - len(kept)} zero bytes at the end of the file ignored.")
        )
        text = kept
    mark = text.find("\x1a")
    if mark >= 0:
        behind = text[mark + 1 :].strip("\x1a\x00 \r\n\t")
        if behind:
            notes.append(
                note(
                    "end_mark",
                    f"An end-of-file mark (Ctrl-Z) stands inside the file; {len(behind)} characters"
                    " behind it were ignored.",
                )
            )
        text = text[:mark]
    return text


def _refuse_binary(name: str, text: str) -> None:
    head = text[:4096]
    strange = len(_STRANGE.findall(head))
    if strange > 0.02 * len(head) and strange > 2:
        raise ReadError(
            f"{name}: this is no text: {strange} of the first {len(head)} characters are control"
            " bytes. Export the recording as text (.csv, .txt), .xlsx, Parquet or C3D."
        )
    if not text.strip():
        raise ReadError(f"{name}: the file holds blanks only. Export it again.")
    start = text[:200].lstrip().lower()
    if start.startswith(("<!doctype", "<html", "<?xml")):
        raise ReadError(f"{name}: this is a web page or XML, not a table of numbers.")
