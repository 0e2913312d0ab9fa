"""Settings of Sphinx for the site; ``build.py`` lays out the pages and starts it."""

import sys
from pathlib import Path

SITE = Path(__file__).resolve().parent
sys.path[:0] = [str(SITE), str(SITE.parents[1])]

import cmjlab

project = "cmjlab"
author = "The cmjlab developers"
copyright = "the cmjlab developers; GPL-3.0-or-later"
release = version = cmjlab.__version__
language = "en"

extensions = [
    "myst_nb",
    "sphinx.ext.autodoc",
    "numpydoc",
    "making.mathml",
]
#: Notebooks are shown with the outputs that git holds; nothing is run here.
nb_execution_mode = "off"
#: Without this a page would ask another server for scripts.
nb_ipywidgets_js = {}
nb_merge_streams = True
myst_enable_extensions = ["dollarmath", "deflist", "attrs_inline", "colon_fence"]
myst_heading_anchors = 3

autodoc_member_order = "bysource"
autodoc_typehints = "none"
autodoc_preserve_defaults = True
#: matplotlib writes `set` anew for every class of figure, in words that only its own site can show.
autodoc_default_options = {"exclude-members": "set"}
numpydoc_show_class_members = False
numpydoc_xref_param_type = False
python_display_short_literal_types = True
add_module_names = False

html_math_renderer = "mathml"
html_theme = "pydata_sphinx_theme"
html_title = "cmjlab"
html_static_path = ["look"]
html_css_files = ["site.css"]
html_copy_source = False
html_show_sourcelink = False
html_show_sphinx = False
#: The lines below each found page would need a server; without them search works from a folder.
html_show_search_summary = False
html_baseurl = ""
html_last_updated_fmt = None
html_theme_options = {
    "logo": {"text": "cmjlab"},
    "icon_links": [],
    "navbar_align": "left",
    "navbar_start": ["navbar-logo"],
    "navbar_center": ["navbar-nav"],
    "navbar_end": [],
    "navbar_persistent": ["search-button"],
    "header_links_before_dropdown": 7,
    "show_nav_level": 1,
    "navigation_depth": 2,
    "collapse_navigation": True,
    "show_toc_level": 1,
    "secondary_sidebar_items": ["page-toc"],
    "footer_start": ["care"],
    "footer_end": [],
    "pygments_light_style": "a11y-high-contrast-light",
    "pygments_dark_style": "a11y-high-contrast-light",
    "back_to_top_button": False,
}
html_sidebars = {"index": [], "search": []}
html_context = {"default_mode": "light"}
templates_path = ["templates/html"]
