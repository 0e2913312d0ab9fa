"""The dossier of calibration: one page on what was simulated, what came out and where it falls short.

    python tests/calibration/dossier.py                     # from the committed tables, in a second
    python tests/calibration/dossier.py --rerun             # every simulation again first: over an hour
    python tests/calibration/dossier.py --rerun threshold   # these only, by the names of their scripts

The page goes to ``build/dossier.html`` (``--out`` names another file); the site holds the same page
among those for reviewers. A rerun replaces the tables, measures the seconds each takes, which are
kept in ``times.json`` with the kind of device and the versions, and ends with exit code 1 when a table
is not what it was, byte for byte: git shows what changed.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import resource
import subprocess
import sys
import time
from importlib.metadata import version
from pathlib import Path
from typing import Any

import pandas as pd
from committed import TABLES, head_of, judged, scripts, seed_of, shown, verdict_counts, worst
from dossier_rows import outside_bar, short_rows

ROOT = TABLES.parents[1]
TIMES = "times.json"
#: What a rerun depends on besides this package.
_LIBRARIES = ("numpy", "scipy", "pandas")


# ---- rerunning -----------------------------------------------------------------------------------


def device() -> str:
    """Return the kind of this computer: nothing that names it."""
    return f"{platform.system()}, {platform.machine()}, {os.cpu_count()} processors"


def rerun(script: str, tables: list[Path]) -> dict[str, Any]:
    """Run one calibration in its own process; return seconds, versions and what is not the same.

    Parameters
    ----------
    script : str
        Name of the script that stands beside its tables.
    tables : list of Path
        The tables that it writes.
    """
    import cmjlab
    from cmjlab.keys import ENGINE

    before = {t: t.read_bytes() for t in tables}
    environment = os.environ | {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    environment["PYTHONPATH"] = os.pathsep.join(
        [str(ROOT), str(TABLES), os.environ.get("PYTHONPATH", "")]
    )
    used, start = _processor(), time.perf_counter()
    place = tables[0].parent
    subprocess.run(
        [sys.executable, str(place / f"{script}.py")], cwd=ROOT, env=environment, check=True
    )
    return {
        "wall_s": round(time.perf_counter() - start, 1),
        "processor_s": round(_processor() - used, 1),
        "device": device(),
        "python": platform.python_version(),
        **{name: version(name) for name in _LIBRARIES},
        "cmjlab": cmjlab.__version__,
        "engine": ENGINE,
        "changed": [t.name for t in tables if t.read_bytes() != before[t]],
    }


def _processor() -> float:
    """Return the seconds of the processor that ended children used."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def read_times(folder: Path = TABLES) -> dict[str, dict[str, Any]]:
    """Return what was measured at the last rerun of each script."""
    path = folder / TIMES
    return json.loads(path.read_text("utf-8")) if path.exists() else {}


def rerun_all(names: list[str], folder: Path = TABLES) -> list[str]:
    """Rerun scripts, keep their times; return the tables that are not what they were."""
    made = scripts(folder)
    unknown = [n for n in names if n not in made]
    if unknown:
        raise SystemExit(f"no script is called {', '.join(unknown)}; there are: {', '.join(made)}")
    changed = []
    for name in names or list(made):
        found = rerun(name, made[name])
        changed += found["changed"]
        times = read_times(folder) | {name: found}
        text = json.dumps(dict(sorted(times.items())), indent=1)
        (folder / TIMES).write_text(text + "\n", encoding="utf-8")
        same = (
            "the same to the last byte" if not found["changed"] else f"CHANGED: {found['changed']}"
        )
        print(f"{name}: {found['processor_s']} s of the processor; {same}", flush=True)
    return changed


# ---- the page ------------------------------------------------------------------------------------


def contents(folder: Path = TABLES) -> dict[str, Any]:
    """Return everything that the page says, as plain data."""
    import cmjlab
    from cmjlab.keys import ENGINE

    times = read_times(folder)
    parts = [_part(script, tables, times.get(script)) for script, tables in scripts(folder).items()]
    counts = [t["verdicts"] for p in parts for t in p["tables"] if t["verdicts"]]
    return {
        "version": cmjlab.__version__,
        "engine": ENGINE,
        "parts": parts,
        "total": {v: sum(c[v] for c in counts) for v in ("pass", "shown", "fail")},
        "unjudged": sum(t["rows"] for p in parts for t in p["tables"] if not t["verdicts"]),
        "outside": {
            v: sum(t["outside"][v] for p in parts for t in p["tables"])
            for v in ("pass", "shown", "fail")
        },
        "devices": sorted({t["device"] for t in times.values()}),
        "timed": len(times),
    }


def _part(script: str, tables: list[Path], timed: dict[str, Any] | None) -> dict[str, Any]:
    title, _ = head_of(script)
    return {
        "script": script, "page": script.replace("_", "-"), "title": title, "seed": seed_of(script),
        "time": timed, "tables": [_table(t) for t in tables],
    }  # fmt: skip


def _table(path: Path) -> dict[str, Any]:
    table = pd.read_csv(path)
    summary, largest = judged(table), worst(table)
    return {
        "name": path.name, "rows": len(table), "verdicts": verdict_counts(table),
        "studies": _studies(table), "summary": shown(summary) if summary is not None else None,
        "worst": shown(largest) if largest is not None else None,
        "whole": shown(table) if summary is None and largest is None else None,
        "fail": short_rows(table, "fail"), "shown": short_rows(table, "shown"),
        "outside": outside_bar(table),
    }  # fmt: skip


def _studies(table: pd.DataFrame) -> str:
    """Return how many studies (or jumps) stand behind a row, from the fewest to the most."""
    for column in ("studies", "n", "jumps", "squads", "athletes"):
        if column in table and ("verdict" not in table or column == "studies"):
            low, high = int(table[column].min()), int(table[column].max())
            return f"{low:,}" if low == high else f"{low:,} to {high:,}"
    return ""


def html_page(data: dict[str, Any]) -> str:
    """Return the dossier as one page of HTML that needs nothing else."""
    import mistune

    sys.path.append(str(ROOT / "notebooks" / "site"))
    from making.layout import filled

    text = filled("dossier.md.j2", **data)
    body = mistune.create_markdown(escape=False, plugins=["table"])(text)
    return filled("dossier_page.html.j2", body=body)


def main(words: list[str] | None = None) -> int:
    """Rerun what is asked for, and write the page."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--rerun", nargs="*", metavar="SCRIPT", help="simulate again first")
    parser.add_argument("--out", type=Path, default=ROOT / "build" / "dossier.html")
    args = parser.parse_args(words)
    changed = [] if args.rerun is None else rerun_all(args.rerun)
    args.out.parent.mkdir(parents=True, exist_ok=True)
    args.out.write_text(html_page(contents()), encoding="utf-8")
    print(f"dossier: {args.out}")
    return int(bool(changed))


if __name__ == "__main__":
    raise SystemExit(main())
