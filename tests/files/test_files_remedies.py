"""Every remedy that the reader shows works when it is copied as it stands.

Each case provokes an error; every line that its text shows is written into a Layout (or given as
rate_hz), and the file must then be read. A list of the places in the code that show a remedy
makes sure that none is left out.
"""

from __future__ import annotations

import ast
import gzip
import importlib
import re
import sys
import tomllib
import zipfile
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest
from places import PACKAGE

from cmjlab.errors import ReadError
from cmjlab.files import remedies
from cmjlab.files.read import read_recording
from cmjlab.layout import Layout
from cmjlab.recording import Recording
from cmjlab.simulate.jump import simulate_jump

RATE = 250.0
FORCE = simulate_jump(rate_hz=RATE, noise_sd_n=1.0).recording.total_n.round(2)
N = FORCE.size
TIME = np.arange(N) / RATE
#: Functions whose words tell a person what to write.
SPEAK = ("write_in_layout", "give_rate", "without_time")


def table(header: str, *columns: np.ndarray, digits: int = 4, mark: str = ",") -> bytes:
    """Return a text table; without header when it is empty."""
    rows = [mark.join(f"{v:.{digits}f}" for v in row) for row in zip(*columns, strict=True)]
    return "\n".join([*([header] if header else []), *rows, ""]).encode()


def whole(header: str, *columns: np.ndarray) -> bytes:
    """Return a text table of whole numbers."""
    return table(header, *columns, digits=0)


def workbook(path: Path) -> None:
    """Write a workbook with two sheets of numbers; the name of one would pass for a number."""
    from openpyxl import Workbook

    book = Workbook()
    for name in ("2", 'say "ah"'):
        sheet = book.create_sheet(name)
        sheet.append(["time", "Fz"])
        for t, v in zip(TIME.tolist(), FORCE.tolist(), strict=True):
            sheet.append([t, v])
    book.remove(book.worksheets[0])
    book.save(path)


def packed(path: Path) -> None:
    """Write a table packed as .gz."""
    path.write_bytes(gzip.compress(table("time,Fz", TIME, FORCE)))


