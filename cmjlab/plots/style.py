"""The look of every figure: palette, sizes, text that cannot break, and ways out.

Figures are built from :class:`Picture`, a matplotlib Figure without pyplot: nothing is
global, nothing opens a window, and many figures can be made side by side. A Picture knows
its alt text and shows itself in a notebook.

Colours are our own. They differ in lightness as well as in hue, so they stay apart for
colour-blind readers and in a black-and-white print (``tests/plots/test_plots_style.py`` measures
it), and groups differ in marker, limbs in line style: colour never carries a meaning alone.
"""

from __future__ import annotations

import io
import os
import re
import textwrap
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import wraps
from pathlib import Path
from typing import Any, ParamSpec

import matplotlib as mpl
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure, SubFigure

from cmjlab.checks import one_of
from cmjlab.errors import ArgumentError
from cmjlab.files.atomic_write import atomic_write
from cmjlab.safe_names import file_in, safe_name
from cmjlab.stats.common.tables import every_group

P = ParamSpec("P")

INK = "#1c2733"
MUTED = "#5b6672"
#: Dark to light: one colour per group, in this order.
PALETTE = ("#1b3a68", "#b3501e", "#1f8a80", "#c99a2e", "#7d3f77", "#7f8ea0")
MARKERS = ("o", "s", "^", "D", "v", "P")
#: Tints of the phases of a jump, in order of time.
TINTS = ("#f4f5f6", "#e6e8ea", "#f4f5f6", "#e6e8ea", "#f4f5f6", "#e6e8ea")
#: The change that matters: a band between two lines.
MATTERS = "#e9e3d3"
#: Limbs are told apart by line style, never by colour alone.
LIMB_LINES: dict[str, Any] = {"left": "-", "right": (0, (4, 1.6))}

_CM = 1 / 2.54
#: Width of the text of a printed page, cm: figures of this width are printed as they are drawn.
TEXT_WIDTH_CM = 17.0
#: Smallest letters of a figure, points: a figure is never printed larger or smaller.
SMALLEST_PT = 8.0
RC: Any = {
    "font.family": "DejaVu Sans",
    "font.size": 8.5,
    "text.color": INK,
    "axes.titlesize": 9.5,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.labelsize": 8.5,
    "axes.labelcolor": INK,
    "axes.edgecolor": MUTED,
    "axes.linewidth": 0.7,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.axisbelow": True,
    "axes.unicode_minus": True,
    "xtick.color": MUTED,
    "ytick.color": MUTED,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "xtick.labelsize": 8,
    "ytick.labelsize": 8,
    "legend.fontsize": 8,
    "legend.frameon": False,
    "lines.linewidth": 1.4,
    "figure.facecolor": "white",
    "savefig.dpi": 300,
    "svg.fonttype": "path",
    "svg.hashsalt": "cmjlab",
    "pdf.fonttype": 42,
    "ps.fonttype": 42,
}
_FORMATS = ("svg", "pdf", "png")


class Picture(Figure):
    """A matplotlib Figure with an alt text; notebooks show it without pyplot.

    Attributes
    ----------
    alt_text : str
        What the figure shows, in words, for readers who do not see it.

    Examples
    --------
    >>> import cmjlab as cj
    >>> figure = cj.measure(cj.simulate_jump(seed=1).recording).plot()
    >>> isinstance(figure, cj.plots.Picture), figure.png(dpi=50)[1:4]
    (True, b'PNG')
    """

    alt_text: str = ""

    def svg(self) -> str:
        """Return the figure as SVG text; letters are paths, so every machine shows the same."""
        buffer = io.StringIO()
        with mpl.rc_context(RC):
            self.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None})
        text = buffer.getvalue()
        return _same_clips(text[text.index("<svg") :])

    def png(self, *, dpi: int = 300) -> bytes:
        """Return the figure as PNG bytes."""
        buffer = io.BytesIO()
        with mpl.rc_context(RC):
            self.savefig(buffer, format="png", dpi=dpi)
        return buffer.getvalue()

    def _repr_png_(self) -> tuple[bytes, dict[str, str]]:
        return self.png(dpi=110), {"alt": self.alt_text}


def _same_clips(svg: str) -> str:
    """Return SVG text in which equal clipping areas have one name, numbered in order.

    matplotlib names them by objects in memory, so the same figure drawn twice could differ.
    """
    names: dict[str, str] = {}
    areas: dict[str, str] = {}

    def define(found: re.Match[str]) -> str:
        own, area = found.group(1), found.group(2)
        again = area in areas
        names[own] = areas.setdefault(area, f"clip{len(areas)}")
        return "" if again else f'<clipPath id="{names[own]}">{area}</clipPath>'

    svg = re.sub(r'<clipPath id="([^"]+)">\s*(<[^>]+/>)\s*</clipPath>', define, svg)
    return re.sub(
        r"url\(#([^)]+)\)", lambda found: f"url(#{names.get(found.group(1), found.group(1))})", svg
    )


def picture(width_cm: float = TEXT_WIDTH_CM, height_cm: float = 9.0) -> Picture:
    """Return an empty Picture of this size; call it inside a function marked :func:`styled`."""
    return Picture(figsize=(width_cm * _CM, height_cm * _CM), layout="constrained")


def one_panel(
    ax: Axes | None, width_cm: float = TEXT_WIDTH_CM, height_cm: float = 9.0
) -> tuple[Picture, Axes]:
    """Return where a figure of one panel is drawn: a Picture of this size, or a person's own Axes."""
    if ax is None:
        own = picture(width_cm, height_cm)
        return own, own.subplots()
    figure: Any = ax.figure
    while isinstance(figure, SubFigure):
        figure = figure.figure
    return figure, ax


