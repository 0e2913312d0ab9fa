"""The events of a jump in the order in which they come, and their words."""

from __future__ import annotations

#: Event -> its words.
EVENT_LABELS = {
    "weighing_start": "start of weighing",
    "weighing_end": "end of weighing",
    "onset": "onset",
    "minimum_force": "minimum force",
    "peak_downward_velocity": "peak downward velocity",
    "zero_velocity": "zero velocity",
    "takeoff": "take-off",
    "landing": "landing",
}
#: Events that a person may fix; the others follow from the force.
MOVABLE_EVENTS = ("weighing_start", "weighing_end", "onset", "takeoff", "landing")
