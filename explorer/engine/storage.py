"""Kept samples of a long run: a file a chunk as they come, one file of them all in the end.

They are read back by the column, so memory holds what is asked for and no more.
"""

from __future__ import annotations

import shutil
from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np

from explorer.errors import ResultsError
from explorer.files import whole
from explorer.graph.arrays import Array

# More samples than this are kept in files.
HELD_AT_ONCE = 2**18
READ_AT_ONCE = 2**16
# A file's list of its groups of rows is held in memory until it is closed, so there should be few.
FILES_IN_A_GROUP = 16
# Hardly a number comes twice: looking for such costs more time and room than it saves.
NUMBERS = {"use_dictionary": False}


@dataclass(frozen=True)
class SampleFiles(Mapping[str, Array]):
    """Columns of samples that lie in Parquet files, one after the other."""

    files: tuple[Path, ...]

    def __getitem__(self, column: str) -> Array:
        """Read one column whole."""
        if column not in self.names:
            raise KeyError(column)
        return np.concatenate([_read(file, [column])[column] for file in self.files])

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
        from pyarrow import parquet, types

        with _told(self.files[0]):
            schema = parquet.read_schema(self.files[0])
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
        from pyarrow import parquet

        total = 0
        for file in self.files:
            with _told(file):
                total += parquet.read_metadata(file).num_rows
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
        from pyarrow import parquet

        for path in self.files:
            with _told(path), parquet.ParquetFile(path) as file:
                for batch in file.iter_batches(rows):
                    yield {name: batch[name].to_numpy(zero_copy_only=False) for name in self.names}

    def write(self, path: Path) -> None:
        """Put them all into one file, one after the other."""
        import pyarrow
        from pyarrow import parquet

        schema = parquet.read_schema(self.files[0])
        with _told(path), parquet.ParquetWriter(path, schema, **NUMBERS) as writer:
            for start in range(0, len(self.files), FILES_IN_A_GROUP):
                files = self.files[start : start + FILES_IN_A_GROUP]
                writer.write_table(pyarrow.concat_tables([parquet.read_table(file) for file in files]))


@dataclass(frozen=True)
class SampleFolder:
    """A folder that takes the samples of each chunk as a file that is there whole or not at all."""

    folder: Path

    def keep(self, chunk: int, columns: Mapping[str, Array]) -> None:
        """Write the samples of one chunk."""
        import pyarrow
        from pyarrow import parquet

        file = self._file(chunk)
        with _told(file):
            self.folder.mkdir(parents=True, exist_ok=True)
            with whole(file) as fresh:
                parquet.write_table(pyarrow.table(dict(columns)), fresh, **NUMBERS)

    def has(self, chunks: int) -> bool:
        """Tell whether the samples of all the first chunks are there."""
        return all(self._file(chunk).exists() for chunk in range(chunks))

    def files(self, chunks: int) -> SampleFiles:
        """Return the samples of the first chunks."""
        return SampleFiles(tuple(self._file(chunk) for chunk in range(chunks)))

    def _file(self, chunk: int) -> Path:
        return self.folder / f"{chunk:08d}.parquet"

    def clear(self) -> None:
        """Remove them all."""
        shutil.rmtree(self.folder, ignore_errors=True)


def first_rows(columns: Mapping[str, Array], rows: int) -> Mapping[str, Array]:
    """Return the first rows of some columns, in memory or in files."""
    if isinstance(columns, SampleFiles):
        return columns.first(rows)
    return {name: values[:rows] for name, values in columns.items()}


@contextmanager
def _told(file: Path) -> Iterator[None]:
    """Tell a file that cannot be read, or a disk that is full, as the user's."""
    from pyarrow import ArrowException

    try:
        yield
    except (OSError, ArrowException) as error:
        raise ResultsError(
            "the kept samples cannot be read or written",
            file=str(file),
            found=str(error),
            remedy="run the study again, with room on the disk or with keep_samples = false",
        ) from None


def _read(file: Path, names: Collection[str]) -> dict[str, Array]:
    from pyarrow import parquet

    with _told(file):
        table = parquet.read_table(file, columns=list(names))
        return {name: table[name].to_numpy() for name in names}
