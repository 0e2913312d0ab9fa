"""Names of persons in names of files and folders: none of them reaches anything that is passed on."""

from __future__ import annotations

import re
import shutil
import zipfile
import zlib
from pathlib import Path

import pandas as pd
import pytest
from report_kit import kit_study

import cmjlab as cj
from cmjlab.report.write import write_report
from cmjlab.study.decide.decisions import Decision
from cmjlab.study.export import write_results
from cmjlab.study.shared_names import SharedNames

PERSON = "Zoe_Quentin"


def files(*rows: tuple[str, str, str, str]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["file", "athlete", "session", "trial"])


def test_a_file_that_holds_ids_only_keeps_its_name():
    own = "sub-A01_ses-base1_run-02.csv.gz"
    assert SharedNames(files((own, "A01", "base1", "2"))).name(own) == own


@pytest.mark.parametrize(
    "file",
    [
        f"{PERSON}/jump 1.csv",
        f"{PERSON}_1.csv",
        "sub-Zoe_ses-base1_run-01.csv",  # listed as A01 in recordings.csv
        f"{PERSON}/sub-A01_ses-base1_run-01.csv",
        f"sub-A01_ses-base1_run-01_{PERSON}.csv",
    ],
)
def test_every_other_file_is_called_by_its_ids(file):
    names = SharedNames(files((file, "A01", "base1", "1")))
    assert names.name(file) == "sub-A01_ses-base1_run-01"
    assert names.own("sub-A01_ses-base1_run-01") == file
    assert names.own(file) == file


def test_no_two_recordings_share_a_name():
    table = files(
        ("sub-A01_ses-post_run-01.csv", "A01", "post", "1"),
        ("Zoe/a.csv", "A01", "post", "1"),
        ("Zoe/b.csv", "A01", "post", ""),
        ("all.csv", "A01", "post", "1"),
        ("all.csv", "A02", "post", "1"),
    )
    names = SharedNames(table, others=["Zoe/c.csv", "all.csv"])
    said = [names.name(f) for f in table["file"].unique()]
    assert len(set(said)) == 4
    assert said[3] == "several-people_run-01"
    assert names.name("Zoe/c.csv") == "unplaced-001"


def test_files_and_folders_within_a_text():
    table = files(
        (f"{PERSON}/trial one.csv", "A01", "post", "1"), ("post/A02 x.csv", "A02", "post", "1")
    )
    names = SharedNames(table, ids={"post"})
    text = (
        f"{PERSON}/trial one.csv: no jump. See {PERSON} and 'trial one.csv' of post; post/A02 x.csv"
    )
    assert names.text(text) == (
        "sub-A01_ses-post_run-01: no jump. See (folder) and 'sub-A01_ses-post_run-01' of post;"
        " sub-A02_ses-post_run-01"
    )


