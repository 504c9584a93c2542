"""Write a report to a file, of the kind that its name asks for."""

from __future__ import annotations

from pathlib import Path

from sameloop.answer import Answer
from sameloop.files import write_output
from sameloop.outputs import check_output
from sameloop.report.document import make_document
from sameloop.report.html import to_html

ENDINGS = (".html", ".pdf")


def report_bytes(answer: Answer, suffix: str, *, with_places: bool = False) -> bytes:
    """Give a report as ``'.html'`` or ``'.pdf'``."""
    document = make_document(answer, with_places=with_places)
    if suffix == ".pdf":
        from sameloop.report.pdf import to_pdf  # takes a while to load

        return to_pdf(document)
    return to_html(document).encode()


def write_report(answer: Answer, file: Path, *, with_places: bool = False) -> None:
    """Write a report.

    Parameters
    ----------
    answer : Answer
    file : Path
        Ends in ``.html`` or ``.pdf``.
    with_places : bool
        See `make_document`.

    Raises
    ------
    SameloopError
        The name ends otherwise, the study is made of the file, or it cannot be written.
    """
    check_output(file, "a report", ENDINGS, study=answer.study.folder)
    content = report_bytes(answer, file.suffix.lower(), with_places=with_places)
    write_output(file, content)
