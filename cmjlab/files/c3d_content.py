"""The analog part of a C3D file, held against what the header promises.

The open C3D format is parsed with the pure-Python package ``c3d``; the analog block is cut
with numpy here, after its size has been held against the file. Whatever goes wrong in a
damaged file becomes one ReadError.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cmjlab.errors import ReadError
from cmjlab.files.columns import FloatArray
from cmjlab.files.notes import note
from cmjlab.recording import ReadingNote

_BLOCK = 512
_MOST_FRAMES_IN_HEADER = 65_535


@dataclass
class C3D:
    """The analog part of a C3D file: values in the units of ``units``, shape (samples, channels)."""

    analog: FloatArray
    rate_hz: float
    labels: list[str]
    units: list[str]
    start_s: float
    platform: dict[str, NDArray[Any]]
    notes: list[ReadingNote] = field(default_factory=list)


@contextmanager
def damage_is_an_error(name: str) -> Iterator[None]:
    """Turn whatever a damaged file makes go wrong into one ReadError."""
    try:
        with warnings.catch_warnings(), np.errstate(all="ignore"):
            warnings.simplefilter("ignore")
            yield
    except ReadError:
        raise
    except (Exception, MemoryError) as error:  # damage surfaces as a dozen different exceptions
        what = f"{type(error).__name__}: {error}" if str(error) else type(error).__name__
        what = " ".join(what.split())[:100]
        raise ReadError(
            f"{name}: the C3D file is damaged: its header or parameters cannot be read ({what})."
            " Export or copy it again."
        ) from error


def parse_c3d(name: str, data: bytes) -> C3D:
    """Return the analog part of a C3D file, scaled, with the force-platform parameters."""
    import c3d

    with damage_is_an_error(name):
        return _parsed(name, data, c3d.Reader(io.BytesIO(data)))


def _parsed(name: str, data: bytes, reader: Any) -> C3D:
    channels, per_frame, points = _shape(name, reader)
    notes: list[ReadingNote] = []
    frames = _frames(name, reader)
    words = _analog_words(name, data, reader, (frames, channels * per_frame, points), notes)
    scales, offsets = _transform(name, reader, channels)
    analog = (words.reshape(frames * per_frame, channels) - offsets) * scales
    rate = _rate(name, reader, per_frame)
    first = max(1, int(reader.header.first_frame))
    return C3D(
        analog,
        rate,
        _texts(reader, "LABELS", channels),
        _texts(reader, "UNITS", channels),
        (first - 1) * per_frame / rate,
        _platform(reader),
        notes,
    )


def parameter(reader: Any, group: str, key: str) -> NDArray[Any] | None:
    """Return a parameter's numbers as a flat array (first index fastest), None when absent."""
    found = reader.get(group)
    item = found.get(key) if found else None
    if item is None or not item.bytes:
        return None
    kinds = reader._dtypes
    size = item.bytes_per_element
    if size == 4 and kinds.is_dec:
        from c3d.c3d import DEC_to_IEEE_BYTES

        return np.asarray(DEC_to_IEEE_BYTES(item.bytes), dtype=np.float64)
    kind = {1: kinds.int8, 2: kinds.int16, 4: kinds.float32, 8: kinds.float64}.get(size)
    return None if kind is None else np.frombuffer(item.bytes, dtype=kind).astype(np.float64)


def _shape(name: str, reader: Any) -> tuple[int, int, int]:
    """Return channels, samples per frame and points; header and parameters must agree."""
    channels = _whole(parameter(reader, "ANALOG", "USED"))
    words, per_frame = int(reader.header.analog_count), int(reader.header.analog_per_frame)
    if channels is None:
        channels = words // per_frame if per_frame else 0
    if channels < 1 or words < 1:
        raise ReadError(
            f"{name}: the C3D file holds no analog channels, so no force. Export it with the"
            " channels of the force platforms."
        )
    if words % channels or (per_frame and words != channels * per_frame):
        raise ReadError(
            f"{name}: the C3D file contradicts itself: its header announces {words} analog words"
            f" per frame, its parameters {channels} channels. Export it again."
        )
    points = int(reader.header.point_count)
    stated = _whole(parameter(reader, "POINT", "USED"))
    if stated is not None and stated != points:
        raise ReadError(
            f"{name}: the C3D file contradicts itself: its header announces {points} points, its"
            f" parameters {stated}. Export it again."
        )
    return channels, words // channels, points


def _whole(values: NDArray[Any] | None) -> int | None:
    """Return a 16-bit count, which the format may store as signed."""
    if values is None or not values.size:
        return None
    value = int(values[0])
    return value + 65_536 if value < 0 else value


def _transform(name: str, reader: Any, channels: int) -> tuple[FloatArray, FloatArray]:
    """Return scale and offset per channel: force = (stored - offset) * scale."""
    general = parameter(reader, "ANALOG", "GEN_SCALE")
    factor = float(general[0]) if general is not None and general.size else 1.0
    scales, offsets = np.full(channels, factor), np.zeros(channels)
    for key, target in (("SCALE", scales), ("OFFSET", offsets)):
        parts = [parameter(reader, "ANALOG", key if k == 1 else f"{key}{k}") for k in range(1, 10)]
        held = [p for p in parts if p is not None]
        if not held:
            continue
        found = np.concatenate(held)[:channels]
        if key == "OFFSET" and reader.analog_format_unsigned:
            found = np.where(found < 0, found + 65_536, found)
        if found.size < channels:
            raise ReadError(
                f"{name}: the C3D file has {channels} analog channels but {found.size} values of"
                f" ANALOG:{key}. Export it again."
            )
        if key == "SCALE":
            target *= found
        else:
            target[:] = found
    if not np.isfinite(scales).all() or np.abs(scales).max() > 1e9:
        raise ReadError(f"{name}: the C3D file is damaged: its scale factors are no numbers.")
    return scales, offsets


