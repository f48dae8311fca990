"""What stands for a quantity while it is recorded: samples, constants, or tuples of these."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any

import numpy as np

from explorer.compiled.record import NotRecordedError, Record, Value
from explorer.compiled.samples import SAMPLES, Samples
from explorer.graph.quantity import Array


def is_number(value: Any) -> bool:
    """Tell numbers and arrays of them from what else a quantity may be."""
    return isinstance(value, float | int | np.ndarray | np.generic)


def parts_of(form: Any) -> Iterator[Any]:
    """Go through the samples and constants that a quantity is made of.

    Raises
    ------
    NotRecordedError
        When it is made of something else.

    """
    if isinstance(form, tuple):
        for part in form:
            yield from parts_of(part)
    elif isinstance(form, Samples) or is_number(form):
        yield form
    else:
        raise NotRecordedError(f"it returns a {type(form).__name__}")


def values_of(form: Any) -> Iterator[Value]:
    """Go through the values of a record that a quantity is made of."""
    for part in parts_of(form):
        nodes = part.nodes.flat if isinstance(part, Samples) else ()
        yield from (node for node in nodes if isinstance(node, Value))


def _replaced(form: Any, part: Callable[[Any], Any]) -> Any:
    """Return what a quantity is made of with each part of it replaced."""
    if not isinstance(form, tuple):
        return part(form)
    parts = (_replaced(one, part) for one in form)
    return type(form)(*parts) if hasattr(form, "_fields") else tuple(parts)


def anew(record: Record, form: Any) -> Any:
    """Return a quantity with inputs of another record in the place of samples."""

    def given_anew(part: Any) -> Any:
        if not isinstance(part, Samples):
            return part
        given = Samples.given(record, part.nodes.shape)
        return given != 0 if part.dtype == bool else given

    return _replaced(form, given_anew)


def real(form: Any, arrays: Mapping[Value, Array], samples: int) -> Any:
    """Return a quantity with arrays in the place of stand-ins."""

    def filled(part: Any) -> Any:
        if isinstance(part, np.ndarray) and part.shape[-1:] == (SAMPLES,):
            return np.broadcast_to(part[..., :1], (*part.shape[:-1], samples))
        if not isinstance(part, Samples):
            return part
        found = np.empty((*part.nodes.shape, samples))
        for place in np.ndindex(part.nodes.shape):
            node = part.nodes[place]
            found[place] = arrays[node] if isinstance(node, Value) else node
        return found != 0 if part.dtype == bool else found

    return _replaced(form, filled)


def rows_of(form: Any, value: Any) -> list[Array]:
    """Return the rows of samples in a quantity, where its form has stand-ins."""
    if isinstance(form, tuple):
        return [row for one, part in zip(form, value, strict=True) for row in rows_of(one, part)]
    return list(np.reshape(value, (-1, np.shape(value)[-1]))) if isinstance(form, Samples) else []
