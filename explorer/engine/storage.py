"""Kept samples of a long run: a file a chunk as they come, one file of them all in the end.

They are read back by the column, so memory holds what is asked for and no more.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from explorer.errors import ResultsError
from explorer.files.writing import told, whole
from explorer.graph.arrays import Array

# More samples than this are kept in files.
HELD_AT_ONCE = 2**18
READ_AT_ONCE = 2**16
# A file's list of its groups of rows is held in memory until it is closed, so there should be few.
FILES_IN_A_GROUP = 16
# Where a file says of which run it is.
MARK = b"squatline"
# Hardly a number comes twice: looking for such costs more time and room than it saves.
NUMBERS = {"use_dictionary": False}


@dataclass(frozen=True)
class SampleFiles(Mapping[str, Array]):
    """Columns of samples that lie in Parquet files, one after the other, all with the mark of one run."""

    files: tuple[Path, ...]
    mark: str | None = None

    def __getitem__(self, column: str) -> Array:
        """Read one column whole."""
        if column not in self.names:
            raise KeyError(column)
        pieces = []
        for path in self.files:
            with self._opened(path) as file:
                pieces.append(file.read([column])[column].to_numpy())
        return np.concatenate(pieces)

    def __iter__(self) -> Iterator[str]:
        return iter(self.names)

    def __len__(self) -> int:
        return len(self.names)

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Names of the columns, in order.

        Raises
        ------
        ResultsError
            When the file cannot be read, or holds anything but columns of numbers.
        """
        from pyarrow import types

        with self._opened(self.files[0]) as file:
            schema = file.schema_arrow
        names = tuple(schema.names)
        if not names or len(set(names)) < len(names) or not all(map(types.is_floating, schema.types)):
            raise ResultsError(
                "the kept samples are no columns of numbers",
                file=str(self.files[0]),
                found=", ".join(f"{field.name}: {field.type}" for field in schema)[:200] or "no column",
                remedy="run the study again",
            )
        return names

    @property
    def rows(self) -> int:
        """Number of samples in all."""
        total = 0
        for path in self.files:
            with self._opened(path) as file:
                total += file.metadata.num_rows
        return total

    def first(self, rows: int) -> dict[str, Array]:
        """Read the first rows of every column, and hardly any beyond them."""
        pieces: list[dict[str, Array]] = []
        missing = rows
        for piece in self._pieces(min(rows, READ_AT_ONCE)):
            pieces.append(piece)
            missing -= len(piece[self.names[0]])
            if missing <= 0:
                break
        none = np.empty(0)
        return {
            name: np.concatenate([none, *(piece[name] for piece in pieces)])[:rows] for name in self.names
        }

    def _pieces(self, rows: int) -> Iterator[dict[str, Array]]:
        """Read a few rows at a time, one file after the other."""
        for path in self.files:
            with self._opened(path) as file:
                for batch in file.iter_batches(rows):
                    # By its own ways to numpy pyarrow would load pandas.
                    yield {name: np.asarray(np.from_dlpack(batch[name]), float) for name in self.names}

    def write(self, path: Path, mark: str) -> None:
        """Put them all into one file, one after the other, under another mark."""
        import pyarrow
        from pyarrow import parquet

        with _told(path), self._opened(self.files[0]) as first:
            schema = first.schema_arrow.with_metadata({MARK: mark})
            with parquet.ParquetWriter(path, schema, **NUMBERS) as writer:
                for start in range(0, len(self.files), FILES_IN_A_GROUP):
                    tables = []
                    for file in self.files[start : start + FILES_IN_A_GROUP]:
                        with self._opened(file) as one:
                            tables.append(one.read().replace_schema_metadata({MARK: mark}))
                    writer.write_table(pyarrow.concat_tables(tables))

    @contextmanager
    def _opened(self, path: Path) -> Iterator[Any]:
        """Open one of the files and see that it is of this run."""
        from pyarrow import parquet

        with _told(path), parquet.ParquetFile(path) as file:
            if self.mark is not None and mark_of(file.schema_arrow) != self.mark:
                raise ResultsError(
                    "the samples in this file are of another run",
                    file=str(path),
                    remedy="run the study again",
                )
            yield file


def mark_of(schema: Any) -> str | None:
    """Return the mark of what we have written into a file, from its schema; None in files of others."""
    mark: bytes | None = (schema.metadata or {}).get(MARK)
    return None if mark is None else mark.decode()


def write_samples(columns: Mapping[str, Array], file: Path, mark: str) -> None:
    """Write columns of samples into a file, marked as of one run."""
    import pyarrow
    from pyarrow import parquet

    with _told(file):
        # Handed over as they lie in memory: to look at arrays pyarrow would load pandas.
        flat = {name: np.ascontiguousarray(values, float) for name, values in columns.items()}
        arrays = {
            name: pyarrow.Array.from_buffers(
                pyarrow.float64(), len(values), [None, pyarrow.py_buffer(values)]
            )
            for name, values in flat.items()
        }
        table = pyarrow.table(arrays).replace_schema_metadata({MARK: mark})
        parquet.write_table(table, file, **NUMBERS)


@dataclass(frozen=True)
class SampleFolder:
    """A folder that takes the samples of each chunk as a file that is there whole or not at all."""

    folder: Path
    mark: str

    def keep(self, chunk: int, columns: Mapping[str, Array]) -> None:
        """Write the samples of one chunk."""
        file = self._file(chunk)
        with _told(file):
            self.folder.mkdir(parents=True, exist_ok=True)
            with whole(file) as fresh:
                write_samples(columns, fresh, self.mark)

    def has(self, chunks: int) -> bool:
        """Tell whether the samples of all the first chunks are there."""
        return all(self._file(chunk).exists() for chunk in range(chunks))

    def files(self, chunks: int) -> SampleFiles:
        """Return the samples of the first chunks."""
        return SampleFiles(tuple(self._file(chunk) for chunk in range(chunks)), self.mark)

    def _file(self, chunk: int) -> Path:
        return self.folder / f"{chunk:08d}.parquet"


def first_rows(columns: Mapping[str, Array], rows: int) -> Mapping[str, Array]:
    """Return the first rows of some columns, in memory or in files."""
    if isinstance(columns, SampleFiles):
        return columns.first(rows)
    return {name: values[:rows] for name, values in columns.items()}


def _told(file: Path) -> AbstractContextManager[None]:
    """Tell a file that cannot be read, or a disk that is full, as the user's."""
    from pyarrow import ArrowException

    return told(
        "the kept samples cannot be read or written",
        file,
        also=(ArrowException,),
        remedy="run the study again, with room on the disk or with keep_samples = false",
    )
