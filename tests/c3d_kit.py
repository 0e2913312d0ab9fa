"""C3D files as other writers make them, put together byte by byte from the open format.

Shares no code with the library's own writer and reader. Every file holds the same invented
trial, so the force is known exactly: integers as a converter counts them, times scale.
Format: the C3D user guide (header, parameters, data; processor types 84, 85 and 86).
"""

from __future__ import annotations

import struct
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

#: Processor byte of the format, and how its words lie: low byte first, or high byte first.
PROCESSORS = {"intel": (84, "<"), "dec": (85, "<"), "mips": (86, ">")}
POINTS = 3
#: Corner orders seen from above: the plate's own z axis (x cross y) points up, or down.
Z_UP = [(300, 200, 0), (-300, 200, 0), (-300, -200, 0), (300, -200, 0)]
Z_DOWN = [(-300, 200, 0), (300, 200, 0), (300, -200, 0), (-300, -200, 0)]


@dataclass(frozen=True)
class Trial:
    """One trial on one or more plates of six channels each, counted by a 12-bit converter."""

    processor: str = "intel"
    real: bool = False
    kind: int = 2
    corners: tuple[list[tuple[int, int, int]], ...] = (Z_UP, Z_UP)
    frames: int = 90
    frame_rate_hz: float = 50.0
    samples_per_frame: int = 4
    general_scale: float = 0.5
    offset: int = 2048

    @property
    def channels(self) -> int:
        """Six a plate."""
        return 6 * len(self.corners)

    @property
    def scales(self) -> NDArray[np.float32]:
        """Return a scale for each channel, as a single-precision number holds it."""
        wave = 1.0 + 0.1 * np.sin(np.arange(self.channels))
        kind = np.where(np.arange(self.channels) % 6 < 3, -0.9, -240.0)
        return np.asarray(kind * wave, dtype=np.float32)

    @property
    def matrices(self) -> NDArray[np.float32]:
        """Return a calibration matrix (output, channel) for each plate, with cross-talk."""
        noise = np.random.default_rng(2).normal(0.0, 0.02, (len(self.corners), 6, 6))
        gain = np.diag([1.1, 1.2, 2.5, 0.9, 1.0, 1.3])
        return np.asarray(gain + noise, dtype=np.float32)

    @property
    def counts(self) -> NDArray[np.int64]:
        """Return what the converter counted, shape (samples, channels)."""
        rng = np.random.default_rng(1)
        size = (self.frames * self.samples_per_frame, self.channels)
        return rng.integers(0, 4096, size)

    @property
    def analog(self) -> NDArray[np.float64]:
        """Return counts in the units of the channels."""
        scale = self.scales.astype(float) * self.general_scale
        return (self.counts - self.offset) * scale

    @property
    def vertical(self) -> NDArray[np.float64]:
        """Return the true vertical force, shape (samples, plates), along the laboratory's z."""
        out = []
        for k, corners in enumerate(self.corners):
            own = self.analog[:, 6 * k : 6 * k + 6]
            if self.kind == 4:
                own = own @ self.matrices[k].astype(float).T
            out.append(own[:, 2] if corners is Z_UP else -own[:, 2])
        return np.column_stack(out)

    def written(self) -> bytes:
        """Return the trial as a file."""
        parameters = _parameters(self, data_block=0)
        blocks = -(-len(parameters) // 512)
        data_block = 2 + blocks
        parameters = _parameters(self, data_block).ljust(512 * blocks, b"\0")
        return _header(self, data_block) + parameters + _data(self)


def _floats(values: Iterable[float], processor: str) -> bytes:
    """Return single-precision numbers as the processor stores them."""
    flat = np.asarray(list(values), dtype=np.float32)
    if processor == "dec":
        # DEC counts the exponent from another zero (a factor of 4) and stores the high half first
        words = (flat * np.float32(4.0)).astype("<f4").view("<u2").reshape(-1, 2)
        return words[:, ::-1].tobytes()
    return flat.astype(PROCESSORS[processor][1] + "f4").tobytes()


def _words(values: Iterable[int], processor: str) -> bytes:
    flat = np.asarray(list(values), dtype=np.int64).astype(np.uint16)
    return flat.astype(PROCESSORS[processor][1] + "u2").tobytes()


def _header(trial: Trial, data_block: int) -> bytes:
    p, per_frame = trial.processor, trial.samples_per_frame
    head = bytes([2, 0x50])
    head += _words([POINTS, trial.channels * per_frame, 1, trial.frames, 0], p)
    head += _floats([-1.0 if trial.real else 1.0], p)
    head += _words([data_block, per_frame], p) + _floats([trial.frame_rate_hz], p)
    return head.ljust(512, b"\0")


def _data(trial: Trial) -> bytes:
    """Return the frames: points (x, y, z, camera word), then the analog samples."""
    points = np.tile([120, 340, 560, 0], (trial.frames, POINTS))
    analog = trial.counts.reshape(trial.frames, -1)
    rows = np.column_stack([points, analog]).ravel()
    if trial.real:
        return _floats(rows, trial.processor)
    return _words(rows, trial.processor)


def _parameters(trial: Trial, data_block: int) -> bytes:
    p, n, plates = trial.processor, trial.channels, len(trial.corners)
    names = [
        f"{axis}{k + 1}" for k in range(plates) for axis in ("FX", "FY", "FZ", "MX", "MY", "MZ")
    ]
    units = ["N   ", "N   ", "N   ", "Nmm ", "Nmm ", "Nmm "] * plates
    corners = np.array(trial.corners, dtype=float).ravel()
    rate = trial.frame_rate_hz * trial.samples_per_frame
    items = [
        _group(1, "POINT", p),
        _item(1, "USED", "word", [POINTS], [], p),
        _item(1, "SCALE", "float", [-1.0 if trial.real else 1.0], [], p),
        _item(1, "RATE", "float", [trial.frame_rate_hz], [], p),
        _item(1, "DATA_START", "word", [data_block], [], p),
        _item(1, "FRAMES", "word", [trial.frames], [], p),
        _item(1, "LABELS", "text", [f"P{i:03d}" for i in range(POINTS)], [4, POINTS], p),
        _item(1, "DESCRIPTIONS", "text", [" " * 4] * POINTS, [4, POINTS], p),
        _item(1, "UNITS", "text", ["mm  "], [4], p),
        _group(2, "ANALOG", p),
        _item(2, "USED", "word", [n], [], p),
        _item(2, "LABELS", "text", [f"{name:4}" for name in names], [4, n], p),
        _item(2, "DESCRIPTIONS", "text", [" " * 4] * n, [4, n], p),
        _item(2, "GEN_SCALE", "float", [trial.general_scale], [], p),
        _item(2, "SCALE", "float", trial.scales, [n], p),
        _item(2, "OFFSET", "word", [trial.offset] * n, [n], p),
        _item(2, "UNITS", "text", units, [4, n], p),
        _item(2, "RATE", "float", [rate], [], p),
        _group(3, "FORCE_PLATFORM", p),
        _item(3, "USED", "word", [plates], [], p),
        _item(3, "TYPE", "word", [trial.kind] * plates, [plates], p),
        _item(3, "ZERO", "word", [1, 10], [2], p),
        _item(3, "CORNERS", "float", corners, [3, 4, plates], p),
        _item(3, "ORIGIN", "float", [0.0, 0.0, -40.0] * plates, [3, plates], p),
        _item(3, "CHANNEL", "word", range(1, n + 1), [6, plates], p),
    ]
    if trial.kind == 4:
        # the first index (output) runs fastest
        stored = np.concatenate([m.T.ravel() for m in trial.matrices])
        items.append(_item(3, "CAL_MATRIX", "float", stored, [6, 6, plates], p))
    blocks = -(-(4 + sum(map(len, items))) // 512)
    return bytes([1, 0x50, blocks, PROCESSORS[p][0]]) + b"".join(items)


def _group(number: int, name: str, processor: str) -> bytes:
    return struct.pack("bb", len(name), -number) + name.encode() + _words([3], processor) + b"\0"


def _item(
    group: int, name: str, kind: str, values: Iterable[Any], sizes: list[int], processor: str
) -> bytes:
    """Return one parameter; ``sizes`` are its dimensions, the fastest first."""
    body, width = {
        "text": lambda: ("".join(values).encode(), -1),
        "word": lambda: (_words(values, processor), 2),
        "float": lambda: (_floats(values, processor), 4),
    }[kind]()
    rest = struct.pack("bB", width, len(sizes)) + bytes(sizes) + body + b"\0"
    return (
        struct.pack("bb", len(name), group)
        + name.encode()
        + _words([len(rest) + 2], processor)
        + rest
    )
