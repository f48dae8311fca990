"""The record of a run along the straight, and how to read it between its rows."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from explorer.graph.arrays import Array, Mask, Rows
from explorer.model.numeric import at_row


class State(NamedTuple):
    """One state of a run."""

    time: Array
    distance: Array
    speed: Array
    acceleration: Array

    @classmethod
    def at_start(cls, speed: Array) -> State:
        """Return the state at the start of the straight, at a speed, its acceleration a guess."""
        return cls(*(np.zeros(()),) * 2, speed, np.full((), 5.0))


class Step(NamedTuple):
    """Two states of a run one after the other."""

    begin: State
    end: State

    def at(self, share: Array) -> State:
        """Return the state at a share of the step's time: cubic through the ends and their slopes."""
        begin, end = self
        span = end.time - begin.time
        rest = 1 - share

        def cubic(first: Array, last: Array, first_slope: Array, last_slope: Array) -> Array:
            rise = last - first
            bend = rest * (rise - span * first_slope) - share * (rise - span * last_slope)
            return first + share * (rise - rest * bend)

        return State(
            begin.time + share * span,
            cubic(begin.distance, end.distance, begin.speed, end.speed),
            cubic(begin.speed, end.speed, begin.acceleration, end.acceleration),
            begin.acceleration + share * (end.acceleration - begin.acceleration),
        )


class Run(NamedTuple):
    """States of the run: shape (rows, samples); rows repeat once the end is reached."""

    time: Array
    distance: Array
    speed: Array
    acceleration: Array

    @property
    def last(self) -> State:
        """The state at its end."""
        return State(*(values[-1] for values in self))

    def then(self, more: Run) -> Run:
        """Return this run and another that goes on from its end, perhaps for more samples than this has."""
        shape = np.broadcast_shapes(self.time.shape[1:], more.time.shape[1:])

        def rows(values: Array) -> Array:
            apart = np.reshape(
                values, (len(values), *(1,) * (len(shape) + 1 - values.ndim), *values.shape[1:])
            )
            return np.broadcast_to(apart, (len(values), *shape))

        return Run(*(np.concatenate([rows(part) for part in pair]) for pair in zip(self, more, strict=True)))

    def rows_where(self, holds: Callable[[State], Mask]) -> Rows:
        """Count, per sample, the rows for which a condition on the state holds."""
        states = (State(*row) for row in zip(*self, strict=True))
        rows: Rows = np.sum([holds(state) for state in states], axis=0, dtype=np.intp)
        return rows

    def rows_until(self, holds: Callable[[State], Mask]) -> Rows:
        """Count, per sample, the rows before the first for which a condition no longer holds, by halving.

        The condition is one that does not come back along the run.
        """
        shape = np.shape(self.time[0])
        known, open_end = np.zeros(shape, np.intp), np.full(shape, len(self.time), np.intp)
        for _ in range(len(self.time).bit_length()):
            middle = np.minimum((known + open_end) // 2, len(self.time) - 1)
            here = holds(self._state(middle))
            unsure = known < open_end
            known = np.where(unsure & here, middle + 1, known)
            open_end = np.where(unsure & ~here, middle, open_end)
        return known

    def step(self, row: Rows) -> Step:
        """Return the step that ends at a row, one row per sample; the nearest one where there is none."""
        end = np.clip(row, 1, len(self.time) - 1)
        return Step(self._state(end - 1), self._state(end))

    def _state(self, row: Rows) -> State:
        return State(*(at_row(values, row) for values in self))

    def at(self, time: Array) -> State:
        """Return where the run is at a time; past its last row it goes on at its last speed."""
        passed = self.rows_where(lambda state: state.time <= time)
        step = self.step(passed)
        span = step.end.time - step.begin.time
        within = step.at((time - step.begin.time) / np.where(span > 0, span, np.inf))
        late = time - step.end.time
        beyond = step.end._replace(time=time, distance=step.end.distance + step.end.speed * late)
        ended = passed >= len(self.time)
        return State(*(np.where(ended, last, here) for here, last in zip(within, beyond, strict=True)))
