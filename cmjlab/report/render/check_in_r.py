"""``check_in_R.R``: a script in base R that recomputes the report's main numbers from its tables.

It stands beside sessions.csv and the tables of results, needs no package, and prints line by
line whether R agrees with cmjlab on typical error, ICC, paired t and analysis of covariance.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from cmjlab.places import PACKAGE
from cmjlab.report.blocks.data import ReportData

if TYPE_CHECKING:
    import pandas as pd

_BODY = PACKAGE / "report" / "templates" / "check_in_R.R"
#: Relative difference up to which two programs are said to agree.
TOLERANCE = 1e-6


def check_in_r(data: ReportData) -> str:
    """Return the script for a report.

    Parameters
    ----------
    data : ReportData
        Its tables "sessions", "reliability", "change_within" and "change_between" are used as
        far as they are there.

    Returns
    -------
    str
        R code in plain ASCII: names with accents or quotes are escaped.
    """
    tables, say = data.tables, data.words.say
    sessions = tables["sessions"]
    order = _session_order(sessions)
    before, after = _block(tables.get("change_within"))
    found = [t for name, t in tables.items() if name in ("reliability", "change_within")]
    metrics = list(
        dict.fromkeys(m for t in found for m in t["metric"].astype(str) if m in sessions)
    )
    plan = dict(data.provenance.get("report", {}).get("plan", {}))
    head = {
        "metrics": _vector(metrics),
        "baselines": _vector(_baselines(sessions, order) if "reliability" in tables else []),
        "before": _text(before) if before else "NA",
        "after": _text(after) if after else "NA",
        "contrasts": _list(
            [_vector(pair) for pair in _contrasts(tables.get("change_between"), sessions)]
        ),
        "covariates": _list(
            [f"list(metric = {_text(m)}, session = {_text(s)})" for m, s in _covariates(plan)]
        ),
        "level": repr(_level(tables, plan)),
        "tolerance": repr(TOLERANCE),
    }
    lines = [
        f"# {_comment(say('check_in_r.head', title=data.title, date=data.date))}",
        f"# {_comment(say('check_in_r.run', version=data.version))}",
        f"# {_comment(say('check_in_r.reads'))}",
        "",
        *(f"{name} <- {value}" for name, value in head.items()),
        "",
    ]
    return "\n".join(lines) + _BODY.read_text(encoding="utf-8")


def _session_order(sessions: pd.DataFrame) -> list[str]:
    column = sessions["session"]
    if str(column.dtype) == "category":
        return [str(s) for s in column.cat.categories if (column == s).any()]
    return list(dict.fromkeys(column.astype(str)))


def _baselines(sessions: pd.DataFrame, order: list[str]) -> list[str]:
    """Return the sessions with role baseline, as the reliability of the report uses them."""
    mine = sessions.loc[sessions["role"].astype(str) == "baseline", "session"].astype(str)
    return [s for s in order if s in set(mine)]


def _block(within: pd.DataFrame | None) -> tuple[str, str]:
    """Return the sessions before and after: what the mean change is taken from, and to."""
    rows = [] if within is None else _named_pairs(within, "mean_change")
    return (rows[0][1], rows[0][0]) if rows else ("", "")


def _named_pairs(table: pd.DataFrame, statistic: str) -> list[tuple[str, str]]:
    """Return the (first, second) of a statistic, each pair once."""
    pairs = table.loc[table["statistic"] == statistic, ["first", "second"]].dropna()
    return [(str(a), str(b)) for a, b in pairs.drop_duplicates().itertuples(index=False)]


def _contrasts(between: pd.DataFrame | None, sessions: pd.DataFrame) -> list[tuple[str, str]]:
    """Return the pairs of groups that were compared and are in the sessions table."""
    if between is None:
        return []
    groups = set(sessions["group"].dropna().astype(str))
    return [p for p in _named_pairs(between, "adjusted_difference") if set(p) <= groups]


def _covariates(plan: dict[str, Any]) -> list[tuple[str, str]]:
    """Return what ANCOVA adjusts for beyond the measure's own baseline: the selection."""
    if plan.get("groups_formed") != "selected":
        return []
    return [(str(m), str(plan.get("selected_in", ""))) for m in plan.get("selected_on", ())]


def _level(tables: Any, plan: dict[str, Any]) -> float:
    for name in ("reliability", "change_within"):
        if name in tables and tables[name]["level"].notna().any():
            return float(tables[name]["level"].dropna().iloc[0])
    return float(plan.get("level", 0.95))


# ---- R code ----------------------------------------------------------------------------------


def _text(value: object) -> str:
    """Return a text as an R string in ASCII; JSON's escapes are R's, but for wide characters."""
    out = []
    for character in str(value):
        code = ord(character)
        if code > 0xFFFF:
            out.append(f"\\U{code:08x}")
        elif code > 126 or code < 32:
            out.append(f"\\u{code:04x}" if code else "")
        else:
            out.append(json.dumps(character)[1:-1])
    return '"' + "".join(out) + '"'


def _vector(values: Any) -> str:
    items = ", ".join(_text(v) for v in values)
    return f"c({items})" if items else "character()"


def _list(items: list[str]) -> str:
    return f"list({', '.join(items)})"


def _comment(text: str) -> str:
    plain = " ".join(str(text).split())
    return plain.encode("ascii", "replace").decode("ascii")
