"""One recording in many dialects: each must read back as the same force, to the printed step."""

from __future__ import annotations

import gzip
import io
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from cmjlab.errors import ReadError
from cmjlab.files.inspect import inspect_file
from cmjlab.files.read import read_recording
from cmjlab.layout import Layout
from cmjlab.recording import Recording
from cmjlab.simulate.jump import simulate_jump
from cmjlab.units import FORCE_UNITS

RATE = 1000.0


@pytest.fixture(scope="module")
def base() -> Recording:
    """One simulated jump on two plates, rounded to 0.1 N, with three components made up."""
    total = simulate_jump().recording.total_n
    left = np.round(0.47 * total, 1)
    right = np.round(0.53 * total, 1)
    return Recording(np.column_stack([left, right]), RATE, ("left", "right"))


def _rows(base: Recording, cells: Callable[[int, float, float], list[str]], sep: str) -> list[str]:
    left, right = base.force_n[:, 0].tolist(), base.force_n[:, 1].tolist()
    return [sep.join(cells(k, a, b)) for k, (a, b) in enumerate(zip(left, right, strict=True))]


def _two(k: int, a: float, b: float) -> list[str]:
    return [f"{k / RATE:.3f}", f"{a:.1f}", f"{b:.1f}"]


def _comma(k: int, a: float, b: float) -> list[str]:
    return [c.replace(".", ",") for c in _two(k, a, b)]


def _thousands(mark: str, decimal: str) -> Callable[[int, float, float], list[str]]:
    def cells(k: int, a: float, b: float) -> list[str]:
        shown = [f"{v:,.1f}".replace(",", "#").replace(".", decimal) for v in (a, b)]
        return [f"{k / RATE:.3f}".replace(".", decimal), *(s.replace("#", mark) for s in shown)]

    return cells


def _clock(k: int, a: float, b: float) -> list[str]:
    seconds = 23 * 3600 + 59 * 60 + 58 + k / RATE
    seconds %= 86400
    hours, rest = divmod(seconds, 3600)
    minutes, rest = divmod(rest, 60)
    return [f"{hours:02.0f}:{minutes:02.0f}:{rest:06.3f}", f"{a:.1f}", f"{b:.1f}"]


def _unit(unit: str, digits: int) -> Callable[[int, float, float], list[str]]:
    factor = FORCE_UNITS[unit]

    def cells(k: int, a: float, b: float) -> list[str]:
        return [f"{k / RATE:.3f}", f"{a / factor:.{digits}f}", f"{b / factor:.{digits}f}"]

    return cells


def _components(order: tuple[str, ...]) -> Callable[[int, float, float], list[str]]:
    def cells(k: int, a: float, b: float) -> list[str]:
        out = [f"{k / RATE:.3f}"]
        for v in (a, b):
            parts = {"h": 0.01 * v, "k": -0.02 * v, "z": v, "m": 3.0}
            out += [f"{parts[o]:.1f}" for o in order]
        return out

    return cells


def _total_and_parts(k: int, a: float, b: float) -> list[str]:
    return [*_two(k, a, b), f"{a + b:.1f}"]


def _text(head: list[str], rows: list[str]) -> str:
    return "\n".join([*head, *rows, ""])


def _ends(end: str, tail: str = "") -> Callable[[str], str]:
    """Return a change of a text: other ends of lines, and something after the last."""
    return lambda text: text.replace("\n", end) + tail


#: name -> (file name, content builder, keyword arguments, expected plates, tolerance in newtons)
Case = tuple[str, Callable[[Recording], bytes | str], dict[str, Any], tuple[str, ...], float]
LR = ("left", "right")
H = "Time [s],Left Fz [N],Right Fz [N]"


