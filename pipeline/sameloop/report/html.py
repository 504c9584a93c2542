"""A report as one HTML file that needs nothing else: no script, no font, no other host."""

from __future__ import annotations

from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from sameloop.report.blocks import Block, Document
from sameloop.report.drawing import Drawing, to_svg


def to_html(document: Document) -> str:
    """Give a report as HTML; all that a rider wrote is escaped."""
    return _pages().get_template("report.html.j2").render(document=document)


def block_html(block: Block) -> str:
    """Give one block as HTML, to stand in another page."""
    show = _pages().get_template("block.html.j2").module
    return str(show.show(block))  # type: ignore[attr-defined]


@cache
def _pages() -> Environment:
    pages = Environment(
        loader=PackageLoader("sameloop.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
    )
    pages.globals["svg"] = _inline
    return pages


def _inline(drawing: Drawing) -> Markup:
    """Our own SVG, whose words matplotlib and lxml have escaped."""
    return Markup(to_svg(drawing))
