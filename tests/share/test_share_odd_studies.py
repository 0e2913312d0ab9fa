"""Copies of studies that are kept in other ways: many people in one file, days as ids, odd files; the command."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from study_kit import SETTINGS, jump_bytes, make, recording
from typer.testing import CliRunner

import cmjlab as cj
from cmjlab.share.forces import LAYOUT, same_recording
from cmjlab.share.identities import new_identities
from cmjlab.share.licences import KNOWN, read_licence
from cmjlab.share.small_cells import small_cells


def share(folder: Path, **choices) -> cj.SharedStudy:
    choices = {"licence": "CC0-1.0", **choices}
    return cj.share_study(folder, folder.with_name(f"{folder.name}_given"), **choices)


def key_of(made: cj.SharedStudy, kind: str) -> dict[str, str]:
    rows = pd.read_csv(made.key, dtype=str, encoding="utf-8-sig", keep_default_na=False)
    rows = rows[rows["kind"] == kind]
    return dict(zip(rows["own"], rows["shared"], strict=True))


def test_one_file_of_several_people_becomes_one_file_each(tmp_path):
    """Nobody's force comes along with another's, and a decision finds its jump again."""
    folder = make(tmp_path / "s", athletes="A01,A02", sessions="base1,post", trials=1)
    (folder / "recordings" / "all.csv").write_bytes(jump_bytes(40, copies=3))
    end = recording(40).duration_s
    lines = ["file,athlete,session,trial,start,stop"]
    lines += [
        f"all.csv,A01,base2,1,0,{2 * end - 0.01:.3f}",
        f"all.csv,A02,base2,1,{2 * end:.3f},{3 * end:.3f}",
    ]
    (folder / "recordings.csv").write_text("\n".join(lines) + "\n")
    (folder / "decisions.csv").write_text(
        "file,jump,action,event,time_s,reason,who,when\nall.csv,2,reject,,,slipped,T1,2026-09-03T10:00:00\n"
        "all.csv,3,reject,,,talked,T1,2026-09-03T10:00:00\n"
    )  # fmt: skip
    own = cj.Study.open(folder).measure()
    made = share(folder)
    copied = cj.Study.open(made.folder).measure()
    new = key_of(made, "athlete")
    ours = own[(own["session"] == "base2")].assign(athlete=lambda t: t["athlete"].map(new))
    theirs = copied[copied["session"] == "base2"]
    assert theirs["file"].nunique() == 2
    assert len(theirs) == 3
    one = ours.set_index(["athlete"]).sort_index(kind="stable")
    two = theirs.set_index(["athlete"]).sort_index(kind="stable")
    assert one["accepted"].tolist() == two["accepted"].tolist()
    assert sorted(two["verdict"].fillna("")) == ["", "reject", "reject"]
    np.testing.assert_array_equal(one["jump_height_m"], two["jump_height_m"])


def test_ids_of_sessions_that_tell_a_day_and_ids_of_digits_are_replaced_everywhere(tmp_path):
    folder = tmp_path / "s"
    settings = SETTINGS.replace('"base1"', '"2026-08-31"').replace('"post"', '"Oct26"', 1)
    settings += '[plan]\nbefore = "2026-08-31"\nafter = "Oct26"\nselected_in = ""\n'
    make(folder, athletes="01,02", sessions="base1,post", trials=1)
    (folder / "study.toml").write_text(settings)
    for path in sorted((folder / "recordings").iterdir()):
        other = path.name.replace("ses-base1", "ses-2026-08-31").replace("ses-post", "ses-Oct26")
        path.rename(path.with_name(other))
    (folder / "measures.csv").write_text(
        "athlete,session,measure,value,unit\n01,2026-08-31,squat_1rm,80,kg\n02,Oct26,squat_1rm,90,kg\n"
    )
    (folder / "targets.csv").write_text("subgroup,metric,wanted\njump,jump_height_m,more\n")
    made = share(folder)
    copy = cj.Study.open(made.folder)
    assert copy.settings.session_order == ["session1", "base2", "session3"]
    assert (copy.before, copy.after) == ("session1", "session3")
    assert not {"01", "02"} & set(copy.athletes["athlete"])
    assert set(copy.measures["athlete"]) == set(copy.athletes["athlete"])
    assert not any("2026" in p.name or "Oct" in p.name for p in made.folder.rglob("*"))


def test_what_cannot_be_read_or_belongs_to_nobody_is_told(tmp_path):
    folder = make(tmp_path / "s", trials=1)
    (folder / "recordings" / "sub-A01_ses-base2_run-01.csv").write_text("no force\n")
    (folder / "recordings" / "holiday.csv").write_bytes(jump_bytes(3))
    (folder / "diary.md").write_text("A01 was tired\n")
    (folder / "decisions.csv").write_text(
        "file,jump,action,event,time_s,reason,who,when\nsub-A01_ses-base2_run-01.csv,1,reject,,,empty,T1,2026-09-03\n"
    )
    made = share(folder)
    told = {(t, c): r for t, c, r in made.left_out[["table", "column", "reason"]].to_numpy()}
    assert told["recordings", "sub-A01_ses-base2_run-01.csv"] == "cannot be read"
    assert "belongs to no athlete" in told["recordings", ""]
    assert "recordings that are not in the copy" in told["decisions", ""]
    assert "private" in told["diary.md", ""]
    assert made.recordings == 4
    assert not (made.folder / "decisions.csv").exists()


def test_a_rule_that_needs_a_column_that_stays_at_home_is_told_before_anything_is_written(tmp_path):
    folder = make(tmp_path / "s", trials=1)
    (folder / "athletes.csv").write_text("athlete,group,position\nA01,jump,wing\nA02,usual,back\n")
    (folder / "subgroups.csv").write_text("subgroup,rule\njump,position = wing\nusual,else\n")
    with pytest.raises(cj.StudyError, match=r"needs the column 'position'.*--keep position"):
        share(folder)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["s"]
    made = share(folder, keep=["position"])
    assert sorted(cj.Study.open(made.folder).athletes["position"]) == ["back", "wing"]


def test_words_of_every_day_in_names_of_folders_stop_nothing(tmp_path):
    folder = make(tmp_path / "jumps", trials=1)
    place = folder / "recordings" / "left"
    place.mkdir()
    for path in list((folder / "recordings").glob("*.csv")):
        path.rename(place / path.name)
    assert share(folder).recordings == 4


def test_every_form_of_force_comes_back_to_the_last_bit(tmp_path):
    force = cj.simulate_jump(seed=3).recording.force_n
    total, lost = force.sum(axis=1, keepdims=True), force.copy()
    lost[100:110], lost[:5], lost[50, 0] = np.nan, np.nan, np.nan
    forms = [
        (total, 1000.0, ("total",), 0.0), (force, 1000 / 3, ("left", "right"), 0.0),
        (force, 599.88, ("left", "right"), 12.3456789), (force, 1200.0, ("plate_1", "plate_2"), -0.5),
        (np.c_[total, force], 1000.0, ("total", "left", "right"), 0.0), (lost, 1000.0, ("left", "right"), 3.1),
        (np.zeros((3000, 1)), 1000.0, ("total",), 0.0), (force - 300, 1000.0, ("left", "right"), 0.0),
    ]  # fmt: skip
    for values, rate, plates, start in forms:
        one = cj.Recording(values, rate, plates, start_s=start)
        path = cj.write_recording(one, tmp_path / "a.parquet", time=False)
        assert same_recording(one, cj.read_recording(path, layout=LAYOUT)), (plates, rate, start)
        other = one.replace(force_n=one.force_n + 1e-12 * np.arange(len(values))[:, None])
        assert not same_recording(other, cj.read_recording(path, layout=LAYOUT))


def test_a_clock_that_tells_the_day_begins_at_zero(tmp_path):
    """Some programs write the seconds since 1970: the day would stand in every force file."""
    folder = make(tmp_path / "s", trials=1)
    name = "sub-A01_ses-base1_run-01.csv"
    force, began = recording(0).total_n, 1788170400.0
    rows = [f"{began + i / 500:.3f},{v:.1f}" for i, v in enumerate(force)]
    (folder / "recordings" / name).write_text("time_s,force_total_n\n" + "\n".join(rows) + "\n")
    study = cj.Study.open(folder)
    onset = study.jump(name).events["onset"]
    assert onset > began
    (folder / "decisions.csv").write_text(
        "file,jump,action,event,time_s,reason,who,when\n"
        f"{name},1,move,onset,{onset + 0.012!r},late,T1,2026-09-03\n"
    )
    made = share(folder)
    other = key_of(made, "file")[name]
    copy = cj.Study.open(made.folder)
    assert copy.jump(other).recording.start_s == 0.0
    assert copy.jump(other).events["onset"] == pytest.approx(onset + 0.012 - began, abs=1e-6)
    heights = [
        s.measure().set_index("file")["jump_height_m"] for s in (cj.Study.open(folder), copy)
    ]
    assert heights[1][other] == pytest.approx(heights[0][name], rel=1e-9)


def test_a_copy_can_be_copied_again(tmp_path):
    first = share(make(tmp_path / "s", trials=1))
    second = share(first.folder)
    assert second.recordings == first.recordings == 4
    assert not set(key_of(first, "athlete").values()) & set(key_of(second, "athlete").values())


def test_ids_and_distances_are_drawn_anew_each_time(tmp_path):
    study = cj.Study.open(
        make(tmp_path / "s", athletes=",".join(f"A{i:02d}" for i in range(30)), trials=0)
    )
    drawn = [new_identities(study) for _ in range(20)]
    assert len({d.athletes["A07"] for d in drawn}) > 15
    assert len({d.study_days for d in drawn}) > 15
    for d in drawn:
        assert len(set(d.athletes.values())) == 30
        assert all(n.isalnum() and n[0].isalpha() for n in d.athletes.values())
        assert {n % 7 for n in (d.study_days, *d.own_days.values())} == {0}
        assert d.day("2026-10-26") < "2023"
        assert d.day("") is None
        assert d.day(None) is None


def test_counts_of_rare_combinations_are_those_of_a_hand_count():
    roster = pd.DataFrame({
        "athlete": list("abcdefghij"), "group": ["x"] * 6 + ["y"] * 4, "sex": ["f"] * 5 + ["m", "f", "f", "m", "m"],
        "stature_m": 1.7,
    })  # fmt: skip
    found = small_cells(roster)
    assert found.to_numpy().tolist() == [["x", "m", 1], ["y", "f", 2], ["y", "m", 2]]
    assert small_cells(roster[["athlete"]]).empty


@pytest.mark.parametrize("word", ["cc-by-4.0", "LicenseRef-our-agreement", *KNOWN])
def test_licences_that_are_known(word):
    assert read_licence(word).casefold() == word.casefold()


def test_the_command_says_what_matters(tmp_path, monkeypatch):
    from cmjlab.cli.app import app

    monkeypatch.chdir(tmp_path)
    shutil.copytree(cj.demo_study(mini=True), "block", ignore=shutil.ignore_patterns("results"))
    done = CliRunner().invoke(app, ["share", "block", "given"])
    assert done.exit_code == 2
    assert "licence: none was named" in done.output
    assert not Path("given").exists()
    assert not Path("block/results").exists()
    done = CliRunner().invoke(
        app, ["share", "block", "given", "--licence", "CC-BY-4.0", "--age-bands"]
    )
    assert done.exit_code == 0, done.output
    for words in ("the one thing not to give away", "consent to testing is not enough", "Who could be recognised",
                  "not diagnoses", "Left out", "may still name a person"):  # fmt: skip
        assert words in done.output, words
    assert sorted(p.name for p in Path().iterdir()) == ["block", "given", "given.key.csv"]


@pytest.mark.slow
def test_the_report_of_the_demo_has_the_same_numbers_from_the_copy(tmp_path):
    """Every number of every table of the report, but for what is found by drawing at random."""
    folder = Path(
        shutil.copytree(cj.demo_study(), tmp_path / "s", ignore=shutil.ignore_patterns("results"))
    )
    made = share(folder)
    for home, name in ((folder, "one.html"), (made.folder, "two.html")):
        cj.write_report(cj.Study.open(home), tmp_path / name)
    new, files = key_of(made, "athlete"), key_of(made, "file")
    drawn = {"probability", "percentile_low", "percentile_high"}
    compared = 0
    for path in sorted((tmp_path / "one_files").glob("*.csv")):
        one, two = (
            pd.read_csv(p, low_memory=False) for p in (path, tmp_path / "two_files" / path.name)
        )
        one = one.replace(new).replace(files)
        wanted = [c for c in one if c in two and c != "birth_year" and one[c].dtype.kind in "if"]
        wanted = [
            c
            for c in wanted
            if c not in drawn and not (path.stem == "subgroups" and c.startswith("p_"))
        ]
        place = [c for c in one if c in two and one[c].dtype.kind not in "ifb" and c not in
                 ("date", "sha256", "reason", "code", "why", "text", "error")]  # fmt: skip
        tables = [t.sort_values(place, kind="stable")[wanted].to_numpy(float) for t in (one, two)]
        np.testing.assert_allclose(tables[1], tables[0], rtol=1e-9, atol=1e-12, err_msg=path.name)
        compared += int(np.isfinite(tables[0]).sum())
    assert compared > 20_000
    certain = [pd.read_csv(tmp_path / f"{name}_files" / "subgroups.csv") for name in ("one", "two")]
    one, two = (
        t.assign(athlete=t["athlete"].replace(new)).set_index("athlete")["probability"].sort_index()
        for t in certain
    )
    assert one.index.equals(two.index)
    assert (one - two).abs().max() < 0.06  # 5 SDs: two chances near one half, 4000 draws each
