"""Read tables of a TOML file against a list of known keys, with errors a rider can act on."""

from __future__ import annotations

import difflib
import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import MISSING, dataclass, field, fields
from datetime import datetime
from typing import Any

from sameloop.errors import StudyError
from sameloop.plain_text import is_plain, plain


class WrongValueError(Exception):
    """A value cannot be used: what is wrong and what to do. The table reader adds the place."""

    def __init__(self, problem: str, remedy: str) -> None:
        super().__init__(problem)
        self.problem, self.remedy = problem, remedy


@dataclass(frozen=True, slots=True)
class Number:
    """A number in the file's unit, between `low` and `high`; ``SI = value * scale + shift``."""

    low: float
    high: float
    unit: str
    scale: float = 1.0
    shift: float = 0.0

    def __call__(self, value: object) -> float:
        """Convert one value to SI."""
        if isinstance(value, bool) or not isinstance(value, int | float):
            unit = f" in {self.unit}" if self.unit else ""
            raise WrongValueError(
                f"{show(value)} is not a number", f"write a number{unit} without quotes"
            )
        try:
            number = float(value)
        except OverflowError:  # a whole number of more than 308 digits
            number = math.inf if value > 0 else -math.inf
        if not self.low <= number <= self.high:
            raise WrongValueError(
                f"{number:g}{self._unit} is not plausible",
                f"write a value from {self.low:g} to {self.high:g}{self._unit}",
            )
        return number * self.scale + self.shift

    def written(self, si: float) -> str:
        """Give the value as it would stand in the file."""
        return f"{(si - self.shift) / self.scale:.6g}"

    @property
    def _unit(self) -> str:
        return f" {self.unit}" if self.unit else ""


@dataclass(frozen=True, slots=True)
class Numbers:
    """A list of one or more different numbers, at most `most`."""

    each: Number
    most: int = 20

    def __call__(self, value: object) -> tuple[float, ...]:
        """Convert the list to SI."""
        if not isinstance(value, list):
            raise WrongValueError(f"{show(value)} is not a list", "write e.g. [36, 40]")
        if not value:
            raise WrongValueError("the list is empty", "write e.g. [36, 40]")
        if len(value) > self.most:
            raise WrongValueError(
                f"the list holds {len(value)} values", f"keep {self.most} of them"
            )
        numbers = tuple(self.each(item) for item in value)
        if len(set(numbers)) != len(numbers):
            raise WrongValueError(f"{show(value)} holds a value twice", "write each value once")
        return numbers

    def written(self, si: tuple[float, ...]) -> str:
        """Give the list as it would stand in the file."""
        return "[" + ", ".join(self.each.written(item) for item in si) + "]"


@dataclass(frozen=True, slots=True)
class Choice:
    """One of a few words."""

    words: tuple[str, ...]

    def __call__(self, value: object) -> str:
        """Pass a known word on."""
        if value not in self.words:
            known = ", ".join(f'"{word}"' for word in self.words)
            raise WrongValueError(f"{show(value)} is not known", f"write one of {known}")
        return str(value)

    def written(self, si: str) -> str:
        """Give the word as it would stand in the file."""
        return f'"{si}"'


class YesNo:
    """True or false."""

    def __call__(self, value: object) -> bool:
        """Pass a truth value on."""
        if not isinstance(value, bool):
            raise WrongValueError(f"{show(value)} is not known", "write true or false")
        return value

    def written(self, si: bool) -> str:
        """Give the value as it would stand in the file."""
        return show(si)


@dataclass(frozen=True, slots=True)
class Text:
    """Some text of at most `longest` characters; `lines` allows several lines, and none."""

    lines: bool = False
    longest: int = 500

    def __call__(self, value: object) -> str:
        """Check the text."""
        if not isinstance(value, str):
            raise WrongValueError(f"{show(value)} is not text", "put it in quotes")
        if not value.strip() and not self.lines:
            raise WrongValueError("the text is empty", "write something")
        if len(value) > self.longest:
            raise WrongValueError(
                f"the text has {len(value)} characters", f"write at most {self.longest}"
            )
        allowed = "\n\t" if self.lines else ""
        odd = next((one for one in value if not is_plain(one) and one not in allowed), None)
        if odd is not None:
            raise WrongValueError(
                f"the text holds the character U+{ord(odd):04X}, which is not to be seen",
                "take it out",
            )
        return value

    def written(self, si: str) -> str:
        """Give the text as it would stand in the file."""
        return f'"{si}"'


