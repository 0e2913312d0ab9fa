"""study.toml and the frozen plan of a copy: the same choices, with other ids and dates."""

from __future__ import annotations

import json
from typing import Any

from cmjlab.errors import StudyError
from cmjlab.keys import key_of
from cmjlab.safe_open import read_text
from cmjlab.share.columns import SOURCE, TITLE
from cmjlab.share.forces import FOLDER, LAYOUT
from cmjlab.share.tables import Rewriting
from cmjlab.study.folder.study_folder import StudyFolder
from cmjlab.study.frozen_plan import FILE_NAME, plan_state

#: Title of a copy whose own title stays at home: it often names a club.
OTHER_TITLE = "Countermovement jumps of a squad (shared copy)"


def title_of(work: Rewriting) -> str:
    """Return the title of the copy."""
    return work.study.title if work.choice.keeps(TITLE) else OTHER_TITLE


def study_toml(work: Rewriting) -> str:
    """Return study.toml of the copy: every choice stated, none left to a later default."""
    import tomli_w

    study, found = work.study, work.found
    sessions = []
    for row in study.sessions.to_dict("records"):
        session = {"session": found.sessions[row["session"]], "role": str(row["role"])}
        day = found.day(row["date"])
        sessions.append({**session, "date": day} if day else session)
    data: dict[str, Any] = {
        "study": {"title": title_of(work), "recordings": FOLDER},
        "sessions": sessions,
        "plan": _plan(study.plan.to_dict(), work),
        "block": _sessions_in(study.settings.block.to_dict(), ("maximum_until",), work),
        "method": study.method.to_dict(),
        "layout": [{"force_unit": LAYOUT.force_unit, "sign": LAYOUT.sign}],
    }
    return tomli_w.dumps(data)


def _plan(plan: dict[str, Any], work: Rewriting) -> dict[str, Any]:
    """Return the plan with the ids of the copy; sources of stated errors only when named."""
    out = _sessions_in(plan, ("before", "after", "selected_in"), work)
    ids = {**work.found.athletes, **work.found.sessions}
    out["settled"] = [" ".join(ids.get(w, w) for w in name.split()) for name in plan["settled"]]
    if not work.choice.keeps(SOURCE):
        out["typical_error"] = {
            m: v["value"] if isinstance(v, dict) else v for m, v in plan["typical_error"].items()
        }
    return out


def _sessions_in(values: dict[str, Any], keys: tuple[str, ...], work: Rewriting) -> dict[str, Any]:
    return {k: work.found.sessions.get(v, v) if k in keys else v for k, v in values.items()}


def own_plan_key(study: StudyFolder) -> str:
    """Return the key of the study's frozen plan, "" when none was frozen.

    Raises
    ------
    StudyError
        The frozen plan was changed by hand.
    """
    state = plan_state(study)
    return state.key if state else ""


def frozen_plan(work: Rewriting) -> str:
    """Return analysis_plan.json of the copy, "" when no plan was frozen.

    Title, ids of sessions and the date differ, so its key differs, too. What was declared is the
    same word by word; the key of the original stands in the key file, with the person who shares.
    """
    study, found = work.study, work.found
    if not own_plan_key(study):
        return ""
    whole = json.loads(read_text(study.folder / FILE_NAME, study=study.folder))
    declared = dict(whole["declared"])
    declared["title"] = title_of(work)
    declared["sessions"] = {found.sessions.get(s, s): r for s, r in declared["sessions"].items()}
    declared["plan"] = _plan({**study.plan.to_dict(), **declared["plan"]}, work)
    content = {"declared": declared, "sizes": _numbers(whole.get("sizes", {}))}
    day = found.day(whole["date"])
    if day is None:
        raise StudyError(f"{FILE_NAME}: its date {whole['date']!r} is none. Put the original back.")
    after = whole["recordings_after_the_block"]
    out = {"date": day, "key": key_of(content), "recordings_after_the_block": after, **content}
    return json.dumps(out, indent=2, ensure_ascii=False) + "\n"


def _numbers(value: Any) -> Any:
    """Return plain data without texts of more than one word: a name may stand in them."""
    if isinstance(value, dict):
        return {k: _numbers(v) for k, v in value.items()}
    if isinstance(value, list):
        return [_numbers(v) for v in value]
    return "" if isinstance(value, str) and len(value.split()) > 1 else value
