"""Arrays by what they hold, and a few of their samples."""

from __future__ import annotations

from typing import Any, NamedTuple, TypeAlias

import numpy as np
import numpy.typing as npt

Array: TypeAlias = npt.NDArray[np.float64]
#: True where something holds.
Mask: TypeAlias = npt.NDArray[np.bool_]
Rows: TypeAlias = npt.NDArray[np.intp]


class Samples(NamedTuple):
    """Some of so many samples, by their places; one may be taken more than once."""

    rows: Rows
    among: int

    @classmethod
    def repeated(cls, samples: int, times: int) -> Samples:
        """Take all samples, so many times one after the other."""
        return cls(np.tile(np.arange(samples), times), samples)


def picked(group: Any, where: Mask | Samples) -> Any:
    """Return some samples of all that belongs together; numbers and tables stay as they are.

    A group is an array, samples along its last axis, a tuple of groups, or a curve that can be had for fewer
    samples.  Under a mask of several axes each array is as if it were repeated over them.
    """
    if isinstance(where, Samples) or where.ndim != 1:
        return _of_rows(group, where)
    return _of_rows(group, Samples(np.flatnonzero(where), where.size))


def _of_rows(group: Any, where: Mask | Samples) -> Any:
    if isinstance(group, tuple):
        fields = [_of_rows(field, where) for field in group]
        return type(group)(*fields) if hasattr(group, "_fields") else tuple(fields)
    if hasattr(group, "of_samples"):
        return group.of_samples(where)
    if not isinstance(where, Samples):
        return np.broadcast_to(group, where.shape)[where] if np.ndim(group) else group
    # What is as long as something else is not one value a sample.
    return group[..., where.rows] if np.ndim(group) and group.shape[-1] == where.among else group
