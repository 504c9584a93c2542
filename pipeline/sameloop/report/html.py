"""A report as one HTML file that needs nothing else: no script, no font, no other host."""

from __future__ import annotations

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from sameloop.report.blocks import Document
from sameloop.report.drawing import Drawing, to_svg


def to_html(document: Document) -> str:
    """Give a report as HTML; all that a rider wrote is escaped."""
    environment = Environment(
        loader=PackageLoader("sameloop.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
    )
    page = environment.get_template("report.html.j2")
    return page.render(document=document, svg=_inline)


def _inline(drawing: Drawing) -> Markup:
    """Our own SVG, whose words matplotlib and lxml have escaped."""
    return Markup(to_svg(drawing))
