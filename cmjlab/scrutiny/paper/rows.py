"""The result of a comparison with a paper: rows, points, sentences, notes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from cmjlab.results import Case, Note, Result, Sentence
from cmjlab.scrutiny.paper.compared_row import Compared
from cmjlab.scrutiny.paper.read_words import KINDS
from cmjlab.scrutiny.paper.rule import CANNOT_TELL, NOT_REPLICATED, REPLICATED
from cmjlab.stats.common.row_words import as_json
from cmjlab.stats.common.rows import Place, Rows


def result_of(
    found: Sequence[Compared], notes: Sequence[Note], settings: Mapping[str, Any]
) -> Result:
    """Return everything that was found, as a result."""
    rows = Rows(level=float(settings["level"]))
    for one in found:
        _add(rows, one)
    return Result(
        "replication", rows.frame(),
        points={"comparison": pd.DataFrame([_point(one) for one in found])},
        settings=settings,
        notes=tuple(_notes(found, notes, settings)),
        sentences=(_summary(found), *(_sentence(one) for one in found)),
    )  # fmt: skip


def _what(one: Compared) -> Sentence:
    return Sentence(f"replication_what.{one.row.statistic}")


def _add(rows: Rows, one: Compared) -> None:
    """Add ours, theirs and the comparison of one row."""
    row, own = one.row, one.own
    case = Case("paper_row", {"row": row.number, "what": row.statistic})
    place: Place = rows.at(metric=row.metric, group=row.places["group"] or None,
                           session=own.session or None, case=case, n=own.n or None)  # fmt: skip
    unit = row.unit
    why = one.reason
    place.add("own_value", own.estimate, limits=(own.low, own.high), unit=unit,
              reason=own.reason)  # fmt: skip
    place.add("published_value", row.value.value, limits=one.published, unit=unit, n=row.n or None,
              reason=why if pd.isna(one.published[0]) else None)  # fmt: skip
    if one.ratios:
        place.add("published_ratio", one.difference, limits=one.wide, reason=why)
    else:
        place.add("published_difference", one.difference, limits=one.wide, unit=unit, reason=why)


def _point(one: Compared) -> dict[str, Any]:
    row, own = one.row, one.own
    return {
        "row": row.number, "metric": row.metric, "statistic": row.statistic,
        "group": row.places["group"], "session": own.session, "unit": row.unit,
        "ours": own.estimate, "ours_low": own.low, "ours_high": own.high, "n": own.n,
        "published": row.value.value, "published_low": one.published[0],
        "published_high": one.published[1], "rounding": row.value.half, "published_n": row.n,
        "kind": "ratio" if one.ratios else "difference",
        "difference": one.difference, "low": one.wide[0], "high": one.wide[1],
        "margin_low": one.margin[0], "margin_high": one.margin[1], "margin_from": one.margin_from,
        "verdict": one.verdict, "beyond_margin": one.beyond,
        "reason_code": one.reason.code if one.reason else "",
        "word_values": as_json(dict(one.reason.values)) if one.reason else "",
        "source": row.source,
    }  # fmt: skip


def _summary(found: Sequence[Compared]) -> Sentence:
    count = {
        v: sum(f.verdict == v for f in found) for v in (REPLICATED, NOT_REPLICATED, CANNOT_TELL)
    }
    values = {"n": len(found), "yes": count[REPLICATED], "no": count[NOT_REPLICATED],
              "open": count[CANNOT_TELL]}  # fmt: skip
    return Sentence("replication.summary", values=values)


def _sentence(one: Compared) -> Sentence:
    """Return one row in words: both numbers, their difference, what follows."""
    row = one.row
    values: dict[str, Any] = {
        "row": row.number, "what": _what(one), "own": one.own.estimate, "published": row.value.value,
        "difference": one.difference, "low": one.wide[0], "high": one.wide[1],
        "margin": one.margin[1], "least": one.margin[0], "source": row.source, "unit": row.unit,
    }  # fmt: skip
    group = row.places["group"]
    if one.reason is not None:
        return Sentence("replication.cannot", row.metric, group, {**values, "why": one.reason})
    form = {"ratio": "ratio", "icc": "icc"}.get(KINDS[row.statistic].scale, "difference")
    said = "beyond" if one.verdict == NOT_REPLICATED and one.beyond else one.verdict
    return Sentence(f"replication.{form}_{said}", row.metric, group, values)


def _notes(
    found: Sequence[Compared], notes: Sequence[Note], settings: Mapping[str, Any]
) -> list[Note]:
    """Return the rule, the margins that nobody declared, and what was read into the table."""
    level = settings["level"]
    out = [Note("replication_rule", {"level": level, "narrow": round(2 * level - 1, 6)})]
    used = {KINDS[f.row.statistic].scale for f in found}
    default = list(dict.fromkeys(f.row.metric for f in found if f.margin_from == "default"))
    if default:
        out.append(Note("replication_margin_arbitrary", {"metrics": default}))
    if "ratio" in used:
        out.append(Note("replication_ratio", {"ratio": settings["ratio"]}))
    if "icc" in used:
        out.append(Note("replication_icc", {"icc": settings["icc"]}))
    told = sum(f.reason is None for f in found)
    if told > 1:
        out.append(
            Note("replication_chance", {"rows": told, "chance": told * (1 - level), "level": level})
        )
    out.append(Note("replication_other_athletes"))
    return [*out, *notes, *_of_rows(found)]


def _of_rows(found: Sequence[Compared]) -> list[Note]:
    """Return what was read into the rows, once for all rows of which it is true."""
    rows: dict[str, tuple[Note, list[int]]] = {}
    for one in found:
        for note in one.row.notes:
            key = f"{note.code} {as_json(dict(note.values))}"
            rows.setdefault(key, (note, []))[1].append(one.row.number)
    return [Note(note.code, {**note.values, "rows": at}) for note, at in rows.values()]
