"""Formulas as MathML, which browsers draw by themselves: no script, no font, no request.

The conversion is docutils' own, which Sphinx does not offer for HTML.
"""

from docutils import nodes
from docutils.utils.math import latex2mathml
from sphinx.application import Sphinx
from sphinx.writers.html5 import HTML5Translator


def _inline(translator: HTML5Translator, node: nodes.math) -> None:
    translator.body.append(str(latex2mathml.tex2mathml(node.astext())))
    raise nodes.SkipNode


def _block(translator: HTML5Translator, node: nodes.math_block) -> None:
    formula = latex2mathml.tex2mathml(node.astext(), as_block=True)
    translator.body.append(f'<div class="math-block">{formula}</div>')
    raise nodes.SkipNode


def setup(app: Sphinx) -> dict[str, bool]:
    """Register the formulas' HTML with Sphinx."""
    app.add_html_math_renderer("mathml", (_inline, None), (_block, None))
    return {"parallel_read_safe": True, "parallel_write_safe": True}
