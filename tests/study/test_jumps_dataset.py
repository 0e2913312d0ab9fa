"""A data set of jumps gives the numbers of the same jumps in one table, and refuses what is not whole."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pandas.testing as pdt
import pyarrow.dataset as ds
import pytest

import cmjlab as cj
from cmjlab.catalog import METRICS
from cmjlab.study.dataset import write as writing
from cmjlab.study.dataset.parts import BUCKETS, bucket_of

HOWS = ("mean", "median", "best", "best_n_mean")


def invented(athletes: int = 300, seed: int = 5) -> pd.DataFrame:
    """Return some 3,000 jumps with all metrics: gaps, rejected jumps, loads, unequal numbers."""
    random = np.random.default_rng(seed)
    sessions = ["base1", "base2", "post"]
    rows = [
        (f"A{i:04d}", s, j)
        for i in range(athletes)
        for s in sessions
        if random.random() > 0.03
        for j in range(random.integers(2, 6))
    ]
    table = pd.DataFrame(rows, columns=["athlete", "session", "jump"])
    table["session"] = pd.Categorical(table["session"], sessions, ordered=True)
    table["jump"] = pd.array(table["jump"], dtype="Int64")
    table["file"] = table["athlete"] + "_" + table["session"].astype("str") + ".csv"
    own = dict(
        zip(table["athlete"].unique(), random.choice(["female", "male"], athletes), strict=False)
    )
    table["sex"] = table["athlete"].map(own)
    table["role"] = np.where(table["session"] == "post", "post", "baseline")
    table["accepted"] = pd.array(random.random(len(table)) > 0.1, dtype="boolean")
    table["load_kg"] = np.where(random.random(len(table)) < 0.05, 20.0, np.nan)
    level = dict(zip(own, random.normal(1.0, 0.1, len(own)), strict=True))
    base = table["athlete"].map(level).to_numpy()
    values = {m: base + random.normal(0, 0.03, len(table)) for m in METRICS}
    table = pd.concat([table, pd.DataFrame(values)], axis=1)
    table = table.mask(random.random(table.shape) < 0.001).assign(athlete=table["athlete"])
    return table.assign(session=table["session"], n_plates=2).sample(
        frac=1, random_state=seed, ignore_index=True
    )


@pytest.fixture(scope="module")
def table():
    return invented()


@pytest.fixture(scope="module")
def small_parts():
    """Many pieces and parts, as in a large data set."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(writing, "ROWS_OF_PIECE", 700)
        patch.setattr(writing, "ROWS_OF_PART", 300)
        yield


@pytest.fixture(scope="module")
def dataset(table, small_parts, tmp_path_factory):
    folder = tmp_path_factory.mktemp("jumps") / "all"
    return cj.JumpsDataset.write(
        (table.iloc[i : i + 411] for i in range(0, len(table), 411)), folder
    )


def test_the_table_comes_back_as_it_was(dataset, table):
    assert len(list(dataset.folder.iterdir())) > 5
    assert dataset.n_jumps == len(table) >= 3000
    pdt.assert_frame_equal(dataset.jumps(), table, check_exact=True)


def test_each_batch_holds_whole_athletes(dataset, table):
    counts = table["athlete"].value_counts()
    seen: set[str] = set()
    for batch in dataset.batches(["jump_height_m"]):
        own = batch["athlete"].value_counts()
        assert (own == counts.reindex(own.index)).all()
        assert not seen & set(batch["athlete"])
        assert [c for c in batch if c in METRICS] == ["jump_height_m"]
        seen |= set(batch["athlete"])
    assert seen == set(counts.index)


@pytest.mark.parametrize("how", HOWS)
@pytest.mark.parametrize("load", [None, 20.0])
def test_sessions_are_those_of_one_table(dataset, table, how, load):
    expected = cj.summarise_sessions(table, how, jumps_wanted=4, load_kg=load)
    found = dataset.sessions_table(how, jumps_wanted=4, load_kg=load)
    pdt.assert_frame_equal(found, expected, check_exact=how in ("median", "best"), rtol=1e-12)