def _cases() -> dict[str, Case]:
    def case(
        head: list[str],
        cells: Callable[[int, float, float], list[str]] = _two,
        sep: str = ",",
        *,
        name: str = "a.csv",
        plates: tuple[str, ...] = LR,
        step: float = 0.0,
        change: Callable[[str], bytes | str] = lambda t: t,
        **options: Any,
    ) -> Case:
        def build(base: Recording) -> bytes | str:
            return change(_text(head, _rows(base, cells, sep)))

        return name, build, options, plates, step

    tab, semi = H.replace(",", "\t"), H.replace(",", ";")
    mV = Layout(force_unit="mV", newton_per_unit=0.5)
    return {
        "comma": case([H]),
        "tab": case([tab], sep="\t", name="a.txt"),
        "semicolon": case([semi], sep=";"),
        "bar": case([H.replace(",", "|")], sep="|"),
        "blanks": case(["Time(s) LeftFz(N) RightFz(N)"], sep=" "),
        "many blanks": case(["Time [s]    Left Fz [N]    Right Fz [N]"], sep="    "),
        "comma and blank": case([H.replace(",", ", ")], sep=", "),
        "fixed width": case(
            [f"{'Time':>12}{'Left Fz':>12}{'Right Fz':>12}"],
            lambda k, a, b: [f"{c:>12}" for c in _two(k, a, b)],
            sep="",
        ),
        "no header, two columns of force and time": case(
            [],
            layout=Layout(time_column="1", force_columns=("2", "3"), plates=LR),
        ),
        "decimal comma": case([semi], _comma, ";"),
        "decimal comma, tab": case([tab], _comma, "\t"),
        "decimal comma, blanks": case(["Zeit links rechts"], _comma, "  "),
        "decimal comma, quoted": case(
            [H], lambda k, a, b: [f'"{c}"' for c in _comma(k, a, b)], ","
        ),
        "thousands comma": case([semi], _thousands(",", "."), ";"),
        "thousands comma, quoted": case(
            [H], lambda k, a, b: [f'"{c}"' for c in _thousands(",", ".")(k, a, b)], ","
        ),
        "thousands point, decimal comma": case([semi], _thousands(".", ","), ";"),
        "thousands blank, decimal comma": case([semi], _thousands(" ", ","), ";"),
        "thousands thin blank": case([semi], _thousands("\u202f", ","), ";"),
        "thousands apostrophe": case([tab], _thousands("'", "."), "\t"),
        "BOM": case([H], change=lambda t: t.encode("utf-8-sig")),
        "UTF-16 little end": case([tab], sep="\t", change=lambda t: t.encode("utf-16")),
        "UTF-16 big end, no mark": case([tab], sep="\t", change=lambda t: t.encode("utf-16-be")),
        "UTF-16, no mark": case([tab], sep="\t", change=lambda t: t.encode("utf-16-le")),
        "cp1252": case(["Zeit (s);Kraft für links (N);Stoß rechts (N)"], sep=";",
                       change=lambda t: t.encode("cp1252")),
        "CRLF": case([H], change=_ends("\r\n")),
        "CR": case([H], change=_ends("\r")),
        "CR CR LF": case([H], change=_ends("\r\r\n")),
        "trailing delimiter": case([H], lambda k, a, b: [*_two(k, a, b), ""]),
        "trailing delimiter in the header too": case([H + ","], lambda k, a, b: [*_two(k, a, b), ""]),
        "Ctrl-Z": case([H], change=_ends("\r\n", "\x1a")),
        "zero bytes at the end": case([H], change=_ends("\n", "\x00" * 300)),
        "footer": case([H], change=_ends("\n", "\nEnd of recording\nOperator: n.n.\n")),
        "preamble": case(["Device;Plate 7", "Date: 2026-03-04 09:15", "Comment: \"a, b; c\"", "", H]),
        "long preamble with numbers": case(
            ["[Header]", "Samples,4000", "Channels,2", *(f"Gain {k},{k}.5" for k in range(30)), H]
        ),
        "preamble with rate, no time": case(
            ["Sampling frequency: 1000 Hz", "", "Left,Right"],
            lambda k, a, b: _two(k, a, b)[1:],
        ),
        "units row": case(["Time,Left Fz,Right Fz", "s,N,N"]),
        "units row in brackets": case(["Time,Left,Right", "[s],[N],[N]"]),
        "two header rows": case([",Left,,Right,", "Time,Fx,Fz,Fx,Fz"],
                                lambda k, a, b: [f"{k / RATE:.3f}", "1.0", f"{a:.1f}", "2.0", f"{b:.1f}"]),
        "two header rows and units": case(
            ["\tPlate 1\t\tPlate 2\t", "t\tFz\tMx\tFz\tMx", "ms\tN\tNm\tN\tNm"],
            lambda k, a, b: [str(k), f"{a:.1f}", "3.25", f"{b:.1f}", "-1.5"],
            "\t", plates=("plate_1", "plate_2"),
        ),
        "duplicate names": case(["Time (s),Fz,Fz"], plates=("plate_1", "plate_2")),
        "time in ms": case(["Time [ms],Left,Right"],
                           lambda k, a, b: [f"{k * 1000 / RATE:.0f}", f"{a:.1f}", f"{b:.1f}"]),
        "time in ms, unit not written, decimals": case(
            ["Time,Left,Right"],
            lambda k, a, b: [f"{k * 1000 / RATE + 0.5:.1f}", f"{a:.1f}", f"{b:.1f}"],
            layout=Layout(time_unit="ms"),
        ),
        "time in µs": case(["Time,Left,Right"],
                           lambda k, a, b: [f"{k * 1000}", f"{a:.1f}", f"{b:.1f}"]),
        "clock time over midnight": case(["Time,Left,Right"], _clock),
        "date and clock": case(["Timestamp,Left,Right"],
                               lambda k, a, b: [f"2026-03-04T09:15:{k / RATE:06.3f}",
                                                f"{a:.1f}", f"{b:.1f}"]),
        "sample number": case(["Sample,Left,Right"],
                              lambda k, a, b: [str(k + 1), f"{a:.1f}", f"{b:.1f}"], rate_hz=RATE),
        "no time": case(["Left,Right"], lambda k, a, b: _two(k, a, b)[1:], rate_hz=RATE),
        "time rounded to 0.01 s": case(["Time,Left,Right"],
                                       lambda k, a, b: [f"{k / RATE:.2f}", *_two(k, a, b)[1:]]),
        "time with exponent": case(["Time,Left,Right"],
                                   lambda k, a, b: [f"{k / RATE:.6e}", f"{a:.7e}", f"{b:.7e}"]),
        "kN": case(["Time,Left (kN),Right (kN)"], _unit("kN", 4), step=0.05),
        "kgf": case(["Time;Left;Right", "s;kgf;kgf"], _unit("kgf", 3), ";", step=0.005),
        "lbf": case(["Time,Left Force [lbf],Right Force [lbf]"], _unit("lbf", 3), step=0.0025),
        "mV with a scale": case(["Time,Left,Right"],
                                lambda k, a, b: [f"{k / RATE:.3f}", f"{2 * a:.1f}", f"{2 * b:.1f}"],
                                layout=mV),
        "push negative": case([H], lambda k, a, b: _two(k, -a, -b)),
        "one plate negative": case([H], lambda k, a, b: _two(k, a, -b)),
        "three components per plate": case(
            ["Time,Fx1,Fy1,Fz1,Fx2,Fy2,Fz2"], _components(("h", "k", "z")), plates=("plate_1", "plate_2")
        ),
        "vertical is y": case(
            ["Time,L_Fx,L_Fy,L_Fz,R_Fx,R_Fy,R_Fz"], _components(("h", "z", "k"))
        ),
        "components and moments": case(
            ["Time,Left Fx,Left Fz,Left Mx,Right Fx,Right Fz,Right Mx"], _components(("h", "z", "m"))
        ),
        "total and parts": case([H + ",Total [N]"], _total_and_parts, plates=(*LR, "total")),
        "total and parts, total not named": case(
            ["Time,Left Fz,Right Fz,Fz"], _total_and_parts, plates=(*LR, "total")
        ),
        "four plates joined": case(
            ["Time,Fz1,Fz2,Fz3,Fz4"],
            lambda k, a, b: [f"{k / RATE:.3f}", f"{a - 50:.1f}", f"{b - 30:.1f}", "50.0", "30.0"],
            layout=Layout(left=(1, 3), right=(2, 4)),
        ),
        "a text column": case(["Time,Phase,Left,Right"],
                              lambda k, a, b: [f"{k / RATE:.3f}", "stand" if k < 900 else "jump",
                                               f"{a:.1f}", f"{b:.1f}"]),
        "comments inside": case([H], change=lambda t: t.replace("\n0.500,", "\n# event: go\n0.500,")),
        "hash before the header": case(["# Time [s]\tLeft Fz\tRight Fz"], sep="\t"),
        "German": case(["Zeit;Kraft links;Kraft rechts"], _comma, ";"),
        "Spanish": case(["Tiempo (s);Fuerza izquierda (N);Fuerza derecha (N)"], _comma, ";"),
        "French": case(["Temps (s)\tForce gauche (N)\tForce droite (N)"], _comma, "\t"),
        "Portuguese": case(["Tempo (s);Força esquerda (N);Força direita (N)"], _comma, ";"),
        "Swedish": case(["Tid;Kraft vänster;Kraft höger"], _comma, ";"),
        "gz": case([H], name="a.csv.gz", change=lambda t: gzip.compress(t.encode())),
        "zip": case([H], name="a.zip", change=_zipped),
    }  # fmt: skip


