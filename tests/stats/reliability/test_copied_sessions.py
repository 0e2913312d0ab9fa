"""Copied sessions are called out; athletes who happen to tie are not."""

import numpy as np
import pytest
from reliability_kit import squad, table

from cmjlab.stats.reliability.reliability import reliability

CODES = {"identical_sessions", "shifted_sessions"}


def codes(values, **columns):
    """Return which of the two alarms sound."""
    result = reliability(table(np.asarray(values, float), **columns))
    return {n.code for n in result.notes} & CODES


def test_two_tied_athletes_are_no_copy():
    assert codes([[31.2, 31.2], [34.5, 34.5]]) == set()
    assert codes([[31.2, 31.2], [34.5, 34.5], [33.0, np.nan], [np.nan, 29.1]]) == set()


def test_two_athletes_with_all_digits_alike_are_a_copy():
    values = squad(n=2, k=1)
    assert codes(np.hstack([values, values])) == {"identical_sessions"}


def test_three_coarse_ties_are_a_copy_and_a_measure_that_hardly_varies_is_not():
    assert codes([[31.2, 31.2], [34.5, 34.5], [30.1, 30.1]]) == {"identical_sessions"}
    assert codes([[3, 3], [3, 3], [4, 4], [3, 3]]) == set()


@pytest.mark.parametrize("shift", [2.0, -0.013, 1e-6])
def test_a_session_plus_a_constant_is_called_out(shift):
    values = squad(n=8, k=1)
    result = reliability(table(np.hstack([values, values + shift])))
    note = next(n for n in result.notes if n.code == "shifted_sessions")
    assert "every athlete differs by the same amount between s1 and s2" in note.text
    assert not result.has_note("identical_sessions")


def test_a_shift_needs_more_than_coincidence():
    # written to a millimetre: two equal differences happen
    assert codes([[31.2, 31.5], [34.5, 34.8], [30.1, 30.4]]) == set()
    assert codes([[31.2, 31.5], [34.5, 34.8], [30.1, 30.4], [29.0, 29.3]]) == {"shifted_sessions"}


@pytest.mark.parametrize("seed", range(5))
def test_honest_sessions_written_to_a_millimetre_raise_no_alarm(seed):
    assert codes(np.round(squad(n=6, k=3, seed=seed), 1)) == set()
    assert codes(squad(n=6, k=3, seed=seed)) == set()


def test_copies_with_gaps_are_seen():
    values = squad(n=8, k=1)
    both = np.hstack([values, values + 1.0])
    both[0, 1] = both[3, 0] = np.nan
    assert codes(both) == {"shifted_sessions"}
