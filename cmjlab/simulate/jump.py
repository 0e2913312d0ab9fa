"""One simulated countermovement jump: a recording, and the truth about it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from cmjlab import checks
from cmjlab.checks import number
from cmjlab.recording import FloatArray, Recording
from cmjlab.settings import Settings, setting
from cmjlab.simulate.exact import exact_metrics
from cmjlab.simulate.limbs import LIMB_PHASES, limb_metrics, right_share
from cmjlab.simulate.noise import plate_noise, quantised, sway
from cmjlab.simulate.profile import Profile, exact_force, named_profile, true_events


@dataclass(frozen=True, eq=False)
class RecordingSettings(Settings):
    """How a simulated jump is recorded; the defaults are a clean two-plate recording.

    Examples
    --------
    >>> import cmjlab as cj
    >>> plain = cj.simulate.RecordingSettings(quiet_before_s=1.0)
    >>> plain
    RecordingSettings(quiet_before_s=1.0)
    >>> cj.simulate_jump(settings=plain).recording.duration_s < cj.simulate_jump().recording.duration_s
    True
    """

    quiet_before_s: float = setting(
        2.0, "standing still before the movement", unit="s", low=0.0, high=600.0
    )
    quiet_after_s: float = setting(
        1.5, "standing still after the landing has come to rest", unit="s", low=0.0, high=600.0
    )
    plates: int = setting(2, "1: one plate ('total'); 2: 'left' and 'right'", allowed=(1, 2))
    asymmetry_standing_percent: float = setting(
        0.0, "100 (right − left) / (right + left) while standing", unit="%", low=-80, high=80
    )
    asymmetry_unweighting_percent: float = setting(
        0.0, "the same in unweighting", unit="%", low=-80, high=80
    )
    asymmetry_braking_percent: float = setting(
        0.0, "the same in braking", unit="%", low=-80, high=80
    )
    asymmetry_propulsion_percent: float = setting(
        0.0, "the same in propulsion", unit="%", low=-80, high=80
    )
    asymmetry_landing_percent: float = setting(
        0.0, "the same in landing", unit="%", low=-80, high=80
    )
    offset_n: float = setting(
        0.0, "force shown by the summed plates when empty", unit="N", low=-500, high=500
    )
    resolution_n: float = setting(
        0.0, "step of the converter on each plate; 0: none", unit="N", low=0.0, high=50.0
    )
    grid_offset: float = setting(
        -1.0,
        "true onset this share of a sample after a sample; -1: drawn at random",
        low=-1.0,
        high=1.0,
    )

    def _contradictions(self) -> list[str]:
        if -1.0 < self.grid_offset < 0.0 or self.grid_offset == 1.0:
            return ["grid_offset: -1, or 0 up to (not including) 1"]
        return []

    def asymmetries(self) -> dict[str, float]:
        """Return the asymmetry of each phase, percent."""
        return {phase: getattr(self, f"asymmetry_{phase}_percent") for phase in LIMB_PHASES}


@dataclass(frozen=True)
class SimulatedJump:
    """A recording and what is true about it.

    Attributes
    ----------
    recording : Recording
        The force, with noise.
    truth : mapping of str to float
        Exact metric values by catalog key (SI units).
    events : mapping of str to float
        Exact event times on the recording's clock, seconds: onset, minimum_force,
        peak_downward_velocity, zero_velocity, takeoff, landing; ``weighing_start`` and
        ``weighing_end`` are the first and last instant of true quiet standing, ``rest`` the
        instant of standing still again.
    profile : Profile
        The jump that was recorded.
    settings : RecordingSettings
        How it was recorded.

    Examples
    --------
    >>> import cmjlab as cj
    >>> jump = cj.simulate_jump(seed=1)
    >>> type(jump).__name__, round(jump.truth["jump_height_m"], 3)
    ('SimulatedJump', 0.345)
    """

    recording: Recording
    truth: Mapping[str, float]
    events: Mapping[str, float]
    profile: Profile
    settings: RecordingSettings


def simulate_jump(
    profile: str | Profile = "typical",
    *,
    rate_hz: float = 1000.0,
    noise_sd_n: float = 0.0,
    sway_sd_n: float = 0.0,
    settings: RecordingSettings | None = None,
    seed: int | np.random.SeedSequence | np.random.Generator = 0,
) -> SimulatedJump:
    """Simulate the recording of one countermovement jump whose metrics are known exactly.

    Parameters
    ----------
    profile : str or Profile
        "typical", "light", "fast_stiff", "slow_deep", "two_peaked", "late_peaked"; with
        other onsets "ramp_onset", "abrupt_onset", "creeping_onset", "rise_first_onset"; or a
        :class:`~cmjlab.simulate.profile.Profile`.
    rate_hz : float
        Sampling rate in hertz.
    noise_sd_n : float
        Standard deviation of white noise on the summed force, newtons.
    sway_sd_n : float
        Standard deviation of the slow force fluctuation of standing, newtons. It fades with
        the force on the plate, so that it is absent in flight. Truth is that of the jump
        without it.
    settings : RecordingSettings, optional
        Standing times, plates, asymmetry, offset, resolution, position of the sampling grid.
    seed : int, SeedSequence or Generator
        The same seed gives the same recording; noise, sway and sampling grid have streams of
        their own, so that changing one leaves the others as they are.

    Returns
    -------
    SimulatedJump

    Raises
    ------
    ArgumentError
        When a value is outside its range or the profile is unknown.

    Examples
    --------
    >>> from cmjlab.simulate.jump import simulate_jump
    >>> sim = simulate_jump("typical", noise_sd_n=1.0, seed=1)
    >>> round(sim.truth["jump_height_m"], 4), sim.recording.plates
    (0.3447, ('left', 'right'))
    """
    jump = named_profile(profile)
    how = checks.given_or_default("settings", settings, RecordingSettings)
    recording, events = record(
        jump, how, rate_hz=rate_hz, noise_sd_n=noise_sd_n, sway_sd_n=sway_sd_n, seed=seed
    )
    return SimulatedJump(recording, exact_truth(jump, how), events, jump, how)


def exact_truth(profile: Profile, settings: RecordingSettings) -> dict[str, float]:
    """Return the exact metrics of a profile, with those of each foot when there are two plates."""
    truth = {key: float(value) for key, value in exact_metrics(profile.parameters).items()}
    if settings.plates == 2:
        truth.update(limb_metrics(profile, settings.asymmetries()))
    return truth


def record(
    profile: Profile,
    how: RecordingSettings,
    *,
    rate_hz: float,
    noise_sd_n: float,
    sway_sd_n: float,
    seed: int | np.random.SeedSequence | np.random.Generator,
) -> tuple[Recording, dict[str, float]]:
    """Return the recording of a profile and its exact events; see :func:`simulate_jump`."""
    rate = number("rate_hz", rate_hz, low=10, high=100_000, unit="Hz")
    noise_sd = number("noise_sd_n", noise_sd_n, low=0, high=1000, unit="N")
    sway_sd = number("sway_sd_n", sway_sd_n, low=0, high=1000, unit="N")
    noise_random, sway_random, grid_random = np.random.default_rng(seed).spawn(3)
    offset = how.grid_offset if how.grid_offset >= 0 else grid_random.uniform(0, 1)
    onset_s = (np.ceil(how.quiet_before_s * rate) + offset) / rate
    events = true_events(profile, onset_s)
    n = int(np.ceil((events["rest"] + how.quiet_after_s) * rate)) + 1
    time = np.arange(n) / rate
    clean = exact_force(profile, time - onset_s)
    total = clean.copy()
    if sway_sd > 0:
        fading = np.minimum(clean / profile.body_weight_n, 1.0)
        total += sway(time, sway_sd, random=sway_random) * fading
    force = _on_plates(total, time, events, how)
    if noise_sd > 0:
        force += plate_noise((n, how.plates), noise_sd, random=noise_random)
    force += how.offset_n / how.plates
    plates = ("left", "right") if how.plates == 2 else ("total",)
    recording = Recording(quantised(force, how.resolution_n), rate, plates)
    return recording, {"weighing_start": 0.0, "weighing_end": events["onset"], **events}


def _on_plates(
    total: FloatArray, time: FloatArray, events: Mapping[str, float], how: RecordingSettings
) -> FloatArray:
    """Share the total between the plates; shape (n, plates)."""
    if how.plates == 1:
        return total[:, None].copy()
    right = total * right_share(time, events, asymmetry_percent=how.asymmetries())
    return np.column_stack([total - right, right])
