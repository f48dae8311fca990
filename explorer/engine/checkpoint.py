"""Finished parts of a long run, kept in one file, so that a stopped run goes on where it was.

A part is an array under a name.  It is written whole or not at all (SQLite, one transaction a part), and
belongs to a fingerprint of everything it was computed from: when the study, its data or the program changes,
the old parts are thrown away.
"""

from __future__ import annotations

import hashlib
import io
import shutil
import sqlite3
import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Any

import numpy as np
import numpy.typing as npt

from explorer.engine.versions import versions
from explorer.errors import ResultsError
from explorer.graph.arrays import Array
from explorer.study.study import Input, Study

# Where a distribution is looked at to tell whether it is still the same.
_PROBES = np.linspace(0.005, 0.995, 100)


class PartStore:
    """Parts by name, for one fingerprint; without a file it only counts.

    Attributes
    ----------
    computed, found:
        How many parts were computed, and how many were there already.

    """

    def __init__(self, file: Path | None = None, owner: str = "") -> None:
        self.computed = 0
        self.found = 0
        self._file = file
        self._owner = owner
        self._lock = threading.Lock()
        self._parts: sqlite3.Connection | None = None
        if file is not None:
            file.parent.mkdir(parents=True, exist_ok=True)
            with self._told():
                self._parts = self._opened(file)

    def _opened(self, file: Path) -> sqlite3.Connection:
        parts = sqlite3.connect(file, timeout=60, check_same_thread=False)
        parts.execute("PRAGMA journal_mode = WAL")
        parts.execute("PRAGMA synchronous = NORMAL")
        columns = "owner TEXT, name TEXT, data BLOB, PRIMARY KEY (owner, name)"
        with parts:
            parts.execute(f"CREATE TABLE IF NOT EXISTS part ({columns})")
            parts.execute("DELETE FROM part WHERE owner != ?", (self._owner,))
        return parts

    @contextmanager
    def _told(self) -> Iterator[None]:
        """Tell faults of the file as the user's: a disk that is full, a file that is something else."""
        try:
            yield
        except sqlite3.Error as error:
            raise ResultsError(
                "the file with finished parts cannot be used",
                file=str(self._file),
                found=str(error),
                remedy="make room, or remove that file: its parts are then computed again",
            ) from None

    def __enter__(self) -> PartStore:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file; parts stay in it."""
        if self._parts is not None:
            self._parts.close()
            self._parts = None

    def part(self, name: str, compute: Callable[[], Array]) -> Array:
        """Return a part, computing and keeping it only when it is not there.

        Parameters
        ----------
        name:
            Tells parts apart; it must hold every setting that the study does not.
        compute:
            Called when the part is not there; safe to call from several threads.

        """
        kept = self.get(name)
        if kept is not None:
            with self._lock:
                self.found += 1
            return kept
        return self.kept(name, compute())

    def kept(self, name: str, part: Array) -> Array:
        """Keep a part that was just computed, and return it."""
        with self._lock:
            self.computed += 1
        self.put(name, part)
        return part

    def has(self, name: str) -> bool:
        """Tell whether a part is there."""
        with self._lock:
            if self._parts is None:
                return False
            with self._told():
                found = self._parts.execute(
                    "SELECT 1 FROM part WHERE owner = ? AND name = ?", (self._owner, name)
                ).fetchone()
        return found is not None

    def put(self, name: str, part: npt.NDArray[Any]) -> None:
        """Keep a part, in the place of an earlier one of this name."""
        with self._lock:
            if self._parts is not None:
                with self._told(), self._parts:
                    self._parts.execute(
                        "INSERT OR REPLACE INTO part VALUES (?, ?, ?)", (self._owner, name, _packed(part))
                    )

    def drop(self, beginning: str) -> None:
        """Throw the parts away whose names begin so."""
        with self._lock:
            if self._parts is not None:
                with self._told(), self._parts:
                    self._parts.execute(
                        "DELETE FROM part WHERE owner = ? AND substr(name, 1, ?) = ?",
                        (self._owner, len(beginning), beginning),
                    )

    @property
    def folder(self) -> Path | None:
        """Folder beside the file, for parts that are files of their own."""
        return None if self._file is None else folder_beside(self._file)

    def remove_if_empty(self) -> None:
        """Close the file and remove it, unless it holds parts or another command has it open."""
        with self._lock:
            if self._parts is None or self._file is None:
                return
            with self._told():
                empty = self._parts.execute("SELECT 1 FROM part LIMIT 1").fetchone() is None
                if not empty or not _is_alone(self._parts):
                    return
                self._parts.close()
            self._parts = None
            remove_parts(self._file)

    def get(self, name: str) -> Array | None:
        """Return a part, or None when it is not there."""
        with self._lock:
            if self._parts is None:
                return None
            with self._told():
                row = self._parts.execute(
                    "SELECT data FROM part WHERE owner = ? AND name = ?", (self._owner, name)
                ).fetchone()
        return None if row is None else np.load(io.BytesIO(row[0]), allow_pickle=False)


def folder_beside(file: Path) -> Path:
    """Return the folder for parts that are files of their own."""
    return file.with_suffix("")


def remove_parts(file: Path) -> None:
    """Remove a file with parts, what SQLite keeps beside it, and its folder."""
    for path in (file, *file.parent.glob(f"{file.name}-*")):
        path.unlink(missing_ok=True)
    shutil.rmtree(folder_beside(file), ignore_errors=True)


def _is_alone(parts: sqlite3.Connection) -> bool:
    """Tell whether nobody else has the file open: only then does SQLite leave its write-ahead log."""
    parts.execute("PRAGMA busy_timeout = 0")
    try:
        return bool(parts.execute("PRAGMA journal_mode = DELETE").fetchone()[0] == "delete")
    except sqlite3.OperationalError:
        return False


def _packed(part: npt.NDArray[Any]) -> bytes:
    file = io.BytesIO()
    np.save(file, part, allow_pickle=False)
    return file.getvalue()


def open_store(folder: Path, study: Study, *, fresh: bool = False) -> PartStore:
    """Open the file with the finished parts of a study, beside its results.

    Parameters
    ----------
    folder:
        Of the results; the file stands next to it, because the folder is replaced as a whole.
    fresh:
        Whether to throw away what is there.

    Raises
    ------
    ResultsError
        When the file cannot be read or written.

    """
    file = parts_file(folder)
    if fresh:
        remove_parts(file)
    return PartStore(file, fingerprint(study))


def parts_file(folder: Path) -> Path:
    """Return the hidden file for the parts of what goes into a folder of results."""
    return folder.parent / f".{folder.name}-parts.sqlite"


def fingerprint(study: Study) -> str:
    """Digest of everything the parts of a study are computed from: text, data, seed and program."""
    digest = hashlib.sha256()
    for text in (study.sha256, str(study.seed), repr(versions())):
        digest.update(text.encode())
    digest.update(inputs_digest(study.all_inputs()).encode())
    own = study.entries.study.own_quantities
    for name in (own, *(table.file for table in study.entries.tables.values())):
        if name is not None:
            digest.update((study.folder / name).read_bytes())
    return digest.hexdigest()


def inputs_digest(inputs: Iterable[Input]) -> str:
    """Digest of some inputs: their keys, streams and distributions."""
    digest = hashlib.sha256()
    for given in inputs:
        digest.update(f"{given.key} {given.stream} {given.distribution.nominal!r}".encode())
        digest.update(np.asarray(given.distribution.quantile(_PROBES), float).tobytes())
    return digest.hexdigest()
