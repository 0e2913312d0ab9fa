"""What a thesis or paper needs beside the report: references.bib and methods.txt.

Both are written from the report's own sections, so they name what was actually done. Papers
whose details are not known here come along as they are cited, never left out.
"""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections.abc import Iterable
from pathlib import Path

from cmjlab.errors import StudyError
from cmjlab.report.blocks.data import Heading, Items, Paragraph, ReportData, Section, TableBlock

_YEAR = re.compile(r"\b(?:19|20)\d\d\b")
_WHERE = re.compile(
    r",\s*(?P<journal>[A-Z][^\d(:,;]*?)\s+(?P<volume>\d+)(?:\((?P<number>\d+)\))?:(?P<page>\w+)"
)
_SPECIAL = str.maketrans(
    {"&": r"\&", "%": r"\%", "$": r"\$", "#": r"\#", "_": r"\_", "{": r"\{", "}": r"\}"}
)


def bibliography(data: ReportData) -> str:
    """Return the report's references as BibTeX.

    Parameters
    ----------
    data : ReportData
        Its section "references" is used.

    Returns
    -------
    str
        One entry a paper, sorted by key. Known papers have author, title and place; others
        have what their citation holds, and the citation as it stands in the report in the note.
    """
    known, say = _literature(), data.words.say
    entries: dict[str, str] = {}
    for cited in _cited(data):
        matched = [key for key in known if _means(cited, key, known[key]["author"])]
        for key in matched:
            entries[key] = _entry(key, known[key] | {"year": key[-4:]})
        if not matched:
            key, fields = _guess(cited)
            while key in entries:
                key += "x"
            entries[key] = _entry(key, fields, say("bibliography.cited_as", cited=cited))
    entries["cmjlab"] = _entry(
        "cmjlab",
        {
            "title": say("bibliography.title"),
            "author": f"{{{say('bibliography.authors')}}}",
            "year": data.date[:4],
            "version": data.version,
        },
        say("bibliography.program", version=data.version),
    )
    head = f"% {say('bibliography.head', version=data.version, date=data.date)}\n\n"
    return head + "\n".join(entries[k] for k in sorted(entries, key=str.lower))


def methods_text(data: ReportData) -> str:
    """Return the methods as plain text for a manuscript: what was done, settings, references.

    Written from the Method, the Plan and the study that were used; lines are not broken, so
    that the text can be pasted anywhere.
    """
    say = data.words.say
    parts = [say("methods_file.title", title=data.title), ""]
    parts += _plain(_section(data, "methods"))
    parts += ["", say("methods_file.made", version=data.version, date=data.date)]
    cited = _cited(data)
    if cited:
        parts += ["", say("methods_file.references"), *(f"- {c}" for c in cited)]
    return "\n".join(parts) + "\n"


def _section(data: ReportData, key: str) -> Section:
    try:
        return data.section(key)
    except KeyError:
        raise StudyError(f"the report has no section {key!r}; gather it again.") from None


def _plain(section: Section) -> list[str]:
    """Return the words of a section; a table is one line a row, figures are left out."""
    out: list[str] = []
    for block in section.blocks:
        if isinstance(block, Paragraph):
            out += [block.text, ""]
        elif isinstance(block, Heading):
            out.append(f"{block.text}:")
        elif isinstance(block, Items):
            out += [*(f"- {item}" for item in block.items), ""]
        elif isinstance(block, TableBlock):
            out.append(f"{block.title}:")
            out += [f"- {' | '.join(row)}" for row in block.rows] + [""]
    while out and not out[-1]:
        out.pop()
    return out


def _cited(data: ReportData) -> list[str]:
    blocks = _section(data, "references").blocks
    return [item for block in blocks if isinstance(block, Items) for item in block.items]


# ---- BibTeX ----------------------------------------------------------------------------------


def _literature() -> dict[str, dict[str, str]]:
    text = (Path(__file__).parent / "literature.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def _means(cited: str, key: str, authors: str) -> bool:
    """Return whether a citation names the paper of a key: its year, and only its authors.

    One name must be the first author's; two names may be any of them.
    """
    years = _YEAR.findall(cited)
    if key[-4:] not in years:
        return False
    names = _split_names(_names_before(cited[: cited.index(years[0])]))
    families = [person.split(",")[0].strip() for person in authors.split(" and ")]
    if not names or not set(names) <= set(families):
        return False
    return len(names) > 1 or names[0] == families[0]


def _split_names(names: str) -> list[str]:
    return [n for n in re.split(r"\s*(?:&|,)\s*", names.removesuffix(" et al.")) if n]


def _guess(cited: str) -> tuple[str, dict[str, str]]:
    """Return a key and the fields that a citation holds by itself."""
    year = _YEAR.search(cited)
    fields: dict[str, str] = {}
    names = ""
    if year:
        names = _names_before(cited[: year.start()])
        fields["year"] = year.group()
        where = _WHERE.match(cited[year.end() :])
        if where:
            fields |= {"journal": where["journal"], "volume": where["volume"]}
            fields |= {"number": where["number"]} if where["number"] else {}
            fields["pages"] = where["page"]
    if names:
        fields["author"] = " and ".join(_split_names(names)) + (
            " and others" if "et al." in names else ""
        )
    word = re.split(r"[\s,&]", names)[0] if names else "source"
    plain = unicodedata.normalize("NFKD", word).encode("ascii", "ignore").decode("ascii")
    key = re.sub(r"[^A-Za-z0-9]", "", plain) or "source"
    return key + fields.get("year", ""), fields


def _names_before(text: str) -> str:
    """Return the authors at the end of a text: words with a capital, &, commas, et al."""
    found = re.search(
        r"((?:[A-ZÀ-Þ][\w'’-]*)(?:\s*(?:,|&)\s*[A-ZÀ-Þ][\w'’-]*)*(?:\s+et al\.)?)\s*$",
        text.rstrip(" ,"),
    )
    return found.group(1) if found else ""


def _entry(key: str, fields: dict[str, str], note: str = "") -> str:
    if key == "cmjlab":
        kind = "software"
    elif "journal" in fields:
        kind = "article"
    else:
        kind = "book" if "publisher" in fields else "misc"
    noted = [*_ordered(fields), *([("note", note)] if note else [])]
    lines = [f"  {name} = {{{_tex(value)}}}" for name, value in noted]
    return f"@{kind}{{{key},\n" + ",\n".join(lines) + "\n}\n"


def _ordered(fields: dict[str, str]) -> Iterable[tuple[str, str]]:
    order = ("author", "title", "journal", "publisher", "year", "volume", "number", "pages")
    first = [(k, fields[k]) for k in order if k in fields]
    return [*first, *((k, v) for k, v in fields.items() if k not in order)]


def _tex(text: str) -> str:
    """Return a text with the signs escaped that BibTeX reads as commands; braces of ours stay."""
    if re.search(r"\{\\|^\{.*\}$", text):  # typed for BibTeX in the first place
        return text.replace("&", r"\&")
    return text.translate(_SPECIAL)
