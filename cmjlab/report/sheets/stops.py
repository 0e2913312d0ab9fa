"""What a sheet of a subgroup says when the values that made the subgroup cannot be right."""

from __future__ import annotations

from cmjlab.report.build.stops import Stops
from cmjlab.report.build.subgroups import StudySubgroups
from cmjlab.words.catalog import Words


def sheet_stops(
    stops: Stops, groups: StudySubgroups, subgroup: str, words: Words
) -> tuple[str, ...]:
    """Return what concerns the members of a subgroup, in the session that placed them.

    Parameters
    ----------
    stops : Stops
        What cannot be right in the study.
    groups : StudySubgroups
    subgroup : str
    words : Words
        The words of the study.
    """
    members = set(groups.members(subgroup))
    mine = [
        d
        for d in stops.doubts
        if d.touches_session([groups.session]) and (not d.athletes or members & set(d.athletes))
    ]
    return tuple(words.say("stopped.sheet", found=t) for t in stops.sentences(words, mine))
