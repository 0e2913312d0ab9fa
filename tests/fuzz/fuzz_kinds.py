"""What is attacked: each kind spoils a valid input and uses the library on it as a user would.

A try returns "result" or the name of the error that refused it. Whatever else it raises is a fault.
"""

from __future__ import annotations

import functools
import gzip
import io
import random
import tomllib
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import tomli_w
from c3d_kit import Trial
from fuzz_calls import CALLS
from fuzz_values import odd_text, odd_value, spoiled_bytes, spoiled_table
from study_kit import SETTINGS, jump_bytes, make

import cmjlab as cj


def _read(path: Path) -> None:
    """Read a file and measure what it holds; a refusal must name the file."""
    try:
        recording = cj.read_recording(path)
    except cj.ReadError as error:
        if path.name[:12] not in str(error):
            raise AssertionError(f"not named: {error}") from error
        raise
    cj.measure(recording)


def _text(rng: random.Random, folder: Path) -> None:
    text = jump_bytes(rng.randrange(4)).decode()
    delimiter = rng.choice((",", ";", "\t"))
    text = text.replace(",", delimiter)
    if delimiter == ";" and rng.random() < 0.5:
        text = text.replace(".", ",")
    spoiled = spoiled_table(text, rng, delimiter).encode("utf-8", "surrogatepass")
    if rng.random() < 0.3:
        spoiled = spoiled_bytes(spoiled, rng, (0, 400))
    if rng.random() < 0.2:
        spoiled = text.encode(rng.choice(("utf-16", "utf-32", "latin-1", "utf-7"))) + spoiled[:40]
    packed = rng.random() < 0.2
    path = folder / ("jump.csv.gz" if packed else rng.choice(("jump.csv", "jump.txt")))
    path.write_bytes(spoiled_bytes(gzip.compress(spoiled), rng) if packed else spoiled)
    _read(path)


def _c3d(rng: random.Random, folder: Path) -> None:
    trial = Trial(
        processor=rng.choice(("intel", "dec", "mips")),
        real=rng.random() < 0.5,
        kind=rng.choice((2, 2, 3, 4)),
    )
    path = folder / "trial.c3d"
    path.write_bytes(spoiled_bytes(trial.written(), rng, (0, 2560)))
    _read(path)


@functools.cache
def _valid(suffix: str) -> bytes:
    """Return a valid recording as a workbook or Parquet file."""
    frame = pd.read_csv(io.BytesIO(jump_bytes(1)), comment="#")
    out = io.BytesIO()
    if suffix == ".xlsx":
        frame.iloc[:900].to_excel(out, index=False)
    else:
        frame.to_parquet(out)
    return out.getvalue()


def _xlsx(rng: random.Random, folder: Path) -> None:
    path = folder / "jump.xlsx"
    if rng.random() < 0.3:
        path.write_bytes(spoiled_bytes(_valid(".xlsx"), rng))
    else:
        with zipfile.ZipFile(io.BytesIO(_valid(".xlsx"))) as old, zipfile.ZipFile(path, "w") as new:
            hit = rng.choice(old.namelist())
            for name in old.namelist():
                data = old.read(name)
                new.writestr(name, spoiled_bytes(data, rng, (0, 1200)) if name == hit else data)
    _read(path)


def _parquet(rng: random.Random, folder: Path) -> None:
    path = folder / "jump.parquet"
    valid = _valid(".parquet")
    path.write_bytes(spoiled_bytes(valid, rng, (len(valid) - 2500, len(valid))))
    _read(path)


