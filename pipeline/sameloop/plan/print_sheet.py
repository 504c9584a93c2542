"""The sheet as a page for the browser or as a PDF, A4."""

from __future__ import annotations

from pathlib import Path

from fpdf import FPDF, FontFace
from fpdf.enums import TableBordersLayout
from jinja2 import Environment, PackageLoader, StrictUndefined

from sameloop.files import write_output
from sameloop.outputs import check_output
from sameloop.plan.result import Plan
from sameloop.plan.sheet import Sheet, make_sheet
from sameloop.report.letters import BOLD, PLAIN, printable

ENDINGS = (".html", ".pdf")
_MARGIN, _GAP = 11.0, 6.0  # mm
_FAMILY = "DejaVu"
_ROW, _TABLE = 9.0, 120.0  # mm, a row high enough to write in, and all rows at most
_NUMBER, _SETUP, _WIDEST = 8.0, 14.0, 26.0  # mm, columns of number and setup, for long names
_BLANK = 17.0  # mm, each column to fill in


def sheet_html(sheet: Sheet) -> str:
    """Lay the sheet out as one HTML page that needs nothing else and prints on one side."""
    environment = Environment(
        loader=PackageLoader("sameloop.plan"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template("sheet.html.j2").render(sheet=sheet)


def sheet_pdf(sheet: Sheet) -> bytes:
    """Lay the sheet out as a PDF."""
    pdf = _Page(sheet.title)
    pdf.heading(sheet.title, 14)
    pdf.paragraph(f"{'   '.join(sheet.setups)}      date:                    place:", 9)
    for fact in sheet.facts:
        pdf.paragraph(fact, 8)
    _order_table(pdf, sheet)
    top = pdf.get_y() + 2
    half, bottom = (pdf.epw - _GAP) / 2, top
    for column, (title, items, mark) in enumerate(
        (("Checklist", sheet.checklist, "☐"), ("Before anything else", sheet.cautions, "!"))
    ):
        pdf.set_y(top)
        pdf.set_left_margin(_MARGIN + column * (half + _GAP))
        pdf.heading(title, 10)
        for item in items:
            pdf.item(mark, item, half)
        bottom = max(bottom, pdf.get_y())
    pdf.set_left_margin(_MARGIN)
    _notes(pdf, bottom + 2)
    return bytes(pdf.output())


def write_sheet(plan: Plan, file: Path) -> None:
    """Write the sheet of a plan to a file that ends in ``.html`` or ``.pdf``.

    Raises
    ------
    SameloopError
        The name ends otherwise, or the file cannot be written.
    """
    check_output(file, "a sheet", ENDINGS)
    sheet = make_sheet(plan)
    page = sheet_pdf(sheet) if file.suffix.lower() == ".pdf" else sheet_html(sheet).encode()
    write_output(file, page)


class _Page(FPDF):
    """An A4 page in a font that knows every European name."""

    def __init__(self, title: str) -> None:
        super().__init__(format="A4")
        self.add_font(_FAMILY, "", PLAIN)
        self.add_font(_FAMILY, "B", BOLD)
        self.set_margin(_MARGIN)
        self.set_auto_page_break(auto=True, margin=_MARGIN)
        self.set_title(title)
        self.set_lang("en")
        self.set_creator("sameloop")
        self.add_page()

    def normalize_text(self, text: str) -> str:
        """Prepare any text that is to be printed."""
        return printable(super().normalize_text(text))

    def heading(self, text: str, size: float) -> None:
        """Write a line in bold."""
        self.set_font(_FAMILY, "B", size)
        self.multi_cell(0, size * 0.48, text, new_x="LMARGIN", new_y="NEXT")

    def paragraph(self, text: str, size: float) -> None:
        """Write text over the full width."""
        self.set_font(_FAMILY, "", size)
        self.multi_cell(0, size * 0.48, text, align="L", new_x="LMARGIN", new_y="NEXT")

    def item(self, mark: str, text: str, width: float) -> None:
        """Write one point of a list in a column."""
        self.set_font(_FAMILY, "", 7.5)
        self.cell(4.5, 3.5, mark)
        self.multi_cell(width - 4.5, 3.5, text, align="L", new_x="LMARGIN", new_y="NEXT")
        self.ln(0.7)


def _order_table(pdf: _Page, sheet: Sheet) -> None:
    pdf.ln(1.5)
    pdf.set_font(_FAMILY, "", 7.5)
    longest = max(pdf.get_string_width(setup) for _, setup, _ in sheet.rows)
    setup = min(max(_SETUP, longest + 5), _WIDEST)  # 4 mm are the cell's own margins
    rest = pdf.epw - _NUMBER - setup - _BLANK * len(sheet.blanks)
    with pdf.table(
        col_widths=(_NUMBER, setup, rest, *(_BLANK for _ in sheet.blanks)),
        borders_layout=TableBordersLayout.ALL,
        headings_style=FontFace(emphasis="BOLD"),
        line_height=3.6,
        text_align="LEFT",
        padding=1,
        min_row_height=min(_ROW, _TABLE / len(sheet.rows)),
    ) as table:
        table.row(("", "setup", "laps", *sheet.blanks))
        for row in sheet.rows:
            table.row((*row, *("" for _ in sheet.blanks)))


def _notes(pdf: _Page, top: float) -> None:
    """Rule the rest of the page."""
    pdf.set_y(top)
    if pdf.h - top < _MARGIN + 2 * _ROW:
        return
    pdf.heading("Notes", 10)
    line = pdf.get_y() + _ROW
    while line < pdf.h - _MARGIN:
        pdf.line(_MARGIN, line, pdf.w - _MARGIN, line)
        line += _ROW
