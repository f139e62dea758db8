"""Another page begins at its top, however far down the page before was read."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import streamlit as st

from corromap.ui.steps import Page

if TYPE_CHECKING:
    from streamlit.components.v2.types import ComponentRenderer

__all__ = ["page_top"]

_SCRIPT = """
export default function ({ data }) {
  const before = window.corromapPage;
  window.corromapPage = data.page;
  if (before && before !== data.page) document.querySelector('[data-testid="stMain"]')?.scrollTo(0, 0);
}
"""


@cache
def _component() -> ComponentRenderer:
    return st.components.v2.component("corromap_page_top", html="<i></i>", js=_SCRIPT)


def page_top(page: Page) -> None:
    """Scroll to the top when this is another page than the one drawn before.

    Parameters
    ----------
    page : Page
        The page being drawn.
    """
    with st.container(key="page_top"):
        _component()(data={"page": page.value}, key="page_top_script")