def zipped(path: Path) -> None:
    """Write a packed table."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("a.csv", table("time,Fz", TIME, FORCE))


@dataclass(frozen=True)
class Case:
    """A file that is asked about, what was stated before, and how many answers it takes."""

    content: bytes | Callable[[Path], None]
    layout: Layout = field(default_factory=Layout)
    rate_hz: float | None = None
    name: str = "a.csv"
    answers: int = 1


def cases() -> dict[str, Case]:
    """Return every provocation by what it is about."""
    k = np.arange(N, dtype=float)
    back = np.where(k == 90, TIME - 0.02, TIME)
    twice = np.where(k == 90, TIME[89], TIME)
    jitter = TIME + np.where(k % 2 == 0, 0.0, 0.48 / RATE)
    holed = np.delete(np.floor(TIME * 100) / 100, np.arange(300, 340))
    side = 0.3 * FORCE
    t, f = table, FORCE
    rated = b"Sampling rate: 500 Hz\n"
    return {
        "two dialects": Case(whole("", k, np.abs(f)), answers=2),
        "two sheets": Case(workbook, name="a.xlsx"),
        "an encoding nobody knows": Case(
            "Zeit,Fz für beide\n".encode("cp1252") + t("", TIME, f), Layout(encoding="utf-99")
        ),
        "too large": Case(t("time,Fz", TIME, f), Layout(size_limit_mb=0.01)),
        "too large when unpacked": Case(
            packed,
            Layout(size_limit_mb=0.01),
            name="a.csv.gz",
        ),
        "too large in an archive": Case(zipped, Layout(size_limit_mb=0.01), name="a.zip"),
        "volts": Case(t("time,Fz [V]", TIME, f / 500)),
        "a unit of something else": Case(
            t("time,Fz [N/kg]", TIME, f / 80), Layout(force_columns=("Fz [N/kg]",))
        ),
        "kilonewtons not written": Case(t("time,Fz", TIME, f / 1000)),
        "pounds not written": Case(t("time,Fz", TIME, f / 4.4482)),
        "counts": Case(t("time,Fz", TIME, 1e6 * f)),
        "newtons written over kilonewtons": Case(t("time,Fz [N]", TIME, f / 1000)),
        "kilonewtons written over newtons": Case(t("time,Fz [kN]", TIME, f)),
        "plates of another number": Case(
            t("time,Fz1,Fz2", TIME, f, f + 1), Layout(plates=("left", "right", "total"))
        ),
        "which of two columns": Case(t("time,A,B", TIME, side, f)),
        "columns by number": Case(t("", TIME, side, f)),
        "columns of one name": Case(t("time,A,A,B,B", TIME, side, f, f, side)),
        "filtered or raw": Case(t("time,Fz,Fz filtered", TIME, f, f + 0.5)),
        "which axis": Case(t("time,Fx,Fy", TIME, f, 0.7 * f)),
        "which axis of two plates": Case(
            t("time,F1x,F1y,F2x,F2y", TIME, f, 0.7 * f, f + 1, 0.7 * f)
        ),
        "one column twice": Case(t("time,Fz,Fz", TIME, f, f)),
        "which plates": Case(t("time,Left toe force,Left heel force", TIME, side, f)),
        "plates called differently": Case(t("time,Force Anna,Force Berta", TIME, side, f)),
        "two times": Case(t("time,zeit,Fz", TIME, TIME + 3, f)),
        "a layout with a doubled name": Case(
            t("time,Fz [N],Fz [N]", TIME, side, f), Layout(force_columns=("Fz [N]",))
        ),
        "no rate": Case(t("Fz", f)),
        "sample numbers": Case(whole("sample,Fz", k, f)),
        "two rates": Case(b"Sampling rate: 500 Hz\nscan frequency 250 Hz\n" + t("Fz", f)),
        "sample numbers that go back": Case(
            whole("sample,Fz", np.where(k == 90, 80, k), f), rate_hz=RATE
        ),
        "sample numbers twice": Case(whole("sample,Fz", np.where(k == 90, 89, k), f), rate_hz=RATE),
        "time that goes back": Case(t("time,Fz", back, f)),
        "time that goes back, rate given": Case(t("time,Fz", back, f), rate_hz=RATE),
        "time in milliseconds said to be seconds": Case(t("time [s],Fz", 1e6 * TIME, f)),
        "time that rises by one": Case(whole("time,Fz", k, f)),
        "time without a possible unit": Case(t("time,Fz", RATE / 30 * TIME, f)),
        "a written rate against time": Case(rated + t("time,Fz", TIME, f)),
        "a given rate against time": Case(t("time,Fz", TIME, f), rate_hz=100.0),
        "a layout's rate against time": Case(t("time,Fz", TIME, f), Layout(rate_hz=100.0)),
        "uneven time": Case(t("time,Fz", jitter, f)),
        "coarse time": Case(t("time,Fz", holed, f[: holed.size])),
        "one time, two values": Case(t("time,Fz", twice, f)),
        "a platform of an unknown type": Case(b"c3d_type5.c3d", name="a.c3d"),
        "a platform with too few channels": Case(b"c3d_type3.c3d", name="a.c3d"),
        "platforms without channels": Case(without_channels, name="a.c3d"),
    }


def without_channels(path: Path) -> None:
    """Rename the parameter that lists the channels of the platforms, so that it is missing."""
    data = path.read_bytes()
    assert data.count(b"CHANNEL") == 1
    path.write_bytes(data.replace(b"CHANNEL", b"CHANNIL"))


_VALUE = r'"(?:\\.|[^"\\])*"|\[[^\]]*\]|-?\d+(?:\.\d+)?(?:e[+-]?\d+)?'
_LINE = rf"[a-z_]+ = (?:{_VALUE})"
_SHOWN = re.compile(
    rf"under \[\[layout\]\] in study\.toml: ({_LINE}(?:{re.escape(remedies.BELOW)}{_LINE})*)"
)


def shown_layouts(text: str) -> list[dict[str, object]]:
    """Return what each shown remedy sets when its lines are copied into a TOML file."""
    blocks = [block.split(remedies.BELOW) for block in _SHOWN.findall(text)]
    assert len(blocks) == text.count("[[layout]] in study.toml:"), text
    return [tomllib.loads("\n".join(lines)) for lines in blocks]


def answered(path: Path, layout: Layout, rate_hz: float | None, most: int) -> Recording:
    """Read a file, giving the first remedy of every further question."""
    for _ in range(most):
        try:
            return read_recording(path, layout=layout, rate_hz=rate_hz)
        except ReadError as error:
            layout = layout.replace(**shown_layouts(str(error))[0])
    return read_recording(path, layout=layout, rate_hz=rate_hz)


def placed(case: Case, folder: Path, given: Path) -> Path:
    """Write the file of a case; C3D files begin as a copy of a given one."""
    path = folder / case.name
    if path.suffix == ".c3d":
        source = "c3d_std_pos.c3d" if callable(case.content) else case.content.decode()
        path.write_bytes((given / source).read_bytes())
    if callable(case.content):
        case.content(path)
    elif path.suffix != ".c3d":
        path.write_bytes(case.content)
    return path


CASES = cases()


@pytest.mark.parametrize("about", CASES)
def test_every_shown_remedy_works(
    about: str, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    case = CASES[about]
    c3d = case.name.endswith(".c3d")
    path = placed(case, tmp_path, request.getfixturevalue("cases") if c3d else tmp_path)
    with pytest.raises(ReadError) as caught:
        read_recording(path, layout=case.layout, rate_hz=case.rate_hz)
    text = str(caught.value)
    for settings in shown_layouts(text):
        # Whoever follows "rate_hz = ..." under [[layout]] no longer gives another one.
        rate = None if "rate_hz" in settings else case.rate_hz
        found = answered(path, case.layout.replace(**settings), rate, case.answers - 1)
        assert found.n_samples > 1000, settings
    for rate in re.findall(r"(?:`--rate |rate_hz=)([\d.]+\d)", text):
        assert read_recording(path, layout=case.layout, rate_hz=float(rate)).rate_hz == float(rate)
    for number in re.findall(r'for instance "(\d+)"', text):
        found = read_recording(path, layout=case.layout.replace(force_columns=(number,)))
        np.testing.assert_allclose(found.total_n, 0.3 * FORCE, atol=1e-4)
    assert _SHOWN.search(text) or "for instance" in text


def _places() -> set[tuple[str, int]]:
    """Return file and line of every call that shows a remedy."""
    places = set()
    for path in (PACKAGE / "files").glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            called = node.func if isinstance(node, ast.Call) else None
            if isinstance(called, ast.Name) and called.id in SPEAK and path.stem != "remedies":
                places.add((path.stem, called.lineno))
    return places


def test_no_place_that_shows_a_remedy_is_left_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, cases: Path
) -> None:
    reached: set[tuple[str, int]] = set()

    def listening(speak: Callable[..., str]) -> Callable[..., str]:
        def spoken(*given: object) -> str:
            frame = sys._getframe(1)
            reached.add((Path(frame.f_code.co_filename).stem, frame.f_lineno))
            return speak(*given)

        return spoken

    places = _places()
    for stem in {stem for stem, _ in places}:
        module = importlib.import_module(f"cmjlab.files.{stem}")
        for name in SPEAK:
            if hasattr(module, name):
                monkeypatch.setattr(module, name, listening(getattr(remedies, name)))
    for case in CASES.values():
        path = placed(case, tmp_path, cases)
        with pytest.raises(ReadError):
            read_recording(path, layout=case.layout, rate_hz=case.rate_hz)
    assert sorted(places - reached) == []


@pytest.mark.parametrize(
    ("about", "stated"),
    [
        ("kilonewtons not written", {"force_unit": "kN"}),
        ("pounds not written", {"force_unit": "lbf"}),
        ("newtons written over kilonewtons", {"force_unit": "kN"}),
        ("kilonewtons written over newtons", {"force_unit": "N"}),
        ("which of two columns", {"force_columns": ["B"]}),
        ("columns by number", {"force_columns": ["3"]}),
        ("time in milliseconds said to be seconds", {"time_unit": "us"}),
        ("two sheets", {"sheet": "2"}),
        ("coarse time", {"time_column": "none", "rate_hz": 250}),
        ("uneven time", {"time_column": "none", "rate_hz": 250}),
    ],
)
def test_the_first_remedy_is_the_likely_one(
    about: str, stated: dict[str, object], tmp_path: Path
) -> None:
    case = CASES[about]
    path = placed(case, tmp_path, tmp_path)
    with pytest.raises(ReadError) as caught:
        read_recording(path, layout=case.layout, rate_hz=case.rate_hz)
    assert shown_layouts(str(caught.value))[0] == stated


def test_what_is_to_be_left_out_helps_when_left_out(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes("Zeit,Fz für beide\n".encode("cp1252") + table("", TIME, FORCE))
    with pytest.raises(ReadError, match="Leave `encoding` out"):
        read_recording(path, layout=Layout(encoding="utf-8"))
    with pytest.raises(ReadError, match="Leave the rate out"):
        read_recording(path, rate_hz=400)
    assert read_recording(path).rate_hz == RATE