def _zipped(text: str) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("recording.csv", text)
    return out.getvalue()


CASES = _cases()


@pytest.mark.parametrize("what", CASES)
def test_every_dialect_reads_back_the_same_force(
    what: str, base: Recording, tmp_path: Path
) -> None:
    name, build, options, plates, step = CASES[what]
    content = build(base)
    path = tmp_path / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
    found = read_recording(path, **options)
    assert found.rate_hz == RATE
    assert found.plates == plates
    assert found.n_samples == base.n_samples
    for k in range(2):
        error = np.abs(found.force_n[:, k] - base.force_n[:, k])
        assert float(error.max()) <= step + 1e-9
    assert float(np.abs(found.total_n - base.total_n).max()) <= 2 * step + 1e-9


@pytest.mark.parametrize("what", CASES)
def test_inspection_prints_a_layout_that_reads_the_same(
    what: str, base: Recording, tmp_path: Path
) -> None:
    import tomllib

    name, build, options, _, _ = CASES[what]
    content = build(base)
    path = tmp_path / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
    seen = inspect_file(path, **options)
    assert seen.readable, seen.questions
    block = tomllib.loads(seen.layout_toml())["layout"][0]
    again = read_recording(path, layout=Layout.from_dict(block))
    np.testing.assert_array_equal(again.force_n, seen.recording.force_n)  # type: ignore[union-attr]
    assert again.rate_hz == seen.rate_hz
    settled = {"unit_assumed", "time_unit_assumed", "plates_by_order"}
    if what != "one plate negative":  # a layout states one sign for all columns
        settled.add("sign_reversed")
    assert not settled & {n.code for n in again.notes}


