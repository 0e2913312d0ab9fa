"""cmjlab: countermovement jumps on force plates, from raw force to a block report.

From a file to a jump
    read_recording, write_recording, Layout, Recording, split_jumps, measure, Method, Jump, Check

A study
    Study, demo_study, check_study, Plan, Selection, Decision, review_jumps, Review,
    summarise_sessions, write_report, prune_store, share_study, SharedStudy,
    audit_study, Audit, JumpsDataset

Numbers and words
    Result, Note, glossary

Groups of names
    stats (every statistic), plots (every figure), simulate (jumps and squads with exact truth),
    scrutiny (would a sceptical reviewer believe it), notebook (what the notebooks use besides)

Errors
    CmjlabError, ArgumentError, ReadError, JumpError, StatsError, StudyError, MissingExtraError

Begin with ``study = cj.Study.open(folder)``: it has the analyses of a block as methods, filled in
by its own plan. ``dir(cj)`` shows the names above; names of ``cj.stats``, ``cj.simulate`` and
``cj.scrutiny`` can be called as ``cj.reliability`` and so on, too. Heavy parts load when they are first
used.
"""

import lazy_loader as lazy

__version__ = "0.2.0"
__getattr__, _every_name, __all__ = lazy.attach_stub(__name__, __file__)


def __dir__() -> list[str]:
    """Return the names to begin with; those of the groups stand in the groups."""
    inside = {
        name for group in ("stats", "simulate", "scrutiny") for name in __getattr__(group).__all__
    }
    return sorted(set(_every_name()) - inside - {"notebook_parameters"})
