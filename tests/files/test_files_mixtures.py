"""Random mixtures of dialect features: read right or refused, never read wrong."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from cmjlab.errors import ReadError
from cmjlab.files.read import read_recording
from cmjlab.units import FORCE_UNITS


@dataclass(frozen=True)
class Mixture:
    """One random dialect and what it must read as."""

    data: bytes
    force: np.ndarray
    rate: float
    step: float
    about: str


PREAMBLES = (
    [],
    ["Operator: n.n.", ""],
    ["Date: 2026-03-04 09:15:01", "Mass (kg): 76.5", "Channels: 2", ""],
    ["Protocol;CMJ", 'Remark;"arms akimbo; bare feet"'],
)
FOOTERS = ("", "\nEnd\n", "Mean: 750.1\n", "-- end of data --\n\n\n")
HEADERS = {
    "en": ("Time", "Left Fz", "Right Fz"),
    "de": ("Zeit", "Kraft links", "Kraft rechts"),
    "short": ("t", "FzL", "FzR"),
    "plain": ("time", "left", "right"),
}
TIMES = {"s": 1.0, "ms": 1000.0, "none": 1.0}


def mixture(seed: int) -> Mixture:
    """Return the dialect of a seed."""
    rng = np.random.default_rng(seed)

    def pick(items: object) -> object:
        options = list(items)  # type: ignore[call-overload]
        return options[int(rng.integers(len(options)))]

    rate = float(pick((200.0, 500.0, 600.0, 1000.0, 1200.0, 2000.0)))  # type: ignore[arg-type]
    n = int(rng.integers(300, 900))
    t = np.arange(n) / rate
    left = (370.0 + 700.0 * np.exp(-(((t - t[n // 2]) / 0.06) ** 2)) + rng.normal(0, 2, n)).round(1)
    right = (left * 1.07 + rng.normal(0, 2, n)).round(1)
    delimiter, decimal = pick(
        [
            (",", "."),
            (";", "."),
            (";", ","),
            ("\t", "."),
            ("\t", ","),
            ("|", "."),
            ("  ", "."),
            ("  ", ","),
        ]
    )  # type: ignore[misc]
    unit = str(pick(("N", "N", "kN", "kgf", "lbf", "")))
    time = str(pick(TIMES))
    sign = float(pick((1.0, 1.0, -1.0)))  # type: ignore[arg-type]
    head = HEADERS[str(pick(HEADERS))]
    style = str(pick(("brackets", "row", "underscore"))) if unit else "none"
    factor, digits = FORCE_UNITS[unit or "N"], {"N": 1, "": 1, "kN": 4, "kgf": 2, "lbf": 2}[unit]
    columns = (
        [[f"{v * TIMES[time]:.{3 if time == 'ms' else 6}f}" for v in t]] if time != "none" else []
    )
    columns += [[f"{sign * v / factor:.{digits}f}" for v in side] for side in (left, right)]
    rows = [
        str(delimiter).join(cells).replace(".", str(decimal))
        for cells in zip(*columns, strict=True)
    ]
    units = ([] if time == "none" else [time]) + [unit, unit]
    names = list(head) if time != "none" else list(head[1:])
    lines = list(pick(PREAMBLES))  # type: ignore[call-overload]
    if time == "none":
        lines.append(f"Sampling rate: {rate:g} Hz")
    if style == "brackets":
        names = [f"{a}[{u}]" for a, u in zip(names, units, strict=True)]
    elif style == "underscore":
        names = [f"{a}_{u}" for a, u in zip(names, units, strict=True)]
    if delimiter == "  ":
        names = [a.replace(" ", "") for a in names]
    lines.append(str(delimiter).join(names))
    if style == "row":
        lines.append(str(delimiter).join(units))
    end = str(pick(("\n", "\r\n", "\r")))
    trailing = str(delimiter) if delimiter != "  " and rng.random() < 0.2 else ""
    text = end.join([*lines, *(r + trailing for r in rows)]) + end
    text += str(pick(FOOTERS)).replace("\n", end)
    encoding = str(pick(("utf-8", "utf-8-sig", "utf-16", "cp1252")))
    about = f"{seed}: {delimiter!r} {decimal!r} {unit!r} {style} {time} {sign} {end!r} {encoding} {rate:g}"
    force = np.column_stack([left, right])
    return Mixture(text.encode(encoding), force, rate, 0.51 * factor * 10.0**-digits, about)


@pytest.mark.parametrize("block", range(10))
def test_mixtures_are_never_read_wrong(block: int, tmp_path: Path) -> None:
    refused = []
    for seed in range(40 * block, 40 * block + 40):
        case = mixture(seed)
        path = tmp_path / "a.txt"
        path.write_bytes(case.data)
        try:
            found = read_recording(path)
        except ReadError as error:
            # Whole milliseconds without a unit might be sample numbers: asking is right.
            if "milliseconds (1000 Hz) or sample" not in str(error) or case.rate != 1000.0:
                refused.append(f"{case.about} -> {error}")
            continue
        assert found.rate_hz == case.rate, case.about
        assert found.plates == ("left", "right"), case.about
        assert found.force_n.shape == case.force.shape, case.about
        assert np.abs(found.force_n - case.force).max() <= case.step + 1e-9, case.about
    assert not refused, refused[:3]