class Whole:
    """A count from 1."""

    def __call__(self, value: object) -> int:
        """Check the count."""
        if isinstance(value, bool) or not isinstance(value, int) or value < 1:
            raise WrongValueError(f"{show(value)} is not a count", "write 1, 2, 3, ...")
        return value

    def written(self, si: int) -> str:
        """Give the count as it would stand in the file."""
        return str(si)


class Time:
    """A date and time with an offset, as text or as a TOML date-time; becomes Unix time [s]."""

    def __call__(self, value: object) -> float:
        """Convert to Unix time [s]."""
        example = "2026-05-02T09:10:00Z or 2026-05-02T11:10:00+02:00"
        moment = value
        if isinstance(value, str):
            try:
                moment = datetime.fromisoformat(value)
            except ValueError:
                moment = None
        if not isinstance(moment, datetime):
            raise WrongValueError(f"{show(value)} is not a date and time", f"write e.g. {example}")
        if moment.tzinfo is None:
            raise WrongValueError(f"{show(value)} has no offset from UTC", f"write e.g. {example}")
        return moment.timestamp()

    def written(self, si: float) -> str:
        """Give the time as it would stand in the file."""
        return str(si)


Reader = Number | Numbers | Choice | YesNo | Text | Whole | Time


@dataclass(frozen=True, slots=True)
class Key:
    """A known key: the record's attribute, how to read it, and what to do when it is missing.

    An empty `missing` makes the key optional.
    """

    attribute: str
    read: Reader
    missing: str = ""


@dataclass(frozen=True, slots=True)
class TomlSource:
    """The file being read, for messages, and the defaults taken from it so far."""

    file: str
    defaulted: list[str] = field(default_factory=list)

    def error(self, place: str, problem: str, remedy: str) -> StudyError:
        """Build the error for one place in the file."""
        return StudyError(self.file, place, problem, remedy)

    def known_only(self, raw: Mapping[str, object], known: Iterable[str], place: str) -> None:
        """Refuse unknown keys and suggest the nearest known one."""
        known = tuple(known)
        for key in raw:
            if key not in known:
                near = difflib.get_close_matches(key, known, n=1, cutoff=0.5)
                remedy = (
                    f"perhaps you meant {near[0]}" if near else f"known here: {', '.join(known)}"
                )
                where = f"{place} {brief(key)}".strip()
                raise self.error(where, "this key is not known", remedy)

    def table(self, raw: object, place: str) -> dict[str, Any]:
        """Check that `raw` is a table."""
        if not isinstance(raw, dict):
            raise self.error(place, f"{show(raw)} is not a table", "see docs/study-file.md")
        return raw

    def tables(self, raw: object, place: str, write: str) -> list[tuple[str, dict[str, Any]]]:
        """Check that `raw` is a list of tables; each comes with its own place."""
        if not isinstance(raw, list):
            raise self.error(place, "this must be a list of tables", f"write {write}")
        named = [(f"{place} {number}", item) for number, item in enumerate(raw, start=1)]
        return [(name, self.table(item, name)) for name, item in named]

    def values(
        self, raw: Mapping[str, object], keys: Mapping[str, Key], record: type, place: str
    ) -> dict[str, Any]:
        """Read the plain keys of one table into keyword arguments for `record`."""
        out: dict[str, Any] = {}
        for key, known in keys.items():
            if key in raw:
                out[known.attribute] = self.value(raw[key], known.read, f"{place} {key}")
            elif known.missing:
                raise self.error(f"{place} {key}", "this key is missing", known.missing)
            else:
                default = _default(record, known.attribute)
                if default not in (None, ""):
                    self.defaulted.append(f"{place} {key} = {known.read.written(default)}")
        return out

    def value(self, raw: object, read: Callable[[object], Any], place: str) -> Any:
        """Read one value; what is wrong with it becomes an error that names the place."""
        try:
            return read(raw)
        except WrongValueError as wrong:
            raise self.error(place, wrong.problem, wrong.remedy) from None


def show(value: object) -> str:
    """Show a value of the file in an error, in the file's own spelling and not too long."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float) and not math.isfinite(value):
        return str(value)
    text = f'"{value}"' if isinstance(value, str) else str(value)
    return brief(text)


def brief(text: str) -> str:
    """Shorten a text of the file for an error, and keep out what cannot be printed."""
    clean = plain(text)
    return clean if len(clean) <= 60 else clean[:57] + "..."


def _default(record: type, attribute: str) -> Any:
    for item in fields(record):
        if item.name == attribute:
            return None if item.default is MISSING else item.default
    raise AttributeError(f"{record.__name__} has no field {attribute}")
