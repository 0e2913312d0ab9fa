"""The analysis plan, written down before the tests after the block are read.

``analysis_plan.json`` in the study folder holds what was declared, with date and key. The report
says "as planned", or lists what has changed since.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from cmjlab.catalog import METRICS
from cmjlab.errors import StudyError
from cmjlab.files.atomic_write import atomic_write
from cmjlab.keys import key_of
from cmjlab.method import Method
from cmjlab.plan import Plan
from cmjlab.results import Sentence
from cmjlab.safe_open import UnsafeFileError, read_text
from cmjlab.study.folder.study_folder import StudyFolder

FILE_NAME = "analysis_plan.json"


@dataclass(frozen=True)
class PlanState:
    """How today's study stands to its frozen plan.

    Attributes
    ----------
    date : str
        Day on which the plan was written, ISO.
    key : str
        SHA-256 of what was declared.
    recordings_after : int
        Recordings of sessions after the block that were there already on that day.
    changes : tuple of Sentence
        What differs today: where, what was declared, and what is there now.
    """

    date: str
    key: str
    recordings_after: int
    changes: tuple[Sentence, ...]

    @property
    def sentence(self) -> Sentence:
        """The state in plain words."""
        key = "plan.changed" if self.changes else "plan.as_planned"
        if self.recordings_after:
            key += "_late"
        values = {"date": self.date, "key": self.key[:12], "n": self.recordings_after}
        return Sentence(key, values={**values, "changes": self.changes})


def declared(study: StudyFolder) -> dict[str, Any]:
    """Return what a plan declares: sessions, targets, Plan and Method, as plain data."""
    sessions = study.sessions[["session", "role"]].astype(str).to_dict("records")
    return {
        "title": study.title,
        "sessions": {s["session"]: s["role"] for s in sessions},
        "targets": _targets(study),
        "plan": study.plan.to_dict(),
        "method": study.method.to_dict(),
    }


def _targets(study: StudyFolder) -> dict[str, dict[str, dict[str, Any]]]:
    """Return what is wanted of each measure in each subgroup, and by how much."""
    out: dict[str, dict[str, dict[str, Any]]] = {}
    for row in study.targets.to_dict("records"):
        amount = None if row["amount"] != row["amount"] else float(row["amount"])
        place = out.setdefault(str(row["subgroup"]), {})
        place[str(row["metric"])] = {"wanted": str(row["wanted"]), "amount": amount}
    return out


def freeze(
    study: StudyFolder, *, sizes: Mapping[str, Any] | None = None, today: dt.date | None = None
) -> Path:
    """Write the analysis plan into the study folder; it is written once and never changed.

    Parameters
    ----------
    study : StudyFolder
    sizes : mapping, optional
        Plain data on the planned sizes, e.g. the settings of :func:`cmjlab.plan_study`'s result.
    today : date, optional
        Day to write; default today.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    StudyError
        When a frozen plan is there already.
    """
    path = study.folder / FILE_NAME
    if path.exists():
        raise StudyError(
            f"{FILE_NAME}: the plan was frozen already ({_read(study)['date']}); it is not written"
            " again. Deviations are listed by the report. To start over, move the file away."
        )
    content = {"declared": declared(study), "sizes": dict(sizes or {})}
    whole = {
        "date": (today or dt.date.today()).isoformat(),
        "key": key_of(content),
        "recordings_after_the_block": _recordings_after(study),
        **content,
    }
    atomic_write(path, json.dumps(whole, indent=2, ensure_ascii=False) + "\n")
    return path


def plan_state(study: StudyFolder) -> PlanState | None:
    """Return how the study stands to its frozen plan; None when no plan was frozen.

    Raises
    ------
    StudyError
        When the file cannot be read or was changed by hand (its key does not fit).
    """
    if not (study.folder / FILE_NAME).exists():
        return None
    whole = _read(study)
    content = {"declared": whole.get("declared"), "sizes": whole.get("sizes")}
    if key_of(content) != whole.get("key"):
        raise StudyError(
            f"{FILE_NAME}: its content does not fit its key, so it was changed after it was written."
            " Put the original back, or move the file away."
        )
    planned, now = _with_later_choices(whole["declared"]), declared(study)
    before, after = _without_new_weeks(planned, now)
    changes = _differences(before, after)
    return PlanState(
        whole["date"], whole["key"], int(whole["recordings_after_the_block"]), tuple(changes)
    )


def _without_new_weeks(*both: dict[str, Any]) -> list[dict[str, Any]]:
    """Return both declarations without weeks of monitoring that only one of them has.

    They come as a season goes on and are no part of the comparison; a session that changes its
    role is a change.
    """
    common = set.intersection(*(set(d["sessions"]) for d in both))
    return [
        {
            **d,
            "sessions": {
                s: r for s, r in d["sessions"].items() if s in common or r != "monitoring"
            },
        }
        for d in both
    ]


def _read(study: StudyFolder) -> dict[str, Any]:
    try:
        whole = json.loads(read_text(study.folder / FILE_NAME, study=study.folder))
        if {"date", "key", "recordings_after_the_block"} <= set(whole):
            return dict(whole)
    except UnsafeFileError:
        raise
    except (OSError, ValueError, TypeError):
        pass
    raise StudyError(
        f"{FILE_NAME}: not a frozen plan as cmjlab writes it. Put the original back, or move it away."
    )


def _recordings_after(study: StudyFolder) -> int:
    """Return how many recordings belong to sessions after the block."""
    roles = study.sessions.set_index("session")["role"].astype(str).to_dict()
    later = {s for s, role in roles.items() if role in ("post", "follow_up")}
    return int(study.files["session"].astype(str).isin(later).sum())


def _with_later_choices(before: dict[str, Any]) -> dict[str, Any]:
    """Add choices that a later version brought at their defaults: nobody changed those."""
    out = {**before, "targets": before.get("targets", {})}
    for part, defaults in (("plan", Plan().to_dict()), ("method", Method().to_dict())):
        out[part] = _over(defaults, before[part])
    return out


def _over(defaults: dict[str, Any], values: dict[str, Any]) -> dict[str, Any]:
    """Return the values, and the defaults of what they lack, also in tables inside."""
    nested = {
        name: _over(default, values[name])
        for name, default in defaults.items()
        if isinstance(default, dict) and isinstance(values.get(name), dict)
    }
    return {**defaults, **values, **nested}


def _differences(old: Any, new: Any, place: tuple[str, ...] = ()) -> list[Sentence]:
    """Return every value that differs: where, what was declared, and what is there now."""
    if isinstance(old, dict) or isinstance(new, dict):
        before, now = (value if isinstance(value, dict) else {} for value in (old, new))
        found = []
        for name in dict.fromkeys([*before, *now]):
            found += _differences(before.get(name), now.get(name), (*place, str(name)))
        return found
    if old == new:
        return []
    values = {"place": [_name(p) for p in place], "old": _stated(old), "new": _stated(new)}
    return [Sentence("plan.change", values=values)]


def _name(name: str) -> str:
    """Return a setting or a metric in words."""
    return METRICS[name].label if name in METRICS else name.replace("_", " ")


def _stated(value: Any) -> Sentence | str:
    """Return what was stated, as a value for the gap of a sentence."""
    if value in (None, "", [], {}):
        return Sentence("plan.nothing")
    if isinstance(value, list):
        return "; ".join(map(str, map(_stated, value)))
    if isinstance(value, str):
        return Sentence("plan.text", values={"text": _name(value) if value in METRICS else value})
    return json.dumps(value, ensure_ascii=False)
