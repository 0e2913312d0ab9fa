"""A copy that is given away: nobody's name, id, day or file in it, and the same numbers."""

from __future__ import annotations

import datetime as dt
import json
import os
import platform
import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow.parquet as pq
import pytest
from report_kit import kit_study

import cmjlab as cj
from cmjlab.study.export import write_results
from cmjlab.study.frozen_plan import freeze, plan_state

NAMES = {"A00": "Mirabel Quist", "A01": "Ottokar Brandvold", "A02": "Zoë Ünalsdottir"}
#: What stands in the study in places that must not be passed on.
SECRETS = (
    "Mirabel",
    "Quist",
    "Brandvold",
    "Ünalsdottir",
    "knee surgery",
    "Tester Tove",
    "Nordhall",
)


def dirty(folder: Path) -> cj.Study:
    """Return a study with names wherever people write them."""
    study = kit_study(folder, names=NAMES)
    home = study.folder
    place = home / "recordings"
    first = sorted(place.iterdir())[0]
    recording = cj.read_recording(first)
    text = "\n".join(f"{v[0]:.2f}" for v in recording.force_n)
    head = "Name: Mirabel Quist\nDate: 2026-08-31 10:14\nComputer: NORDHALL-PC7\nRate: 500 Hz\nforce_n\n"
    (place / "Mirabel Quist").mkdir()
    (place / "Mirabel Quist" / "quist_31.08.2026.txt").write_text(head + text + "\n")
    first.unlink()
    pd.DataFrame(
        [{"file": "Mirabel Quist/quist_31.08.2026.txt", "athlete": "A00", "session": "base1", "trial": "1",
          "date": "2026-08-31"}]
    ).to_csv(home / "recordings.csv", index=False)  # fmt: skip
    roster = pd.read_csv(home / "athletes.csv", dtype=str)
    roster["birth_year"] = [2004 + i % 4 for i in range(len(roster))]
    roster["sex"] = ["female" if i % 3 else "male" for i in range(len(roster))]
    roster["position"] = "keeper"
    roster["coach_says"] = "like Brandvold"
    roster.to_csv(home / "athletes.csv", index=False)
    pd.DataFrame(
        [{"athlete": "A01", "session": "", "from": "2026-09-08", "to": "2026-09-20", "status": "injured",
          "reason": "knee surgery"},
         {"athlete": "A07", "session": "post", "status": "left", "reason": "moved away"}]
    ).to_csv(home / "participation.csv", index=False)  # fmt: skip
    pd.DataFrame(
        [{"session": s, "date": d, "tester": "Tester Tove", "deviations": "Quist came late"}
         for s, d in zip(study.sessions["session"], study.sessions["date"], strict=True)]
    ).to_csv(home / "sessions.csv", index=False)  # fmt: skip
    pd.DataFrame(
        [{"athlete": f"A{i:02d}", "session": s, "date": "2026-09-01", "measure": "squat_1rm",
          "value": 70.0 + 5 * i, "unit": "kg", "note": "Nordhall gym"}
         for i in range(8) for s in ("base1", "post")]
    ).to_csv(home / "measures.csv", index=False)  # fmt: skip
    pd.DataFrame(
        [{"file": "Mirabel Quist/quist_31.08.2026.txt", "jump": 1, "action": "reject", "event": "", "time_s": "",
          "reason": "Quist waved", "who": "Tester Tove", "when": "2026-08-31T18:00:00"}]
    ).to_csv(home / "decisions.csv", index=False)  # fmt: skip
    settings = (home / "study.toml").read_text(encoding="utf-8")
    settings = settings.replace('title = "Kit"', 'title = "Nordhall squad"')
    settings += '\n[[layout]]\nmatch = "*quist*"\nrate_hz = 500.0\n'
    (home / "study.toml").write_text(settings, encoding="utf-8")
    return cj.Study.open(home)


@pytest.fixture(scope="module")
def pair(tmp_path_factory):
    """Return a study with names in it, and its copy."""
    place = tmp_path_factory.mktemp("share")
    study = dirty(place / "Nordhall 2026")
    freeze(study, today=dt.date(2026, 9, 10))
    return study, cj.share_study(study, place / "given", licence="cc-by-nc-4.0")


def ids_of(made: cj.SharedStudy) -> dict[str, str]:
    key = pd.read_csv(made.key, dtype=str, encoding="utf-8-sig")
    own = key[key["kind"] == "athlete"]
    return dict(zip(own["own"], own["shared"], strict=True))


