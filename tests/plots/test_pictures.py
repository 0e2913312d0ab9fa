"""Figures of the demo study look as they did when a person looked at them, in the gallery."""

from __future__ import annotations

import json

import matplotlib as mpl
import pytest
from picture_kit import GALLERY, SHARE, coarse, kept, share_apart

FIGURES = {figure["name"]: figure["code"] for figure in GALLERY.gallery()["figure"]}


@pytest.fixture(scope="module")
def names():
    return GALLERY.names_before()


@pytest.mark.parametrize("name", FIGURES)
def test_a_figure_looks_as_it_was_kept(name, names):
    figure = GALLERY.drawn(FIGURES[name], names)
    apart = share_apart(coarse(figure), kept(name))
    assert apart <= SHARE, (
        f"{apart:.1%} of the picture differ. Look at the figure; if it is right, keep it:"
        f" python notebooks/site/draw_gallery.py {name}"
    )
    words = json.loads(GALLERY.WORDS.read_text(encoding="utf-8"))
    assert words[name] == figure.alt_text


def test_no_picture_is_left_behind():
    assert {path.stem for path in GALLERY.PICTURES.glob("*.png")} == set(FIGURES)


def test_a_band_that_moved_is_another_picture(names):
    moved = FIGURES["between"].replace("0.015", "0.020")
    assert share_apart(coarse(GALLERY.drawn(moved, names)), kept("between")) > 2 * SHARE


def test_letters_that_another_version_draws_otherwise_are_not(names):
    """Without hinting every letter has other edges, as with another version of the font engine."""
    with mpl.rc_context({"text.hinting": "none"}):
        figure = GALLERY.drawn(FIGURES["between"], names)
        assert share_apart(coarse(figure), kept("between")) <= SHARE
