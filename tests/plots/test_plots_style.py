"""The look of figures: colours that stay apart, text that cannot break, files that can be used."""

from __future__ import annotations

import itertools

import matplotlib as mpl
import numpy as np
import pandas as pd
import pytest

from cmjlab.errors import ArgumentError
from cmjlab.plots.style import (
    INK,
    MARKERS,
    MUTED,
    PALETTE,
    Picture,
    group_looks,
    picture,
    safe,
    save_all,
    styled,
)

#: Simulation of complete dichromacy in linear RGB. Viénot, Brettel & Mollon 1999, Color Res Appl
#: 24:243 (protan, deutan; from memory), and Machado et al. 2009, IEEE TVCG 15:1291, severity 1
#: (tritan; from memory).
DICHROMATS = {
    "normal": np.eye(3),
    "protan": np.array(
        [[0.11238, 0.88762, 0.0], [0.11238, 0.88762, 0.0], [0.00401, -0.00401, 1.0]]
    ),
    "deutan": np.array(
        [[0.29275, 0.70725, 0.0], [0.29275, 0.70725, 0.0], [-0.02234, 0.02234, 1.0]]
    ),
    "tritan": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.3039]]
    ),
}  # fmt: skip


def linear(color: str) -> np.ndarray:
    """Linear RGB of a hexadecimal colour (IEC 61966-2-1)."""
    s = np.array(mpl.colors.to_rgb(color))
    return np.where(s <= 0.04045, s / 12.92, ((s + 0.055) / 1.055) ** 2.4)


def lab(rgb: np.ndarray) -> np.ndarray:
    """CIE L*a*b* (D65) of linear RGB."""
    xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    ratio = (xyz @ np.clip(rgb, 0, 1)) / np.array([0.9505, 1.0, 1.089])
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def contrast(a: str, b: str) -> float:
    """Contrast ratio of WCAG 2."""
    weights = np.array([0.2126, 0.7152, 0.0722])
    high, low = sorted((float(weights @ linear(c)) for c in (a, b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("vision", DICHROMATS)
def test_first_four_groups_stay_apart_for_every_reader(vision):
    seen = [lab(DICHROMATS[vision] @ linear(c)) for c in PALETTE[:4]]
    distances = [float(np.linalg.norm(a - b)) for a, b in itertools.combinations(seen, 2)]
    assert min(distances) > 15


def test_groups_differ_in_marker_too():
    looks = group_looks(pd.Series([f"g{i}" for i in range(6)]))
    assert len({v["marker"] for v in looks.values()}) == 6
    assert len(set(MARKERS)) == len(MARKERS) == len(PALETTE)


def test_a_group_has_one_look_whoever_else_is_shown():
    order = ["strength", "fast", "usual"]
    everybody = group_looks(pd.Series(["usual", "strength", "fast"]), order)
    assert list(everybody) == order
    some = group_looks(pd.Series(["usual", "fast"]), order)
    assert some == {g: everybody[g] for g in ("fast", "usual")}
    as_categories = pd.Series(pd.Categorical(["usual"], order, ordered=True))
    assert group_looks(as_categories) == {"usual": everybody["usual"]}


def test_athletes_without_a_group_do_not_shift_the_groups():
    named = group_looks(pd.Series(["a", "b"]))
    mixed = group_looks(pd.Series(["", "a", None, "b"]))
    assert {g: mixed[g] for g in ("a", "b")} == named
    assert mixed[""] not in named.values()
    assert group_looks(pd.Series(["", ""])) == {"": named["a"]}


def test_more_groups_than_colours_still_have_looks_of_their_own():
    looks = group_looks(pd.Series([f"g{i}" for i in range(20)]))
    assert len({(v["color"], v["marker"]) for v in looks.values()}) == 20


def test_text_colours_reach_aa_on_white():
    assert contrast(INK, "#ffffff") >= 4.5
    assert contrast(MUTED, "#ffffff") >= 4.5
    assert min(contrast(c, "#ffffff") for c in PALETTE[:3]) >= 3.0


@styled
def _drawn(label: str) -> Picture:
    figure = picture(8, 6)
    axes = figure.subplots()
    axes.plot([0, 1], [0, 1], label=safe(label))
    axes.set_title(safe(label))
    axes.legend()
    figure.alt_text = label
    return figure


@pytest.mark.parametrize("label", ["_A01", "$_{bad$", "cost$A_1 team$", "50 % & <b>", "Zoë", "$"])
def test_awkward_labels_are_drawn_literally(label):
    """A wrong formula stops matplotlib, a leading underscore hides a legend entry."""
    figure = _drawn(label)
    figure.svg()
    axes = figure.axes[0]
    assert axes.get_legend() is not None
    assert len(axes.get_legend().get_texts()) == 1
    shown = axes.get_legend().get_texts()[0].get_text().replace(r"\$", "$").strip("\u200a")
    assert shown == label


def test_styled_leaves_matplotlib_as_it_was():
    before = dict(mpl.rcParams)
    _drawn("a").png(dpi=50)
    assert dict(mpl.rcParams) == before


def test_no_pyplot_state_is_made():
    import matplotlib.pyplot as plt

    before = plt.get_fignums()
    _drawn("a")
    assert plt.get_fignums() == before


def test_svg_is_self_contained_and_repeatable():
    text = _drawn("a").svg()
    assert text == _drawn("a").svg()
    assert text.startswith("<svg")
    assert "<text" not in text  # letters are paths
    assert 'href="http' not in text


def test_notebook_shows_the_figure_with_its_alt_text():
    png, metadata = _drawn("Zoë")._repr_png_()
    assert png.startswith(b"\x89PNG")
    assert metadata == {"alt": "Zoë"}


def test_save_all_writes_vector_bitmap_and_words(tmp_path):
    written = save_all({"one": _drawn("alt words")}, tmp_path / "figures")
    assert [p.name for p in written] == ["one.pdf", "one.png", "one.txt"]
    from PIL import Image

    with Image.open(tmp_path / "figures" / "one.png") as image:
        assert image.info["dpi"][0] == pytest.approx(300, abs=0.1)
        assert image.size[0] == pytest.approx(8 / 2.54 * 300, abs=2)
    assert b"/FontFile2" in (tmp_path / "figures" / "one.pdf").read_bytes()  # TrueType, embedded
    assert (tmp_path / "figures" / "one.txt").read_text(encoding="utf-8") == "alt words\n"


@pytest.mark.parametrize("stem", ["../up", "a/b", ""])
def test_save_all_refuses_paths_as_names(tmp_path, stem):
    with pytest.raises(ArgumentError, match="plain file name"):
        save_all({stem: _drawn("a")}, tmp_path)


def test_save_all_refuses_other_formats(tmp_path):
    with pytest.raises(ArgumentError, match="formats: found 'bmp'"):
        save_all({"a": _drawn("a")}, tmp_path, formats=("bmp",))


def test_a_long_reason_leaves_a_forest_its_room():
    from cmjlab.plots.forest import Line, draw_forest

    reason = "not estimable: " + "the groups do not overlap in what they were chosen on, " * 4
    figure = picture(height_cm=5.0)
    axes = figure.subplots()
    draw_forest(
        axes,
        [Line("a", 1.0, 0.5, 1.5, text="+1.0"), Line("b", np.nan, np.nan, np.nan, text=reason)],
    )
    figure.draw_without_rendering()
    assert axes.get_position().width > 0.4
    words = [t.get_text() for t in axes.texts]
    assert words[1].startswith("not estimable")
    assert words[1].count("\n") == 2
    assert words[1].endswith("…")
