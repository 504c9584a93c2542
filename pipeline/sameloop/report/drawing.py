"""Drawings as SVG text for pages or PNG bytes for print: one look for report and dashboard."""

from __future__ import annotations

import logging
import re
import textwrap
import threading
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from copy import deepcopy
from dataclasses import dataclass
from io import BytesIO, StringIO
from typing import Any

import matplotlib as mpl
from lxml import etree
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.text import Text

from sameloop.report.letters import printable

# The first run builds a list of fonts and says so on stderr, which is no rider's concern.
logging.getLogger("matplotlib").setLevel(logging.ERROR)

#: Stands for the page's own text colour, so that one drawing serves light and dark pages.
INK = "#1c2126"
#: Told apart with any colour vision and at least 3:1 on white and on near black; from the palette
#: of Okabe and Ito (2008), jfly.uni-koeln.de/color.
COLOURS = ("#d55e00", "#0072b2", "#00966b", "#b0609a")
MARKERS = ("s", "o", "^", "D")
WIDTH = 4.6  # inches: 331 units of the SVG, so that letters stay readable on a phone
_LONGEST_NAME = 44  # letters that fit beside a legend's mark
_RESOLUTION = 220  # dots per inch in print
_SVG = "{http://www.w3.org/2000/svg}"
_LINK = "{http://www.w3.org/1999/xlink}href"
_LOCK = threading.Lock()  # matplotlib's settings are global, and a dashboard has many threads
_SETTINGS: Any = {
    "svg.fonttype": "none",
    "svg.hashsalt": "sameloop",
    "font.family": ["DejaVu Sans"],
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drawing:
    """A figure with its title and one sentence for those who do not see it."""

    key: str
    title: str
    words: str
    figure: Figure


def blank(height: float, *, rows: int = 1) -> tuple[Figure, list[Axes]]:
    """Make an empty figure of `height` [inches] with `rows` of axes in our look."""
    figure = Figure(figsize=(WIDTH, height), layout="constrained")
    figure.patch.set_alpha(0.0)
    axes = [figure.add_subplot(rows, 1, row + 1) for row in range(rows)]
    for one in axes:
        _plain(one)
    return figure, axes


def _plain(axes: Axes) -> None:
    axes.patch.set_alpha(0.0)
    axes.tick_params(colors=INK, labelsize=9, length=3)
    axes.grid(visible=True, color=INK, alpha=0.13, linewidth=0.7)
    axes.set_axisbelow(True)
    for name, spine in axes.spines.items():
        spine.set_visible(name == "bottom")
        spine.set_color(INK)


def label(axes: Axes, *, across: str = "", up: str = "") -> None:
    """Name the axes."""
    axes.set_xlabel(across, color=INK, fontsize=9)
    axes.set_ylabel(up, color=INK, fontsize=9)


def legend(figure: Figure, axes: Axes) -> None:
    """Say above the axes what is what."""
    handles, names = axes.get_legend_handles_labels()
    labels = [textwrap.shorten(name, _LONGEST_NAME, placeholder="…") for name in names]
    box = figure.legend(
        handles, labels, loc="outside upper left", frameon=False, fontsize=9,
        ncols=2 if max(map(len, labels)) < _LONGEST_NAME // 2 else 1,
        labelcolor=INK, handlelength=1.4, columnspacing=1.2, borderpad=0.2,
    )  # fmt: skip
    for text in box.get_texts():
        text.set_parse_math(False)  # a legend must measure its words before they are drawn


def to_svg(drawing: Drawing) -> str:
    """Give a drawing as SVG to stand inside a page: no script, no outside source, no fixed ink."""
    stream = StringIO()
    with _LOCK, mpl.rc_context(_SETTINGS), warnings.catch_warnings():
        # Letters that matplotlib's font lacks stay text, and the reader's own font has them.
        warnings.filterwarnings("ignore", "Glyph .* missing", UserWarning)
        _take_words_literally(drawing.figure)
        drawing.figure.savefig(stream, format="svg", metadata={"Date": None})
    return _for_page(stream.getvalue(), drawing)


def to_png(drawing: Drawing) -> bytes:
    """Give a drawing as PNG, dark on transparent, fine enough to print."""
    stream = BytesIO()
    with _LOCK, mpl.rc_context(_SETTINGS), _printable_words(drawing.figure):
        _take_words_literally(drawing.figure)
        drawing.figure.savefig(stream, format="png", dpi=_RESOLUTION)
    return stream.getvalue()


def _take_words_literally(figure: Figure) -> None:
    """Names come from the rider, and a dollar sign in one is no formula."""
    for text in figure.findobj(Text):
        text.set_parse_math(False)


@contextmanager
def _printable_words(figure: Figure) -> Iterator[None]:
    """Show what the font lacks as in the text around the drawing; later the words are as before."""
    words = [(text, text.get_text()) for text in figure.findobj(Text)]
    for text, said in words:
        if printable(said) != said:
            text.set_text(printable(said))
    try:
        yield
    finally:
        for text, said in words:
            text.set_text(said)


def _for_page(text: str, drawing: Drawing) -> str:
    parser = etree.XMLParser(resolve_entities=False, no_network=True, remove_comments=True)
    root = etree.fromstring(text.encode(), parser)
    for unwanted in root.findall(f"{_SVG}metadata"):
        root.remove(unwanted)
    _spell_out_uses(root)
    _name_ids(root, drawing.key)
    for name in ("width", "height"):
        root.attrib.pop(name, "")
    root.set("role", "img")
    root.set("aria-label", f"{drawing.title}. {drawing.words}")
    root.set("class", "drawing")
    page = etree.tostring(root, encoding="unicode").replace(INK, "currentColor")
    return re.sub(r"font: ([\d.]+px) [^;\"]+", r"font-size: \1; font-family: inherit", page)


def _spell_out_uses(root: etree._Element) -> None:
    """Put each mark's own path where it is used: pages that clean their HTML drop references."""
    known = {str(element.get("id")): element for element in root.iter(f"{_SVG}path")}
    for use in list(root.iter(f"{_SVG}use")):
        mark = deepcopy(known[str(use.get(_LINK))[1:]])
        mark.attrib.pop("id", "")
        mark.set("transform", f"translate({use.get('x', '0')} {use.get('y', '0')})")
        mark.set("style", f"{mark.get('style', '')}; {use.get('style', '')}".strip("; "))
        mark.tail = use.tail
        parent = use.getparent()
        if parent is not None:
            parent.replace(use, mark)
    for marks in list(root.iter(f"{_SVG}defs")):
        for path in marks.findall(f"{_SVG}path"):
            marks.remove(path)


def _name_ids(root: etree._Element, key: str) -> None:
    """Keep only ids that are pointed at, made unique: several drawings share a page."""
    clip = "clip-path"
    pointed_at = {str(element.get(clip)) for element in root.iter() if element.get(clip)}
    for element in root.iter():
        name = str(element.attrib.pop("id", ""))
        if f"url(#{name})" in pointed_at:
            element.set("id", f"{key}-{name}")
        if target := element.get(clip):
            element.set(clip, str(target).replace("url(#", f"url(#{key}-"))
