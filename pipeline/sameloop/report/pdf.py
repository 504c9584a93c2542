"""A report as PDF, laid out by the same blocks as the HTML."""

from __future__ import annotations

from collections.abc import Iterator
from io import BytesIO

from fpdf import FPDF
from fpdf.enums import WrapMode, XPos, YPos
from fpdf.fonts import FontFace

from sameloop.report.blocks import Block, Document, Items, Paragraph, Picture, Table
from sameloop.report.drawing import to_png
from sameloop.report.letters import BOLD, FONTS, INSTEAD, PLAIN, printable

_MARGIN = 18.0  # mm
_LINE = 5.0  # mm
_PICTURE = 115.0  # mm wide
_WIDE_CELL = 16  # letters beyond which a column may take more room
_LONGEST_CELL = 64
_LACKING = (
    f"Letters that the fonts of this PDF lack stand as {INSTEAD}: take the .html report, which "
    "shows them all."
)


class _Paper(FPDF):
    """A4 with page numbers; a letter that the fonts lack is seen to be missing."""

    def __init__(self, title: str) -> None:
        super().__init__(format="A4")
        self.add_font("Plain", "", PLAIN)
        self.add_font("Plain", "B", BOLD)
        self.add_font("Fixed", "", FONTS / "DejaVuSansMono.ttf")
        self.set_margin(_MARGIN)
        self.set_title(title)
        self.set_lang("en")
        self.set_creator("sameloop")
        self.set_auto_page_break(auto=True, margin=_MARGIN)

    def normalize_text(self, text: str) -> str:
        """Prepare any text that is to be printed."""
        return printable(super().normalize_text(text))

    def footer(self) -> None:
        """Write the page number."""
        self.set_y(-12)
        self.set_font("Plain", size=8)
        self.cell(0, 5, f"{self.page_no()}", align="R")

    def words(self, text: str, size: float, *, style: str = "", after: float = 2.0) -> None:
        """Write one paragraph."""
        self.set_font("Plain", style=style, size=size)
        self.multi_cell(
            0,
            0.5 * size,
            text,
            new_x=XPos.LMARGIN,
            new_y=YPos.NEXT,
            align="L",
            wrapmode=WrapMode.WORD,
        )
        self.ln(after)


def to_pdf(document: Document) -> bytes:
    """Give a report as PDF."""
    paper = _Paper(document.title)
    paper.add_page()
    paper.words(document.title, 17, style="B", after=3)
    if any(printable(text) != text for text in _texts(document)):
        paper.words(_LACKING, 9.5)
    for section in document.sections:
        if paper.will_page_break(25):
            paper.add_page()
        paper.ln(3)
        paper.start_section(section.title)
        paper.words(section.title, 13, style="B")
        for block in section.blocks:
            _write(paper, block)
    return bytes(paper.output())


def _texts(document: Document) -> Iterator[str]:
    yield document.title
    for section in document.sections:
        yield section.title
        for block in section.blocks:
            match block:
                case Paragraph():
                    yield block.text
                case Items():
                    yield from block.items
                case Table():
                    yield block.title
                    for cells in (block.headings, *block.rows):
                        yield from cells
                case Picture():
                    yield from (block.drawing.title, block.drawing.words)


def _write(paper: _Paper, block: Block) -> None:
    match block:
        case Paragraph():
            _paragraph(paper, block)
        case Items():
            for number, item in enumerate(block.items, start=1):
                mark = f"{number}." if block.counted else "–"
                paper.words(f"{mark} {item}", 9.5, after=0.8)
            paper.ln(1.5)
        case Table():
            _table(paper, block)
        case Picture():
            _picture(paper, block)


def _paragraph(paper: _Paper, block: Paragraph) -> None:
    if block.kind == "code":
        paper.set_font("Fixed", size=8.5)
        paper.multi_cell(0, 4.5, block.text, new_x=XPos.LMARGIN, new_y=YPos.NEXT)
        paper.ln(2)
    elif block.kind == "lead":
        paper.words(block.text, 12.5, style="B")
    else:
        paper.words(block.text, 9.5)


def _table(paper: _Paper, block: Table) -> None:
    if not block.rows:
        return
    paper.words(block.title, 9.5, style="B", after=0.5)
    paper.set_font("Plain", size=7.5)
    head = FontFace(emphasis="BOLD")
    with paper.table(
        col_widths=_widths(block), line_height=3.8, borders_layout="HORIZONTAL_LINES",
        text_align="LEFT", headings_style=head, padding=0.6,
    ) as table:  # fmt: skip
        for cells in (block.headings, *block.rows):
            table.row(cells)
    paper.ln(3)


def _widths(block: Table) -> tuple[float, ...]:
    """Room for each column: its longest word at least, and not all of a long sentence."""
    columns = zip(block.headings, *block.rows, strict=True)
    return tuple(_width(column) for column in columns)


def _width(cells: tuple[str, ...]) -> float:
    longest = min(max(len(cell) for cell in cells), _LONGEST_CELL)
    word = min(max(len(word) for cell in cells for word in cell.split() or [""]), _WIDE_CELL)
    return max(word + 2.0, min(longest, _WIDE_CELL + (longest - _WIDE_CELL) / 2))


def _picture(paper: _Paper, block: Picture) -> None:
    figure = block.drawing.figure
    wide, high = figure.get_size_inches()
    height = _PICTURE * high / wide
    if paper.will_page_break(height + 12):
        paper.add_page()
    paper.image(BytesIO(to_png(block.drawing)), w=_PICTURE, h=height, alt_text=block.drawing.words)
    paper.words(f"{block.drawing.title}. {block.drawing.words}", 8.5, after=3)
