"""XML bytes to text that is safe to parse, shared by GPX and TCX."""

from __future__ import annotations

import codecs
import re

from sameloop.errors import RideFileError

_BOMS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
_DECLARATION = re.compile(r"^\s*<\?xml[^>]*\?>")
_ENCODING = re.compile(rb"""^\s*<\?xml[^>]*encoding\s*=\s*["']([A-Za-z0-9._-]+)["']""")
_TEXT_ENCODINGS = ("utf-8", "ascii", "iso8859-1", "iso8859-15", "cp1252", "utf-16")


def xml_text(data: bytes, *, file: str) -> str:
    """Decode by byte order mark or declaration; take the declaration off, keep the line numbers.

    A document type is refused: no ride needs one, and entities can name files or swell.

    Raises
    ------
    RideFileError
        The encoding is unknown or broken, or the file declares a document type.
    """
    text = _decode(data, file=file)
    # Some exporters put blanks before the declaration, which XML forbids.
    text = _DECLARATION.sub(lambda found: "\n" * found.group().count("\n"), text, count=1)
    place = text.find("<!DOCTYPE")
    if place >= 0:
        line = text.count("\n", 0, place) + 1
        raise RideFileError(
            file, f"line {line} declares a document type, which no ride needs", "export it again"
        )
    return text


def _decode(data: bytes, *, file: str) -> str:
    declared = _ENCODING.match(data[:500])
    encoding = declared.group(1).decode() if declared else "utf-8"
    for mark, marked in _BOMS:
        if data.startswith(mark):
            data, encoding = data[len(mark) :], marked
    try:
        encoding = codecs.lookup(encoding).name
    except LookupError:
        encoding = ""
    if encoding not in (*_TEXT_ENCODINGS, "utf-16-le", "utf-16-be"):
        raise RideFileError(file, "line 1 names an unknown text encoding", "export it as UTF-8")
    try:
        return data.decode(encoding)
    except UnicodeDecodeError as error:
        problem = f"byte {error.start} is not {encoding.upper()} text"
        raise RideFileError(file, problem, "export it again") from error
