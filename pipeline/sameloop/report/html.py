"""A report as one HTML file that needs nothing else: no script, no font, no other host."""

from __future__ import annotations

from base64 import b64encode
from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from sameloop.report.blocks import Block, Document
from sameloop.report.drawing import Drawing, to_svg


def to_html(document: Document) -> str:
    """Give a report as HTML; all that a rider wrote is escaped."""
    return _pages().get_template("report.html.j2").render(document=document, svg=_inline)


def block_html(block: Block, *, ink: str) -> str:
    """Give one block as HTML, to stand in a page that cleans its HTML of all SVG.

    Drawings become images, whose `ink` (a CSS colour) must be that of the page's text.
    """
    page = _pages().get_template("block.html.j2")
    show = page.make_module({"svg": lambda drawing: _image(drawing, ink)})
    return str(show.show(block))  # type: ignore[attr-defined]


@cache
def _pages() -> Environment:
    return Environment(
        loader=PackageLoader("sameloop.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
    )


def _image(drawing: Drawing, ink: str) -> Markup:
    """Bring ink and letters along: an image knows nothing of the page around it."""
    style = f"color: {ink}; font-family: system-ui, sans-serif"
    svg = to_svg(drawing).replace("<svg ", f'<svg style="{style}" ', 1)
    data = b64encode(svg.encode()).decode()
    return Markup('<img class="drawing" alt="{}" src="data:image/svg+xml;base64,{}">').format(
        f"{drawing.title}. {drawing.words}", data
    )


def _inline(drawing: Drawing) -> Markup:
    """Our own SVG, whose words matplotlib and lxml have escaped."""
    return Markup(to_svg(drawing))
