"""Arrays by what they hold, and a few of their samples."""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt

Array: TypeAlias = npt.NDArray[np.float64]
#: True where something holds.
Mask: TypeAlias = npt.NDArray[np.bool_]
Rows: TypeAlias = npt.NDArray[np.intp]


def picked(group: Any, where: Mask) -> Any:
    """Return the samples of a mask, of all that belongs together; numbers and tables stay as they are.

    A group is an array, samples along its last axis, a tuple of groups, or a curve that can be had for fewer
    samples.  Under a mask of several axes each array is as if it were repeated over them.
    """
    return _of_rows(group, where, np.flatnonzero(where))


def _of_rows(group: Any, where: Mask, rows: Rows) -> Any:
    if isinstance(group, tuple):
        fields = [_of_rows(field, where, rows) for field in group]
        return type(group)(*fields) if hasattr(group, "_fields") else tuple(fields)
    if hasattr(group, "of_samples"):
        return group.of_samples(where)
    if where.ndim != 1:
        return np.broadcast_to(group, where.shape)[where] if np.ndim(group) else group
    # What is as long as something else is not one value a sample.
    return group[..., rows] if np.ndim(group) and group.shape[-1] == where.size else group
