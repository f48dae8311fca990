"""Arrays by what they hold, and a few of their samples."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple, TypeAlias

import numpy as np
import numpy.typing as npt

Array: TypeAlias = npt.NDArray[np.float64]
#: True where something holds.
Mask: TypeAlias = npt.NDArray[np.bool_]
Rows: TypeAlias = npt.NDArray[np.intp]


def anywhere(values: Array | Mask) -> bool:
    """Tell whether any value is not zero; numpy's own way takes eight times as long on short arrays."""
    return bool(np.count_nonzero(values))


def everywhere(values: Array | Mask) -> bool:
    """Tell whether no value is zero."""
    return bool(np.count_nonzero(values) == np.size(values))


class Repeated(NamedTuple):
    """All of so many samples, so many times one after the other."""

    samples: int
    times: int


class Placed(NamedTuple):
    """Of so many samples those at some places, in their order and as often as they stand there."""

    samples: int
    places: Rows


#: Which samples.
Which: TypeAlias = Mask | Repeated | Placed


def picked(group: Any, where: Which) -> Any:
    """Return some samples of all that belongs together; numbers and tables stay as they are.

    A group is an array, samples along its last axis, a tuple of groups, or a curve that can be had for fewer
    samples.  Under a mask of several axes each array is as if it were repeated over them.
    """
    if isinstance(where, Repeated):
        return _each(group, where, where.samples, lambda values: np.concatenate([values] * where.times, -1))
    if isinstance(where, Placed):
        return _each(group, where, where.samples, lambda values: values[..., where.places])
    if where.ndim != 1:
        return _each(group, where, None, lambda values: np.broadcast_to(values, where.shape)[where])
    rows = np.flatnonzero(where)
    return _each(group, where, where.size, lambda values: values[..., rows])


def _each(group: Any, where: Which, samples: int | None, take: Callable[[Array], Array]) -> Any:
    """Take of each array, where it has one value a sample: not of what is as long as something else."""
    if isinstance(group, tuple):
        fields = [_each(field, where, samples, take) for field in group]
        return type(group)(*fields) if hasattr(group, "_fields") else tuple(fields)
    if hasattr(group, "of_samples"):
        return group.of_samples(where)
    return take(group) if np.ndim(group) and samples in (None, group.shape[-1]) else group
