"""Files, tables, choices and the page: whether they are those that the report names."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pandas as pd

from cmjlab.audit.findings import Finding, Verdict
from cmjlab.checks import listed
from cmjlab.errors import ArgumentError
from cmjlab.keys import file_sha256
from cmjlab.report.write import FILES, PROVENANCE, files_of
from cmjlab.safe_open import read_text
from cmjlab.study.frozen_plan import plan_state
from cmjlab.study.provenance import provenance_of
from cmjlab.study.study import Study

#: Keys of the provenance that one sentence each is for.
_CHOICES = ("engine", "method", "plan", "layouts", "sessions")


def report_folder(results: Path, page: Path | None = None) -> Path:
    """Return the folder of a report's tables: of the named page, else the newest in the results.

    Raises
    ------
    ArgumentError
        The named page has no such folder beside it.
    """
    if page is not None:
        folder = files_of(page)
        if not folder.is_dir():
            raise ArgumentError(
                f"{page.name}: there is no folder {folder.name} beside it, where the tables of this"
                " report would lie. Name the page as 'cmjlab report' wrote it."
            )
        return folder
    lists = [p for p in results.glob(f"*{FILES}/{PROVENANCE}") if p.is_file()]
    return max(lists, key=lambda p: p.stat().st_mtime).parent if lists else results


def origins(study: Study, folder: Path, jumps: pd.DataFrame) -> list[Finding]:
    """Compare ``provenance.json`` of a report with the study of today.

    Parameters
    ----------
    study : Study
        Its recordings were read anew.
    folder : Path
        Where the report's tables lie.
    jumps : pandas.DataFrame
        The jumps table of today.
    """
    path = folder / PROVENANCE
    if not path.exists():
        return [Finding("unchecked", "no_provenance", {"file": path.name})]
    try:
        then = json.loads(read_text(path, study=study.folder))
    except (ValueError, RecursionError):
        return [Finding("differs", "provenance_damaged", {"file": path.name})]
    if not isinstance(then, dict):
        return [Finding("differs", "provenance_damaged", {"file": path.name})]
    now = json.loads(json.dumps(provenance_of(study, jumps), default=str))
    found = [*pages_compared(folder, then.get("pages")), *_written(folder, then.get("written"))]
    found += [*_files("recordings", then, now), *_files("tables", then, now)]
    changed = [name for name in _CHOICES if then.get(name) != now.get(name)]
    found.append(
        Finding("differs", "choices_changed", {"n": len(changed), "names": changed})
        if changed
        else Finding("follows", "choices_same")
    )
    return found


def pages_compared(folder: Path, told: Any) -> list[Finding]:
    """Compare each page with its checksum: somebody may have edited a number in the text."""
    if not isinstance(told, dict) or not told:
        return [Finding("unchecked", "page_unknown")]
    return [_page(folder.parent / Path(name).name, sha256) for name, sha256 in told.items()]


def _page(page: Path, sha256: Any) -> Finding:
    values = {"page": page.name}
    if not page.is_file():
        return Finding("unchecked", "page_gone", values)
    if file_sha256(page) != sha256:
        return Finding("differs", "page_changed", values)
    return Finding("follows", "page_same", values)


def _written(folder: Path, told: Any) -> list[Finding]:
    """Look for tables that were written with the report and are there no more."""
    if not isinstance(told, list):
        return [Finding("unchecked", "tables_unlisted")]
    there = {path.stem for path in folder.glob("*.csv") if path.is_file()}
    gone = [f"{stem}.csv" for stem in map(str, told) if stem not in there]
    return (
        [Finding("differs", "table_gone", {"n": len(gone), "names": listed(gone)})] if gone else []
    )


def _files(what: str, then: dict[str, Any], now: dict[str, Any]) -> list[Finding]:
    """Compare checksums of recordings or tables: changed, gone, new."""
    old, new = then.get(what), now[what]
    if not isinstance(old, dict):
        return [Finding("differs", "provenance_damaged", {"file": PROVENANCE})]
    ways = {
        "changed": [f for f in old if f in new and old[f] != new[f]],
        "gone": [f for f in old if f not in new],
        "new": [f for f in new if f not in old],
    }
    found = [
        Finding("differs", f"{what}_{way}", {"n": len(names), "names": listed(sorted(names))})
        for way, names in ways.items()
        if names
    ]
    return found or [Finding("follows", f"{what}_same", {"n": len(old)})]


def frozen_plan(study: Study) -> list[Finding]:
    """Compare the plan that was frozen with what the study declares today."""
    state = plan_state(study)
    if state is None:
        return [Finding("unchecked", "no_plan")]
    # A plan that came after the tests proves nothing about what was declared before them.
    late: Verdict = "unchecked" if state.recordings_after else "follows"
    verdict: Verdict = "differs" if state.changes else late
    found = [Finding(verdict, "plan", {"state": state.sentence})]
    later = study.decisions["when"].astype(str).str[:10] > state.date
    if later.any():
        found.append(Finding("follows", "decisions_later", {"n": int(later.sum())}))
    return found
