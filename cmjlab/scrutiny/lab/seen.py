"""A lab as its own recordings show it: rate, plate noise, steps, sway, protocol."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from cmjlab.errors import CmjlabError, StatsError
from cmjlab.jump_types import Jump
from cmjlab.method import Method
from cmjlab.results import Note
from cmjlab.scrutiny.lab.conditions import conditions_table, seen_of_sway
from cmjlab.simulate.closed_form import LANDING_S
from cmjlab.simulate.jump import RecordingSettings
from cmjlab.study.study import Study

#: A flight shows the plate's noise when it has this share of the quick part of standing.
_SHOWN = 0.5
#: Noise is not white when flight holds so many times the SD of its quick part.
_NOT_WHITE = 1.5
#: Rates with fewer than this share of the recordings are not simulated.
_RARE = 0.1
#: Standing that is simulated at most: the weighing window is taken from it, s.
_STANDING_S = 10.0
#: Recordings that an estimate of a lab needs.
FEWEST_JUMPS = 5


@dataclass(frozen=True)
class Lab:
    """What is simulated as this lab; newtons are those of all plates together.

    Attributes
    ----------
    rates_hz : tuple of float
        Sampling rates that a tenth of the recordings or more have, most frequent first.
    rate_shares : tuple of float
        Share of the recordings with each.
    plates : int
    noise_sd_n, step_n, sway_sd_n : float
        Plate noise; step of the converter of one plate, 0 where none is seen; sway.
    noise_from : str
        "flight" or "standing": where the noise was seen.
    standing_s, after_s : float
        Standing before the onset, and after the landing has come to rest.
    n : int
        Recordings looked at.
    """

    rates_hz: tuple[float, ...]
    rate_shares: tuple[float, ...]
    plates: int
    noise_sd_n: float
    step_n: float
    sway_sd_n: float
    noise_from: str
    standing_s: float
    after_s: float
    n: int
    notes: tuple[Note, ...] = field(default=(), compare=False)

    def recording_settings(self) -> RecordingSettings:
        """Return how a simulated jump of this lab is recorded."""
        return RecordingSettings(
            quiet_before_s=min(max(self.standing_s, 0.0), _STANDING_S),
            quiet_after_s=max(self.after_s, 0.0), plates=self.plates, resolution_n=self.step_n,
            asymmetry_standing_percent=2.0, asymmetry_braking_percent=6.0,
            asymmetry_propulsion_percent=4.0,
        )  # fmt: skip


def looked_at(study: Study, jumps: pd.DataFrame, most: int) -> list[Jump]:
    """Return up to ``most`` accepted jumps in full, spread evenly over the table.

    Raises
    ------
    StatsError
        Fewer than :data:`FEWEST_JUMPS` can be analysed.
    """
    listed = jumps[jumps["accepted"].fillna(False).astype(bool)][["file", "jump"]]
    places = np.unique(np.linspace(0, len(listed) - 1, min(most, len(listed))).round().astype(int))
    found: list[Jump] = []
    for file, number in listed.iloc[places].itertuples(index=False) if len(listed) else ():
        try:
            found.append(study.jump(str(file), int(number)))
        except CmjlabError:
            continue  # told by the study's own check; other jumps show the plate as well
    if len(found) < FEWEST_JUMPS:
        raise StatsError(
            f"{study.title}: {len(found)} accepted jump(s) could be looked at; a lab's noise and sway need"
            f" {FEWEST_JUMPS} or more. 'cmjlab check' tells what speaks against the others."
        )
    return found


def lab_of(table: pd.DataFrame, method: Method) -> Lab:
    """Return the lab that recordings show.

    Parameters
    ----------
    table : pandas.DataFrame
        From :func:`~cmjlab.scrutiny.lab.conditions.conditions_table`, one row per jump.
    method : Method
        Where it weighs decides what a weighing window shows of sway.

    Raises
    ------
    StatsError
        The noise of the plates can be seen nowhere.

    Notes
    -----
    Medians of variances over jumps, so that single restless athletes do not count. A step adds
    step² / 12 to the variance of each plate and is simulated by itself, so it is taken off.
    """
    notes: list[Note] = []
    rates, shares = _rates(table["rate_hz"], notes)
    plates = int(table["plates"].mode().iloc[0])
    steps = table["step_n"].dropna()
    step = float(steps.median()) if len(steps) > len(table) / 2 else 0.0
    noise_var, where = _noise(table, notes)
    rounding = plates * step**2 / 12
    if step and noise_var <= rounding:
        notes.append(Note("lab_noise_below_step", {"step": step}))
    after = float(np.nanmedian(table["after_s"])) - LANDING_S
    return Lab(
        rates, shares, min(plates, 2), float(np.sqrt(max(noise_var - rounding, 0.0))), step,
        _sway_sd(table, method), where, float(np.nanmedian(table["standing_s"])), after, len(table),
        tuple(notes),
    )  # fmt: skip


def lab_of_jumps(jumps: Sequence[Jump], method: Method) -> tuple[Lab, pd.DataFrame]:
    """Return the lab that jumps show, and one row per jump."""
    table = conditions_table(list(jumps))
    return lab_of(table, method), table


def _rates(column: pd.Series, notes: list[Note]) -> tuple[tuple[float, ...], tuple[float, ...]]:
    counts = column.round(6).value_counts(normalize=True)
    kept = counts[counts >= _RARE]
    if len(kept) < len(counts):
        notes.append(
            Note("lab_rare_rates", {"rates": sorted(map(float, counts[counts < _RARE].index))})
        )
    return tuple(map(float, kept.index)), tuple(map(float, kept / kept.sum()))


def _noise(table: pd.DataFrame, notes: list[Note]) -> tuple[float, str]:
    """Return the variance of plate noise, and where it was seen."""
    flight, quick, standing = (
        float(table[c].median()) for c in ("flight_var", "flight_fine_var", "standing_fine_var")
    )
    if np.isfinite(flight) and (np.isnan(standing) or flight >= _SHOWN**2 * standing):
        if flight > _NOT_WHITE**2 * quick:
            notes.append(Note("lab_noise_not_white", {"flight": flight**0.5, "quick": quick**0.5}))
        return flight, "flight"
    if np.isfinite(standing):
        notes.append(Note("lab_flight_shows_no_noise"))
        return standing, "standing"
    raise StatsError(
        "the recordings hold neither a flight nor a weighing window long enough to see the noise of"
        " the plates; use recordings with a quiet second before the jump."
    )


def _sway_sd(table: pd.DataFrame, method: Method) -> float:
    """Return the SD of sway that makes the weighing windows as restless as they are.

    Jumps with a shorter window (restless, or short of standing) are held against such windows.
    """
    known = table.dropna(subset=["slow_var", "standing_s", "window_s"])
    found: list[float] = []
    for window, part in known.groupby((known["window_s"] / 0.05).round() * 0.05):
        reach = min(float(part["standing_s"].median()), method.weighing_search_s)
        stillest = method.weighing == "stillest"
        seen = seen_of_sway(round(reach, 1), round(float(str(window)), 2), stillest=stillest)
        found += list(part["slow_var"] / seen)
    return float(np.sqrt(max(np.median(found), 0.0))) if found else 0.0
