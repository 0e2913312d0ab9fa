"""Which of several intervals a person is shown."""

from __future__ import annotations

from cmjlab.report.build.leading_rows import PREFERRED, preferred_first
from cmjlab.tables import STATISTICS_TABLE


def _row(metric: str, statistic: str, method: str, low: float | None = 0.1) -> dict[str, object]:
    return {"metric": metric, "statistic": statistic, "method": method, "ci_low": low}


def test_the_interval_that_holds_comes_first_and_nothing_else_moves():
    ours = PREFERRED["icc_a1"]
    rows = [
        _row("a", "typical_error", "chi-square"),
        _row("a", "icc_a1", "published"),
        _row("a", "icc_c1", "F"),
        _row("a", "icc_a1", ours),
        _row("b", "icc_a1", "published"),
        _row("b", "icc_a1", ours, None),
    ]
    table = preferred_first(STATISTICS_TABLE.frame(rows))
    shown = list(zip(table["metric"], table["statistic"], table["method"], strict=True))
    assert shown == [
        ("a", "typical_error", "chi-square"),
        ("a", "icc_a1", ours),
        ("a", "icc_c1", "F"),
        ("a", "icc_a1", "published"),
        ("b", "icc_a1", "published"),
        ("b", "icc_a1", ours),
    ]
