"""Track points as the elements of an XML file pass, shared by GPX and TCX."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from io import BytesIO
from typing import Any

import pandas as pd
from lxml import etree

from sameloop.errors import RideFileError
from sameloop.ingest.recording import Recording, as_time_column
from sameloop.ingest.ride import Dropped

EXPORT_AGAIN = "export the ride again as GPX, TCX or FIT"


@dataclass(slots=True)
class Points:
    """What is gathered while the elements pass; times as text until all can be read at once.

    Points come in pieces (a segment, a track inside a lap), pieces in groups (a track, a lap).
    """

    rows: list[dict[str, Any]] = field(default_factory=list)
    unreadable: Counter[str] = field(default_factory=Counter)
    group_begins: int = 0
    #: numbers of the rows before which there is a break inside a group
    breaks: set[int] = field(default_factory=set)

    def begin_group(self) -> None:
        """Take what follows for another track or lap."""
        self.group_begins = len(self.rows)
        self.breaks.discard(len(self.rows))  # of an empty piece that ended the group before

    def begin_piece(self) -> None:
        """Take what follows for recorded after a break, if the group has points already."""
        if self.group_begins < len(self.rows):
            self.breaks.add(len(self.rows))

    def put(
        self, row: dict[str, Any], channel: str, text: str, *, factor: float, offset: float = 0.0
    ) -> None:
        """Set a channel of a row in SI units; text that is no number is counted."""
        try:
            row[channel] = float(text) * factor + offset
        except ValueError:
            self.unreadable[channel] += 1

    def recording(self, form: str) -> Recording:
        """Return the recording without laps; a break is a pause."""
        records = pd.DataFrame.from_records(self.rows)
        times = as_time_column(records["time"] if "time" in records else [None] * len(records))
        pauses = [(times[i - 1], times[i]) for i in sorted(self.breaks) if i < len(times)]
        return Recording(
            format=form,
            records=records.assign(time=times),
            pauses=tuple((stop, start) for stop, start in pauses if start > stop),
            dropped=tuple(
                Dropped(reason=f"{what} is not a number", count=count)
                for what, count in sorted(self.unreadable.items())
            ),
        )


def local_name(tag: str) -> str:
    """Name of an element without its namespace."""
    return tag.rpartition("}")[2]


def xml_elements(
    text: str, names: Collection[str], *, file: str
) -> Iterator[tuple[str, etree._Element]]:
    """Yield ``"start"`` or ``"end"`` and the element, for elements of these names.

    The text is that of `xml_text`. An element is emptied after its end has been seen, else a long
    ride piles up. The parser's own limits stay in force: 256 levels, 10 MB of text in a row.

    Raises
    ------
    RideFileError
        The text is not well-formed XML, or exceeds the limits.
    """
    events = etree.iterparse(
        BytesIO(text.encode()),
        events=("start", "end"),
        tag=names,
        encoding="utf-8",
        remove_comments=True,
        remove_pis=True,
        resolve_entities="internal",  # none, as `xml_text` lets no document type through
        no_network=True,
        load_dtd=False,
        huge_tree=False,
    )
    try:
        for event, element in events:
            yield event, element
            if event == "end":
                element.clear()
    except etree.XMLSyntaxError as error:
        line, column = error.position
        place = f"line {line}, column {column}"
        raise RideFileError(file, f"{place} is not well-formed XML", EXPORT_AGAIN) from error
