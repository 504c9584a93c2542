"""Encode FIT messages: definitions, data, developer fields, header and check sum.

Numbers, base types and invalid values as in the published FIT protocol.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Sequence
from dataclasses import dataclass

from sameloop.ingest.fit import crc16

#: Base type: (identifier, struct code, value that means 'missing').
BASES: dict[str, tuple[int, str, int]] = {
    "enum": (0x00, "B", 0xFF),
    "sint8": (0x01, "b", 0x7F),
    "uint8": (0x02, "B", 0xFF),
    "sint16": (0x83, "h", 0x7FFF),
    "uint16": (0x84, "H", 0xFFFF),
    "sint32": (0x85, "i", 0x7FFF_FFFF),
    "uint32": (0x86, "I", 0xFFFF_FFFF),
    "uint32z": (0x8C, "I", 0),
    "string": (0x07, "s", 0),
    "float32": (0x88, "f", 0),
    "byte": (0x0D, "s", 0),
}

Value = float | int | str | bytes | None


@dataclass(frozen=True, slots=True)
class Field:
    """A field of a message: number and base type; stored as ``(value + offset) * scale``.

    `size` is the length in bytes of a string or byte field.
    """

    number: int
    base: str
    scale: float = 1.0
    offset: float = 0.0
    size: int = 0

    @property
    def code(self) -> str:
        """Struct code with its length."""
        code = BASES[self.base][1]
        return f"{self.size}s" if code == "s" else code

    def raw(self, value: Value) -> float | int | bytes:
        """Return the stored value; None and NaN become the type's invalid value."""
        if isinstance(value, str):
            return value.encode()[: self.size - 1]
        if isinstance(value, bytes):
            return value
        if self.base == "float32":
            return math.nan if value is None else value
        if value is None or math.isnan(value):
            return BASES[self.base][2]
        return round((value + self.offset) * self.scale)


@dataclass(frozen=True, slots=True)
class Message:
    """A message type under a local number: `fields`, then developer fields of developer 0."""

    local: int
    number: int
    fields: tuple[Field, ...]
    developer_fields: tuple[Field, ...] = ()
    big_endian: bool = False

    @property
    def _order(self) -> str:
        return ">" if self.big_endian else "<"

    def definition(self) -> bytes:
        """Encode the definition, which must come before any `data`."""
        head = 0x40 | (0x20 if self.developer_fields else 0) | self.local
        encoded = struct.pack(
            f"{self._order}BBBHB", head, 0, self.big_endian, self.number, len(self.fields)
        )
        for field in self.fields:
            encoded += bytes((field.number, _size(field), BASES[field.base][0]))
        if self.developer_fields:
            encoded += bytes((len(self.developer_fields),))
            for field in self.developer_fields:
                encoded += bytes((field.number, _size(field), 0))
        return encoded

    def data(self, *values: Value, time_offset: int | None = None) -> bytes:
        """Encode one message; `time_offset` (5 bits) writes a compressed time stamp header."""
        fields = self.fields + self.developer_fields
        head = self.local if time_offset is None else 0x80 | self.local << 5 | time_offset
        codes = "".join(field.code for field in fields)
        raw = (field.raw(value) for field, value in zip(fields, values, strict=True))
        return struct.pack(f"{self._order}B{codes}", head, *raw)


def _size(field: Field) -> int:
    return struct.calcsize("<" + field.code)


def text_field(number: int, text: str) -> Field:
    """Return a string field just long enough for `text` and its closing zero."""
    return Field(number, "string", size=len(text.encode()) + 1)


def fit_file(messages: Sequence[bytes]) -> bytes:
    """Put header and check sums around encoded messages."""
    content = b"".join(messages)
    header = struct.pack("<BBHI4s", 14, 0x20, 2132, len(content), b".FIT")
    whole = header + struct.pack("<H", crc16(header)) + content
    return whole + struct.pack("<H", crc16(whole))
