"""Result: the one object that every statistic returns."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import reduce
from operator import and_
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from cmjlab.catalog import FORMER_NAMES, METRICS, STATISTICS
from cmjlab.later import Tables, WhenRead
from cmjlab.units import show, shown_unit
from cmjlab.upstairs import upstairs
from cmjlab.words.catalog import Words, read_words
from cmjlab.words.phrases import Case, Note, Reason, Sentence

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = [
    "Case",
    "Note",
    "Reason",
    "Result",
    "Sentence",
    "contrast_words",
    "method_words",
    "remark_words",
    "stored_reason",
    "stored_values",
]

#: Name of the points that hold the rows behind those read first.
DETAILS = "details"
_PLACES = ("group", "contrast", "session", "athlete")


@dataclass(frozen=True, eq=False)
class Result:
    """Numbers, the data behind the figure, settings, notes and plain sentences.

    Attributes
    ----------
    kind : str
        Which analysis, e.g. "reliability".
    table : pandas.DataFrame
        One estimate a row; columns of ``cmjlab.tables.STATISTICS_TABLE``. Programs read
        ``estimator``, ``interval_kind``, ``first``, ``second``, ``case``, ``leads`` and ``reason_code``;
        ``method``, ``contrast`` and ``text`` are the same in words, for display only.
    points : mapping of str to pandas.DataFrame
        Tidy data behind the figures, by name; some are made when they are first read.
    settings : mapping
        Plain data: everything needed to compute the result again. ``leading`` is there where
        several statistics could answer the question: which one does (``statistic``, "" when
        none) and ``why``.
    notes : tuple of Note
        Remarks that a reader needs; nothing is left out silently.
    sentences : tuple of Sentence
        The result in plain words: keys and numbers, put into words when they are read. May be
        given as a :class:`~cmjlab.later.Later`, which is called when somebody reads them.

    Examples
    --------
    >>> import cmjlab as cj
    >>> table = cj.simulate_sessions(seed=1, metrics=["jump_height_m"]).sessions
    >>> within = cj.change_within(table, before="base2", after="post")
    >>> within.kind, len(within.rows("mean_change"))
    ('change_within', 1)
    >>> round(within.value("mean_change"), 3)  # metres
    0.01
    >>> int(within.row("mean_change")["n"])
    30
    >>> within.readable().loc[0, ["statistic", "estimate", "interval", "unit"]].tolist()
    ['Mean change', '0.99', '0.11 to 1.87', 'cm']
    >>> within.has_note("no_such_note"), len(within.sentences_about("jump_height_m"))
    (False, 1)
    >>> list(within.wide())[:3]
    ['metric', 'contrast', 'mean_change']
    """

    kind: str
    table: pd.DataFrame
    points: Mapping[str, pd.DataFrame] = field(default_factory=dict)
    settings: Mapping[str, Any] = field(default_factory=dict)
    notes: tuple[Note, ...] = ()
    sentences: WhenRead[tuple[Sentence, ...]] = WhenRead(())

    def __post_init__(self) -> None:
        object.__setattr__(self, "points", Tables(self.points))
        object.__setattr__(self, "settings", MappingProxyType(dict(self.settings)))

    def __reduce__(self) -> tuple[Any, ...]:
        """Return what a copy or another process needs: everything made, nothing left for later."""
        parts = (self.table, dict(self.points), dict(self.settings), self.notes, self.sentences)
        return type(self), (self.kind, *parts)

    def rows(self, statistic: str | None = None, **where: Any) -> pd.DataFrame:
        """Return the rows of one statistic, filtered by column values.

        Examples
        --------
        ``result.rows("typical_error", metric="jump_height_m")``
        """
        matches = [self.table[column] == value for column, value in where.items()]
        if statistic in FORMER_NAMES:
            matches.insert(0, self.table["statistic"].isin(FORMER_NAMES[statistic]))
        elif statistic is not None:
            matches.insert(0, self.table["statistic"] == statistic)
        return self.table[reduce(and_, matches)] if matches else self.table

    def with_details(self) -> Result:
        """Return the same result with the rows that stand behind those read first.

        Variants of an interval (classical, HC3, pooled), models beside the contrasts, the mixed
        ANOVA: they are computed and kept, and come back in their places. A result without such
        rows is returned as it is.
        """
        import pandas as pd

        if DETAILS not in self.points:
            return self
        behind = self.points[DETAILS]
        places = sorted(set(range(len(self.table) + len(behind))) - set(behind.index))
        table = pd.concat([self.table.set_axis(places), behind]).sort_index()
        return replace(self, table=table, points=Tables(self.points).without(DETAILS))

    def row(self, statistic: str, **where: Any) -> pd.Series:
        """Return one row: the only one that matches, or the one of several that leads.

        Raises
        ------
        KeyError
            Nothing matches, or several do and not exactly one of them leads; the message says
            by which columns they differ.
        """
        part = self.rows(statistic, **where)
        leading = part[part["leads"].fillna(False).astype(bool)] if len(part) > 1 else part
        if len(leading) == 1:
            return leading.iloc[0]
        raise KeyError(f"{statistic} {where}: {len(part)} rows match, one is needed{_apart(part)}")

    def value(self, statistic: str, column: str = "estimate", **where: Any) -> float:
        """Return one number: of the only row that matches, or of the leading one of several.

        Which row that is, and by which method, tells :meth:`row`.

        Raises
        ------
        KeyError
            Nothing matches, or several rows do and not exactly one of them leads.
        """
        return float(self.row(statistic, **where)[column])

    @property
    def leading(self) -> str:
        """The statistic that answers the question of this result; "" when none does."""
        return str(self.settings.get("leading", {}).get("statistic", ""))

    def has_note(self, code: str) -> bool:
        """Return whether a note with this code is present."""
        return any(n.code == code for n in self.notes)

    def sentences_about(self, metric: str, group: str | None = None) -> tuple[Sentence, ...]:
        """Return the sentences about one metric, of one group or stratum when it is given."""
        return tuple(
            s for s in self.sentences if s.metric == metric and (group is None or s.group == group)
        )

    def wide(self) -> pd.DataFrame:
        """Return one row per metric (and group, contrast, … where present) for reading."""
        keys = ["metric", "group", "contrast", "session", "athlete"]
        index = [k for k in keys if k in self.table and self.table[k].notna().any()]
        part = self.table.copy()
        part["_column"] = part["statistic"].astype(str)
        many = part.duplicated([*index, "_column"], keep=False) & part["method"].notna()
        part.loc[many, "_column"] += " [" + part.loc[many, "method"].astype(str) + "]"
        part = part.drop_duplicates([*index, "_column"])
        wide = part.pivot(index=index, columns="_column", values="estimate")
        order = list(dict.fromkeys(part["_column"]))
        return wide[order].rename_axis(columns=None).reset_index()

    def readable(self, words: Words | None = None) -> pd.DataFrame:
        """Return the estimates as a person reads them: labels, shown units, one interval a cell.

        Parameters
        ----------
        words : Words, optional
            A lab's own words.

        Returns
        -------
        pandas.DataFrame
            Texts; one row per estimate, columns that hold nothing are left out.
        """
        import pandas as pd

        say = words or read_words()
        rows = [_in_words(row, say) for row in self.table.to_dict("records")]
        frame = pd.DataFrame(rows, columns=list(rows[0]) if rows else ["measure", "estimate"])
        return frame.loc[:, (frame != "").any()] if len(frame) else frame

    def plot(
        self,
        figure: str | None = None,
        metric: str | None = None,
        *,
        athlete: str | None = None,
        group: str | None = None,
        change_that_matters: Any = None,
        ax: Axes | None = None,
    ) -> Figure:
        """Return the figure of this result.

        Parameters
        ----------
        figure : str, optional
            Which one, where there are several (:func:`cmjlab.plots.figures_of`); default the
            usual one.
        metric : str, optional
            Where the figure shows one measure; default the first of the result.
        athlete : str, optional
            Where the figure shows one athlete.
        group : str, optional
            Where the figure shows one group.
        change_that_matters : float or mapping, optional
            In the measure's table unit; default as the plan of the result says.
        ax : matplotlib.axes.Axes, optional
            Where to draw, for figures of one panel.

        Returns
        -------
        matplotlib.figure.Figure
            With an ``alt_text`` that says what it shows.

        Raises
        ------
        ArgumentError
            There is no such figure, or it has no use for what was chosen.

        Examples
        --------
        >>> import cmjlab as cj
        >>> within = cj.Study.open(cj.demo_study()).change_within("jump_height_m")
        >>> within.plot().alt_text[:11]
        'Jump height'
        """
        return upstairs("plot_result")(  # type: ignore[no-any-return]
            self, figure, metric=metric, athlete=athlete, group=group,
            change_that_matters=change_that_matters, ax=ax,
        )  # fmt: skip

    def __str__(self) -> str:
        lines = [f"{self.kind}: {len(self.table)} estimates", *map(str, self.sentences)]
        lines += [f"Note ({n.code}): {n.text}" for n in self.notes]
        return "\n".join(lines)

    def __repr__(self) -> str:
        return upstairs("text_of")(self)  # type: ignore[no-any-return]

    def _repr_html_(self) -> str:
        return upstairs("html_of")(self)  # type: ignore[no-any-return]


def contrast_words(row: Mapping[str, Any], words: Words) -> str:
    """Return what is compared with what, or the case that a row is for, in words."""
    first, second, other, session, since, case = (
        _text(row.get(c)) for c in ("first", "second", "other_metric", "session", "since", "case")
    )
    pairs = ((first, second), (session, since))
    parts = [f"{a} - {b}" for a, b in pairs if a and b]
    if other:
        parts.append(words.say("table.with_metric", other=other))
    if case:
        parts.append(words.phrase(Case(case, stored_values(row))))
    return ", ".join(parts)


def method_words(row: Mapping[str, Any], words: Words) -> str:
    """Return how a row of the statistics table was computed, in words."""
    values = stored_values(row)
    values.pop("metric")  # rows of many metrics share their method
    parts = [
        words.say(f"{section}.{key}", **values)
        for section, key in (
            ("estimator", _text(row.get("estimator"))),
            ("interval", _text(row.get("interval_kind"))),
        )
        if key
    ]
    return "; ".join(parts)


def stored_reason(row: Mapping[str, Any], column: str = "reason_code") -> Reason | None:
    """Return the reason or remark that a row of a table holds as code and values."""
    code = _text(row.get(column))
    return Reason(code, stored_values(row)) if code else None


def remark_words(row: Mapping[str, Any], words: Words) -> str:
    """Return why a row has no number or no interval, and what to know about its number."""
    reason, remark = stored_reason(row), stored_reason(row, "remark_code")
    parts = []
    if reason:
        estimate = row.get("estimate")
        bare = estimate is not None and estimate == estimate
        key = "table.no_interval" if bare else "table.not_estimable"
        parts.append(words.say(key, why=words.phrase(reason)))
    if remark:
        parts.append(words.phrase(remark))
    return "; ".join(parts)


def stored_values(row: Mapping[str, Any]) -> dict[str, Any]:
    """Return the values of the words of a row of a table, with its metric."""
    stored = _text(row.get("word_values"))
    return {"metric": row.get("metric"), **(json.loads(stored) if stored else {})}


def _in_words(row: Mapping[str, Any], words: Words) -> dict[str, str]:
    """Return one estimate in words: labels of the catalog, units that a person reads."""
    metric, statistic = _text(row.get("metric")), _text(row.get("statistic"))
    row = {**row, "contrast": contrast_words(row, words) or row.get("contrast")}
    entry, known = METRICS.get(metric), STATISTICS.get(statistic)
    own = entry.unit if entry else _text(row.get("unit"))
    unit = own if known is None or known.unit == "metric" else known.unit
    values = [row.get(c) for c in ("estimate", "ci_low", "ci_high")]
    texts = [
        show(float("nan") if v is None else v, unit, with_unit=False, extra_decimals=1)
        for v in values
    ]
    number = _text(row.get("n"))
    return {
        "measure": words.label(metric) if metric else "",
        **{p: _text(row.get(p)) for p in _PLACES},
        "statistic": words.statistic(statistic),
        "estimate": texts[0].replace("-", "\u2212"),
        "interval": " to ".join(texts[1:]).replace("-", "\u2212") if "–" not in texts[1:] else "",
        "unit": shown_unit(unit),
        "n": number.removesuffix(".0"),
        "method": _text(row.get("method")),
        "remark": _text(row.get("text")) if texts[0] == "–" else "",
    }


def _apart(part: pd.DataFrame) -> str:
    """Return by which columns several rows can be told apart."""
    columns = ("metric", "group", "contrast", "session", "since", "athlete", "case", "estimator",
               "interval_kind")  # fmt: skip
    differ = [c for c in columns if c in part and part[c].nunique(dropna=False) > 1]
    return f"; they differ in {', '.join(differ)}" if differ else ""


def _text(value: Any) -> str:
    """Return a cell as text; nothing for a missing value."""
    return "" if value is None or value != value or str(value) in ("<NA>", "nan") else str(value)
