"""How pages look: our own type and tables, and rider's words shown as words, never as markup."""

from __future__ import annotations

import html
import re
from collections.abc import Iterable

import streamlit as st

from sameloop.report.blocks import Block
from sameloop.report.html import block_html
from sameloop_dashboard.start import INK

_STYLE = """<style>
.sl p, .sl li { max-width: 42rem; overflow-wrap: anywhere; }
.sl .lead { font-size: clamp(1.3rem, 4.2vw, 1.9rem); font-weight: 650; line-height: 1.28; }
.sl .aside { font-size: 1rem; }
.sl .drawing { display: block; width: 100%; max-width: 34rem; height: auto; }
.sl figure { margin: .6rem 0 1.4rem; }
.sl figcaption { font-size: .9rem; max-width: 40rem; }
.sl .wide { overflow-x: auto; }
.sl .wide:focus-visible { outline: 2px solid currentColor; }
.sl table { border-collapse: collapse; min-width: min(100%, 26rem); font-size: .9rem;
  margin: .4rem 0 1rem; }
.sl caption { text-align: left; font-weight: 600; padding: .2rem 0; caption-side: top;
  color: inherit; }
.sl th, .sl td { border: 0; padding: .25rem .8rem .25rem 0; text-align: left;
  vertical-align: top; color: inherit;
  border-bottom: 1px solid color-mix(in srgb, currentColor 25%, transparent);
  font-variant-numeric: tabular-nums; }
.sl tbody th { font-weight: 400; }
.sl.reasons table { min-width: 0; font-size: clamp(.75rem, 3.5vw, .9rem); }
.sl.reasons th, .sl.reasons td { padding-right: clamp(.3rem, 1.2vw, .8rem); }
.sl.reasons td:nth-child(2) { min-width: 6rem; }
[data-testid="stExpandSidebarButton"] { width: auto !important; }
[data-testid="stExpandSidebarButton"]::after { content: "Pages"; font-size: 1rem;
  padding-left: .3rem; }
.sl .trouble { border-left: 4px solid #d55e00; padding: .4rem .8rem; }
</style>"""

_MARKDOWN = re.compile(r"([\\`*_{}\[\]()#+\-.!|~$:<>&@/])")


def set_look() -> None:
    """Put our style into the page."""
    st.html(_STYLE)


def blocks(shown: Iterable[Block]) -> None:
    """Show blocks of a report."""
    st.html(blocks_html(shown))


def blocks_html(shown: Iterable[Block], kind: str = "") -> str:
    """Give blocks of a report as one piece of HTML; `kind` 'reasons' widens the second column."""
    inside = "".join(block_html(block, ink=ink()) for block in shown)
    return f'<div class="{f"sl {kind}".strip()}">{inside}</div>'


def ink() -> str:
    """Give the colour of the page's text, which images cannot inherit."""
    return INK["dark" if st.context.theme.type == "dark" else "light"]


def raw(page: str) -> None:
    """Show HTML that was made by `blocks_html`."""
    st.html(page)


def say(text: str, kind: str = "aside") -> None:
    """Show a sentence; `kind` is 'lead' or 'aside'."""
    st.html(f'<div class="sl"><p class="{kind}">{html.escape(text)}</p></div>')


def problem(text: str) -> None:
    """Show what is wrong and what to do about it."""
    st.html(f'<div class="sl"><p class="trouble" role="alert">{html.escape(text)}</p></div>')


def plain(text: str) -> str:
    """Escape words of the rider's for labels, which would take them for Markdown."""
    return _MARKDOWN.sub(r"\\\1", text)
