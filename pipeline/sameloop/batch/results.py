"""The answers of a batch as one Parquet dataset: a folder of part files with one schema."""

from __future__ import annotations

import secrets
from collections.abc import Mapping, Sequence
from io import BytesIO
from pathlib import Path

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
from fsspec.core import url_to_fs
from fsspec.implementations.local import LocalFileSystem

from sameloop.batch.answer_one import FAILED, Row
from sameloop.batch.find import Found
from sameloop.errors import SameloopError
from sameloop.files import write_file

_TEXT, _NUMBER = pa.string(), pa.float64()


def _quantity(name: str) -> list[tuple[str, pa.DataType]]:
    return [(name + end, _NUMBER) for end in ("", "_sd", "_low", "_high")]


#: One row for each comparison; a study without an answer has one row with its `error`.
SCHEMA = pa.schema(
    [
        ("study", _TEXT),
        ("state", _TEXT),
        ("outcome", _TEXT),
        ("error", _TEXT),
        ("seconds", _NUMBER),
        ("name", _TEXT),
        ("before", _TEXT),
        ("after", _TEXT),
        ("change", _TEXT),
        ("laps_before", pa.int32()),
        ("laps_after", pa.int32()),
        ("delta_mass_kg", _NUMBER),
        ("speed_kmh", _NUMBER),
        ("smallest_effect_w", _NUMBER),
        ("verdict", _TEXT),
        ("separable", pa.bool_()),
        *_quantity("delta_watts"),
        *_quantity("delta_cda"),
        *_quantity("delta_crr"),
        ("loop_length_m", _NUMBER),
        ("warnings", pa.list_(_TEXT)),
    ]
)


class Results:
    """The dataset in one folder, local or of an object store.

    Parameters
    ----------
    folder : str
        Local folder or URL; made when the first part is written.
    """

    def __init__(self, folder: str) -> None:
        self.folder = folder
        try:
            self._system, self._root = url_to_fs(folder)
        except (ImportError, ValueError) as error:
            raise SameloopError(f"{folder}: it cannot be opened ({error}).") from None

    def add(self, rows: Sequence[Row]) -> None:
        """Write rows as a part of their own, whole or not at all."""
        table = pa.Table.from_pylist(list(rows), schema=SCHEMA)
        self._write(f"{self._root}/part-{secrets.token_hex(8)}.parquet", table)

    def read(self) -> pd.DataFrame:
        """Give all rows.

        Raises
        ------
        SameloopError
            A part is damaged.
        """
        tables = [self._read(part) for part in self._parts()]
        rows: pd.DataFrame = pa.concat_tables([SCHEMA.empty_table(), *tables]).to_pandas()
        return rows

    def keep_only(self, studies: Sequence[Found]) -> set[str]:
        """Take out the rows of these studies that no longer hold, and those of other studies' past.

        A row holds while its study's files and sameloop are the same; what failed through our
        fault is tried again. Rows of studies that are not asked for stay.

        Returns
        -------
        set of str
            URLs of the studies that need no work.
        """
        asked = {found.url: found.state for found in studies}
        done: set[str] = set()
        for part in self._parts():
            table = self._read(part)
            holds = [_holds(row, asked, done) for row in table.select(_IDENTITY).to_pylist()]
            done |= set(table.filter(pa.array(holds, pa.bool_()))["study"].to_pylist())
            if all(holds):
                continue
            if any(holds):
                self._write(part, table.filter(pa.array(holds)))
            else:
                self._system.rm_file(part)
        return done & set(asked)

    def _parts(self) -> list[str]:
        return sorted(self._system.glob(f"{self._root}/part-*.parquet"))

    def _read(self, part: str) -> pa.Table:
        try:
            table = pq.read_table(BytesIO(self._system.cat_file(part)))
            return table.select(SCHEMA.names).cast(SCHEMA)
        except (pa.ArrowException, KeyError, OSError, ValueError):
            raise SameloopError(
                f"{part}: this is no part of a batch, or it is damaged; remove it and run the "
                "batch again, which answers what is missing."
            ) from None

    def _write(self, part: str, table: pa.Table) -> None:
        buffer = BytesIO()
        pq.write_table(table, buffer, compression="zstd")
        try:
            if isinstance(self._system, LocalFileSystem):
                write_file(Path(part), buffer.getvalue())
            else:  # object stores show an object only when it is whole
                self._system.pipe_file(part, buffer.getvalue())
        except OSError as error:
            raise SameloopError(
                f"{self.folder}: it cannot be written ({error.strerror or error}); name another "
                "folder with --output."
            ) from None


_IDENTITY = ["study", "state", "outcome"]


def _holds(row: Mapping[str, str], asked: Mapping[str, str], done: set[str]) -> bool:
    """Whether a row still holds; one study is never in two parts."""
    study = row["study"]
    if study not in asked:
        return study not in done
    return row["state"] == asked[study] and row["outcome"] != FAILED and study not in done
