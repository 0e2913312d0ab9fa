"""Jump and Check: what the analysis of one recording returns."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from cmjlab.catalog import EVENT_LABELS
from cmjlab.upstairs import upstairs

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from cmjlab.method import Method
    from cmjlab.recording import Recording

EVENTS = tuple(EVENT_LABELS)


@dataclass(frozen=True)
class Check:
    """One quality rule and what it found.

    Attributes
    ----------
    code : str
        Key of ``cmjlab.catalog.CHECKS``.
    status : str
        "pass", "note", "warn", "fail" or "not_assessed".
    value, limit : float
        Measured number and the limit it was held against, in ``unit`` (nan: none).
    unit : str
        Unit of value and limit.
    scope : str
        "jump", "flight", "landing" or "limbs". A fail of scope flight, landing or limbs voids
        the metrics of that scope (flight also those of landing, which begins with it). A fail
        of scope jump makes the whole jump not accepted; its numbers stay as evidence.
    reason : str
        One sentence for a person.

    Examples
    --------
    >>> import cmjlab as cj
    >>> jump = cj.measure(cj.simulate_fault("double_dip"))
    >>> check = jump.check("double_dip")
    >>> check.status, check.scope
    ('fail', 'jump')
    """

    code: str
    status: str
    value: float
    limit: float
    unit: str
    scope: str
    reason: str


@dataclass(frozen=True)
class Motion:
    """Motion of the centre of mass from onset to the end of the jump; arrays of one length.

    Time is on the file's clock (s); force in N, acceleration in m/s², velocity in m/s,
    displacement in m with 0 at standing height.
    """

    time_s: NDArray[np.float64]
    force_n: NDArray[np.float64]
    acceleration_m_per_s2: NDArray[np.float64]
    velocity_m_per_s: NDArray[np.float64]
    displacement_m: NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Jump:
    """One analysed countermovement jump.

    Attributes
    ----------
    recording, method
        What was analysed and how.
    events : mapping of str to float
        All eight events of :data:`EVENTS`, seconds on the file's clock; nan when absent.
    detected : mapping of str to float
        The same before a person fixed any event.
    motion : Motion
        Motion of the centre of mass (empty arrays when no jump was found).
    metrics : mapping of str to float
        Every key of ``cmjlab.catalog.METRICS``; nan when not defined or voided.
    checks : tuple of Check
        Every quality rule, passed ones included.
    voided : mapping of str to str
        Metric key -> reason, for every metric that is nan: voided by a failed check, or not
        defined for this recording.
    load_kg : float
        What the athlete carried; the motion is that of athlete and load together.

    Examples
    --------
    >>> import cmjlab as cj
    >>> jump = cj.measure(cj.simulate_jump(seed=1).recording)
    >>> jump.accepted, round(jump.metrics["jump_height_m"], 3)
    (True, 0.345)
    >>> jump.check("double_dip").status, len(jump.flags)
    ('pass', 1)
    """

    recording: Recording
    method: Method
    events: Mapping[str, float]
    detected: Mapping[str, float]
    motion: Motion
    metrics: Mapping[str, float]
    checks: tuple[Check, ...]
    voided: Mapping[str, str]
    load_kg: float = 0.0

    @property
    def system_mass_kg(self) -> float:
        """Mass of athlete and load together, kg; nan when body mass is not known."""
        return self.metrics["body_mass_kg"] + self.load_kg

    @property
    def flags(self) -> tuple[Check, ...]:
        """Checks that are note, warn or fail."""
        return tuple(c for c in self.checks if c.status in ("note", "warn", "fail"))

    @property
    def accepted(self) -> bool:
        """Whether no check of scope "jump" failed."""
        return not any(c.status == "fail" and c.scope == "jump" for c in self.checks)

    def check(self, code: str) -> Check:
        """Return the check of this code; KeyError when the rule does not exist."""
        for c in self.checks:
            if c.code == code:
                return c
        raise KeyError(f"no check {code!r}; checks are {', '.join(c.code for c in self.checks)}")

    def plot(self) -> Figure:
        """Return the figure of the jump: force, power, velocity, displacement, phases, flags.

        Returns
        -------
        matplotlib.figure.Figure
            With an ``alt_text`` that says what it shows.

        Examples
        --------
        >>> import cmjlab as cj
        >>> jump = cj.measure(cj.simulate_jump(seed=1).recording)
        >>> len(jump.plot().axes) >= 4
        True
        """
        return upstairs("plot_jump")(self)  # type: ignore[no-any-return]

    def __repr__(self) -> str:
        return upstairs("text_of")(self)  # type: ignore[no-any-return]

    def _repr_html_(self) -> str:
        return upstairs("html_of")(self)  # type: ignore[no-any-return]
