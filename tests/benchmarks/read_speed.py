"""How long reading takes beside a bare pyarrow.csv read of the same file.

Run ``python tests/benchmarks/read_speed.py``. Every ratio is the median of paired ratios
measured in turns within this run; the load of the machine is printed, since a lone wall time
on a shared machine says little. Bars: plain file at most 1.5 (aim 1.3), damaged dialect at
most 10.
"""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

import numpy as np
from pairs import paired
from pyarrow import csv

from cmjlab.files.read import read_recording
from cmjlab.files.write import write_recording
from cmjlab.recording import Recording


def recording() -> Recording:
    """Return 6,000 samples on two plates that look like force."""
    rng = np.random.default_rng(20260)
    t = np.arange(6000) / 1000.0
    total = 750.0 + 400.0 * np.exp(-(((t - 2.5) / 0.2) ** 2)) + rng.normal(0.0, 2.0, t.size)
    return Recording(np.column_stack([0.48 * total, 0.52 * total]), 1000.0, ("left", "right"))


def dialects(folder: Path, plain: Path) -> dict[str, Path]:
    """Return copies of the plain file that the fast path cannot take."""
    text = plain.read_text()
    lines = text.splitlines()
    made = {
        "decimal comma, cp1252, header with unit": "Zeit [s];Kraft für links [N];rechts [N]\n"
        + "\n".join(line.replace(",", ";").replace(".", ",") for line in lines[1:])
        + "\n",
        "preamble, units row, CRLF, trailing comma": "\r\n".join(
            ["Sampling rate (Hz): 1000", "", "Time,Left Fz,Right Fz", "s,N,N"]
            + [line + "," for line in lines[1:]]
        ),
        "error words and a cut last line": "\n".join(
            [*lines[:3000], "2.999,OVR,---", *lines[3001:-1], lines[-1][:-2]]
        ),
        "fixed width": "\n".join("".join(f"{c:>16}" for c in line.split(",")) for line in lines),
    }
    paths = {}
    for k, (what, content) in enumerate(made.items()):
        path = folder / f"dialect_{k}.txt"
        path.write_bytes(content.encode("cp1252" if "für" in content else "utf-8"))
        read_recording(path)
        paths[what] = path
    return paths


def main() -> None:
    """Print the table of ratios."""
    with tempfile.TemporaryDirectory() as name:
        plain = write_recording(recording(), Path(name) / "plain.csv")
        print(f"{plain.stat().st_size / 1e3:.0f} kB, 6,000 rows × 3; load {os.getloadavg()[0]:.1f}")
        cases = {"plain": plain, **dialects(Path(name), plain)}
        print(f"{'file':45s} {'cmjlab ms':>10s} {'pyarrow ms':>11s} {'ratio':>6s}")
        for what, path in cases.items():
            ours, bare, ratio = paired(
                lambda p=path: read_recording(p), lambda: csv.read_csv(plain)
            )
            print(f"{what:45s} {ours:10.2f} {bare:11.2f} {ratio:6.2f}")


if __name__ == "__main__":
    main()