def texts_of(folder: Path) -> dict[str, str]:
    """Return every text in every file of a folder: names, whole text files, and all but the numbers of Parquet."""
    out = {"names": "\n".join(p.relative_to(folder).as_posix() for p in folder.rglob("*"))}
    for path in (p for p in folder.rglob("*") if p.is_file()):
        if path.suffix == ".parquet":
            file = pq.ParquetFile(path)
            words = [str(file.schema_arrow), str(file.metadata), str(file.schema_arrow.metadata)]
            table = file.read()
            words += [str(c.to_pylist()) for c in table.columns if "double" not in str(c.type)]
            out[path.name] = "\n".join(words)
        else:
            out[path.name] = path.read_bytes().decode("utf-8")
    return out


def unpacked(folder: Path) -> bytes:
    """Return the bytes of a folder, those of Parquet as they are and unpacked."""
    parts = []
    for path in (p for p in folder.rglob("*") if p.is_file()):
        parts.append(path.read_bytes())
        if path.suffix == ".parquet":
            table = pq.ParquetFile(path).read()
            parts += [bytes(b) for c in table.columns for k in c.chunks for b in k.buffers() if b]
    return b"\n".join(parts)


def test_no_name_day_file_or_place_of_the_study_stands_in_the_copy(pair, tmp_path):
    """Nor in what is computed from the copy later: tables, provenance, the store of kept results."""
    study, made = pair
    worked = Path(shutil.copytree(made.folder, tmp_path / "worked"))
    write_results(cj.Study.open(worked))
    days = ("2026-08-31", "2026-09-07", "2026-10-26", "2026-09-01", "2026-09-08", "2026-09-10")
    forms = ("%Y-%m-%d", "%d.%m.%Y", "%m/%d/%Y", "%d/%m/%Y", "%Y%m%d")
    long = [*SECRETS, *(pd.Timestamp(d).strftime(f) for d in days for f in forms)]
    long += [
        str(study.folder),
        "quist_31",
        "sub-A0",
        platform.node(),
        str(Path.home()),
        *NAMES.values(),
    ]
    found = unpacked(worked)
    for form in ("utf-8", "utf-16-le"):
        assert [w for w in long if len(w) > 5 and w.encode(form) in found] == []
    texts = texts_of(worked)
    short = [*(w for w in long if len(w) > 3), *(f"A{i:02d}" for i in range(8))]
    assert [(n, w) for n, t in texts.items() for w in short if w in t] == []
    assert sum("store" in p.parts for p in worked.rglob("*.parquet")) >= 2
    assert len(texts) > 45


def test_what_is_looked_for_is_found_where_it_stands(pair):
    """The search of this file sees what it is to see: all of it stands in the study itself."""
    study, _ = pair
    found = unpacked(study.folder)
    assert [w for w in SECRETS if w.encode() not in found] == []
    assert [w for w in ("2026-08-31", "sub-A0") if w.encode() not in found] == []


def test_the_copy_gives_the_same_numbers(pair, tmp_path):
    study, made = pair
    copy = cj.Study.open(made.folder, results=tmp_path)
    new = ids_of(made)
    own, other = study.measure(), copy.measure()
    assert len(own) == len(other) == made.recordings
    for one, two in (
        (study.reliability(), copy.reliability()),
        (study.change_within(), copy.change_within()),
        (study.change_between(), copy.change_between()),
    ):
        assert_same_estimates(one.table, two.table, new)
    flow = [s.flow()["missing"] for s in (study, copy)]
    assert sorted(flow[0]["athlete"].map(new)) == sorted(flow[1]["athlete"])


def assert_same_estimates(one: pd.DataFrame, two: pd.DataFrame, new: dict[str, str]) -> None:
    """Every number of two tables of statistics is the same; rows may stand in another order."""
    place = [
        "metric",
        "statistic",
        "group",
        "contrast",
        "session",
        "athlete",
        "estimator",
        "interval_kind",
        "case",
    ]
    tables = []
    for table in (one.assign(athlete=one["athlete"].replace(new)), two):
        keys = table[place].astype(object).fillna("").astype(str)
        keys["n_th"] = keys.groupby(place).cumcount()
        tables.append(table.set_index(pd.MultiIndex.from_frame(keys)).sort_index())
    assert tables[0].index.equals(tables[1].index)
    for column in ("estimate", "ci_low", "ci_high", "se", "df", "p", "n"):
        values = [t[column].astype(float).to_numpy() for t in tables]
        np.testing.assert_allclose(values[1], values[0], rtol=1e-9, atol=1e-12, err_msg=column)


