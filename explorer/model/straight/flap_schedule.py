"""When the flap moves: closed up to a moment, then steadily open, then open for good."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from explorer.graph.arrays import Array


class Flap(NamedTuple):
    """When the flap starts to open and when it is fully open, from the start of the run."""

    starts: Array
    opened: Array

    @classmethod
    def after(cls, delay: Array, duration: Array) -> Flap:
        """Open once a delay is over, and take so long."""
        return cls(np.asarray(delay), np.asarray(delay + duration))

    def opening(self, time: Array, *, after: bool) -> Array:
        """Return the opening just after or just before a time; they differ where it opens at once."""
        shut, wide = time < self.starts, time > self.opened
        if after:
            wide = time >= self.opened
        else:
            shut = time <= self.starts
        travel = np.where(self.opened > self.starts, self.opened - self.starts, 1.0)
        return np.where(shut, 0.0, np.where(wide, 1.0, (time - self.starts) / travel))

    def next_event(self, time: Array) -> Array:
        """Return when the flap next starts or stops moving."""
        return np.where(time < self.starts, self.starts, np.where(time < self.opened, self.opened, np.inf))


#: No run lasts as long as this, in seconds.
_NEVER = np.array(1e12)
SHUT = Flap(_NEVER, _NEVER)
