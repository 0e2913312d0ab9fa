"""Simulated jumps and studies with exact truth: ``cj.simulate``.

It shares no code with cmjlab.jump, so that each can catch the other's faults.

One jump
    simulate_jump: a jump with exact truth
    simulate_fault: a recording with one known fault
    Profile: how somebody jumps
    RecordingSettings: how it is recorded
    SimulatedJump: recording and truth of a jump

A squad
    simulate_sessions: a sessions table with exact truth
    simulate_study: recordings, tables and truth of a study
    StudySettings: who is tested, when, and what training does
    SimulatedSessions: table and truth
    SimulatedStudy: recordings, tables and truth
"""

import lazy_loader as lazy

__getattr__, __dir__, __all__ = lazy.attach_stub(__name__, __file__)
