"""Vertical force of the force platforms of a C3D file, types 1 to 4.

Source: C3D user guide, The C3D File Format (Motion Lab Systems), FORCE_PLATFORM section:
types 1 and 2 hold Fx, Fy, Fz first; type 3 holds two forces along x, two along y and four
vertical ones of the corner sensors; type 4 is type 2 multiplied by a 6 × 6 calibration matrix.
The four corners, in the laboratory's axes, turn plate axes into laboratory axes.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from cmjlab.errors import ReadError
from cmjlab.files.c3d_content import C3D
from cmjlab.files.columns import Columns, FloatArray
from cmjlab.files.headings import read_heading
from cmjlab.files.notes import note
from cmjlab.files.remedies import write_in_layout
from cmjlab.files.roles import name_or_number
from cmjlab.recording import ReadingNote

#: Corners that tilt a plate by more than this are not believed (our own choice).
_MOST_TILT_DEG = 10.0
#: Channels each type needs.
_CHANNELS = {1: 6, 2: 6, 3: 8, 4: 6}


def vertical_forces(name: str, content: C3D) -> tuple[FloatArray, list[str], list[ReadingNote]]:
    """Return vertical force per platform, shape (samples, platforms), its units, and notes.

    Raises
    ------
    ReadError
        For types other than 1 to 4, or when channels or the calibration matrix are missing.
    """
    platform, analog = content.platform, content.analog
    types = platform["TYPE"].astype(int)
    notes = list(content.notes)
    channels = _channel_map(name, content, len(types))
    forces, units = [], []
    for k, kind in enumerate(types):
        if kind not in _CHANNELS:
            raise ReadError(
                f"{name}: force platform {k + 1} is of type {kind}; types 1 to 4 are supported."
                f" Export it as another type; or, if there are such, {_name_channels(name, content)}."
            )
        at = _channels_of(name, content, channels, k, _CHANNELS[kind])
        if kind == 3:
            parts = [(at[0], at[1]), (at[2], at[3]), tuple(at[4:8])]
            force = np.column_stack([analog[:, list(p)].sum(axis=1) for p in parts])
            units.append(_common_unit(name, [content.units[i] for i in at[4:8]], k))
        elif kind == 4:
            force = analog[:, at] @ _matrix(name, platform, k)[:3, :].T
            units.append("N")
            notes.append(
                note(
                    "calibration_matrix", f"Platform {k + 1}: its 6 × 6 calibration matrix applied."
                )
            )
        else:
            force = analog[:, at[:3]]
            units.append(content.units[at[2]])
        forces.append(_vertical(force, platform, k, notes))
    _note_zero(platform, notes)
    return np.column_stack(forces), units, notes


def _vertical(
    force: FloatArray, platform: dict[str, NDArray[Any]], k: int, notes: list[ReadingNote]
) -> FloatArray:
    """Return the component along the laboratory axis that the plate's normal points along.

    Without usable corners the plate's own z axis is taken.
    """
    axes = _plate_axes(platform, k)
    if axes is None:
        return force[:, 2]
    normal = axes[:, 2]
    up = int(np.argmax(np.abs(normal)))
    tilt = float(np.degrees(np.arccos(min(1.0, abs(float(normal[up]))))))
    if tilt > _MOST_TILT_DEG:
        notes.append(
            note(
                "platform_axes",
                f"Platform {k + 1}: its corners tilt it by {tilt:.1f}° from every laboratory axis;"
                " force along its own normal was taken.",
            )
        )
        return force[:, 2]
    return force @ axes[up, :]


def _plate_axes(platform: dict[str, NDArray[Any]], k: int) -> FloatArray | None:
    """Return the plate's x, y, z axes as columns in laboratory axes, None without corners.

    Corners 1 to 4 lie in the quadrants (+x+y), (−x+y), (−x−y), (+x−y) of the plate.
    """
    found = platform.get("CORNERS")
    if found is None or found.size < 12 * (k + 1):
        return None
    corners = found[12 * k : 12 * (k + 1)].reshape(4, 3)
    x, y = corners[0] - corners[1], corners[0] - corners[3]
    z = np.cross(x, y)
    y = np.cross(z, x)
    lengths = [float(np.linalg.norm(v)) for v in (x, y, z)]
    if not all(np.isfinite(lengths)) or min(lengths) <= 0.0:
        return None
    return np.column_stack([v / n for v, n in zip((x, y, z), lengths, strict=True)])


def _name_channels(name: str, content: C3D) -> str:
    """Return the words that say how to name the channels of vertical force themselves."""
    channels = Columns(name, content.labels, [None] * len(content.labels))
    heads = [read_heading(label) for label in content.labels]
    vertical = [i for i, h in enumerate(heads) if h.quantity == "force" and h.axis in ("z", "v")]
    named = [name_or_number(channels, i) for i in vertical or [0]]
    return (
        f"name the analog channels of vertical force: {write_in_layout({'force_columns': named})}"
    )


def _channel_map(name: str, content: C3D, count: int) -> NDArray[Any]:
    """Return the channel numbers (from 1), shape (platforms, channels)."""
    found = content.platform.get("CHANNEL")
    if found is None or not found.size:
        raise ReadError(
            f"{name}: the C3D file declares {count} force platform(s) but not their channels"
            f" (FORCE_PLATFORM:CHANNEL is empty). Export it again, or {_name_channels(name, content)}."
        )
    if count < 1 or found.size % count:
        raise ReadError(
            f"{name}: the C3D file lists {found.size} channels for {count} force platforms, which"
            " does not divide. Export it again."
        )
    return found.astype(int).reshape(count, -1)


def _channels_of(
    name: str, content: C3D, channels: NDArray[Any], platform: int, needed: int
) -> NDArray[np.int64]:
    held = content.analog.shape[1]
    row = channels[platform] if platform < len(channels) else np.zeros(0)
    row = row[row > 0]
    if len(row) < needed:
        raise ReadError(
            f"{name}: force platform {platform + 1} lists {len(row)} channels; its type needs"
            f" {needed}. Export it again, or {_name_channels(name, content)}."
        )
    if int(row[:needed].max()) > held:
        raise ReadError(
            f"{name}: force platform {platform + 1} names channel {int(row[:needed].max())}, the"
            f" file holds {held}. The file is damaged or incomplete; export it again."
        )
    return row[:needed].astype(np.int64) - 1


def _matrix(name: str, platform: dict[str, NDArray[Any]], k: int) -> FloatArray:
    """Return the calibration matrix of platform k: rows are outputs, columns channels."""
    found = platform.get("CAL_MATRIX")
    if found is None or found.size < 36 * (k + 1):
        raise ReadError(
            f"{name}: force platform {k + 1} is of type 4 but has no calibration matrix"
            " (FORCE_PLATFORM:CAL_MATRIX). Export it again."
        )
    # Stored with the first index (output) running fastest: reshaped in C order, its transpose.
    return found[36 * k : 36 * (k + 1)].reshape(6, 6).T


def _common_unit(name: str, units: list[str], k: int) -> str:
    if len(set(units)) > 1:
        raise ReadError(
            f"{name}: force platform {k + 1}: its vertical channels have different units"
            f" ({', '.join(units)})."
        )
    return units[0]


def _note_zero(platform: dict[str, NDArray[Any]], notes: list[ReadingNote]) -> None:
    zero = platform.get("ZERO", np.zeros(0))
    if zero.size >= 2 and zero[1] > 0:
        notes.append(
            note(
                "zero_range",
                f"The file names frames {zero[0]:.0f} to {zero[1]:.0f} for zeroing the platforms;"
                " this was not done.",
            )
        )
