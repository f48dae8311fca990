"""Work on its way to other processes: packed once, unpacked once in each, and only by equals.

Functions of a study's own Python file travel with the work, so workers need neither the study nor its files.
"""

from __future__ import annotations

import pickle
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Generic, TypeVar, cast

from explorer.engine.versions import versions
from explorer.errors import ClusterError

Part = TypeVar("Part")


@dataclass(frozen=True)
class Packed(Generic[Part]):
    """A function of the number of a part, as bytes, with the versions it was packed under."""

    data: bytes
    versions: tuple[tuple[str, str], ...]

    @classmethod
    def of(cls, job: Callable[[int], Part]) -> Packed[Part]:
        """Pack a job."""
        import cloudpickle

        return cls(cloudpickle.dumps(job), tuple(versions().items()))

    def __call__(self, indices: Sequence[int]) -> bytes:
        """Do some parts, here, and return them as bytes: one piece gets about with less ado than many arrays.

        Raises
        ------
        ClusterError
            When this process would compute other numbers than the one that packed the job.
        """
        require_equal(self.versions)
        job = _unpacked(self.data)
        return pickle.dumps([job(index) for index in indices], pickle.HIGHEST_PROTOCOL)

    @staticmethod
    def opened(parts: bytes) -> list[Part]:
        """Return parts that were done elsewhere."""
        return cast(list[Part], pickle.loads(parts))


@lru_cache(maxsize=2)
def _unpacked(data: bytes) -> Any:
    return pickle.loads(data)


def require_equal(wanted: tuple[tuple[str, str], ...]) -> None:
    """Raise ClusterError unless this process has the versions of the one that asks."""
    here = versions()
    for name, version in wanted:
        if here[name] != version:
            raise ClusterError(
                f"a worker has another {name}, and would compute other numbers",
                found=here[name],
                allowed=version,
                remedy="install the same versions on every worker and start them again",
            )
