"""Formulas of a notebook on its page, as MathML: the browser draws them, with no script or font."""

from __future__ import annotations

import html


def formula(latex: str, *, block: bool) -> str:
    """Return a formula as MathML; one that is no readable LaTeX stays as it was written.

    Parameters
    ----------
    latex : str
        Without the dollars around it.
    block : bool
        On a line of its own, or within one.

    Examples
    --------
    >>> formula("n", block=False)
    '<math xmlns="http://www.w3.org/1998/Math/MathML" display="inline"><mrow><mi>n</mi></mrow></math>'
    """
    from latex2mathml.converter import convert

    try:
        return convert(latex.strip(), display="block" if block else "inline")
    except Exception:  # a dozen kinds of its own, of no common parent
        return f"<code>{html.escape(latex)}</code>"