# ---- a whole study ------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def study(tmp_path_factory) -> Path:
    """The kit's study with an athlete's files in a folder named after a person, some of them broken."""
    folder = kit_study(tmp_path_factory.mktemp("names")).folder
    place = folder / "recordings" / PERSON
    place.mkdir()
    rows = ["file,athlete,session,trial"]
    for path in sorted((folder / "recordings").glob("sub-A00_*")):
        session, trial = re.fullmatch(r"sub-A00_ses-(\w+?)_run-(\d+).*", path.name).groups()  # type: ignore[union-attr]
        target = place / f"{PERSON}_{session}_{trial}{''.join(path.suffixes)}"
        path.rename(target)
        rows.append(f"{PERSON}/{target.name},A00,{session},{int(trial)}")
    broken = place / f"{PERSON}_broken.csv"
    broken.write_text("time,force\n0,no number\n", encoding="utf-8")
    rows.append(f"{PERSON}/{broken.name},A00,base1,3")
    shutil.copy(next(place.glob("*post*")), place / f"{PERSON}_lost.csv")
    (folder / "recordings.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    toml = folder / "study.toml"
    layout = f'\n[[layout]]\nmatch = "{PERSON}*"\nforce_unit = "N"\n'
    toml.write_text(toml.read_text(encoding="utf-8") + layout, encoding="utf-8")
    opened = cj.Study.open(folder)
    rejected = f"{PERSON}/{PERSON}_base1_01.csv"
    file = next(f for f in opened.measure()["file"] if f.startswith(rejected[:-4]))
    opened.decide(Decision("reject", file, 1, reason="arms used", who="T1"))
    return folder


def _contents(path: Path) -> list[bytes]:
    """Return everything that a file holds, packed parts unpacked."""
    data = path.read_bytes()
    out = [data]
    if zipfile.is_zipfile(path):
        with zipfile.ZipFile(path) as packed:
            out += [packed.read(n) for n in packed.namelist()]
    if path.suffix == ".parquet":
        out.append(pd.read_parquet(path).to_csv().encode())
    if path.suffix == ".pdf":
        for stream in re.findall(rb"stream\r?\n(.*?)endstream", data, re.S):
            try:
                out.append(zlib.decompress(stream.strip(b"\r\n")))
            except zlib.error:
                continue
    return out


def _holding(folder: Path, words: tuple[str, ...]) -> list[str]:
    """Return the files whose content or name holds one of the words."""
    found = []
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        parts = [path.name.encode(), *_contents(path)]
        if any(w.encode() in p for w in words for p in parts):
            found.append(path.relative_to(folder).as_posix())
    return found


def test_no_byte_of_what_is_passed_on_holds_the_name(study, tmp_path):
    opened = cj.Study.open(study, tmp_path / "results")
    write_results(opened)
    for name in ("page.html", "page.docx", "page.pdf"):
        if name.endswith("pdf") and not shutil.which("chromium"):
            continue
        write_report(opened, tmp_path / "out" / name)
    shared = tmp_path / "shared"
    shutil.copytree(tmp_path / "results", shared, ignore=shutil.ignore_patterns("store"))
    shutil.copytree(tmp_path / "out", shared / "report")
    kinds = {p.suffix for p in shared.rglob("*") if p.is_file()}
    assert kinds >= {".html", ".docx", ".xlsx", ".csv", ".json", ".parquet"}
    assert _holding(shared, (PERSON, "Quentin", "Zoe")) == []
    jumps = pd.read_csv(shared / "jumps.csv")
    assert "sub-A00_ses-base1_run-01" in set(jumps["file"])  # the rows are there all the same
    assert (
        jumps.loc[jumps["error"].notna(), "error"].str.startswith("sub-A00_ses-base1_run-03").all()
    )
    assert jumps["error"].notna().sum() == 1
    excluded = pd.read_csv(shared / "report" / "page_files" / "excluded_jumps.csv")
    assert {"sub-A00_ses-base1_run-01", "sub-A00_ses-base1_run-03"} <= set(excluded["file"])


def test_the_words_that_must_not_be_found_are_found_where_they_are(study, tmp_path):
    """The search itself works: the person's own folder is full of the name."""
    assert len(_holding(study / "recordings", (PERSON,))) == 8


def test_the_person_at_the_keyboard_is_told_the_file(study):
    found = cj.check_study(study)
    assert found["file"].str.contains(PERSON).any()


def test_either_name_finds_the_recording_again(study):
    opened = cj.Study.open(study)
    own = next(f for f in opened.measure()["file"] if f.endswith("post_01.csv") or "post_01" in f)
    shared = opened.shared_names.name(own)
    assert shared == "sub-A00_ses-post_run-01"
    assert opened.jump(shared).metrics == opened.jump(own).metrics
    log = study / "decisions.csv"
    before = log.read_text(encoding="utf-8-sig")
    try:
        again = opened.decide(Decision("reject", shared, 1, reason="step", who="T1"))
        assert again.decided.verdicts[own, 1]["reason"] == "step"
        text = log.read_text(encoding="utf-8-sig")
        log.write_text(text.replace(own, shared), encoding="utf-8")  # as a person copies it
        assert cj.Study.open(study).decided.verdicts[own, 1]["reason"] == "step"
    finally:
        log.write_text(before, encoding="utf-8")
