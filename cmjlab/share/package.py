"""What describes a copy to programs: a Frictionless Data Package and an RO-Crate 1.1.

Both are open standards: specs.frictionlessdata.io and w3id.org/ro/crate/1.1 (written from memory;
the tests read the package with the frictionless library).
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from cmjlab import __version__
from cmjlab.keys import ENGINE
from cmjlab.share.licences import KNOWN, licence_url
from cmjlab.tables import CHECK_ROWS, JUMPS, SESSIONS, USER_TABLES, Table
from cmjlab.words.catalog import read_words

#: Tables that were computed, by the file of the copy that holds them.
COMPUTED: dict[str, Table] = {
    "tables/jumps.csv": JUMPS,
    "tables/sessions.csv": SESSIONS,
    "tables/checks.csv": CHECK_ROWS,
}
_KINDS = {
    ".csv": "text/csv",
    ".toml": "application/toml",
    ".json": "application/json",
    ".md": "text/markdown",
    ".parquet": "application/vnd.apache.parquet",
}


def data_package(title: str, licence: str, tables: Mapping[str, tuple[Table, pd.DataFrame]]) -> str:
    """Return datapackage.json: every table with type, unit and meaning of its columns.

    Parameters
    ----------
    title, licence : str
    tables : mapping of str to (Table, DataFrame)
        Path in the copy -> declaration and content.
    """
    terms = {"name": licence, "path": licence_url(licence)}
    whole = {
        "profile": "tabular-data-package",
        "name": "shared-study",
        "title": title,
        "licenses": [{k: v for k, v in terms.items() if v}],
        "resources": [_resource(path, *given) for path, given in tables.items()],
    }
    return json.dumps(whole, indent=2, ensure_ascii=False) + "\n"


def _resource(path: str, table: Table, frame: pd.DataFrame) -> dict[str, Any]:
    computed = path in COMPUTED
    return {
        "name": f"computed-{table.name}" if computed else Path(path).stem,
        "path": path,
        "profile": "tabular-data-resource",
        "description": table.description,
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8-sig",
        "schema": table.frictionless(frame),
    }


def crate(title: str, licence: str, files: Sequence[Path], today: dt.date) -> str:
    """Return ro-crate-metadata.json of a copy.

    Parameters
    ----------
    title, licence : str
    files : sequence of Path
        Every file of the copy, below its folder.
    today : date
        Day of publication: the only true date in the copy.
    """
    say = read_words().say
    terms: dict[str, Any] = {
        "@id": licence_url(licence) or f"#{licence}",
        "@type": "CreativeWork",
        "name": licence,
        "description": KNOWN.get(licence) or say("share.own_licence"),
    }
    names = [p.as_posix() for p in files]
    root = {
        "@id": "./",
        "@type": "Dataset",
        "name": title,
        "description": say("share.crate_description"),
        "datePublished": today.isoformat(),
        "license": {"@id": terms["@id"]},
        "hasPart": [{"@id": n} for n in names],
    }
    head = {
        "@id": "ro-crate-metadata.json",
        "@type": "CreativeWork",
        "conformsTo": {"@id": "https://w3id.org/ro/crate/1.1"},
        "about": {"@id": "./"},
    }
    graph = [head, root, terms, *map(_file, names)]
    whole = {"@context": "https://w3id.org/ro/crate/1.1/context", "@graph": graph}
    return json.dumps(whole, indent=2, ensure_ascii=False) + "\n"


def _file(name: str) -> dict[str, Any]:
    say = read_words().say
    if name.startswith("recordings/"):
        about = say("share.force_file")
    elif name in COMPUTED:
        about = COMPUTED[name].description
    elif Path(name).stem in USER_TABLES and name.endswith(".csv"):
        about = USER_TABLES[Path(name).stem].description
    else:
        about = say(f"share.about_{name.split('.')[0]}")
    kind = _KINDS[Path(name).suffix]
    return {
        "@id": name,
        "@type": "File",
        "name": name,
        "description": about,
        "encodingFormat": kind,
    }


def readme(title: str, licence: str, *, with_plan: bool) -> str:
    """Return README.md of a copy: what it is, care, what was changed, how to use it.

    Parameters
    ----------
    title, licence : str
    with_plan : bool
        Whether a frozen plan is in the copy.
    """
    words = read_words()
    lines = [f"# {title}"]
    for name in words.part("share_readme"):
        if name == "plan" and not with_plan:
            continue
        text = words.say(
            f"share_readme.{name}", licence=licence, version=__version__, engine=ENGINE
        )
        lines.append(f"## {text}" if name.startswith("heading_") else text)
    return "\n\n".join(lines) + "\n"
