"""Declared tables: casting, order, schema, and agreement with the catalog."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest

from cmjlab.catalog import METRICS
from cmjlab.tables import (
    ATHLETES,
    CHECK_ROWS,
    JUMPS,
    RESULT_TABLES,
    SESSIONS,
    USER_TABLES,
    Table,
)

ALL = {**USER_TABLES, **RESULT_TABLES}


@pytest.mark.parametrize("stem", ALL)
def test_declaration_is_whole(stem):
    table = ALL[stem]
    assert len(set(table.names)) == len(table.names)
    assert set(table.key) <= set(table.names)
    for column in table.columns:
        assert re.fullmatch(r"[a-z][a-z0-9_]*", column.name), column.name
        assert column.description
        assert column.dtype in ("text", "date", "number", "integer", "boolean")


@pytest.mark.parametrize("stem", ALL)
def test_empty_table_survives_parquet(stem, tmp_path):
    empty = ALL[stem].empty()
    empty.to_parquet(tmp_path / "t.parquet")
    again = ALL[stem].cast(pd.read_parquet(tmp_path / "t.parquet"))
    pd.testing.assert_frame_equal(again, empty)


def test_cast_keeps_zeros_adds_what_is_missing_and_keeps_what_is_more():
    frame = pd.DataFrame({"own": [1], "athlete": ["007"]})
    out = ATHLETES.cast(frame)
    assert list(out.columns) == [*ATHLETES.names, "own"]
    assert out["athlete"][0] == "007"
    assert out["birth_year"].isna().all()


def test_every_metric_has_its_column_and_unit():
    for table in (JUMPS, SESSIONS):
        for key, metric in METRICS.items():
            assert table.column(key).unit == metric.unit
    with pytest.raises(KeyError, match="no column"):
        JUMPS.column("hight")


@pytest.mark.parametrize("stem", ALL)
def test_schema_is_plain_and_complete(stem):
    schema = ALL[stem].frictionless()
    assert [f["name"] for f in schema["fields"]] == ALL[stem].names
    for field in schema["fields"]:
        assert field["type"] in ("string", "date", "number", "integer", "boolean")
    if ALL[stem].key and not ALL[stem].key_optional:
        assert schema["primaryKey"] == list(ALL[stem].key)


def test_schema_of_a_table_with_joined_columns():
    frame = CHECK_ROWS.empty().assign(
        group=pd.Series(dtype="str"), score=pd.Series(dtype="float64")
    )
    schema = CHECK_ROWS.frictionless(frame)
    types = {f["name"]: f["type"] for f in schema["fields"]}
    assert types["group"] == "string"
    assert types["score"] == "number"
    assert types["jump"] == "integer"


def test_rows_become_a_table():
    table: Table = USER_TABLES["names"]
    frame = table.frame([{"athlete": "007", "name": "N"}])
    assert frame.to_dict("records") == [{"athlete": "007", "name": "N"}]


def test_columns_become_a_table_in_its_dtypes():
    from cmjlab.tables import STATISTICS_TABLE

    columns = {
        "metric": np.array(["a", None, "b"], dtype=object),
        "athlete": np.array([7, "A08", None], dtype=object),  # not all are texts
        "n": np.array([3.0, np.nan, 4.0]),
        "leads": np.array([True, False, None], dtype=object),
        "estimate": np.array([1.5, np.nan, 2.0]),
    }
    made = STATISTICS_TABLE.from_columns(columns)
    pd.testing.assert_frame_equal(made, STATISTICS_TABLE.cast(pd.DataFrame(columns)))
    assert list(made.columns) == STATISTICS_TABLE.names
    assert len(STATISTICS_TABLE.from_columns({})) == 0
