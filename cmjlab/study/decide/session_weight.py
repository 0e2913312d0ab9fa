"""Body weight of a jump without quiet standing, from the athlete's other jumps of the session.

Only where the Method allows it (``body_weight="session"``). The weight is the median of the
windows of the session that passed, so one bad window does not carry over. At least two are
needed: a single one can be held against nothing, and tells nothing about its own error. They
carry the same load, so that an error of the load stays out.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from cmjlab.study.decide.decisions import Decided

#: Passed windows that are needed.
LEAST_WINDOWS = 2
#: The spread of weighings is taken as this share of body weight at least: two or three windows
#: may agree by chance. It is about what sway does to a quiet second (our own).
LEAST_SPREAD = 0.001
#: A failed one of these makes a weight wrong although the athlete stood still.
_OF_THE_PLATE = ("weighing_slope", "unloaded_offset", "plate_load")
#: Standard error of a median of many values, in standard errors of their mean.
_MEDIAN = math.sqrt(math.pi / 2.0)


@dataclass(frozen=True)
class SessionWeight:
    """Body weight for one jump, its standard error (N), and the jumps that it comes from."""

    weight_n: float
    se_n: float
    jumps: tuple[tuple[str, int], ...]

    @property
    def note(self) -> str:
        """What is to be known about the jump, in words."""
        names = ", ".join(
            f"{file} (jump {jump})" if jump > 1 else file for file, jump in self.jumps
        )
        return (
            f"The athlete did not stand still: body weight is {self.weight_n:.1f} N (standard error"
            f" {self.se_n:.1f} N), the median of {len(self.jumps)} other jumps of the session: {names}."
        )


#: File -> number of the jump -> its weight.
Weights = dict[str, dict[int, SessionWeight]]


def weights_of_session(rows: pd.DataFrame, checks: pd.DataFrame, decided: Decided) -> Weights:
    """Return the weights for all jumps whose own window failed and whose session knows one.

    Parameters
    ----------
    rows : pandas.DataFrame
        Measured rows with athlete and session.
    checks : pandas.DataFrame
        Their checks.
    decided : Decided
        Jumps that a person rejected serve no other.
    """
    own = _window_status(checks)
    spoiled = checks["code"].isin(_OF_THE_PLATE) & (checks["status"] == "fail")
    bad = set(_places(checks[spoiled]))
    bad |= {p for p, row in decided.verdicts.items() if row.get("action") == "reject"}
    out: Weights = {}
    for _, part in rows.groupby(["athlete", "session", "load_kg"], observed=True, sort=False):
        places = _places(part)
        weights = dict(zip(places, part["body_weight_n"].astype(float), strict=True))
        good = sorted(
            p for p in places if own.get(p) == "pass" and p not in bad and weights[p] > 0.0
        )
        if len(good) < LEAST_WINDOWS:
            continue
        found = _median_weight([weights[p] for p in good])
        for file, jump in places:
            if own.get((file, jump)) == "fail":
                out.setdefault(file, {})[jump] = SessionWeight(*found, tuple(good))
    return out


def with_session_weights(
    first: tuple[pd.DataFrame, pd.DataFrame],
    again: tuple[pd.DataFrame, pd.DataFrame],
    weights: Weights,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return rows and checks in which files measured again stand for their first results.

    Each jump that was weighed by others says so in its notes, and has ``weight_borrowed``.
    """
    rows, checks = (
        pd.concat([one[~one["file"].isin(list(weights))], other], ignore_index=True)
        for one, other in zip(first, again, strict=True)
    )
    of_others = [weights.get(file, {}).get(jump) for file, jump in _places(rows)]
    rows["weight_borrowed"] = [w is not None for w in of_others]
    notes = zip(rows["notes"], of_others, strict=True)
    rows["notes"] = pd.Series(
        [text if w is None else _with_note(text, w.note) for text, w in notes],
        index=rows.index, dtype="str",
    )  # fmt: skip
    return rows, checks


def _with_note(packed: str, note: str) -> str:
    return json.dumps([*json.loads(packed), ["weight_of_session", note]])


def _places(frame: pd.DataFrame) -> list[tuple[str, int]]:
    return [(str(f), int(j)) for f, j in zip(frame["file"], frame["jump"], strict=True)]


def _window_status(checks: pd.DataFrame) -> dict[tuple[str, int], str]:
    still = checks[checks["code"] == "still_weighing"]
    return dict(zip(_places(still), still["status"].astype(str), strict=True))


def _median_weight(weights: list[float]) -> tuple[float, float]:
    """Return the median and its standard error for one more jump, N.

    The error of the median and the spread between jumps add up: shoes, the zero of the plate
    and posture may differ from jump to jump, and nothing tells how they were in this one.
    """
    values = np.asarray(weights, dtype=np.float64)
    median = float(np.median(values))
    spread = max(float(values.std(ddof=1)), LEAST_SPREAD * median)
    of_median = (1.0 if values.size == 2 else _MEDIAN) * spread / math.sqrt(values.size)
    return median, math.hypot(of_median, spread)
