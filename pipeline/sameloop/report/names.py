"""What a ride is called in a report that strangers read."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import PurePath


@dataclass(frozen=True, slots=True)
class RideNames:
    """Ride files by their names when `plain`, otherwise counted: a file's name may tell a place."""

    files: tuple[str, ...]
    plain: bool

    def of(self, ride: int) -> str:
        """Name one ride."""
        return self.files[ride] if self.plain else f"ride {ride + 1}"

    def hide(self, text: str) -> str:
        """Say `text` without the names of files."""
        if self.plain:
            return text
        # The longest first: one name may be the end of another.
        for file in sorted(self.files, key=len, reverse=True):
            counted = self.of(self.files.index(file))
            text = text.replace(file, counted).replace(PurePath(file).name, counted)
        return text