def test_the_generator_makes_at_least_thirty_dialects() -> None:
    assert len(CASES) >= 30


def test_xlsx_reads_back_the_same_force(base: Recording, tmp_path: Path) -> None:
    from openpyxl import Workbook

    book = Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(["Subject", "A07"])
    sheet.append(["Time", "Left Fz", "Right Fz"])
    sheet.append(["s", "N", "N"])
    for k, (a, b) in enumerate(base.force_n.tolist()):
        sheet.append([k / RATE, a if k != 100 else "#DIV/0!", b])
    book.create_sheet("notes").append(["measured on Monday"])
    book.save(tmp_path / "a.xlsx")
    found = read_recording(tmp_path / "a.xlsx")
    assert found.plates == LR
    assert found.rate_hz == RATE
    assert np.flatnonzero(np.isnan(found.force_n[:, 0])).tolist() == [100]
    np.testing.assert_array_equal(found.force_n[:, 1], base.force_n[:, 1])
    assert {"bad_cells", "sheet"} <= {n.code for n in found.notes}


def test_xlsx_with_two_sheets_of_numbers_asks_which(base: Recording, tmp_path: Path) -> None:
    from openpyxl import Workbook

    book = Workbook()
    for title in ("first", "second"):
        sheet = book.create_sheet(title)
        sheet.append(["Time [s]", "Fz [N]"])
        for k, a in enumerate(base.total_n[:200].tolist()):
            sheet.append([k / RATE, a if title == "first" else a + 1.0])
    book.save(tmp_path / "a.xlsx")
    with pytest.raises(ReadError, match='sheet = "first"'):
        read_recording(tmp_path / "a.xlsx")
    found = read_recording(tmp_path / "a.xlsx", layout=Layout(sheet="second"))
    assert found.total_n[0] == base.total_n[0] + 1.0


@pytest.mark.parametrize(
    "line",
    ["Low-pass filter: 50 Hz", "Heart rate: 61", "Video rate: 200 Hz", "Mains frequency: 50 Hz"],
)
def test_rates_of_other_things_are_not_taken(line: str, base: Recording, tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text(_text([line, H], _rows(base, _two, ",")))
    assert read_recording(path).rate_hz == RATE
    path.write_text(
        _text([line, "Left,Right"], _rows(base, lambda k, a, b: _two(k, a, b)[1:], ","))
    )
    with pytest.raises(ReadError, match="--rate"):
        read_recording(path)


@pytest.mark.parametrize("cut", range(1, 18))
def test_a_cut_last_line_is_left_out_and_noted(cut: int, base: Recording, tmp_path: Path) -> None:
    text = _text([H], _rows(base, _two, ","))
    whole = text.rstrip("\n").rsplit("\n", 1)[1]
    path = tmp_path / "a.csv"
    path.write_text(text[: -1 - cut])
    found = read_recording(path)
    kept = base.n_samples - (1 if 0 < cut <= len(whole) else 2)
    assert found.n_samples == kept
    codes = {n.code for n in found.notes}
    assert ("last_line_cut" in codes) == (cut != len(whole))
    np.testing.assert_array_equal(found.force_n, base.force_n[:kept])
