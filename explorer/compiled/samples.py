"""Stand-ins for arrays of samples: numpy's functions note what they do to a sample instead of doing it.

Only the axis of the samples, the last, is left out; those before it, such as members of a family, are real.

A function may look at all its samples at once for a shortcut only, as in ``if np.all(...)`` or
``if np.min(...) > 0``: what it returns for a sample must not depend on its neighbours.  So of two ways the
general one is right for every sample, and is noted: any sample may meet a condition, and not all of them do.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import Any

import numpy as np

from explorer.compiled.record import NotRecordedError, Operand, Record, Value, is_truth
from explorer.graph.quantity import Array

#: Pretended number of samples: as long as no other axis in a model.
SAMPLES = 1009

ARITHMETIC = {"add", "subtract", "multiply", "divide", "negative"}
FUNCTIONS_OF_ONE = {"absolute", "sqrt", "floor", "ceil", "rint", "exp", "expm1", "log", "log1p", "sin", "cos"}
FUNCTIONS_OF_ONE |= {"tan", "arcsin", "arccos", "arctan", "sinh", "cosh", "tanh"}
FUNCTIONS_OF_TWO = {"minimum", "maximum", "copysign", "arctan2", "hypot"}
ORDER = {"less", "less_equal", "greater", "greater_equal", "equal", "not_equal"}
KINDS = {"isnan", "isfinite", "isinf"}
LOGIC = {"bitwise_and": "and", "logical_and": "and", "bitwise_or": "or", "logical_or": "or", "invert": "not"}
LOGIC |= {"logical_not": "not", "equal": "equal", "not_equal": "not_equal"}


class Samples(np.lib.mixins.NDArrayOperatorsMixin):
    """Stands for an array whose last axis are the samples; ``nodes`` holds what each other place is."""

    def __init__(self, record: Record, nodes: Any) -> None:
        self.record = record
        self.nodes: Any = nodes if isinstance(nodes, np.ndarray) else _arranged((), [nodes])

    @classmethod
    def given(cls, record: Record, lead: tuple[int, ...] = ()) -> Samples:
        """Return inputs of a record, with leading axes."""
        return cls(record, _arranged(lead, (record.input() for _ in np.ndindex(lead))))

    @property
    def shape(self) -> tuple[int, ...]:
        """Leading axes, then the pretended number of samples."""
        return (*self.nodes.shape, SAMPLES)

    @property
    def ndim(self) -> int:
        """Number of axes."""
        return len(self.shape)

    @property
    def dtype(self) -> np.dtype[Any]:
        """Truths or numbers."""
        return np.dtype(bool if all(map(is_truth, self.nodes.flat)) else float)

    def __len__(self) -> int:
        return self.shape[0]

    def __bool__(self) -> bool:
        raise NotRecordedError("it decides by the value of a sample")

    def __array__(self, *_: Any, **__: Any) -> Array:
        raise NotRecordedError("it wants the samples themselves")

    def __iter__(self) -> Iterator[Samples]:
        if self.ndim == 1:
            raise NotRecordedError("it goes through the samples")
        return (self[place] for place in range(len(self)))

    def __getitem__(self, index: Any) -> Samples:
        parts = list(index) if isinstance(index, tuple) else [index]
        if sum(part is not None for part in parts) == self.ndim and parts[-1] == slice(None):
            parts.pop()
        axes = [part for part in parts if part is not None]
        if len(axes) >= self.ndim or not all(isinstance(part, int | slice) for part in axes):
            raise NotRecordedError("it picks samples")
        return Samples(self.record, self.nodes[tuple(parts)])

    def any(self, axis: int | None = None) -> Any:
        """Tell whether any is true, as ``numpy.any``."""
        return _any(self, axis)

    def all(self, axis: int | None = None) -> Any:
        """Tell whether all are true, as ``numpy.all``."""
        return _all(self, axis)

    def __array_ufunc__(self, function: np.ufunc, method: str, *inputs: Any, **options: Any) -> Any:
        if method == "reduce":
            return _folded(function, inputs[0], options.get("axis", 0))
        into = options.pop("out", (None,))[0]
        if method != "__call__" or options:
            raise NotRecordedError(f"it calls np.{function.__name__} in a way that is not noted")
        found = _noted(function.__name__, *inputs)
        if into is None:
            return found
        into.nodes = np.broadcast_to(found.nodes, into.nodes.shape)
        return into

    def __array_function__(self, function: Any, _: Any, inputs: Any, options: Any) -> Any:
        if function not in FUNCTIONS:
            raise NotRecordedError(f"it calls np.{function.__name__}")
        return FUNCTIONS[function](*inputs, **options)

    def repeated(self, change: Callable[[Any, Any], Any], carried: Any, limit: int) -> Any:
        """Note a loop, as ``explorer.model.numeric.repeated``; the number of rounds is carried first."""
        record = self.record
        initial = [nodes_of(one) for one in carried]

        def shaped(operands: Iterable[Operand]) -> Any:
            rest = iter(operands)
            nodes = (_arranged(one.shape, (next(rest) for _ in one.flat)) for one in initial)
            return type(carried)(*(Samples(record, one) for one in nodes))

        def changed(values: list[Value]) -> list[Operand]:
            after = map(nodes_of, change(Samples(record, values[0]), shaped(values[1:])))
            fields = [np.broadcast_to(new, old.shape) for new, old in zip(after, initial, strict=True)]
            return [record.value("add", values[0], 1.0), *(node for one in fields for node in one.flat)]

        done = 1 + sum(one.size for one in initial[: carried._fields.index("done")])
        start = [0.0, *(node for one in initial for node in one.flat)]
        return shaped(record.loop(changed, start, done, limit)[1:])


def _arranged(shape: tuple[int, ...], nodes: Iterable[Operand]) -> Any:
    arranged = np.empty(shape, object)
    for place, node in zip(np.ndindex(shape), nodes, strict=True):
        arranged[place] = node
    return arranged


def nodes_of(value: Any) -> Any:
    """Return what a value is at each place, without the axis of the samples; constants are theirs."""
    if isinstance(value, Samples):
        return value.nodes
    array = np.asarray(value)
    if array.dtype.kind not in "biuf":
        raise NotRecordedError(f"{type(value).__name__} is no number")
    if array.ndim:
        alike = np.array_equal(array, np.broadcast_to(array[..., :1], array.shape), equal_nan=True)
        if array.shape[-1] not in (1, SAMPLES) or not alike:
            raise NotRecordedError("an array has another axis where the samples should be")
        array = array[..., 0]
    return array.astype(object) if array.dtype == bool else array.astype(float).astype(object)


def _noted(name: str, *inputs: Any) -> Samples:
    record = next(one.record for one in inputs if isinstance(one, Samples))
    arrays = np.broadcast_arrays(*map(nodes_of, inputs))
    places = zip(*(one.flat for one in arrays), strict=True)
    return Samples(record, _arranged(arrays[0].shape, (_operation(record, name, *place) for place in places)))


def _operation(record: Record, name: str, *operands: Operand) -> Operand:
    """Note one operation on one sample."""
    if not any(isinstance(one, Value) for one in operands):
        found = getattr(np, name)(*operands)
        return bool(found) if found.dtype == bool else float(found)
    if name == "where":
        return _chosen(record, *operands)
    truths = all(map(is_truth, operands))
    if name in LOGIC and truths:
        return record.value(LOGIC[name], *operands, truth=True)
    numbers = [_as_number(record, one) for one in operands]
    if name in ORDER | KINDS:
        return record.value(name, *numbers, truth=True)
    if name in FUNCTIONS_OF_ONE | FUNCTIONS_OF_TWO or (name in ARITHMETIC and not truths):
        return record.value(name, *numbers)
    if name in SPELT_OUT:
        return SPELT_OUT[name](record, *numbers)
    raise NotRecordedError(f"it calls np.{name} in a way that is not noted")


def _as_number(record: Record, one: Operand) -> Operand:
    if not is_truth(one):
        return one
    return record.value("where", one, 1.0, 0.0) if isinstance(one, Value) else float(one)


def _chosen(record: Record, condition: Operand, one: Operand, other: Operand) -> Operand:
    if not is_truth(condition):
        condition = record.value("not_equal", condition, 0.0, truth=True)
    if not isinstance(condition, Value):
        return one if condition else other
    if is_truth(one) and is_truth(other):
        return record.value("where", condition, one, other, truth=True)
    return record.value("where", condition, _as_number(record, one), _as_number(record, other))


def _power(record: Record, base: Operand, exponent: Operand) -> Operand:
    # numpy takes these short ways too.
    if exponent == 2:
        return record.value("multiply", base, base)
    return record.value("sqrt", base) if exponent == 0.5 else record.value("power", base, exponent)


def _sign(record: Record, one: Operand) -> Operand:
    above, below = (record.value(order, one, 0.0, truth=True) for order in ("greater", "less"))
    return _chosen(record, above, 1.0, _chosen(record, below, -1.0, one))


def _number_of(record: Record, one: Operand, other: Operand) -> Operand:
    """Take the larger of two, or the one that is a number (``numpy.fmax``)."""
    larger = record.value("maximum", one, other)
    missing = [record.value("isnan", operand, truth=True) for operand in (one, other)]
    return _chosen(record, missing[0], other, _chosen(record, missing[1], one, larger))


SPELT_OUT: dict[str, Callable[..., Operand]] = {
    "power": _power,
    "square": lambda record, one: record.value("multiply", one, one),
    "positive": lambda _, one: one,
    "sign": _sign,
    "fmax": _number_of,
}


def _folded(function: np.ufunc, value: Samples, axis: Any) -> Samples:
    """Fold a function over a leading axis."""
    if not isinstance(axis, int) or axis % value.ndim == value.ndim - 1:
        raise NotRecordedError("it mixes samples")
    first, *rest = (Samples(value.record, part) for part in np.moveaxis(value.nodes, axis % value.ndim, 0))
    for part in rest:
        first = function(first, part)
    return first


class _Extreme:
    """Smallest or largest of all samples, of which only shortcuts may ask: see the head of this file."""

    def __init__(self, smallest: bool) -> None:
        self.smallest = smallest

    def __gt__(self, _: Any) -> bool:
        return not self.smallest

    def __lt__(self, _: Any) -> bool:
        return self.smallest

    __ge__, __le__ = __gt__, __lt__


def _or_over_samples(function: np.ufunc, answer: Any) -> Callable[..., Any]:
    def reduced(value: Samples, axis: Any = None) -> Any:
        if axis is None or (isinstance(axis, int) and axis % value.ndim == value.ndim - 1):
            return answer
        return _folded(function, value, axis)

    return reduced


_any, _all = _or_over_samples(np.logical_or, True), _or_over_samples(np.logical_and, False)


def _round(value: Samples, decimals: int = 0) -> Any:
    return np.rint(value * 10.0**decimals) / 10.0**decimals if decimals else np.rint(value)


def _broadcast_arrays(*values: Any) -> tuple[Any, ...]:
    shape = np.broadcast_shapes(*map(np.shape, values))
    return tuple(np.broadcast_to(one, shape) for one in values)


def _joined(join: Callable[..., Any], least: int) -> Callable[..., Samples]:
    def joined(values: Iterable[Any], axis: int = 0) -> Samples:
        arrays = list(values)
        if axis != 0 or min(map(np.ndim, arrays)) < least:
            raise NotRecordedError("it strings samples together")
        record = next(one.record for one in arrays if isinstance(one, Samples))
        return Samples(record, join([nodes_of(one) for one in arrays]))

    return joined


def _without_samples(shape: tuple[int, ...]) -> tuple[int, ...]:
    if shape[-1] != SAMPLES:
        raise NotRecordedError("it reshapes the samples")
    return shape[:-1]


FUNCTIONS: dict[Any, Callable[..., Any]] = {
    np.where: lambda condition, one, other: _noted("where", condition, one, other),
    np.shape: lambda value: value.shape,
    np.ndim: lambda value: value.ndim,
    np.clip: lambda value, low, high: np.minimum(np.maximum(value, low), high),
    np.round: _round,
    np.isneginf: lambda value: value == -np.inf,
    np.zeros_like: lambda value: np.zeros(value.shape, value.dtype),
    np.ones_like: lambda value: np.ones(value.shape, value.dtype),
    np.broadcast_to: lambda value, shape: Samples(
        value.record, np.broadcast_to(value.nodes, _without_samples(shape))
    ),
    np.broadcast_arrays: _broadcast_arrays,
    np.reshape: lambda value, shape: Samples(value.record, np.reshape(value.nodes, _without_samples(shape))),
    np.stack: _joined(np.stack, 0),
    np.concatenate: _joined(np.concatenate, 2),
    np.any: _any,
    np.all: _all,
    np.min: _or_over_samples(np.minimum, _Extreme(smallest=True)),
    np.max: _or_over_samples(np.maximum, _Extreme(smallest=False)),
    np.sum: lambda value, axis=None: _folded(np.add, value, axis),
    np.prod: lambda value, axis=None: _folded(np.multiply, value, axis),
}
