"""What a command has finished of what it was asked, kept so that a stopped one goes on where it was.

A part is an array under a name, written whole or not at all (SQLite, one transaction a part).  Parts belong
to the fingerprint of what they were computed from, and those of another are thrown away.  A note of how far a
long run is, is a part too; the samples that it keeps lie in files beside.
"""

from __future__ import annotations

import hashlib
import io
import shutil
import sqlite3
import time
from collections.abc import Callable
from contextlib import AbstractContextManager, ExitStack
from pathlib import Path
from types import TracebackType
from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt

from explorer.engine.storage import SampleFolder
from explorer.files.writing import told
from explorer.graph.arrays import Array

Bytes: TypeAlias = npt.NDArray[np.uint8]

PARTS = "parts.sqlite"
# How the names of folders with samples begin, and those of notes.
SAMPLES, RUN = "samples-", "run "
# Noting takes about a hundredth of a second: so often it costs some hundredths of the time.
SECONDS_BETWEEN_NOTES = 0.5


class Checkpoint:
    """Finished parts by name, for one fingerprint; without a folder nothing is kept.

    The folder is this process's alone (``explorer.results.folder`` sees to it); it is made when there is
    something to keep, and goes with the last part.

    Attributes
    ----------
    found, dropped:
        How many parts were there in the beginning: of this fingerprint, and of others, thrown away.
    """

    def __init__(self, folder: Path | None = None, fingerprint: str = "") -> None:
        self.found = self.dropped = 0
        self._folder, self._owner = folder, fingerprint
        self._noted = time.monotonic()
        self._parts: sqlite3.Connection | None = None
        if folder is not None and self._file.exists():
            with self._told(), ExitStack() as undone:
                self._parts = parts = self._opened()
                undone.callback(self.close)
                with parts:
                    others = parts.execute("DELETE FROM part WHERE owner != ?", (fingerprint,))
                self.dropped = others.rowcount
                self.found = parts.execute("SELECT count(*) FROM part").fetchone()[0]
                undone.pop_all()

    @property
    def _file(self) -> Path:
        assert self._folder is not None
        return self._folder / PARTS

    def _opened(self) -> sqlite3.Connection:
        self._file.parent.mkdir(parents=True, exist_ok=True)
        with ExitStack() as undone:
            parts = sqlite3.connect(self._file)
            undone.callback(parts.close)
            parts.execute("PRAGMA journal_mode = WAL")
            parts.execute("PRAGMA synchronous = NORMAL")
            with parts:
                columns = "owner TEXT, name TEXT, data BLOB, PRIMARY KEY (owner, name)"
                parts.execute(f"CREATE TABLE IF NOT EXISTS part ({columns})")
            undone.pop_all()
        return parts

    def _told(self) -> AbstractContextManager[None]:
        """Tell faults of the file as the user's: a disk that is full, a file that is something else."""
        return told(
            "the file with finished parts cannot be used",
            self._file,
            also=(sqlite3.Error,),
            remedy="make room, or remove that file: its parts are then computed again",
        )

    def __enter__(self) -> Checkpoint:
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

    def _row(self, what: str, name: str) -> Any:
        if self._parts is None:
            return None
        with self._told():
            query = f"SELECT {what} FROM part WHERE owner = ? AND name = ?"
            return self._parts.execute(query, (self._owner, name)).fetchone()

    def has(self, name: str) -> bool:
        """Tell whether a part is there."""
        return self._row("1", name) is not None

    def get(self, name: str) -> Array | None:
        """Return a part, or None when it is not there."""
        row = self._row("data", name)
        return None if row is None else np.load(io.BytesIO(row[0]), allow_pickle=False)

    def put(self, name: str, part: npt.NDArray[Any]) -> Array:
        """Keep a part, in the place of an earlier one of this name, and return it."""
        if self._folder is not None:
            data = io.BytesIO()
            np.save(data, part, allow_pickle=False)
            with self._told():
                self._parts = self._parts or self._opened()
                with self._parts:
                    row = (self._owner, name, data.getvalue())
                    self._parts.execute("INSERT OR REPLACE INTO part VALUES (?, ?, ?)", row)
        return part

    def part(self, name: str, compute: Callable[[], Array]) -> Array:
        """Return a part, computing and keeping it only when it is not there.

        Parameters
        ----------
        name:
            Tells parts apart; it must hold every setting that the fingerprint does not.
        """
        kept = self.get(name)
        return self.put(name, compute()) if kept is None else kept

    @property
    def keeps(self) -> bool:
        """Whether there is a place to keep anything."""
        return self._folder is not None

    def note(self, run: str, pack: Callable[[], Bytes], last: bool) -> None:
        """Note how far a run is, unless that was just done; the end is always noted."""
        if last or time.monotonic() - self._noted >= SECONDS_BETWEEN_NOTES:
            self.put(RUN + run, pack())
            self._noted = time.monotonic()

    def noted(self, run: str) -> Bytes | None:
        """Return the last note of a run; at the start of one, what is left of others goes."""
        note = self.get(RUN + run)
        if note is None:
            self.forget_runs()
            return None
        return note.astype(np.uint8)

    def samples(self, run: str) -> SampleFolder:
        """Return where a run keeps its samples."""
        assert self._folder is not None, "the samples of a long run need a place"
        mark = hashlib.sha256(f"{self._owner} {run}".encode()).hexdigest()
        return SampleFolder(self._folder / f"{SAMPLES}{mark[:16]}", mark)

    def forget_runs(self) -> None:
        """Throw away notes and samples of runs: their results are safe, or another run begins."""
        if self._folder is not None:
            _remove_samples(self._folder)
        if self._parts is None or self._folder is None:
            return
        with self._told():
            with self._parts:
                self._parts.execute("DELETE FROM part WHERE substr(name, 1, ?) = ?", (len(RUN), RUN))
            empty = self._parts.execute("SELECT 1 FROM part LIMIT 1").fetchone() is None
        if empty:
            self.close()
            remove_parts(self._folder)


def remove_parts(folder: Path) -> None:
    """Remove all parts, and the samples of runs."""
    for file in folder.glob(f"{PARTS}*"):
        file.unlink()
    _remove_samples(folder)


def _remove_samples(folder: Path) -> None:
    for samples in folder.glob(f"{SAMPLES}*"):
        shutil.rmtree(samples, ignore_errors=True)
