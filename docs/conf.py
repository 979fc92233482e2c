"""How Sphinx builds these pages into a site: `python -m sphinx -EW docs .cache/docs/site`."""

import os
import sys
from importlib.metadata import version as installed_version
from pathlib import Path

DOCS = Path(__file__).parent
sys.path[:0] = [str(DOCS / "extensions"), str(DOCS.parent)]
os.environ["PATH"] = f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}"

project = "slackwater"
project_copyright = "The slackwater contributors"
version = release = installed_version("slackwater")

extensions = [
    "myst_parser",
    "sphinx.ext.autodoc",
    "sphinx.ext.napoleon",
    "sphinxcontrib.programoutput",
    "examples",
    "mathml",
]
exclude_patterns = ["extensions", "LICENSE"]
default_role = "code"  # the docstrings' single backticks

myst_enable_extensions = ["dollarmath", "colon_fence"]
html_math_renderer = "mathml"
myst_heading_anchors = 3

autodoc_member_order = "bysource"
autodoc_typehints = "signature"
autodoc_typehints_format = "short"
napoleon_numpy_docstring = False

examples_folder = str(DOCS.parent / ".cache" / "docs" / "seasons")

html_theme = "pydata_sphinx_theme"
html_title = "slackwater"
html_static_path = ["static"]
html_css_files = ["site.css"]
html_show_sourcelink = False
html_copy_source = False
html_sidebars: dict[str, list[str]] = {"index": []}
html_theme_options = {
    "show_prev_next": True,
    "navbar_align": "left",
    "navbar_end": ["theme-switcher"],
    "secondary_sidebar_items": ["page-toc"],
    "footer_start": ["copyright"],
    "footer_end": [],
    "pygments_light_style": "a11y-high-contrast-light",
    "pygments_dark_style": "a11y-high-contrast-dark",
}
