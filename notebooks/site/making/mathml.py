"""Formulas as MathML: the browser draws them, with no script, no font and no other server."""

from __future__ import annotations

from latex2mathml.converter import convert


def formula(latex: str, *, block: bool) -> str:
    """Return a formula as MathML, with its LaTeX for those who copy it."""
    return convert(latex.strip(), display="block" if block else "inline")


def _inline(translator, node) -> None:
    translator.body.append(formula(node.astext(), block=False))
    raise _skip()


def _block(translator, node) -> None:
    translator.body.append(f'<div class="math">{formula(node.astext(), block=True)}</div>')
    raise _skip()


def _skip() -> Exception:
    from docutils.nodes import SkipNode

    return SkipNode()


def setup(app) -> dict[str, bool]:
    """Tell Sphinx how formulas are drawn."""
    app.add_html_math_renderer("mathml", (_inline, None), (_block, None))
    return {"parallel_read_safe": True, "parallel_write_safe": True}
