"""What a report is made of, whatever it is printed on: sections of paragraphs, tables, drawings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sameloop.report.drawing import Drawing


@dataclass(frozen=True, slots=True, kw_only=True)
class Paragraph:
    """A few sentences; `kind` is 'text', 'lead' (the first line of all) or 'code'."""

    text: str
    kind: str = "text"


@dataclass(frozen=True, slots=True, kw_only=True)
class Items:
    """A list of sentences, counted when their order matters."""

    items: tuple[str, ...]
    counted: bool = False
    kind: str = "items"


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Rows of text under headings; `title` says what they are."""

    title: str
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    kind: str = "table"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Picture:
    """A drawing with its title and words below."""

    drawing: Drawing
    kind: str = "picture"


Block = Paragraph | Items | Table | Picture


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Section:
    """One heading with what stands below it."""

    title: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Document:
    """A whole report."""

    title: str
    sections: tuple[Section, ...]


def pictures(drawings: Sequence[Drawing | None]) -> tuple[Picture, ...]:
    """Wrap the drawings that could be made."""
    return tuple(Picture(drawing=drawing) for drawing in drawings if drawing is not None)
