"""Read a C3D file: vertical force per force platform, or the analog channels."""

from __future__ import annotations

import numpy as np

from cmjlab.files.c3d_content import C3D, damage_is_an_error, parse_c3d
from cmjlab.files.c3d_plates import vertical_forces
from cmjlab.files.columns import BadCell, Columns, FloatArray
from cmjlab.files.headings import read_heading
from cmjlab.files.notes import note
from cmjlab.layout import Layout


def read_c3d(name: str, data: bytes, layout: Layout) -> Columns:
    """Return vertical force per force platform, or the analog channels when none is declared.

    Parameters
    ----------
    name : str
        File name for messages.
    data : bytes
        The file.
    layout : Layout
        ``force_columns`` names analog channels to use instead of the platforms.

    Raises
    ------
    ReadError
        When the file is damaged or cut short, or a platform's type is not supported.
    """
    with damage_is_an_error(name):
        content = parse_c3d(name, data)
        return _columns(name, content, layout)


def _columns(name: str, content: C3D, layout: Layout) -> Columns:
    types = content.platform.get("TYPE")
    if layout.force_columns or types is None or not types.size:
        notes = list(content.notes)
        if not layout.force_columns:
            notes.append(
                note(
                    "no_platform", "No force platform is declared; channels chosen by their labels."
                )
            )
        names, units = content.labels, content.units
        values: list[FloatArray | None] = list(content.analog.T)
    else:
        force, units, notes = vertical_forces(name, content)
        names = _plate_names(content, force.shape[1])
        values = list(force.T)
    lost = {
        k: np.flatnonzero(~np.isfinite(v)).tolist() for k, v in enumerate(values) if v is not None
    }
    return Columns(
        name,
        names,
        values,
        bad={k: [BadCell(r, r + 1, "nan") for r in rows] for k, rows in lost.items()},
        units=units,
        rate_hz=content.rate_hz,
        start_s=content.start_s,
        trust_units=True,
        notes=notes,
        facts={"kind": "c3d", "labels": content.labels},
    )


def _plate_names(content: C3D, count: int) -> list[str]:
    """Name the platforms: by the label of their vertical channel when it names a side."""
    if count == 1:
        return ["Fz"]
    channels = content.platform["CHANNEL"].astype(int).reshape(count, -1)
    labels = [content.labels[c - 1] if 0 < c <= len(content.labels) else "" for c in channels[:, 2]]
    if all(read_heading(label).side in ("left", "right") for label in labels):
        return labels
    return [f"plate {k + 1} Fz" for k in range(count)]