def _frames(name: str, reader: Any) -> int:
    """Return the number of frames announced by the header, or by the parameters when longer."""
    header = reader.header
    first, last = int(header.first_frame), int(header.last_frame)
    frames = last - first + 1
    if last >= _MOST_FRAMES_IN_HEADER:
        start = parameter(reader, "TRIAL", "ACTUAL_START_FIELD")
        end = parameter(reader, "TRIAL", "ACTUAL_END_FIELD")
        long = parameter(reader, "POINT", "LONG_FRAMES")
        if start is not None and end is not None and start.size > 1 and end.size > 1:
            frames = max(frames, _two_words(end) - _two_words(start) + 1)
        elif long is not None and long.size:
            frames = max(frames, int(long[0]))
    if frames < 1:
        raise ReadError(
            f"{name}: the C3D header announces frames {first} to {last}, which is none. Export it"
            " again."
        )
    return frames


def _two_words(values: NDArray[Any]) -> int:
    low, high = (int(v) % 65_536 for v in values[:2])
    return low + 65_536 * high


def _analog_words(
    name: str, data: bytes, reader: Any, shape: tuple[int, int, int], notes: list[ReadingNote]
) -> FloatArray:
    """Cut the analog words out of the data block, shape (frames, words per frame)."""
    frames, per_frame, used_points = shape
    is_float = float(reader.header.scale_factor) < 0
    size = 4 if is_float else 2
    points = 4 * used_points
    width = (points + per_frame) * size
    start = (int(reader.header.data_block) - 1) * _BLOCK
    if start < _BLOCK:
        raise ReadError(f"{name}: the C3D header is damaged: it says data begin at byte {start}.")
    held = (len(data) - start) // width
    if held < frames:
        raise ReadError(
            f"{name}: the file is cut short: its header announces {frames} frames, the file holds"
            f" {max(held, 0)}. Copy or export it again."
        )
    rest = data[start + frames * width :]
    if len(rest) >= max(_BLOCK, width) and rest.count(0) < len(rest):
        if int(reader.header.last_frame) >= _MOST_FRAMES_IN_HEADER:
            raise ReadError(
                f"{name}: the C3D header can count {_MOST_FRAMES_IN_HEADER} frames only, the file"
                f" holds {held}. Export a shorter recording."
            )
        notes.append(
            note(
                "more_data",
                f"The header announces {frames} frames, the file holds {held}; the rest was left out.",
            )
        )
    block = np.frombuffer(data, dtype=np.uint8, count=frames * width, offset=start)
    block = block.reshape(frames, width)[:, points * size :]
    return _words(np.ascontiguousarray(block), reader, is_float)


def _words(block: NDArray[np.uint8], reader: Any, is_float: bool) -> FloatArray:
    """Turn bytes into numbers in the file's own number format."""
    kinds = reader._dtypes
    if is_float and kinds.is_dec:
        halves = block.view(np.uint16).reshape(block.shape[0], -1, 2)
        # DEC floats store the high half first and count the exponent from another zero.
        joined = halves[..., 0].astype(np.uint32) << 16 | halves[..., 1]
        values = joined.view(np.float32).astype(np.float64) / 4.0
        return np.where(joined & 0x7F800000, values, 0.0)
    if is_float:
        return block.view(kinds.float32).astype(np.float64)
    kind = kinds.uint16 if reader.analog_format_unsigned else kinds.int16
    return block.view(kind).astype(np.float64)


def _rate(name: str, reader: Any, per_frame: int) -> float:
    """Return the analog rate; header and parameters must agree."""
    point_rate = float(reader.header.frame_rate)
    stated = float(reader.analog_rate)
    if not (np.isfinite(point_rate) and point_rate > 0) and not stated > 0:
        raise ReadError(f"{name}: the C3D file states no sampling rate.")
    product = point_rate * per_frame
    if not np.isfinite(stated) or stated <= 0:
        return product
    if np.isfinite(product) and product > 0 and abs(stated / product - 1) > 1e-3:
        other = float(reader.point_rate) * per_frame
        if not (np.isfinite(other) and other > 0 and abs(stated / other - 1) <= 1e-3):
            raise ReadError(
                f"{name}: the C3D file contradicts itself: ANALOG:RATE is {stated:g} Hz, frame rate"
                f" times samples per frame is {product:g} Hz. Export it again, or correct the"
                " parameter."
            )
    return stated


def _texts(reader: Any, key: str, count: int) -> list[str]:
    """Return the texts of an ANALOG parameter (with its continuations), padded to ``count``."""
    group = reader.get("ANALOG")
    out: list[str] = []
    for k in range(1, 100):
        parameter = group.get(key if k == 1 else f"{key}{k}") if group else None
        if parameter is None:
            break
        out += [str(t).strip().strip("\x00") for t in np.ravel(parameter.string_array)]
    return (out + [""] * count)[:count]


def _platform(reader: Any) -> dict[str, NDArray[Any]]:
    """Return the numbers of the group FORCE_PLATFORM; TYPE has one entry per platform used."""
    found: dict[str, NDArray[Any]] = {}
    for key in ("USED", "TYPE", "CHANNEL", "CORNERS", "CAL_MATRIX", "ZERO"):
        values = parameter(reader, "FORCE_PLATFORM", key)
        if values is not None:
            found[key] = values
    used = _whole(found.get("USED")) or 0
    found["TYPE"] = found.get("TYPE", np.zeros(0))[:used]
    return found