def test_statistics_are_those_of_one_table(dataset, table):
    expected, found = cj.summarise_sessions(table), dataset.sessions_table()
    names = ["jump_height_m", "time_to_takeoff_s", "braking_duration_s"]
    for work in (
        lambda t: cj.reliability(t, names, by="sex"),
        lambda t: cj.squad_places(t, names[:2]),
    ):
        one, other = work(expected[expected["sex"].notna()]), work(found[found["sex"].notna()])
        pdt.assert_frame_equal(other.table, one.table, check_exact=False, rtol=1e-9)
        assert one.notes == other.notes


def test_the_demo_study_gives_its_numbers(tmp_path):
    study = cj.Study.open(cj.demo_study())
    jumps = study.measure()
    stored = cj.JumpsDataset.write(jumps, tmp_path / "demo")
    pdt.assert_frame_equal(stored.jumps(), jumps, check_exact=True)
    for how in HOWS:
        expected = cj.summarise_sessions(jumps, how)
        exact = how in ("median", "best")
        pdt.assert_frame_equal(stored.sessions_table(how), expected, check_exact=exact, rtol=1e-12)


def test_chosen_metrics_and_athletes(dataset, table):
    names = ["jump_height_m", "peak_propulsion_power_w"]
    expected = cj.summarise_sessions(table)
    found = dataset.sessions_table(metrics=names)
    assert [c for c in found if c in METRICS] == [c for c in METRICS if c in names]
    pdt.assert_frame_equal(found, expected[list(found)], rtol=1e-12)
    best = dataset.sessions_table("best", metrics="peak_propulsion_power_w")
    assert {c for c in best if c in METRICS} == {"jump_height_m", "peak_propulsion_power_w"}
    some = dataset.jumps(names, athletes=["A0007", "A0003"])
    wanted = table[table["athlete"].isin(["A0007", "A0003"])][list(some)]
    pdt.assert_frame_equal(some, wanted.reset_index(drop=True))


def test_any_program_reads_it(dataset, table):
    """It is a plain Parquet data set, in which one athlete's jumps lie side by side."""
    folder = ds.dataset(dataset.folder)
    found = folder.to_table(filter=ds.field("athlete") == "A0003").to_pandas()
    expected = table[table["athlete"] == "A0003"]["jump_height_m"]
    assert found["jump_height_m"].dropna().tolist() == expected.dropna().tolist()
    for fragment in folder.get_fragments():
        ids = fragment.to_table(columns=["athlete"])["athlete"].to_pylist()
        assert ids == sorted(ids)


def test_tables_with_other_columns_and_sessions_fit_together(tmp_path):
    one = pd.DataFrame(
        {
            "athlete": ["B", "A"],
            "session": ["pre", "post"],
            "jump_height_m": [0.3, 0.4],
            "n": [1, 2],
        }
    )
    one["session"] = pd.Categorical(one["session"], ["pre", "post"], ordered=True)
    two = pd.DataFrame(
        {"athlete": ["C"], "session": ["mid"], "jump_height_m": [None], "coach": ["x"]}
    )
    two["session"] = pd.Categorical(two["session"], ["pre", "mid", "post"], ordered=True)
    stored = cj.JumpsDataset.write([one, two], tmp_path / "both")
    found = stored.jumps()
    assert list(found["session"].cat.categories) == ["pre", "mid", "post"]
    assert found["athlete"].tolist() == ["B", "A", "C"]
    assert found["n"].tolist()[:2] == [1, 2]
    assert found["n"].isna().tolist() == [False, False, True]
    assert found["jump_height_m"].dtype == "float64"
    sessions = stored.sessions_table()
    assert sessions["athlete"].tolist() == ["B", "A", "C"]
    assert sessions["jump_height_m"].tolist()[:2] == [0.3, 0.4]


