"""Builds the documentation site from `docs/`: plain pages that are read without a network, also straight from the disk.

It needs what is installed with Gainwright anyway (markdown-it-py, Jinja, Pygments) and imports nothing of Gainwright, so
that a wheel can be built where it isn't installed. Why it is neither Sphinx nor Zensical: docs/decisions/.
"""

from docs_site.building import Built, build_site
from docs_site.navigation import Section, read_navigation
from docs_site.pages import Page, read_page
from docs_site.problems import SiteError

__all__ = ["Built", "Page", "Section", "SiteError", "build_site", "read_navigation", "read_page"]
