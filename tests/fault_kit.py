"""Faults of whole sessions and people, put into a copy of the demo study as they happen to people."""

from __future__ import annotations

import csv
import gzip
import shutil
from collections.abc import Callable
from pathlib import Path

import cmjlab as cj

POUNDS = 2.205


def copied(source: Path, folder: Path) -> Path:
    """Return a copy of a study that may be changed."""
    return shutil.copytree(source, folder)


def files_of(study: Path, athlete: str = "*", session: str = "post") -> list[Path]:
    """Return the recordings of an athlete in a session, in order."""
    return sorted((study / "recordings").glob(f"sub-{athlete}_ses-{session}_*"))


def _text(path: Path) -> str:
    read = gzip.open if path.suffix == ".gz" else open
    with read(path, "rt", encoding="utf-8") as file:
        return str(file.read())


def _write(path: Path, text: str) -> None:
    write = gzip.open if path.suffix == ".gz" else open
    with write(path, "wt", encoding="utf-8") as file:
        file.write(text)


def _layout(study: Path, line: str) -> None:
    """Add a layout for the files of the last session to study.toml."""
    path = study / "study.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(f'{text}\n[[layout]]\nmatch = "*ses-post_*"\n{line}\n', encoding="utf-8")


def _table(path: Path, change: Callable[[dict[str, str]], None]) -> None:
    with path.open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    for row in rows:
        change(row)
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)


def started_late(study: Path) -> None:
    """a: two thirds of the recordings of the last session begin in the middle of the movement."""
    for path in files_of(study)[:58]:
        made = cj.read_recording(path)
        late = cj.Recording(made.force_n[2 * int(made.rate_hz) :], made.rate_hz, made.plates)
        path.unlink()
        cj.write_recording(late, path.with_name(path.name.split(".")[0] + ".csv"))


def half_rate(study: Path) -> None:
    """b: the layout states half of the rate that the last session was recorded with."""
    _layout(study, 'rate_hz = 500\ntime_column = "none"')


def scale_off(study: Path) -> None:
    """c: the plates of the last session show 3 % too much."""
    _layout(study, "newton_per_unit = 1.03")


def sides_exchanged(study: Path) -> None:
    """d: the plates of the last session were connected the other way round."""
    for path in files_of(study):
        head, rest = _text(path).split("\n", 1)
        head = head.replace("left", "X").replace("right", "left").replace("X", "right")
        _write(path, f"{head}\n{rest}")


def one_file_twice(study: Path) -> None:
    """e: an athlete's recording was copied to another one's name (both train braking)."""
    source, target = files_of(study, "A02")[0], files_of(study, "A05")[0]
    target.unlink()
    shutil.copy(source, target.with_name(target.name.split(".")[0] + "".join(source.suffixes)))


def group_missing(study: Path) -> None:
    """f: nobody of the strength group came to the last session."""
    with (study / "athletes.csv").open(encoding="utf-8-sig", newline="") as file:
        group = [r["athlete"] for r in csv.DictReader(file) if r["group"] == "strength"]
    for athlete in group:
        for path in files_of(study, athlete):
            path.unlink()


def in_pounds(study: Path) -> None:
    """g: four maxima of the first session were written down in pounds."""

    def change(row: dict[str, str]) -> None:
        if (row["measure"], row["session"]) == ("squat_1rm", "base1") and row["athlete"] in (
            "A01", "A02", "A03", "A05",
        ):  # fmt: skip
            row["value"] = f"{float(row['value']) * POUNDS:.1f}"

    _table(study / "measures.csv", change)


def another_person(study: Path) -> None:
    """h: a much heavier person jumped under an athlete's id in the last session."""
    for path in files_of(study, "A02"):
        made = cj.read_recording(path)
        heavy = cj.Recording(made.force_n * 1.35, made.rate_hz, made.plates)
        path.unlink()
        cj.write_recording(heavy, path.with_name(path.name.split(".")[0] + ".csv"))