#: Tables of a study as a user writes them; each is valid for the kit's study.
TABLES = {
    "athletes.csv": "athlete,group,sex,birth_year,stature_m,body_mass_kg\nA01,jump,female,2001,1.7,64\nA02,usual,male,1999,1.81,80\n",
    "sessions.csv": "session,date,tester,load_kg,stable,deviations\nbase1,2026-08-31,T1,,,\npost,2026-10-26,T1,,,\n",
    "recordings.csv": "file,athlete,session,trial\nsub-A01_ses-base1_run-01.csv,A01,base1,1\n",
    "measures.csv": "athlete,session,date,measure,value,unit,how,note\nA01,base1,2026-08-31,squat_1rm,90,kg,tested,\nA02,post,2026-10-26,squat_1rm,121.5,kg,tested,\n",
    "participation.csv": "athlete,session,from,to,status,reason\nA01,post,,,absent,illness\n",
    "subgroups.csv": "subgroup,rule,athlete,reason\nstrength,jump_height_m < 0.3,,low\nspeed,,A02,by hand\n",
    "block.csv": "exercise,subgroup,start_position,range,intent,load,sets,reps,weeks,percent_of\nback squat,jump,standing,thighs level,fast,80-90 % 1RM,4,3-5,,squat_1rm\n",
    "decisions.csv": "file,jump,action,event,time_s,reason,who,when\nsub-A01_ses-base1_run-01.csv,1,reject,,,lost balance,C1,2026-10-26T17:42:00\n",
    "targets.csv": "subgroup,metric,wanted,amount,why\njump,jump_height_m,more,,it is trained\n",
    "names.csv": "athlete,name\nA01,First Athlete\n",
}


def _use(folder: Path) -> None:
    study = cj.Study.open(folder, results=folder / "results")
    study.measure()
    study.sessions_table()
    cj.check_study(folder)


def _table(rng: random.Random, folder: Path) -> None:
    make(folder / "s", trials=1)
    name = rng.choice(list(TABLES))
    spoiled = spoiled_table(TABLES[name], rng)
    path = folder / "s" / name
    path.write_text(spoiled, encoding="utf-8", errors="surrogatepass", newline="")
    if rng.random() < 0.2:
        path.write_bytes(spoiled_bytes(path.read_bytes(), rng))
    _use(folder / "s")


def _toml_value(value: Any, rng: random.Random) -> Any:
    """Replace some leaves of a parsed study.toml."""
    if isinstance(value, dict) and rng.random() < 0.85:
        return {
            (odd_text(rng) if rng.random() < 0.02 else k): _toml_value(v, rng)
            for k, v in value.items()
        }
    if isinstance(value, list) and value and rng.random() < 0.85:
        return [_toml_value(v, rng) for v in value]
    return odd_value(rng) if rng.random() < 0.08 else value


_RICH = (
    SETTINGS
    + """
[plan]
summary = "mean"
level = 0.9
before = "base1"
after = "post"
control_group = "usual"
[plan.change_that_matters]
jump_height_m = 0.015
[method]
onset_sd = 6.0
[[layout]]
match = "*.csv"
delimiter = ","
"""
)


def _toml(rng: random.Random, folder: Path) -> None:
    make(folder / "s", trials=1)
    path = folder / "s" / "study.toml"
    if rng.random() < 0.5:
        path.write_bytes(spoiled_bytes(_RICH.encode(), rng))
    else:
        try:
            path.write_text(
                tomli_w.dumps(_toml_value(tomllib.loads(_RICH), rng)), encoding="utf-8", newline=""
            )
        except (TypeError, ValueError, AttributeError, UnicodeError):  # nothing that TOML can hold
            path.write_text(_RICH + "\n[x]\n" + odd_text(rng), encoding="utf-8", errors="replace")
    _use(folder / "s")


KINDS: dict[str, Callable[[random.Random, Path], None]] = {
    "text": _text,
    "c3d": _c3d,
    "xlsx": _xlsx,
    "parquet": _parquet,
    "table": _table,
    "toml": _toml,
    **CALLS,
}


def attempt(kind: str, seed: int, folder: Path) -> str:
    """Make one try; return "result" or the error that refused it."""
    try:
        KINDS[kind](random.Random(f"{kind} {seed}"), folder)
    except cj.CmjlabError as error:
        if not str(error).strip():
            raise AssertionError("an error without words") from error
        return type(error).__name__
    return "result"
