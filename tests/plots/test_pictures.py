"""Figures of the demo study look as they did when a person looked at them."""

from __future__ import annotations

import matplotlib as mpl
import pytest
from demo_pictures import PICTURES, between
from picture_kit import SHARE, coarse, kept, share_apart


@pytest.mark.parametrize("name", PICTURES)
def test_a_figure_looks_as_it_was_kept(name):
    apart = share_apart(coarse(PICTURES[name]()), kept(name))
    assert apart <= SHARE, (
        f"{apart:.1%} of the picture differ. Look at the figure; if it is right, keep it:"
        " python tests/plots/demo_pictures.py"
    )


def test_a_band_that_moved_is_another_picture():
    assert share_apart(coarse(between(0.020)), kept("between")) > 2 * SHARE


def test_letters_that_another_version_draws_otherwise_are_not():
    """Without hinting every letter has other edges, as with another version of the font engine."""
    with mpl.rc_context({"text.hinting": "none"}):
        assert share_apart(coarse(between()), kept("between")) <= SHARE
