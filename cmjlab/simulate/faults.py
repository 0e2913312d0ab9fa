"""Recordings with one known fault, by name: for training eyes and for trying quality rules."""

from __future__ import annotations

from collections.abc import Callable

from cmjlab.checks import one_of
from cmjlab.recording import Recording
from cmjlab.simulate import other_movements, spoil
from cmjlab.simulate.jump import SimulatedJump, simulate_jump

#: Movements that are not one countermovement jump; those made of a jump use the given one.
OTHER_MOVEMENTS: dict[str, Callable[[SimulatedJump], Recording]] = {
    "several_jumps": lambda sim: other_movements.several_jumps([sim, sim]),
    "hop_first": lambda sim: other_movements.hop_first(sim, sim),
    "squat_and_stand": lambda sim: other_movements.squat_and_stand(sim.profile),
    "squat_jump": lambda sim: other_movements.squat_jump(sim.profile),
    "drop_jump": lambda sim: other_movements.drop_jump(sim.profile),
    "empty_plate": lambda sim: other_movements.empty_plate(),
}


def simulate_fault(fault: str, jump: SimulatedJump | None = None) -> Recording:
    """Simulate a recording that is spoiled in one known way, or is no countermovement jump.

    Parameters
    ----------
    fault : str
        A fault of :mod:`cmjlab.simulate.spoil` ("hand_support", "double_dip", "offset",
        "clip", "land_beside", …) or another movement ("squat_jump", "drop_jump",
        "several_jumps", "hop_first", "squat_and_stand", "empty_plate"). An unknown name is
        answered with all of them.
    jump : SimulatedJump, optional
        The clean jump to spoil; a typical one on two plates when left out.

    Returns
    -------
    Recording

    Raises
    ------
    ArgumentError
        When there is no fault of this name.

    Examples
    --------
    >>> import cmjlab as cj
    >>> spoiled = cj.measure(cj.simulate_fault("double_dip"))
    >>> spoiled.accepted, spoiled.check("double_dip").status
    (False, 'fail')
    """
    one_of("fault", fault, [*spoil.FAULTS, *OTHER_MOVEMENTS])
    clean = jump if jump is not None else simulate_jump(noise_sd_n=1.0)
    if fault in OTHER_MOVEMENTS:
        return OTHER_MOVEMENTS[fault](clean)
    return spoil.FAULTS[fault](clean).recording