@pytest.mark.parametrize(
    ("second", "words"),
    [
        ({"athlete": ["A"], "session": ["pre"], "file": ["f"], "jump": [1]}, "stands twice"),
        ({"athlete": ["C"], "session": ["pre"], "jump_height_m": ["high"]}, "different tables"),
        ({"athlete": [None], "session": ["pre"]}, "athlete"),
        ({"athlete": ["C"]}, "session"),
        ({"athlete": ["C"], "session": ["pre"], "row_of_table": [1]}, "row_of_table"),
        ({"athlete": ["C"], "session": ["pre"], "x": [[1, 2]]}, "several values"),
    ],
)
def test_what_does_not_fit_is_refused_and_nothing_stays(tmp_path, second, words):
    first = pd.DataFrame(
        {"athlete": ["A"], "session": ["pre"], "file": ["f"], "jump": [1], "jump_height_m": [0.3]}
    )
    with pytest.raises(cj.StatsError, match=words):
        cj.JumpsDataset.write([first, pd.DataFrame(second)], tmp_path / "new")
    assert not list(tmp_path.iterdir())


def test_orders_that_contradict_each_other_are_refused(tmp_path):
    tables = [
        pd.DataFrame({"athlete": ["A"], "session": pd.Categorical([o[0]], o, ordered=True)})
        for o in (["pre", "post"], ["post", "pre"])
    ]
    with pytest.raises(cj.StatsError, match="different orders"):
        cj.JumpsDataset.write(tables, tmp_path / "new")


def test_a_folder_that_holds_something_is_left_alone(tmp_path, table):
    (tmp_path / "notes.txt").write_text("mine")
    with pytest.raises(cj.StudyError, match="new or empty"):
        cj.JumpsDataset.write(table, tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["notes.txt"]
    with pytest.raises(cj.StudyError, match="no data set"):
        cj.JumpsDataset.open(tmp_path)
    with pytest.raises(cj.StatsError, match="no jump"):
        cj.JumpsDataset.write([table.iloc[:0]], tmp_path / "empty")


@pytest.fixture
def copy(dataset, tmp_path):
    for path in dataset.folder.iterdir():
        (tmp_path / path.name).write_bytes(path.read_bytes())
    return tmp_path


def test_a_missing_file_is_noticed(copy):
    sorted(copy.iterdir())[2].unlink()
    with pytest.raises(cj.StudyError, match="missing"):
        cj.JumpsDataset.open(copy)


def test_a_changed_byte_is_noticed(copy):
    path = sorted(copy.iterdir())[1]
    data = bytearray(path.read_bytes())
    data[len(data) // 3] ^= 0xFF
    path.write_bytes(data)
    with pytest.raises(cj.StudyError, match="cannot be read"):
        cj.JumpsDataset.open(copy).sessions_table()


def test_no_changed_byte_goes_unnoticed(copy, dataset):
    """The ends of files too, which pages of values have no checksum for; 16 bytes of 16 files."""
    expected = dataset.sessions_table()
    path, random = sorted(copy.iterdir())[1], np.random.default_rng(3)
    data, unseen = path.read_bytes(), 0
    for i in range(16):
        changed = bytearray(data)
        changed[random.integers(len(data) // 2 * (i % 2), len(data))] ^= 1 << random.integers(8)
        path.write_bytes(changed[: random.integers(len(data))] if i % 6 == 5 else changed)
        try:
            found = cj.JumpsDataset.open(copy).sessions_table()
        except cj.StudyError:
            continue
        pdt.assert_frame_equal(found, expected, check_exact=True)  # nothing that is read
        unseen += 1
    assert unseen < 8


def test_a_place_that_cannot_be_written_is_told(tmp_path, table):
    (tmp_path / "file").write_text("")
    with pytest.raises(cj.StudyError, match="cannot be written"):
        cj.JumpsDataset.write(table.iloc[:5], tmp_path / "file" / "new")


def test_unknown_names_are_told(dataset):
    with pytest.raises(cj.ArgumentError, match="jump_height_m"):
        dataset.sessions_table(metrics="jump_heigth_m")
    with pytest.raises(cj.ArgumentError, match="nobody"):
        dataset.jumps(athletes="nobody")


def test_the_bucket_of_an_athlete_never_changes():
    """Values of CRC-32 (as in gzip and PNG): a data set written once is found for ever."""
    assert [bucket_of("123456789"), bucket_of(""), BUCKETS] == [0x26, 0, 256]
