"""How far a long run is: noted now and then, so that a stopped one goes on where it was."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from explorer.engine.checkpoint import PartStore, open_store, parts_file, remove_parts
from explorer.engine.storage import HELD_AT_ONCE, SampleFiles, SampleFolder
from explorer.graph.arrays import Array
from explorer.study.study import Study

# How the names of notes begin.
RUN = "run "
Bytes: TypeAlias = npt.NDArray[np.uint8]

# Noting takes about a hundredth of a second: so often it costs some hundredths of the time.
SECONDS_BETWEEN_NOTES = 0.5


@dataclass
class Ledger:
    """Notes of one run in a store.  What is noted is whole, and the samples of all its chunks are there."""

    store: PartStore
    name: str
    noted: float = field(default_factory=time.monotonic)

    @property
    def _samples(self) -> SampleFolder:
        assert self.store.folder is not None, "the samples of a long run need a place"
        return SampleFolder(self.store.folder)

    def begin(self) -> Bytes | None:
        """Return the last note, or None at the start of a run."""
        note = self.store.get(RUN + self.name)
        if note is None:
            self._samples.clear()
            return None
        return note.astype(np.uint8)

    def keep(self, chunk: int, columns: Mapping[str, Array]) -> None:
        """Keep the samples of one chunk."""
        self._samples.keep(chunk, columns)

    def has(self, chunks: int) -> bool:
        """Tell whether the samples of all the first chunks are there."""
        return self._samples.has(chunks)

    def kept(self, chunks: int) -> SampleFiles:
        """Return the samples of the first chunks."""
        return self._samples.files(chunks)

    def note(self, pack: Callable[[], Bytes], last: bool) -> None:
        """Note what is packed, unless the last note was just made; the end is always noted."""
        if last or time.monotonic() - self.noted >= SECONDS_BETWEEN_NOTES:
            self.store.put(RUN + self.name, pack())
            self.noted = time.monotonic()


@contextmanager
def store_for_run(folder: Path, study: Study, samples: int, *, fresh: bool = False) -> Iterator[PartStore]:
    """Open the store beside a folder of results, for a run long enough to be worth it.

    Parameters
    ----------
    folder:
        Of the results.
    samples:
        Of the run, at the most.
    fresh:
        Whether to throw away what an earlier call has finished.

    """
    if samples <= HELD_AT_ONCE:
        if fresh:
            remove_parts(parts_file(folder))
        yield PartStore()
        return
    with open_store(folder, study, fresh=fresh) as store:
        yield store


def forget_runs(store: PartStore) -> None:
    """Throw the notes of a store's runs away: they are over, and their results are safe.

    The store goes with them unless it holds finished parts of something else.
    """
    store.drop(RUN)
    if store.folder is not None:
        SampleFolder(store.folder).clear()
    store.remove_if_empty()