def test_intervals_and_weekdays_stay_and_each_athlete_moves_alone(pair, tmp_path):
    study, made = pair
    copy = cj.Study.open(made.folder, results=tmp_path)
    gaps = [
        pd.to_datetime(s.sessions["date"]).diff().dt.days.dropna().tolist() for s in (study, copy)
    ]
    assert gaps[0] == gaps[1] == [7.0, 49.0]
    assert [pd.to_datetime(s.sessions["date"]).dt.day_of_week.tolist() for s in (study, copy)] == [
        [0] * 3
    ] * 2
    own = copy.measure().drop_duplicates(["athlete", "session"])
    days = pd.to_datetime(own["date"]).groupby(own["athlete"]).diff().dt.days.dropna()
    assert set(days) <= {7.0, 49.0}
    assert pd.to_datetime(own["date"]).max() < pd.Timestamp("2024-01-01")
    assert own.loc[own["session"] == "base1", "date"].nunique() > 2
    ages = [
        2026 - study.athletes["birth_year"],
        pd.to_datetime(copy.sessions["date"][0]).year - copy.athletes["birth_year"],
    ]
    assert sorted(ages[0]) == sorted(ages[1])


def test_the_key_is_the_way_back_and_only_for_its_owner(pair):
    study, made = pair
    new = ids_of(made)
    assert sorted(new) == [f"A{i:02d}" for i in range(8)]
    assert len(set(new.values())) == 8
    assert not set(new) & set(new.values())
    assert made.key.parent == made.folder.parent
    assert made.key.name == "given.key.csv"
    if os.name == "posix":
        assert made.key.stat().st_mode & 0o077 == 0
    text = made.key.read_text(encoding="utf-8-sig")
    assert "quist_31.08.2026.txt" in text
    assert (
        json.loads((study.folder / "analysis_plan.json").read_text(encoding="utf-8"))["key"] in text
    )


def test_no_order_tells_the_order_of_the_own_ids(pair):
    """Own ids are often numbers along an alphabetical list; neither rows nor times of files keep it."""
    _, made = pair
    for stem, column in (
        ("recordings", "file"),
        ("measures", "athlete"),
        ("participation", "athlete"),
    ):
        table = pd.read_csv(made.folder / f"{stem}.csv", encoding="utf-8-sig")
        assert table[column].is_monotonic_increasing, stem
    roster = pd.read_csv(made.folder / "athletes.csv", encoding="utf-8-sig")
    assert all(part.is_monotonic_increasing for _, part in roster.groupby("group")["athlete"])
    files = [p for p in made.folder.rglob("*") if p.is_file()]
    assert len({p.stat().st_mtime_ns for p in files}) == 1


def test_the_frozen_plan_goes_along_with_a_key_that_fits_it(pair, tmp_path):
    study, made = pair
    one, two = plan_state(study), plan_state(cj.Study.open(made.folder, results=tmp_path))
    assert one is not None
    assert two is not None
    assert one.key != two.key
    assert one.changes == two.changes == ()
    assert one.recordings_after == two.recordings_after > 0
    assert two.date < "2024"
    assert one.date not in "".join(texts_of(made.folder).values())


def test_text_and_own_columns_stay_at_home_unless_named(pair, tmp_path):
    study, made = pair
    stayed = set(zip(made.left_out["table"], made.left_out["column"], strict=True))
    assert {("athletes", "position"), ("athletes", "coach_says"), ("measures", "note")} <= stayed
    roster = pd.read_csv(made.folder / "athletes.csv", encoding="utf-8-sig")
    assert list(roster) == ["athlete", "group", "sex", "birth_year"]
    other = cj.share_study(
        study,
        tmp_path / "out",
        licence="CC0-1.0",
        keep=["position", "participation.status"],
        age_bands=True,
    )
    roster = pd.read_csv(other.folder / "athletes.csv", encoding="utf-8-sig")
    assert set(roster["position"]) == {"keeper"}
    assert "birth_year" not in roster
    assert set(roster["age_band"]) == {"18 to 20", "21 to 24"}
    away = pd.read_csv(other.folder / "participation.csv", encoding="utf-8-sig")
    assert sorted(away["status"]) == ["injured", "left"]
    masked = pd.read_csv(made.folder / "participation.csv", encoding="utf-8-sig")
    assert sorted(masked["status"]) == ["absent", "left"]
    assert "reason" not in masked


def test_a_private_word_in_what_is_kept_stops_the_copy(pair, tmp_path):
    study, _ = pair
    with pytest.raises(
        cj.StudyError, match=r"athletes\.csv: 'Brandvold' would be passed on \(name"
    ):
        cj.share_study(study, tmp_path / "out", licence="CC0-1.0", keep=["coach_says"])
    assert list(tmp_path.iterdir()) == []


