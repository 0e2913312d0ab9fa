"""What was found, kept beside the study's measured jumps: one file, whole or not at all.

It takes minutes to compute and a report wants it in a second. It is used only for the very state of
the study that it was computed from.
"""

from __future__ import annotations

import dataclasses
import hashlib
import io
import json
from typing import TYPE_CHECKING, Any

import pandas as pd

from cmjlab.files.atomic_write import atomic_write
from cmjlab.keys import ENGINE, key_of
from cmjlab.results import Result
from cmjlab.safe_open import UnsafeFileError, read_file
from cmjlab.scrutiny.methods.choices import CHOICES, Asked
from cmjlab.stats.specifications.result import Deals, Found, survival_result
from cmjlab.study.store.cached import can_write
from cmjlab.tables import SPECIFICATIONS

if TYPE_CHECKING:
    from pathlib import Path

    from cmjlab.study.study import Study

#: Form of the kept file; raise it when the tables of :class:`Found` or the levels change.
FORM = 1
_NAME = "survival.parquet"
_META = b"cmjlab"
_LIMIT_MB = 500.0
#: What tells that jumps, files or decisions are others.
_OF_JUMPS = (
    "file",
    "jump",
    "sha256",
    "accepted",
    "verdict",
    "flags",
    "moved_events",
    "jump_height_m",
)
_SMALL = ("targets", "left_out", "not_asked")


def state_of(study: Study) -> str:
    """Return the key of everything of a study that the specifications depend on."""
    jumps = study.measure()
    texts = [
        frame.to_csv(index=False)
        for frame in (study.sessions_table(), study.targets, jumps[list(_OF_JUMPS)])
    ]
    hashes = [hashlib.sha256(text.encode("utf-8")).hexdigest() for text in texts]
    return key_of({"tables": hashes, "method": study.method.key, "plan": study.plan.key, "form": FORM,
                   "engine": ENGINE})  # fmt: skip


def asked_for(study: Study, asked: Asked, drawn: Deals) -> dict[str, Any]:
    """Return what is asked for and of which state of the study, as plain data."""
    return {"state": state_of(study), "asked": json.loads(json.dumps(dataclasses.asdict(asked))),
            "deals": drawn.deals, "seed": drawn.seed}  # fmt: skip


def kept_found(study: Study, asked: Asked, drawn: Deals) -> Found | None:
    """Return what is kept of just this question, None when nothing is."""
    found = _read(study)
    if found is None:
        return None
    wanted = asked_for(study, asked, drawn)
    return found if all(found.settings.get(k) == v for k, v in wanted.items()) else None


def kept_survival(study: Study) -> Result | None:
    """Return the last result that was computed from the study as it is now, None without one."""
    found = _read(study)
    if found is None or found.settings.get("state") != state_of(study):
        return None
    return survival_result(found, CHOICES)


def keep_found(study: Study, found: Found) -> None:
    """Keep what was found where the study keeps its jumps; nothing where it cannot."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    if not can_write(study.results):
        return
    small = {
        name: getattr(found, name).astype(object).to_dict("split", index=False) for name in _SMALL
    }
    meta = {_META: json.dumps({"settings": found.settings, "tables": small}).encode("utf-8")}
    table = pa.Table.from_pandas(found.specifications, preserve_index=False)
    buffer = io.BytesIO()
    pq.write_table(table.replace_schema_metadata(meta), buffer)
    atomic_write(_place(study), buffer.getvalue())


def _place(study: Study) -> Path:
    return study.results / "store" / _NAME


def _read(study: Study) -> Found | None:
    """Return what the file holds; a file that cannot be read is none, and is computed again."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    path = _place(study)
    try:
        if not path.is_file():
            return None
        table = pq.read_table(io.BytesIO(read_file(path, limit_mb=_LIMIT_MB)))
        meta = json.loads((table.schema.metadata or {})[_META])
        small = {
            n: pd.DataFrame(meta["tables"][n]["data"], columns=meta["tables"][n]["columns"])
            for n in _SMALL
        }
        every = SPECIFICATIONS.cast(table.to_pandas())
        return Found(every, **small, settings=dict(meta["settings"]))
    except (OSError, UnsafeFileError, pa.ArrowException, KeyError, TypeError, ValueError):
        return None
