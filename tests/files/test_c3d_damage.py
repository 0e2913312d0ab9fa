"""Damaged C3D files: always a ReadError or a recording, never a crash, never slow."""

from __future__ import annotations

import tempfile
from pathlib import Path
from time import perf_counter

import numpy as np
import pytest
from c3d_kit import PROCESSORS, Trial

from cmjlab.errors import ReadError
from cmjlab.files.read import read_recording
from cmjlab.files.write import write_recording
from cmjlab.recording import Recording

#: No damaged file may take longer (seconds); the whole reading of a sound one takes a few ms.
SLOWEST_S = 5.0


@pytest.fixture(scope="module")
def seeds() -> list[bytes]:
    """Sound C3D files to damage: one plate, two plates, plain channels."""
    rng = np.random.default_rng(5)
    force = 750.0 + rng.normal(0.0, 20.0, 400)
    recordings = [
        Recording(force, 1000.0),
        Recording(np.column_stack([force / 2, force / 2 + 1.0]), 500.0, ("left", "right")),
        Recording(
            np.column_stack([force, force / 2, force / 2]), 500.0, ("total", "left", "right")
        ),
    ]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.c3d"
        return [write_recording(r, path).read_bytes() for r in recordings]


def damaged(data: bytes, rng: np.random.Generator) -> bytes:
    """Return a mutated copy: bytes changed, cut, doubled, zeroed or shuffled."""
    out = bytearray(data)
    where = min(int(rng.choice([512, 2048, len(out)])), len(out))
    kind = rng.integers(6)
    if kind == 0:
        for at in rng.integers(0, where, int(rng.integers(1, 12))):
            out[at] = int(rng.integers(256))
    elif kind == 1:
        del out[int(rng.integers(0, len(out))) :]
    elif kind == 2:
        at, size = int(rng.integers(0, where)), int(rng.integers(1, 600))
        out[at : at + size] = bytes(min(size, len(out) - at))
    elif kind == 3:
        at, size = int(rng.integers(0, where)), int(rng.integers(1, 600))
        del out[at : at + size]
    elif kind == 4:
        at, size = int(rng.integers(0, where)), int(rng.integers(1, 64))
        out[at:at] = rng.integers(0, 256, size, dtype=np.uint8).tobytes()
    else:
        for at in rng.integers(0, where, 4):
            out[at] = int(rng.choice([0, 1, 127, 128, 255]))
    return bytes(out)


def attack(sources: list[bytes], count: int, seed: int, folder: Path) -> tuple[int, float]:
    """Read ``count`` damaged files; return how many were refused and the slowest time."""
    rng = np.random.default_rng(seed)
    path = folder / "damaged.c3d"
    messages, slowest = [], 0.0
    for k in range(count):
        path.write_bytes(damaged(sources[k % len(sources)], rng))
        start = perf_counter()
        try:
            read_recording(path)
        except ReadError as error:
            messages.append(str(error))
        slowest = max(slowest, perf_counter() - start)
    assert all(m.startswith("damaged.c3d: ") and "\n" not in m for m in messages)
    return len(messages), slowest


def test_two_hundred_damaged_files(seeds: list[bytes], tmp_path: Path) -> None:
    refused, slowest = attack(seeds, 200, 1, tmp_path)
    assert 40 < refused < 200
    assert slowest < SLOWEST_S


@pytest.mark.slow
def test_two_thousand_damaged_files(seeds: list[bytes], tmp_path: Path) -> None:
    refused, slowest = attack(seeds, 2000, 2, tmp_path)
    assert 400 < refused < 2000
    assert slowest < SLOWEST_S


@pytest.mark.slow
def test_two_thousand_damaged_files_of_other_writers(reference_data: Path, tmp_path: Path) -> None:
    sources = [p.read_bytes() for p in sorted((reference_data / "c3d").iterdir())]
    sources += [
        Trial(processor=processor, real=real, kind=kind).written()
        for processor in PROCESSORS
        for real in (False, True)
        for kind in (2, 4)
    ]
    refused, slowest = attack(sources, 2000, 3, tmp_path)
    assert 400 < refused < 2000
    assert slowest < SLOWEST_S


def test_every_length_of_a_cut_file_is_refused_until_the_data_are_whole(
    seeds: list[bytes], tmp_path: Path
) -> None:
    data = seeds[0]
    whole = 400 * 6 * 4
    start = len(data) - len(data) % 512
    start = len(data) - 512 * -(-whole // 512)
    for cut in range(1, start + whole, 97):
        path = tmp_path / "cut.c3d"
        path.write_bytes(data[:cut])
        with pytest.raises(ReadError):
            read_recording(path)
    path.write_bytes(data[: start + whole])
    assert read_recording(path).n_samples == 400