def test_rare_combinations_are_told(pair):
    _, made = pair
    assert made.small_cells["athletes"].max() < 5
    roster = pd.read_csv(made.folder / "athletes.csv", encoding="utf-8-sig")
    counts = roster.groupby(["group", "sex", "birth_year"]).size()
    assert len(made.small_cells) == (counts < 5).sum()
    assert any("recognise" in str(s) for s in made.sentences)


def test_force_and_rate_come_back_to_the_last_bit(pair, tmp_path):
    study, made = pair
    copy = cj.Study.open(made.folder, results=tmp_path)
    key = pd.read_csv(made.key, dtype=str, encoding="utf-8-sig")
    names = dict(key.loc[key["kind"] == "file", ["own", "shared"]].to_numpy())
    for file in [*study.files["file"][:3], "Mirabel Quist/quist_31.08.2026.txt"]:
        one = cj.read_recording(study.task(file).path, layout=study.task(file).layout)
        two = cj.read_recording(copy.task(names[file]).path)
        assert one.force_n.tobytes() == two.force_n.tobytes()
        assert one.rate_hz == two.rate_hz


def test_the_package_is_what_the_standard_asks_for(pair):
    frictionless = pytest.importorskip("frictionless")
    _, made = pair
    report = frictionless.Package(str(made.folder / "datapackage.json")).validate()
    assert report.valid, report.flatten(["type", "note"])[:5]
    crate = json.loads((made.folder / "ro-crate-metadata.json").read_text(encoding="utf-8"))
    graph = {e["@id"]: e for e in crate["@graph"]}
    head, root = graph["ro-crate-metadata.json"], graph["./"]
    assert head["conformsTo"]["@id"] == "https://w3id.org/ro/crate/1.1"
    assert head["about"]["@id"] == "./"
    assert {"name", "description", "datePublished", "license"} <= set(root)
    assert root["@type"] == "Dataset"
    listed = {p["@id"] for p in root["hasPart"]}
    there = {p.relative_to(made.folder).as_posix() for p in made.folder.rglob("*") if p.is_file()}
    assert listed == there - {"ro-crate-metadata.json"}
    assert listed <= set(graph)
    assert graph[root["license"]["@id"]]["name"] == "CC-BY-NC-4.0"
    readme = (made.folder / "README.md").read_text(encoding="utf-8")
    assert all(
        w in readme for w in ("may name a person", "not diagnoses", "personal data", "CC-BY-NC-4.0")
    )


REFUSED = [
    ({"licence": ""}, "licence: none was named"),
    ({"licence": "CC-BY"}, "found 'CC-BY'.*CC-BY-4.0"),
    ({"key": "given/key.csv"}, "must not stand inside the copy"),
    ({"out": "full"}, "holds something already"),
    ({"out": "study/inside"}, "cannot stand inside the study"),
    ({"out": "."}, "holds something already"),
    ({"keep": ["sexe"]}, "no table of the study has a column 'sexe'.*sex"),
    ({"key": "full/old.csv"}, "a key is there already"),
]


def test_what_cannot_be_is_refused_and_leaves_nothing(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    shutil.copytree(cj.demo_study(mini=True), "study", ignore=shutil.ignore_patterns("results"))
    Path("full").mkdir()
    Path("full/old.csv").write_text("who is who")
    study = cj.Study.open("study")
    before = sorted(map(str, tmp_path.rglob("*")))
    for given, words in REFUSED:
        others = {k: v for k, v in given.items() if k != "out"}
        with pytest.raises(cj.CmjlabError, match=words):
            cj.share_study(study, given.get("out", "given"), **{"licence": "CC0-1.0", **others})
        assert sorted(map(str, tmp_path.rglob("*"))) == before, given


def test_stopping_in_the_middle_leaves_nothing(tmp_path):
    seen = []

    def stop(step):
        seen.append(step)
        if len(seen) == 3:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        cj.share_study(cj.demo_study(mini=True), tmp_path / "out", licence="CC0-1.0", progress=stop)
    assert len(seen) == 3
    assert list(tmp_path.iterdir()) == []


def test_stopping_at_the_last_step_leaves_no_key_without_a_copy(tmp_path, monkeypatch):
    real, tried = os.replace, []

    def stop(source, target):
        if str(source).endswith(".part"):
            tried.append((tmp_path / "out.key.csv").exists())
            raise KeyboardInterrupt
        real(source, target)

    monkeypatch.setattr(os, "replace", stop)
    with pytest.raises(KeyboardInterrupt):
        cj.share_study(cj.demo_study(mini=True), tmp_path / "out", licence="CC0-1.0")
    assert tried == [True]
    assert list(tmp_path.iterdir()) == []
