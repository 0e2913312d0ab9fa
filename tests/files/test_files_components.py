"""Files with forces along three axes, points of application and torques, as simulation programs
and general exports of motion capture write them: only the vertical forces are read."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from places import DATA

from cmjlab.errors import ReadError
from cmjlab.files.headings import read_heading
from cmjlab.files.inspect import inspect_file
from cmjlab.files.read import read_recording
from cmjlab.layout import Layout
from cmjlab.simulate.jump import simulate_jump

FORCES = DATA / "forces"


@pytest.mark.parametrize(
    ("name", "quantity", "axis", "side", "plate"),
    [
        ("ground_force_1_vy", "force", "y", "", 1),
        ("ground_force2_vz", "force", "z", "", 2),
        ("1_ground_force_vy", "force", "y", "", 1),
        ("ground_force_vx", "force", "x", "", 0),
        ("ground_force_r_vy", "force", "y", "right", 0),
        ("ground_force_left_vy", "force", "y", "left", 0),
        ("l_ground_force_vz", "force", "z", "left", 0),
        ("GroundReactionForce1Y", "force", "y", "", 1),
        ("F2Z", "force", "z", "", 2),
        ("FP1.Fx", "force", "x", "", 1),
        ("ground_force_1_px", "other", "", "", 1),
        ("1_ground_force_pz", "other", "", "", 1),
        ("ground_torque_1_y", "other", "y", "", 1),
        ("force_1_point_y", "other", "y", "", 1),
        ("centre of force y", "other", "y", "", 0),
        ("COPx1", "other", "", "", 0),
    ],
)
def test_names_of_components(name: str, quantity: str, axis: str, side: str, plate: int) -> None:
    found = read_heading(name)
    assert (found.quantity, found.side) == (quantity, side)
    if quantity == "force":
        assert (found.axis, found.plate) == (axis, plate)


def test_a_velocity_is_no_force() -> None:
    assert read_heading("vy").quantity != "force"
    assert read_heading("com_vy").quantity != "force"


def test_headers_above_say_what_bare_axes_are() -> None:
    assert read_heading("Z", "Plate 2 Force", "N").quantity == "force"
    assert read_heading("Z", "Plate 2 Force").plate == 2
    assert read_heading("Z", "Plate 2 Moment").quantity == "other"
    assert read_heading("X", "Plate 1 CoP").quantity == "other"
    assert read_heading("vy", "ground_force_1").axis == "y"


def _names(force: str, point: str, torque: str) -> dict[str, str]:
    return {"force": force, "point": point, "torque": torque}


#: style -> names of a component: {k} plate, {K} plate but the first, {s} side, {a} or {A} axis
STYLES = {
    "number inside": _names("ground_force_{k}_v{a}", "ground_force_{k}_p{a}", "ground_torque_{k}_{a}"),
    "number glued": _names("ground_force{k}_v{a}", "ground_force{k}_p{a}", "ground_torque{k}_{a}"),
    "number before": _names("{k}_ground_force_v{a}", "{k}_ground_force_p{a}", "{k}_ground_torque_{a}"),
    "first without": _names("{K}ground_force_v{a}", "{K}ground_force_p{a}", "{K}ground_torque_{a}"),
    "side letter": _names("ground_force_{s}_v{a}", "ground_force_{s}_p{a}", "ground_torque_{s}_{a}"),
    "side word": _names("ground_force_{side}_v{a}", "ground_force_{side}_p{a}", "ground_torque_{side}_{a}"),
    "side before": _names("{s}_ground_force_v{a}", "{s}_ground_force_p{a}", "{s}_ground_torque_{a}"),
    "letter number axis": _names("F{k}{A}", "P{k}{A}", "M{k}{A}"),
    "letter axis number": _names("F{a}{k}", "COP{a}{k}", "M{a}{k}"),
    "plate dot": _names("FP{k}.F{a}", "FP{k}.CoP{a}", "FP{k}.M{a}"),
    "quantity dot": _names("Force.F{a}{k}", "CoP.C{a}{k}", "Moment.M{a}{k}"),
    "abbreviated": _names("grf_{k}_{a}", "cop_{k}_{a}", "grm_{k}_{a}"),
    "camel": _names("GroundReactionForce{k}{A}", "CenterOfPressure{k}{A}", "FreeMoment{k}{A}"),
    "plate letter": _names("Plate{L}_F{a}", "Plate{L}_CoP{a}", "Plate{L}_M{a}"),
    "group, names": _names("Plate {k} - Force|F{a}", "Plate {k} - CoP|C{a}", "Plate {k} - Moment|M{a}"),
    "group, axes": _names("Force Plate {k} Force|{A}", "Force Plate {k} CoP|{A}", "Force Plate {k} Moment|{A}"),
}  # fmt: skip
UNITS = {"force": "N", "point": "mm", "torque": "Nmm"}


@dataclass(frozen=True)
class Column:
    """A column of a made-up file: its name, the group above it, its unit, its cells."""

    name: str
    group: str
    unit: str
    cells: list[str]


@dataclass(frozen=True)
class Mixture:
    """A file and what it must read as."""

    data: bytes
    force: np.ndarray
    plates: tuple[str, ...]
    rate: float | None
    about: str


class Dice:
    """Random choices of one seed."""

    def __init__(self, seed: int) -> None:
        self.rng = np.random.default_rng(seed)

    def one_of(self, *options: str) -> str:
        return options[int(self.rng.integers(len(options)))]

    def chance(self, share: float) -> bool:
        return bool(self.rng.random() < share)


def _components(dice: Dice, style: str, force: np.ndarray, up: str) -> list[Column]:
    """Return the columns of all plates; only those along ``up`` carry weight."""
    kinds = ["force", *(k for k in ("point", "torque") if dice.chance(0.7))]
    columns = []
    for k, kind, axis in product(range(force.shape[1]), kinds, "xyz"):
        side = ("right", "left", "third")[k]
        words = {"k": k + 1, "K": "" if k == 0 else f"{k}_", "s": side[0], "side": side,
                 "a": axis, "A": axis.upper(), "L": "ABC"[k]}  # fmt: skip
        group, _, name = STYLES[style][kind].format(**words).rpartition("|")
        noise = dice.rng.normal(0.0, 2.0, force.shape[0])
        level = {"force": 0.05 * force[:, k], "point": 300.0, "torque": 60.0 * force[:, k]}[kind]
        values = force[:, k] if (kind, axis) == ("force", up) else level + noise
        cells = [f"{v:.3f}" for v in values]
        columns.append(Column(name, group if axis == "x" else "", UNITS[kind], cells))
    return columns


def _clock(dice: Dice, n: int, rate: float) -> tuple[list[Column], float | None]:
    """Return the columns of time, or of frames and sub-frames, and the rate to be given."""
    kind = dice.one_of("time", "time", "frames", "samples")
    if kind == "time":
        return [Column("time", "", "s", [f"{k / rate:.6f}" for k in range(n)])], None
    if kind == "samples":
        return [Column("Sample", "", "", [str(k + 1) for k in range(n)])], rate
    per = int(dice.rng.integers(2, 11))
    frames = Column("Frame", "", "", [str(k // per + 1) for k in range(n)])
    return [frames, Column("SubFrame", "", "", [str(k % per) for k in range(n)])], rate


def _head(dice: Dice, columns: list[Column], separator: str) -> list[str]:
    """Return the lines above the data."""
    lines = []
    if dice.chance(0.6):
        rows = len(columns[0].cells)
        lines = ["jump 07", "version=1", f"nRows={rows}", f"nColumns={len(columns)}"]
        lines += ["inDegrees=yes", *([""] if dice.chance(0.3) else []), "endheader"]
        if separator == "," and dice.chance(0.5):
            lines = [line + "," * (len(columns) - 1) for line in lines]
    if any(c.group for c in columns):
        lines.append(separator.join(c.group for c in columns))
    lines.append(separator.join(c.name for c in columns))
    units = dice.one_of("none", "all", "stray")
    if units == "none" or separator == " ":
        return lines
    cells = [c.unit for c in columns]
    if units == "stray":
        cells[0] = "checked"
        cells[-1] = dice.one_of("", "see sheet", "1000")
        cells += dice.one_of("", "x", ",late").split(",") if dice.chance(0.5) else []
    return [*lines, separator.join(cells)]


def mixture(seed: int) -> Mixture:
    """Return the file of a seed: plates, axis up, names, units row, separator, preamble, clock."""
    dice = Dice(seed)
    style = dice.one_of(*STYLES)
    plates = 2 if style.startswith("side") else int(dice.rng.integers(1, 4))
    up, separator = dice.one_of("y", "z"), dice.one_of("\t", ",", ";", " ")
    if style.startswith("group") and separator == " ":
        separator = "\t"
    total = TOTAL.copy()
    shares = np.array(([1.0], [0.45, 0.55], [0.42, 0.58, 0.0])[plates - 1])
    force = total[:, None] * shares + dice.rng.normal(0.0, 1.0, (total.size, plates))
    force = force.round(3)
    clock, rate = _clock(dice, total.size, RATE)
    columns = [*clock, *_components(dice, style, force, up)]
    lines = _head(dice, columns, separator)
    lines += [separator.join(row) for row in zip(*(c.cells for c in columns), strict=True)]
    end = dice.one_of("\n", "\r\n")
    names = tuple(f"plate_{k + 1}" for k in range(plates)) if plates > 1 else ("total",)
    names = ("right", "left") if style.startswith("side") else names
    about = f"{seed}: {style}, {plates} plates, {up} up, {separator!r}, rate {rate}"
    return Mixture((end.join(lines) + end).encode(), force, names, rate, about)


RATE = 250.0
TOTAL = simulate_jump(rate_hz=RATE).recording.total_n


@pytest.mark.parametrize("block", range(12))
def test_mixtures_read_back_to_the_printed_step(block: int, tmp_path: Path) -> None:
    path = tmp_path / "a.mot"
    wrong = []
    for seed in range(25 * block, 25 * block + 25):
        case = mixture(seed)
        path.write_bytes(case.data)
        try:
            found = read_recording(path, rate_hz=case.rate)
        except ReadError as error:
            wrong.append(f"{case.about} -> {error}")
            continue
        same = found.force_n.shape == case.force.shape and found.plates == case.plates
        if not same or found.rate_hz != RATE or np.abs(found.force_n - case.force).max() > 1e-9:
            wrong.append(f"{case.about} -> {found.plates} {found.rate_hz} {found.force_n.shape}")
    assert not wrong, "\n".join(wrong[:5])


@pytest.mark.parametrize("seed", range(0, 60, 2))
def test_the_layout_that_is_shown_reads_the_same(seed: int, tmp_path: Path) -> None:
    case = mixture(seed)
    path = tmp_path / "a.csv"
    path.write_bytes(case.data)
    seen = inspect_file(path, rate_hz=case.rate)
    assert seen.recording is not None, seen.questions
    stated = tomllib.loads(seen.layout_toml())["layout"][0]
    again = read_recording(path, layout=Layout.from_dict(stated))
    np.testing.assert_array_equal(again.force_n, seen.recording.force_n)
    assert again.plates == seen.recording.plates
    assert again.rate_hz == seen.recording.rate_hz


def test_squat_jumps_of_a_laboratory_with_y_up() -> None:
    found = read_recording(FORCES / "sj_BFR013.csv.gz")
    assert found.plates == ("plate_1", "plate_2")
    assert (found.n_samples, found.rate_hz) == (10780, 1000.0)
    assert found.force_n[0].tolist() == [354.694336, 220.868286]
    codes = {n.code for n in found.notes}
    assert "vertical_axis" in codes
    assert "rows_missing" not in codes


def test_gait_among_markers_with_y_up() -> None:
    found = read_recording(FORCES / "bmc_gait_n.txt")
    assert found.plates == ("total",)
    assert found.rate_hz == 150.0
    columns = np.genfromtxt(FORCES / "bmc_gait_n.txt", names=True)
    np.testing.assert_array_equal(found.total_n, columns["Fy"])


HEAD = ["jump 07", "version=1", "nRows=400", "nColumns=2", "inDegrees=yes", "endheader"]


def test_rows_that_a_header_announces_and_are_not_there(tmp_path: Path) -> None:
    path = tmp_path / "a.mot"
    rows = [f"{k / 100:.2f}\t{700.0 + k % 3}" for k in range(400)]
    for kept, missing in ((400, False), (310, True)):
        lines = [*HEAD, "time\tground_force_vy", *rows[:kept]]
        path.write_text("\n".join(lines) + "\n")
        found = read_recording(path)
        assert found.n_samples == kept
        texts = [n.text for n in found.notes if n.code == "rows_missing"]
        assert bool(texts) == missing
        assert not missing or "400 rows, 310 are there" in texts[0]


def test_whole_numbers_below_a_preamble_are_cut_as_their_header_is(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    rows = [f"{k},{700 + k % 3}" for k in range(300)]
    path.write_text("\n".join([*HEAD[:-1], ",", "endheader,", "sample,ground_force_vy", *rows, ""]))
    found = read_recording(path, rate_hz=500)
    assert found.force_n[:4, 0].tolist() == [700.0, 701.0, 702.0, 700.0]


def test_plates_without_a_side_are_only_numbered(tmp_path: Path) -> None:
    path = tmp_path / "a.sto"
    lines = ["time\tground_force_vy\t1_ground_force_vy"]
    path.write_text("\n".join(lines + [f"{k / 100:.2f}\t{400 + k % 3}\t350.5" for k in range(300)]))
    found = read_recording(path)
    assert found.plates == ("plate_1", "plate_2")
    assert "plates_by_order" in {n.code for n in found.notes}