def legend_beside(figure: Figure, axes: Axes, loc: Any, **looks: Any) -> None:
    """Write the legend outside the panel of a Picture; above a person's own Axes, below a title in it."""
    if isinstance(figure, Picture):
        figure.legend(loc=loc, **looks)
    elif axes.get_title():
        axes.legend()
    else:
        axes.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=2, borderaxespad=0.2)


def described(figure: Picture, text: str) -> Picture:
    """Return the figure with its alt text; in a person's own figure it follows that of other panels."""
    before = getattr(figure, "alt_text", "")
    figure.alt_text = f"{before} {text}".strip()
    return figure


def styled(make: Callable[P, Picture]) -> Callable[P, Picture]:
    """Decorate a figure function: it draws in the house style and leaves matplotlib as it was."""

    @wraps(make)
    def drawn(*args: P.args, **kwargs: P.kwargs) -> Picture:
        with mpl.rc_context(RC):
            return make(*args, **kwargs)

    return drawn


def safe(text: object) -> str:
    """Return a text that matplotlib shows literally.

    A dollar sign would start a formula (and stop the drawing when the formula is wrong); a
    leading underscore would hide a legend entry, so a hair space goes before it.
    """
    out = str(text).replace("$", r"\$")
    return "\u200a" + out if out.startswith("_") else out


def wrapped(text: object, width: int) -> str:
    """Return a safe text broken into lines of at most ``width`` characters."""
    return "\n".join(textwrap.wrap(safe(text), width)) or safe(text)


def group_looks(groups: pd.Series, order: Sequence[str] = ()) -> dict[str, dict[str, Any]]:
    """Return colour and marker of every group that occurs, in the order of the study.

    A group's look follows from its place in that order, not from what else a figure shows: it
    is the same in every figure of a study. After six groups colours come again, with another
    marker.

    Parameters
    ----------
    groups : pandas.Series
        The group of each row of a figure's data; missing or "" for none.
    order : sequence of str
        Every group of the study, as a result keeps it in ``settings["groups"]``. When left out,
        the categories of ``groups``, else the order of appearance.
    """
    present = set(groups.dropna().astype(str)) | ({""} if groups.isna().any() else set())
    found = every_group(groups.to_frame("group"))
    places = list(dict.fromkeys([*_named(order), *found]))
    looks = {g: _look(i) for i, g in enumerate(places) if g in present}
    if "" in present:
        looks[""] = {"color": MUTED, "marker": "X"} if looks else _look(0)
    return looks


def _named(groups: Iterable[str]) -> list[str]:
    return [g for g in groups if g]


def _look(place: int) -> dict[str, Any]:
    again, number = divmod(place, len(PALETTE))
    return {"color": PALETTE[number], "marker": MARKERS[(number + again) % len(MARKERS)]}


def axis_label(label: str, unit: str = "", n: int | None = None) -> str:
    """Return an axis label with unit and number of athletes: ``Jump height (cm), n = 26``."""
    out = safe(label) + (f" ({safe(unit)})" if unit else "")
    return f"{out}, n = {n}" if n is not None else out


def zero_line(axes: Axes, *, vertical: bool = False) -> None:
    """Draw the line of no change."""
    draw = axes.axvline if vertical else axes.axhline
    draw(0.0, color=MUTED, linewidth=0.8, zorder=1)


def matters_band(axes: Axes, amount: float | None, *, vertical: bool = False) -> None:
    """Shade changes smaller than the change that matters; nothing when none was declared."""
    if amount is None or not amount > 0:
        return
    draw = axes.axvspan if vertical else axes.axhspan
    draw(-amount, amount, color=MATTERS, linewidth=0, zorder=0)


def save_figure(figure: Figure, path: Path, *, dpi: int = 300) -> None:
    """Write a figure whole, in the format that the ending of the file names.

    Raises
    ------
    ArgumentError
        There is no such format.
    """
    kind = path.suffix.lower().removeprefix(".")
    one_of(f"format of {path.name}", kind, figure.canvas.get_supported_filetypes())
    buffer = io.BytesIO()
    with mpl.rc_context(RC):
        figure.savefig(buffer, format=kind, dpi=dpi)
    atomic_write(path, buffer.getvalue())


def save_all(
    figures: Mapping[str, Figure],
    folder: str | os.PathLike[str],
    *,
    formats: tuple[str, ...] = ("pdf", "png"),
) -> list[Path]:
    """Save figures for a paper: vector (fonts embedded) and 300 dpi.

    Parameters
    ----------
    figures : mapping of str to Figure
        File stem -> figure.
    folder : path
        Made when absent.
    formats : tuple of str
        Any of "svg", "pdf", "png".

    Returns
    -------
    list of Path
        The files written; each figure's alt text stands beside it as ``.txt``.

    Raises
    ------
    ArgumentError
        Unknown format, or a stem that is no plain file name.

    Examples
    --------
    >>> import cmjlab as cj
    >>> import tempfile
    >>> figure = cj.measure(cj.simulate_jump(seed=1).recording).plot()
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     [path.suffix for path in cj.plots.save_all({"jump": figure}, folder, formats=("png",))]
    ['.png', '.txt']
    """
    for name in formats:
        one_of("formats", name, _FORMATS)
    target = Path(folder)
    target.mkdir(parents=True, exist_ok=True)
    written = []
    for stem, figure in figures.items():
        if not stem or safe_name(stem) != stem:
            raise ArgumentError(f"figures: {stem!r} is no plain file name; use letters and digits.")
        for kind in formats:
            path = file_in(target, f"{stem}.{kind}")
            save_figure(figure, path)
            written.append(path)
        words = getattr(figure, "alt_text", "")
        if words:
            path = file_in(target, f"{stem}.txt")
            atomic_write(path, words + "\n")
            written.append(path)
    return written
